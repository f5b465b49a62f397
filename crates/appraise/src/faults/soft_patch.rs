//! Where fine detail is gone from one part of the picture: what the tests for soft focus and for smears share.
//!
//! Defocus and scatter act as a low-pass filter: the finest detail goes first, the coarse stays. Retina that is merely bare of
//! vessels, or dim, loses coarse and fine together. So detail is measured in three octaves, cell by cell, and a patch is one
//! whose finest octave is weaker than that of the ring about it, by more than its coarsest.

use super::Seen;
use crate::{filter, mask::Mask};
use serrata_frame::Plane;

/// A part of the picture with less fine detail than what lies about it.
pub(crate) struct SoftPatch {
    /// How much of the finest detail is gone, natural logarithm.
    pub(crate) loss: f64,
    /// How much more the finest lost than the coarsest: defocus leaves the coarse, a veil takes from both.
    pub(crate) steep: f64,
    /// Where, in working pixels.
    pub(crate) place: Mask,
}

/// Working pixels along a cell: the coarsest octave has one step in it.
const CELL: usize = 8;

/// Cells along one place of the grid, whose value is taken from the cells about it.
const STRIDE: usize = 2;

/// Share of the cells about a place below which its value lies: vessels take less than half of them, and what is sought has
/// to be missing between the vessels too.
const BETWEEN: f64 = 0.4;

/// Cells on each side of a place that belong to it.
const ABOUT: usize = 2;

/// Radii of the patch as shares of the grid's width. Smaller ones cannot be told from retina that has little to show: at 0.10
/// untouched real frames lost as much as 0.6.
const RADII: [f32; 2] = [0.15, 0.20];

/// The patch's own part within its radius, and the ring about it: between them it fades.
const WITHIN: f32 = 0.85;
const RING: (f32, f32) = (1.2, 1.8);

/// Least shares of the disc and of the ring that have to be retina (judgement).
const ENOUGH: (f32, f32) = (0.8, 0.7);

/// Brighter than this detail is pressed together by the stored tone curve (judgement), and a cell that has this share of it is
/// not looked at.
const BURNT: (f32, f32) = (0.9, 0.2);

/// Added to a cell's brightness before detail is set against it: a share of the usual brightness and a grey level of 8 bit.
const LIFT: (f32, f32) = (0.1, 0.004);

/// How much more than the coarsest octave the finest has to lose for all of its loss to count (half of it), and how much of it
/// the middle one has to lose (two thirds): of what the finest loses, simulated soft patches lose 0.28 of the coarsest at
/// most, nine of ten smears half.
const STEEP: (f32, f32) = (2.0, 1.5);

/// Logarithm of the patch's own brightness over its ring's up to which it makes no difference: the relative noise of more light
/// is less, and the tone curve flattens it. Simulated smears are brighter by 0.4 at most; soft patches of angiograms by 0.6,
/// but they lose 1.0 of their detail. A real frame's bright middle, by 0.9, lost 0.6.
const BRIGHTER: f32 = 0.5;

/// Less loss than this is not worth an outline: all but one of 52 untouched simulated frames lose up to 0.18, real ones up to 0.38.
const LEAST: f32 = 0.22;

/// A level of detail per cell: mean steps across and down, one pixel of the plane wide, against the cell's brightness.
struct Octaves {
    width: usize,
    height: usize,
    /// Finest, middle, coarsest, then brightness: natural logarithms.
    logs: [Vec<f32>; 4],
    open: Vec<bool>,
}

/// A disc on the grid that is softer than its ring.
struct Best {
    loss: f32,
    steep: f32,
    /// Halfway between the finest octaves of the two.
    middle: f32,
    radius: f32,
    x: usize,
    y: usize,
}

/// The softest patch that stands alone, whatever its size of the two.
pub(crate) fn soft_patch(seen: &Seen<'_>) -> Option<SoftPatch> {
    let s = seen.scene;
    if s.round {
        return None;
    }
    let cells = cells(seen)?;
    let grid = places(&cells);
    let sums = Sums::of(&grid);
    let mut best: Option<Best> = None;
    for share in RADII {
        let radius = share * grid.width.max(grid.height) as f32;
        let [inner, hole, outer] = [WITHIN, RING.0, RING.1].map(|k| spans(k * radius));
        let full = |spans: &[usize]| spans.iter().map(|h| 2 * h + 1).sum::<usize>() as f32;
        let least = [ENOUGH.0 * full(&inner), ENOUGH.1 * (full(&outer) - full(&hole))];
        for y in (0..grid.height).step_by(2) {
            for x in (0..grid.width).step_by(2) {
                let within = sums.over(&inner, x, y);
                if within[4] < least[0] {
                    continue;
                }
                let (about, hole) = (sums.over(&outer, x, y), sums.over(&hole, x, y));
                let ring = [0, 1, 2, 3, 4].map(|k| about[k] - hole[k]);
                if ring[4] < least[1] {
                    continue;
                }
                let [fine, middle, coarse, light] =
                    [0, 1, 2, 3].map(|k| ring[k] / ring[4] - within[k] / within[4]);
                let loss =
                    fine.min(STEEP.0 * (fine - coarse)).min(STEEP.1 * middle) - (-light - BRIGHTER).max(0.0);
                if best.as_ref().is_none_or(|b| loss > b.loss) {
                    let middle = 0.5 * (within[0] / within[4] + ring[0] / ring[4]);
                    best = Some(Best { loss, steep: fine - coarse, middle, radius, x, y });
                }
            }
        }
    }
    let best = best.filter(|b| b.loss > LEAST)?;
    let place = outline(seen, &grid, &best);
    Some(SoftPatch { loss: f64::from(best.loss), steep: f64::from(best.steep), place })
}

