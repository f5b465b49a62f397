//! Off centre: one whole side of the picture is lost.

use super::{Seen, ramp};
use serrata_words::{Finding, FindingKind, Side};

/// The share of the width that is lost at the worse side, over the middle half of the rows. Lids, which come in at the
/// corners and from above and below, hardly touch it.
pub(super) fn off_centre(seen: &Seen<'_>) -> Option<Finding> {
    let m = seen.retina;
    let (w, h) = (m.width, m.height);
    let mut lost = [Vec::new(), Vec::new()];
    for y in h / 4..(3 * h) / 4 {
        let row = &m.data[y * w..(y + 1) * w];
        let first = row.iter().position(|b| *b).unwrap_or(w);
        let last = row.iter().rposition(|b| *b).map_or(w, |l| w - 1 - l);
        lost[0].push(first);
        lost[1].push(last);
    }
    let middle = |v: &mut Vec<usize>| {
        v.sort_unstable();
        v.get(v.len() / 2).map_or(0.0, |l| *l as f64 / w as f64)
    };
    let (left, right) = (middle(&mut lost[0]), middle(&mut lost[1]));
    let (worse, better, side) = if left > right { (left, right, Side::Left) } else { (right, left, Side::Right) };
    let score = ramp(worse - better, 0.05, 0.30);
    (score > 0.0).then(|| {
        let mut f = Finding::new(FindingKind::OffCentre, score, worse);
        f.side = Some(side);
        f
    })
}
