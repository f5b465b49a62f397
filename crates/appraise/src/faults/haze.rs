//! Haze: scattered light takes the contrast of the vessels.

use super::{Seen, ramp};
use serrata_words::{Finding, FindingKind, Modality};

/// Contrast of the strong vessels below which haze is named, and at which it is heavy. In clear colour frames it is
/// 0.14 to 0.19, in two frames through clouded media 0.06 to 0.08. Other kinds are left out: there the contrast is the
/// dye's or the light's.
const CONTRAST: (f64, f64) = (0.125, 0.05);

/// The same in a narrow field, whose white light penetrates deeper: clear pictures at hand have 0.062 to 0.13.
const NARROW: (f64, f64) = (0.06, 0.025);

pub(super) fn haze(seen: &Seen<'_>) -> Option<Finding> {
    if !matches!(seen.scene.modality, Modality::Colour | Modality::Green) {
        return None;
    }
    let (clear, heavy) = if seen.scene.round { NARROW } else { CONTRAST };
    let score = 1.0 - ramp(f64::from(seen.vessels.contrast), heavy, clear);
    (score > 0.0).then(|| Finding::new(FindingKind::Haze, score, seen.retina.share_of(&seen.scene.aperture)))
}