/// Detail of every cell; none where the picture is too small for it.
fn cells(seen: &Seen<'_>) -> Option<Octaves> {
    let s = seen.scene;
    if s.half.step < 2.0 {
        return None;
    }
    let quarter = filter::half(&s.half.detail);
    let (width, height) = (quarter.width / 2, quarter.height / 2);
    if width < 8 || height < 8 {
        return None;
    }
    let steps = [
        steps(&s.detail, CELL, width, height),
        steps(&s.half.detail, CELL / 2, width, height),
        steps(&quarter, CELL / 4, width, height),
    ];
    let (mut light, mut open) = (vec![0.0f32; width * height], vec![false; width * height]);
    for y in 0..height {
        for x in 0..width {
            let (mut sum, mut burnt, mut retina) = (0.0f32, 0usize, true);
            for row in y * CELL..(y + 1) * CELL {
                let at = row * s.width() + x * CELL;
                retina &= !seen.retina.data[at..at + CELL].contains(&false);
                for v in &s.detail.data[at..at + CELL] {
                    sum += v;
                    burnt += usize::from(*v > BURNT.0);
                }
            }
            light[y * width + x] = sum / (CELL * CELL) as f32;
            open[y * width + x] = retina && (burnt as f32) < BURNT.1 * (CELL * CELL) as f32;
        }
    }
    // The retina's own margin is an edge too.
    let open = Mask { width, height, data: open }.eroded(ABOUT).data;
    let mut lit: Vec<f32> = light.iter().zip(&open).filter(|(_, o)| **o).map(|(v, _)| *v).collect();
    let lift = LIFT.0 * filter::percentile(&mut lit, 0.5) + LIFT.1;
    let against = |steps: &[f32]| -> Vec<f32> {
        steps.iter().zip(&light).map(|(s, l)| (s / (l + lift) + 1e-5).ln()).collect()
    };
    let [fine, middle, coarse] = steps.map(|s| against(&s));
    let light = light.iter().map(|l| (l + LIFT.1).ln()).collect();
    Some(Octaves { width, height, logs: [fine, middle, coarse, light], open })
}

/// Mean of the steps between halves of squares of two by two pixels, across and down, over each cell of `side` pixels.
fn steps(p: &Plane, side: usize, width: usize, height: usize) -> Vec<f32> {
    let mut out = vec![0.0f32; width * height];
    for y in 0..height * side / 2 {
        let (top, low) = (p.row(2 * y), p.row(2 * y + 1));
        let to = &mut out[2 * y / side * width..][..width];
        for ((o, t), l) in to.iter_mut().zip(top.chunks_exact(side)).zip(low.chunks_exact(side)) {
            *o += t
                .chunks_exact(2)
                .zip(l.chunks_exact(2))
                .map(|(a, b)| (a[0] - a[1] + b[0] - b[1]).abs() + (a[0] + a[1] - b[0] - b[1]).abs())
                .sum::<f32>();
        }
    }
    out
}

/// The coarser grid: at each place the value that [`BETWEEN`] of the cells about it lie below.
fn places(cells: &Octaves) -> Octaves {
    let (width, height) = (cells.width / STRIDE, cells.height / STRIDE);
    let mut out = Octaves {
        width,
        height,
        logs: [(); 4].map(|()| vec![0.0; width * height]),
        open: vec![false; width * height],
    };
    let mut near = Vec::with_capacity((2 * ABOUT + 1) * (2 * ABOUT + 1));
    for y in 0..height {
        for x in 0..width {
            let (cx, cy) = (x * STRIDE, y * STRIDE);
            if !cells.open[cy * cells.width + cx] {
                continue;
            }
            out.open[y * width + x] = true;
            let [octaves @ .., light] = &mut out.logs;
            light[y * width + x] = cells.logs[3][cy * cells.width + cx];
            for (to, from) in octaves.iter_mut().zip(&cells.logs) {
                near.clear();
                for j in cy.saturating_sub(ABOUT)..(cy + ABOUT + 1).min(cells.height) {
                    let row = j * cells.width;
                    let span = row + cx.saturating_sub(ABOUT)..row + (cx + ABOUT + 1).min(cells.width);
                    let open = from[span.clone()].iter().zip(&cells.open[span]).filter(|(_, open)| **open);
                    near.extend(open.map(|(v, _)| *v));
                }
                to[y * width + x] = filter::percentile(&mut near, BETWEEN);
            }
        }
    }
    out
}

