//! Lids and face: what lies inside the aperture but outside the visible retina, by the side it comes from.

use super::{Seen, placed, ramp};
use crate::{filter, mask::Mask};
use serrata_words::{Finding, FindingKind, Side};

/// Brightness from which what covers is named a lid, and the least in dye pictures: above what their rim has.
const LIT: f32 = 0.12;
const LEAST: f32 = 0.03;

/// The same in dye pictures, as a share of the retina's middle brightness.
const SHARE: f32 = 0.3;

fn dim(seen: &Seen<'_>) -> f32 {
    let s = seen.scene;
    let mut v: Vec<f32> =
        s.value.data.iter().zip(&seen.retina.data).step_by(7).filter(|(_, r)| **r).map(|(v, _)| *v).collect();
    (SHARE * filter::percentile(&mut v, 0.5)).clamp(LEAST, LIT)
}

pub(super) fn lids(seen: &Seen<'_>) -> Vec<Finding> {
    let s = seen.scene;
    let (w, h) = (s.width(), s.height());
    // What is unlit may be lid or rim: only lit parts are named. Skin shines in dye pictures as far as the filter lets
    // its light through, which goes with the picture's exposure.
    let lit = if s.modality.is_dye() { dim(seen) } else { LIT };
    let covered = s.aperture.and_not(seen.retina).and_not(&s.painted);
    let covered = Mask {
        width: w,
        height: h,
        data: covered.data.iter().zip(&s.value.data).map(|(c, v)| *c && *v > lit).collect(),
    };
    let least = w * h / 400;
    let mut out = Vec::new();
    for (side, columns, rows) in [
        (Side::Top, 0..w, 0..h.div_ceil(2)),
        (Side::Bottom, 0..w, h / 2..h),
        (Side::Left, 0..w.div_ceil(2), 0..h),
        (Side::Right, w / 2..w, 0..h),
    ] {
        let mut part = Mask::new(w, h, false);
        for y in rows {
            for x in columns.clone() {
                part.data[y * w + x] = covered.data[y * w + x] && side_of(x, y, w, h) == side;
            }
        }
        if part.count() < least {
            continue;
        }
        let part = part.without_specks(least);
        let share = part.share_of(&s.aperture);
        if share > 0.003 {
            let mut f = placed(FindingKind::Lid, ramp(share, 0.0, 0.2), &part, s);
            f.side = Some(side);
            out.push(f);
        }
    }
    out
}

/// The nearest side, where the picture's diagonals divide the sides.
fn side_of(x: usize, y: usize, w: usize, h: usize) -> Side {
    let (u, v) = ((x as f32 + 0.5) / w as f32 - 0.5, (y as f32 + 0.5) / h as f32 - 0.5);
    if u.abs() > v.abs() {
        if u < 0.0 { Side::Left } else { Side::Right }
    } else if v < 0.0 {
        Side::Top
    } else {
        Side::Bottom
    }
}
