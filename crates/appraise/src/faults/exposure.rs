//! Too dark or burnt out, told from the retina alone.

use super::{Seen, placed, ramp};
use crate::{filter, mask::Mask, scene::Scene};
use serrata_words::{Finding, FindingKind};

/// Too dark: even the bright parts of the retina stay far below full scale. In colour the bright parts are the upper
/// twentieth, in dye pictures the vessels, the upper two hundredths.
pub(super) fn underexposed(seen: &Seen<'_>) -> Option<Finding> {
    let dye = seen.scene.modality.is_dye();
    let share = if dye { 0.98 } else { 0.95 };
    let bright = f64::from(filter::percentile_where(&seen.scene.value, seen.retina, share));
    let score = 1.0 - ramp(bright, 0.10, 0.26);
    (score > 0.0)
        .then(|| Finding::new(FindingKind::Underexposed, score, seen.retina.share_of(&seen.scene.aperture)))
}

/// Burnt out: every channel that carries the picture is at its end.
pub(super) fn overexposed(seen: &Seen<'_>) -> Option<Finding> {
    let s = seen.scene;
    let burnt = Mask {
        width: s.width(),
        height: s.height(),
        data: least_light(s).zip(&seen.retina.data).map(|(least, retina)| *retina & (least > 0.97)).collect(),
    };
    let share = burnt.share_of(seen.retina);
    let vessels = if s.modality.is_dye() && !s.round { burnt_vessels(seen, &burnt) } else { 0.0 };
    (share > 0.002).then(|| {
        let specks = s.value.data.len() / 4000;
        let score = ramp(share, 0.0, 0.2).max(ramp(vessels, VESSELS.0, VESSELS.1));
        placed(FindingKind::Overexposed, score, &burnt.without_specks(specks), s)
    })
}

/// Share of the strong vessels of a wide dye picture that is burnt out from which it counts, and at which it is certain: none in the real
/// ones at hand, 0.12 to 0.20 in simulated ones of five times the light. Narrow fields are left out: open sets have up to 0.44.
const VESSELS: (f64, f64) = (0.04, 0.14);

/// Share of the strong vessels' crests that lies in what is burnt out: dye is read in the vessels, and they burn out first.
fn burnt_vessels(seen: &Seen<'_>, burnt: &Mask) -> f64 {
    let strong = seen.vessels.points.iter().filter(|p| p.weight > 0.6);
    let (mut lost, mut all) = (0usize, 0usize);
    for p in strong {
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // inside the plane
        let at = p.y as usize * burnt.width + p.x as usize;
        lost += usize::from(burnt.data[at]);
        all += 1;
    }
    lost as f64 / all.max(1) as f64
}

/// Brightness of the weaker of the channels that carry the picture.
pub(super) fn least_light(s: &Scene<'_>) -> impl Iterator<Item = f32> {
    let red = s.red.as_ref().unwrap_or(&s.detail);
    red.data.iter().zip(&s.detail.data).map(|(r, d)| if r < d { *r } else { *d })
}
