//! Haze: scattered light takes the contrast of the vessels.

use super::{Seen, exposure, ramp, sharpness};
use serrata_words::{Finding, FindingKind, Modality};

/// Contrast of the strong vessels below which haze is named, and at which it is heavy. In clear colour frames it is
/// 0.14 to 0.19, in two frames through clouded media 0.06 to 0.08.
const COLOUR: (f64, f64) = (0.125, 0.05);

/// The same in a narrow field, whose white light penetrates deeper: clear pictures at hand have 0.062 to 0.13.
const NARROW: (f64, f64) = (0.06, 0.025);

/// The same of bright vessels in ultra-widefield fluorescein: 0.13 (a late frame) to 0.58 in real frames, 0.40 and more in simulated
/// clear ones, 0.11 to 0.22 in hazed ones. So it stays a hint where a real frame without haze could have it.
const DYE: (f64, f64) = (0.24, 0.0);

/// Contrast of bright vessels in ultra-widefield fluorescein below which none is left to speak of, and at which it is gone: less than any real
/// frame at hand has.
const GONE: (f64, f64) = (0.12, 0.07);

/// The same in autofluorescence, of which no real frame was at hand: 0.077 to 0.35 in simulated frames without haze, 0.060 to 0.070 in
/// hazed ones.
const FAF: (f64, f64) = (0.095, 0.05);

/// Share of its score that haze loses where vessels are wider than it makes them: there blur took their contrast.
const BLURRED: f64 = 0.9;

pub(super) fn haze(seen: &Seen<'_>) -> Option<Finding> {
    let score = lost_contrast(seen) * (1.0 - BLURRED * sharpness::surely_blurred(seen));
    (score > 0.0).then(|| Finding::new(FindingKind::Haze, score, seen.retina.share_of(&seen.scene.aperture)))
}

/// How plainly the vessels of a wide dye picture have no contrast left, 0 to 1.
pub(super) fn gone(seen: &Seen<'_>) -> f64 {
    if seen.scene.round || seen.scene.modality != Modality::Fa || unfilled(seen) {
        return 0.0;
    }
    1.0 - ramp(f64::from(seen.vessels.contrast), GONE.1, GONE.0)
}

/// Before the dye has come there is nothing to lose contrast.
fn unfilled(seen: &Seen<'_>) -> bool {
    seen.scene.modality.is_dye() && exposure::underexposed(seen).is_some_and(|f| f.score >= 1.0)
}

/// How much of their contrast the strong vessels have lost, 0 to 1, whatever took it.
fn lost_contrast(seen: &Seen<'_>) -> f64 {
    let (clear, heavy) = match (seen.scene.modality, seen.scene.round) {
        (Modality::Colour | Modality::Green, true) => NARROW,
        (Modality::Colour | Modality::Green, false) => COLOUR,
        (Modality::Fa, false) => DYE,
        (Modality::Faf, false) => FAF,
        // Others are left out: there the contrast is the dye's or the light's, or nothing was at hand.
        _ => return 0.0,
    };
    if unfilled(seen) {
        return 0.0;
    }
    1.0 - ramp(f64::from(seen.vessels.contrast), heavy, clear)
}
