//! Off centre: one whole side of the picture is lost.

use super::{Seen, ramp};
use serrata_words::{Finding, FindingKind, Side};

/// The share of the width that is lost at both sides, over the middle half of the rows. Lids, which come in at the
/// corners and from above and below, hardly touch it. Well centred frames at hand lose up to 0.17 (dye pictures, whose
/// rim is dim), frames that graders refused for it 0.27 and more.
pub(super) fn off_centre(seen: &Seen<'_>) -> Option<Finding> {
    let m = seen.retina;
    let (w, h) = (m.width, m.height);
    // A narrow field's own round rim is no loss.
    let rim = |y: usize| {
        let row = &seen.scene.aperture.data[y * w..(y + 1) * w];
        let edge = |x: Option<usize>| x.filter(|_| seen.scene.round).unwrap_or(0);
        (edge(row.iter().position(|b| *b)), edge(row.iter().rposition(|b| *b).map(|l| w - 1 - l)))
    };
    let mut lost = [Vec::new(), Vec::new()];
    for y in h / 4..(3 * h) / 4 {
        let row = &m.data[y * w..(y + 1) * w];
        let first = row.iter().position(|b| *b).unwrap_or(w);
        let last = row.iter().rposition(|b| *b).map_or(w, |l| w - 1 - l);
        let (left, right) = rim(y);
        lost[0].push(first.saturating_sub(left));
        lost[1].push(last.saturating_sub(right));
    }
    let middle = |v: &mut Vec<usize>| {
        v.sort_unstable();
        v.get(v.len() / 2).map_or(0.0, |l| *l as f64 / w as f64)
    };
    let (left, right) = (middle(&mut lost[0]), middle(&mut lost[1]));
    let side = if left > right { Side::Left } else { Side::Right };
    let score = ramp(left + right, 0.14, 0.30);
    (score > 0.0).then(|| {
        let mut f = Finding::new(FindingKind::OffCentre, score, left + right);
        f.side = Some(side);
        f
    })
}
