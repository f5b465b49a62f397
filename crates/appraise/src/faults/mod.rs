//! Faults, each in its own file: what is wrong, where, and how much of the aperture it touches.

mod blink;
mod distance;
mod exposure;
mod floater;
mod haze;
mod kind;
mod lash;
mod lid;
mod lost_side;
mod motion;
mod reflex;
mod sharpness;
mod slow_jump;
mod smear;
mod soft_patch;
mod sweep;

pub(crate) use sharpness::{Sharp, sharpness};
pub(crate) use sweep::Sweep;

use crate::{
    anatomy::{Anatomy, Vessels},
    contour,
    mask::Mask,
    scene::Scene,
};
use serrata_words::{Finding, FindingKind};

/// Everything that the faults are told from.
pub(crate) struct Seen<'a> {
    pub(crate) scene: &'a Scene<'a>,
    /// The retina, blinks taken out.
    pub(crate) retina: &'a Mask,
    /// What lies behind a lid's margin, however dim.
    pub(crate) behind_margins: &'a Mask,
    pub(crate) vessels: &'a Vessels,
    pub(crate) anatomy: &'a Anatomy,
    pub(crate) sharp: &'a Sharp,
}

/// All faults but those of the sweep, which come first because they cut the retina.
pub(crate) fn faults(seen: &Seen<'_>) -> Vec<Finding> {
    let mut out = Vec::new();
    let lids = lid::lids(seen);
    let patch = soft_patch::soft_patch(seen);
    out.extend(lash::lashes(seen));
    out.extend(sharpness::blur_or_part(seen, patch.as_ref()));
    out.extend(patch.as_ref().and_then(|p| smear::smear(seen, p)));
    out.extend(exposure::underexposed(seen));
    out.extend(exposure::overexposed(seen));
    out.extend(lost_side::off_centre(seen));
    out.extend(distance::distance(seen, &lids));
    out.extend(lids);
    out.extend(reflex::reflex(seen));
    out.extend(haze::haze(seen));
    out.extend(floater::floater(seen));
    out.extend(kind::wrong_modality(seen.scene));
    out
}

/// Score from which on a shadow of the iris is plain enough for what lies in it to count as not seen (as in the shipped rules).
const SHADED: f64 = 0.5;

/// What lies in the shadow of the iris, where one of these findings is a plain one to the left or the right.
pub(crate) fn shade(seen: &Seen<'_>, findings: &[Finding]) -> Option<Mask> {
    let shadow = findings.iter().find(|f| f.kind == FindingKind::IrisShadow && f.score >= SHADED)?;
    distance::shade(seen, shadow.side?)
}

/// The faults that can leave nothing of a retina to be recognised.
pub(crate) fn capture(seen: &Seen<'_>) -> Vec<Finding> {
    let patch = soft_patch::soft_patch(seen);
    [sharpness::blur_or_part(seen, patch.as_ref()), exposure::underexposed(seen), exposure::overexposed(seen)]
        .into_iter()
        .flatten()
        .chain(lost_side::off_centre(seen))
        .collect()
}

/// A finding with its place.
fn placed(kind: FindingKind, score: f64, place: &Mask, scene: &Scene<'_>) -> Finding {
    let mut f = Finding::new(kind, score, scene.aperture.shared_with(place));
    f.place = contour::region(place, scene.factor);
    f
}

/// Rises from 0 at `low` to 1 at `high`.
fn ramp(v: f64, low: f64, high: f64) -> f64 {
    ((v - low) / (high - low)).clamp(0.0, 1.0)
}
