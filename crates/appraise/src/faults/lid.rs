//! Lids and face: what lies inside the aperture but outside the visible retina, by the side it comes from.

use super::{Seen, placed, ramp};
use crate::mask::Mask;
use serrata_words::{Finding, FindingKind, Side};

/// Brightness from which what covers is named a lid. In dye pictures many lids are dimmer, but so is the rim: with a limit
/// of 0.3 of the retina's brightness the recall of lids rose from 0.73 to 0.79, and four of 18 untouched frames were no
/// longer usable.
const LIT: f32 = 0.12;

pub(super) fn lids(seen: &Seen<'_>) -> Vec<Finding> {
    let s = seen.scene;
    let (w, h) = (s.width(), s.height());
    let least = w * h / 400;
    let sides = [Side::Top, Side::Bottom, Side::Left, Side::Right];
    let mut parts = [(); 4].map(|()| Mask::new(w, h, false));
    let mut counts = [0usize; 4];
    for y in 0..h {
        let row = y * w..(y + 1) * w;
        let (aperture, retina) = (&s.aperture.data[row.clone()], &seen.retina.data[row.clone()]);
        let (painted, light) = (&s.painted.data[row.clone()], &s.value.data[row.clone()]);
        let behind = &seen.behind_margins.data[row];
        for x in 0..w {
            // What is unlit may be lid or rim: only lit parts are named, and what lies behind a margin.
            if aperture[x] & !retina[x] & !painted[x] && (light[x] > LIT || behind[x]) {
                let side = side_of(x, y, w, h);
                parts[side].data[y * w + x] = true;
                counts[side] += 1;
            }
        }
    }
    let mut out = Vec::new();
    for ((side, part), count) in sides.into_iter().zip(parts).zip(counts) {
        if count < least {
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

/// The nearest side, where the picture's diagonals divide the sides: 0 to 3 for top, bottom, left and right.
fn side_of(x: usize, y: usize, w: usize, h: usize) -> usize {
    let (u, v) = ((x as f32 + 0.5) / w as f32 - 0.5, (y as f32 + 0.5) / h as f32 - 0.5);
    if u.abs() > v.abs() { 2 + usize::from(u >= 0.0) } else { usize::from(v >= 0.0) }
}