/// Sums along rows, so that a disc is summed by its rows' ends.
struct Sums {
    width: usize,
    height: usize,
    /// Three octaves, brightness, and how many places there are.
    rows: [Vec<f32>; 5],
}

impl Sums {
    fn of(grid: &Octaves) -> Self {
        let (width, height) = (grid.width, grid.height);
        let mut rows = [(); 5].map(|()| vec![0.0f32; (width + 1) * height]);
        for (k, to) in rows.iter_mut().enumerate() {
            for y in 0..height {
                for x in 0..width {
                    let i = y * width + x;
                    let v = grid.logs.get(k).map_or(1.0, |l| l[i]) * f32::from(u8::from(grid.open[i]));
                    to[y * (width + 1) + x + 1] = to[y * (width + 1) + x] + v;
                }
            }
        }
        Self { width, height, rows }
    }

    /// Over a disc about a place, given by half its width in each row, from above to below.
    fn over(&self, spans: &[usize], x: usize, y: usize) -> [f32; 5] {
        let reach = spans.len() / 2;
        let mut out = [0.0f32; 5];
        for (j, half) in spans.iter().enumerate() {
            let Some(row) = (y + j).checked_sub(reach).filter(|r| *r < self.height) else { continue };
            let (from, to) = (x.saturating_sub(*half), (x + half + 1).min(self.width));
            for (o, sums) in out.iter_mut().zip(&self.rows) {
                let line = &sums[row * (self.width + 1)..];
                *o += line[to] - line[from];
            }
        }
        out
    }
}

/// Half the width of each row of a disc.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // below the grid's size
fn spans(radius: f32) -> Vec<usize> {
    let reach = radius.max(0.0) as i32;
    (-reach..=reach).map(|y| (radius * radius - (y * y) as f32).max(0.0).sqrt() as usize).collect()
}

/// The places about the middle whose finest octave lies nearer to the patch's level than to its ring's, as far out as the ring.
fn outline(seen: &Seen<'_>, grid: &Octaves, best: &Best) -> Mask {
    let far = |i: usize, j: usize| (i as f32 - best.x as f32).hypot(j as f32 - best.y as f32) / best.radius;
    let soft = Mask::from_fn(grid.width, grid.height, |i, j| {
        let k = j * grid.width + i;
        // Vessels that cross the patch are sharper than what lies between them, so that gaps in its middle are filled.
        grid.open[k] && far(i, j) < RING.1 && (grid.logs[0][k] < best.middle || far(i, j) < 0.5 * WITHIN)
    });
    let patch = soft.connected_to(|i, j| far(i, j) < 0.5 * WITHIN);
    let side = CELL * STRIDE;
    let s = seen.scene;
    Mask::from_fn(s.width(), s.height(), |i, j| {
        // A place stands for the cells about its own, half a place before it and behind.
        let (gx, gy) = ((i + side / 4) / side, (j + side / 4) / side);
        gx < grid.width && gy < grid.height && patch.at(gx, gy) && seen.retina.at(i, j)
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn steps_are_those_of_squares_of_four() {
        // One step of a half down the middle of each square of four: across 2 × ½ and nothing down.
        let p = Plane::from_fn(16, 8, |x, _| if x % 2 == 0 { 0.25 } else { 0.75 });
        assert_eq!(steps(&p, 8, 2, 1), vec![16.0; 2]);
        assert_eq!(steps(&Plane::new(16, 8, 0.3), 4, 4, 2), vec![0.0; 8]);
    }

    #[test]
    fn a_disc_is_round() {
        assert_eq!(spans(2.0), [0, 1, 2, 1, 0]);
        assert_eq!(spans(0.5), [0]);
    }

    proptest! {
        /// The plain reference: every place of the disc.
        #[test]
        fn a_disc_is_summed_by_its_rows(w in 1usize..12, h in 1usize..12, x in 0usize..12, y in 0usize..12, radius in 0.0f32..6.0, bits in any::<u128>()) {
            let (x, y) = (x % w, y % h);
            let open: Vec<bool> = (0..w * h).map(|i| bits >> (i % 128) & 1 == 1).collect();
            let grid = Octaves { width: w, height: h, logs: [1.0, 2.0, 3.0, 4.0].map(|k| (0..w * h).map(|i| i as f32 * k).collect()), open };
            let got = Sums::of(&grid).over(&spans(radius), x, y);
            let mut want = [0.0f32; 5];
            for (j, i) in (0..h).flat_map(|j| (0..w).map(move |i| (j, i))) {
                let (dx, dy) = (i as f32 - x as f32, j as f32 - y as f32);
                let reach = (radius as i32) as f32;
                if dx * dx + dy * dy <= radius * radius && dy.abs() <= reach && grid.open[j * w + i] {
                    for (sum, log) in want.iter_mut().zip(&grid.logs) { *sum += log[j * w + i]; }
                    want[4] += 1.0;
                }
            }
            for (g, s) in got.iter().zip(&want) { prop_assert!((g - s).abs() < 0.5, "{:?} {:?}", got, want); }
        }
    }
}
