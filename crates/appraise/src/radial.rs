//! A closed outline around a centre, found ray by ray with the best total over all rays.

use crate::mask::Mask;
use serrata_frame::with_avx2;

/// How many rays. A multiple of four with half-step angles, so that a mirrored picture has mirrored rays.
pub(crate) const RAYS: usize = 360;

/// Steps along a ray from the centre to the farthest corner.
pub(crate) const STEPS: usize = 320;

/// Rays from a centre, in pixels of any plane.
pub(crate) struct Spokes {
    centre: (f32, f32),
    step: f32,
    directions: Vec<(f32, f32)>,
}

/// Rays from a centre with the pixels of the plane that they were made for.
pub(crate) struct Rays {
    spokes: Spokes,
    /// The pixels along each ray, as far as the plane goes.
    places: Vec<Vec<usize>>,
}

/// One step of the dynamic programme, from the greatest sums up to one ray to those up to the next. `total` is padded by as many
/// steps as neighbours may differ on both sides; `back` tells how far beyond the innermost possible step each came from.
#[allow(clippy::inline_always)] // see `with_avx2`
#[inline(always)]
fn step_on(total: &[f32], here: &[f32], stiff: f32, next: &mut [f32], back: &mut [u32]) {
    let room = total.len() - next.len();
    next.fill(f32::NEG_INFINITY);
    back.fill(0);
    for off in 0..=room {
        let cost = stiff * off.abs_diff(room / 2) as f32;
        #[allow(clippy::cast_possible_truncation)] // a few steps
        let code = off as u32;
        for ((n, b), before) in next.iter_mut().zip(back.iter_mut()).zip(&total[off..]) {
            let v = before - cost;
            let better = v > *n;
            *n = if better { v } else { *n };
            *b = if better { code } else { *b };
        }
    }
    for (n, gain) in next.iter_mut().zip(here) {
        *n += gain;
    }
}

impl Rays {
    pub(crate) fn new(width: usize, height: usize, centre: (f32, f32)) -> Self {
        let (w, h) = (width as f32, height as f32);
        let far = centre.0.max(w - centre.0).hypot(centre.1.max(h - centre.1));
        let step = far / STEPS as f32;
        let directions: Vec<(f32, f32)> = (0..RAYS)
            .map(|k| {
                let a = (k as f32 + 0.5) / RAYS as f32 * std::f32::consts::TAU;
                (a.cos(), a.sin())
            })
            .collect();
        let place = |(dx, dy): &(f32, f32), s: usize| {
            let r = (s as f32 + 0.5) * step;
            let (x, y) = (centre.0 + r * dx, centre.1 + r * dy);
            if x < 0.0 || y < 0.0 || x >= w || y >= h {
                return None;
            }
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // checked just above
            Some(y as u32 as usize * width + x as u32 as usize)
        };
        // From inside a rectangle a ray leaves it once.
        let along = |d: &(f32, f32)| (0..STEPS).map_while(|s| place(d, s)).collect();
        let places = directions.iter().map(along).collect();
        Self { spokes: Spokes { centre, step, directions }, places }
    }

    /// The pixels of the plane along a ray, step by step as far as it goes.
    pub(crate) fn pixels(&self, ray: usize) -> &[usize] {
        &self.places[ray]
    }

    /// The closed outline (steps a ray) with the greatest sum of `gain`, where neighbouring rays may differ by at most
    /// `slack` steps and each step of difference costs `stiff`.
    ///
    /// `gain[ray][step]` is what an outline at that step earns. The circle is closed by running twice around and
    /// keeping the second half.
    pub(crate) fn best(gain: &[Vec<f32>], slack: usize, stiff: f32) -> Vec<usize> {
        // Beyond both ends there is nothing to come from.
        let mut total = vec![f32::NEG_INFINITY; STEPS + 2 * slack];
        total[slack..slack + STEPS].copy_from_slice(&gain[0]);
        let mut from = vec![0u32; 2 * RAYS * STEPS];
        let mut next = vec![0.0f32; STEPS];
        for k in 1..2 * RAYS {
            with_avx2!(step_on(
                &total,
                &gain[k % RAYS],
                stiff,
                &mut next,
                &mut from[k * STEPS..(k + 1) * STEPS]
            ));
            total[slack..slack + STEPS].copy_from_slice(&next);
        }
        let total = &total[slack..];
        let mut at = (0..STEPS).fold(0, |b, s| if total[s] > total[b] { s } else { b });
        let mut out = vec![0; RAYS];
        for k in (1..2 * RAYS).rev() {
            // Middle turn: both its ends have seen the whole circle.
            if (RAYS / 2..RAYS / 2 + RAYS).contains(&k) {
                out[k % RAYS] = at;
            }
            at = (at + from[k * STEPS + at] as usize).saturating_sub(slack);
        }
        out
    }

