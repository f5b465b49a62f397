//! Too dark or burnt out, told from the retina alone.

use super::{Seen, placed, ramp};
use crate::{filter, mask::Mask, scene::Scene};
use serrata_words::{Finding, FindingKind};

/// Too dark: even the bright parts of the retina stay far below full scale. In colour the bright parts are the upper
/// twentieth, in dye pictures the vessels, the upper two hundredths.
pub(super) fn underexposed(seen: &Seen<'_>) -> Option<Finding> {
    let dye = seen.scene.modality.is_dye();
    let share = if dye { 0.98 } else { 0.95 };
    let bright = f64::from(filter::percentile_where(&seen.scene.value.data, &seen.retina.data, share));
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
    (share > 0.002).then(|| {
        let specks = s.value.data.len() / 4000;
        placed(FindingKind::Overexposed, ramp(share, 0.0, 0.2), &burnt.without_specks(specks), s)
    })
}

/// Brightness of the weaker of the channels that carry the picture.
pub(super) fn least_light(s: &Scene<'_>) -> impl Iterator<Item = f32> {
    let red = s.red.as_ref().unwrap_or(&s.detail);
    red.data.iter().zip(&s.detail.data).map(|(r, d)| if r < d { *r } else { *d })
}
