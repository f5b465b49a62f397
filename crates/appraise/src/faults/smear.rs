//! Smears: grease on the front surface scatters part of the light that comes through it, and veils what lies behind.

use super::{Seen, placed, ramp, sharpness, soft_patch::SoftPatch};
use serrata_words::{Finding, FindingKind};

/// Loss of fine detail (natural logarithm) from which it is named, and from which it is plain. Untouched real frames have up to
/// 0.38 (two of 18 above 0.3), which must not count; simulated smears 0.26 and more, the middle one of 20 0.38.
const LOSS: (f64, f64) = (0.22, 0.55);

/// A soft patch whose coarse detail is weaker too. Where the finest alone is gone it is out of focus.
///
/// Streaks were no help: along the wipe they are as long and as wide as vessels and the choroid's.
pub(super) fn smear(seen: &Seen<'_>, patch: &SoftPatch) -> Option<Finding> {
    let defocus = ramp(patch.steep, sharpness::PART.0, sharpness::PART.1);
    let score = ramp(patch.loss, LOSS.0, LOSS.1) * (1.0 - defocus);
    (score > 0.0).then(|| placed(FindingKind::Smear, score, &patch.place, seen.scene))
}