    /// The same rays on a plane `k` times as large, for filling.
    pub(crate) fn grown(self, k: f32) -> Spokes {
        let Spokes { centre, step, directions } = self.spokes;
        Spokes { centre: (centre.0 * k, centre.1 * k), step: step * k, directions }
    }
}

impl Spokes {
    /// What lies inside an outline given as radii in steps: pixels whose centres are inside the polygon, row by row.
    pub(crate) fn fill(&self, radii: &[f32], width: usize, height: usize) -> Mask {
        let corner = |k: usize| {
            let (dx, dy) = self.directions[k % RAYS];
            let r = radii[k % RAYS] * self.step;
            (self.centre.0 + r * dx, self.centre.1 + r * dy)
        };
        let mut out = Mask::new(width, height, false);
        let mut cuts: Vec<Vec<f32>> = vec![Vec::new(); height];
        for k in 0..RAYS {
            let (a, b) = (corner(k), corner(k + 1));
            let (low, high) = if a.1 < b.1 { (a, b) } else { (b, a) };
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // cut to the plane
            let (from, to) = (
                (low.1 - 0.5).ceil().max(0.0) as usize,
                ((high.1 - 0.5).ceil().max(0.0) as usize).min(height),
            );
            for (y, row) in cuts.iter_mut().enumerate().take(to).skip(from) {
                let t = (y as f32 + 0.5 - low.1) / (high.1 - low.1);
                row.push(low.0 + t * (high.0 - low.0));
            }
        }
        for (y, row) in cuts.iter_mut().enumerate() {
            row.sort_by(f32::total_cmp);
            for pair in row.chunks_exact(2) {
                #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // cut to the plane
                let (a, b) = (
                    (pair[0] - 0.5).ceil().max(0.0) as usize,
                    ((pair[1] - 0.5).ceil().max(0.0) as usize).min(width),
                );
                if a < b {
                    out.data[y * width + a..y * width + b].fill(true);
                }
            }
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The plain reference: every way to come, the innermost of equals.
    fn plain_best(gain: &[Vec<f32>], slack: usize, stiff: f32) -> Vec<usize> {
        let (mut total, mut from) = (gain[0].clone(), vec![vec![0; STEPS]]);
        for k in 1..2 * RAYS {
            let come = |s: usize| {
                let ways = s.saturating_sub(slack)..(s + slack + 1).min(STEPS);
                let value = |b: usize| total[b] - stiff * b.abs_diff(s) as f32;
                ways.fold(
                    None,
                    |best, b| if best.is_none_or(|o| value(b) > value(o)) { Some(b) } else { best },
                )
            };
            let back: Vec<usize> = (0..STEPS).map(|s| come(s).unwrap()).collect();
            let sum = |(s, b): (usize, &usize)| total[*b] - stiff * b.abs_diff(s) as f32 + gain[k % RAYS][s];
            total = back.iter().enumerate().map(sum).collect();
            from.push(back);
        }
        let mut way = vec![(0..STEPS).fold(0, |b, s| if total[s] > total[b] { s } else { b })];
        for back in from[1..].iter().rev() {
            way.push(back[way[way.len() - 1]]);
        }
        way.reverse();
        (0..RAYS).map(|k| way[if k < RAYS / 2 { k + RAYS } else { k }]).collect()
    }

    #[test]
    fn the_best_outline_is_that_of_the_plain_way() {
        for (seed, slack, stiff) in [(1u32, 0, 0.1), (3, 1, 0.0), (5, 3, 0.15), (7, 4, 0.12), (9, 4, 2.0)] {
            // Coarse gains, so that there are equals.
            let noise =
                |k: usize, s: usize| ((k * STEPS + s) as u32).wrapping_mul(2_654_435_761 ^ (seed << 9)) >> 29;
            let gain: Vec<Vec<f32>> =
                (0..RAYS).map(|k| (0..STEPS).map(|s| noise(k, s) as f32 * 0.125).collect()).collect();
            let got = Rays::best(&gain, slack, stiff);
            assert_eq!(got, plain_best(&gain, slack, stiff), "{slack} {stiff}");
        }
    }
}
