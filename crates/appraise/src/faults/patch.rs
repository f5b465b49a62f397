//! A part of the picture in which vessels are faint: a smear on the front surface, or a part that is out of focus.

use super::{Seen, placed, ramp};
use crate::{anatomy, filter, mask::Mask};
use serrata_words::{Finding, FindingKind};

/// Cells along the longer side.
const CELLS: usize = 18;

/// Rings about the picture's middle within which cells are compared: vessels are finer further out.
const RINGS: usize = 5;

/// Vessel strength of a cell, as a share of what its ring has, below which the cell is faint.
const FAINT: f32 = 0.62;

/// Share of the retina that hangs together and is faint: named from, and plain from. The fovea, which has no vessels, is smaller
/// (judgement).
const SHARE: (f64, f64) = (0.04, 0.10);

/// Mean strength in the patch, as a share of the rings': plain at the first, nothing at the second.
const DEPTH: (f64, f64) = (0.35, 0.62);

/// Edges in the patch are this much wider than outside, and as wide as in a blurred picture, where it is out of focus; a smear
/// veils edges and leaves their width.
const WIDER: f32 = 1.35;

/// Measured edges that the patch has to have before focus is spoken of.
const LEAST: usize = 4;

/// The largest faint patch. Scars, bleeding and atrophy look alike, so a smear is no more than a hint; focus is told from the
/// width of edges.
pub(super) fn patch(seen: &Seen<'_>) -> Option<Finding> {
    let s = seen.scene;
    if s.round {
        return None;
    }
    let (w, h) = (s.width(), s.height());
    let cell = (s.long() / CELLS as f32).max(4.0);
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // a small positive number
    let (nx, ny) = ((w as f32 / cell).ceil() as usize, (h as f32 / cell).ceil() as usize);
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // inside the plane
    let of = |v: usize| (v as f32 / cell) as usize;
    let core = anatomy::core(seen.retina, cell * 0.4);
    let mut strengths: Vec<Vec<f32>> = vec![Vec::new(); nx * ny];
    for y in 0..h {
        for x in 0..w {
            if core.at(x, y) {
                strengths[of(y) * nx + of(x)].push(seen.vessels.strength.at(x, y));
            }
        }
    }
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // a small positive number
    let enough = (0.5 * cell * cell) as usize;
    let strong: Vec<Option<f32>> =
        strengths.iter_mut().map(|v| (v.len() >= enough).then(|| filter::percentile(v, 0.88))).collect();
    let ring = |i: usize| {
        let (dx, dy) = (
            ((i % nx) as f32 + 0.5) * cell / w as f32 - 0.5,
            ((i / nx) as f32 + 0.5) * cell / h as f32 - 0.5,
        );
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // a small positive number
        let r = (dx.hypot(dy) * 2.0 * RINGS as f32 / 1.1) as usize;
        r.min(RINGS - 1)
    };
    let usual: Vec<f32> = (0..RINGS)
        .map(|r| {
            let mut some: Vec<f32> =
                (0..nx * ny).filter(|i| ring(*i) == r).filter_map(|i| strong[i]).collect();
            filter::percentile(&mut some, 0.6)
        })
        .collect();
    let share: Vec<Option<f32>> =
        (0..nx * ny).map(|i| strong[i].map(|v| v / usual[ring(i)].max(1e-6))).collect();
    // The median of a cell and its neighbours: a single cell may have no vessel.
    let calm = |i: usize| -> Option<f32> {
        share[i]?;
        let (x, y) = (i % nx, i / nx);
        let mut some: Vec<f32> = (y.saturating_sub(1)..(y + 2).min(ny))
            .flat_map(|v| (x.saturating_sub(1)..(x + 2).min(nx)).map(move |u| (u, v)))
            .filter_map(|(u, v)| share[v * nx + u])
            .collect();
        Some(filter::percentile(&mut some, 0.5))
    };
    let calm: Vec<Option<f32>> = (0..nx * ny).map(calm).collect();
    let faint = Mask::from_fn(nx, ny, |x, y| calm[y * nx + x].is_some_and(|v| v < FAINT));
    let cells = faint.parts().into_iter().next()?;
    let all = calm.iter().flatten().count().max(1);
    let taken = cells.len() as f64 / all as f64;
    let depth = cells.iter().filter_map(|i| calm[*i]).map(f64::from).sum::<f64>() / cells.len() as f64;
    let score = ramp(taken, SHARE.0, SHARE.1) * (1.0 - ramp(depth, DEPTH.0, DEPTH.1));
    if score <= 0.0 {
        return None;
    }
    let mut within = vec![false; nx * ny];
    for i in &cells {
        within[*i] = true;
    }
    let (mut inner, mut outer) = (Vec::new(), Vec::new());
    for e in &seen.sharp.edges {
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // inside the plane
        let i = (e.at.1 / cell) as usize * nx + (e.at.0 / cell) as usize;
        if within.get(i) == Some(&true) { inner.push(e.width) } else { outer.push(e.width) }
    }
    let soft = inner.len() >= LEAST && {
        let (a, b) = (filter::percentile(&mut inner, 0.4), filter::percentile(&mut outer, 0.4));
        a > WIDER * b && seen.sharp.blurred(a, s)
    };
    let place = Mask::from_fn(w, h, |x, y| within[of(y) * nx + of(x)] && seen.retina.at(x, y));
    Some(placed(if soft { FindingKind::Blur } else { FindingKind::Smear }, score, &place, s))
}
