//! Haze: scattered light takes the contrast of the vessels.

use super::{Seen, ramp};
use serrata_words::{Finding, FindingKind, Modality};

/// Contrast of the strong vessels below which haze is named, and at which it is heavy. In clear colour frames it is
/// 0.14 to 0.19, in two frames through clouded media 0.06 to 0.08. Other kinds are left out: there the contrast is the
/// dye's or the light's.
const CONTRAST: (f64, f64) = (0.125, 0.05);

pub(super) fn haze(seen: &Seen<'_>) -> Option<Finding> {
    if !matches!(seen.scene.modality, Modality::Colour | Modality::Green) {
        return None;
    }
    let score = 1.0 - ramp(f64::from(seen.vessels.contrast), CONTRAST.1, CONTRAST.0);
    (score > 0.0).then(|| Finding::new(FindingKind::Haze, score, seen.retina.share_of(&seen.scene.aperture)))
}
