//! A closed outline around a centre, found ray by ray with the best total over all rays.

use crate::mask::Mask;
use serrata_frame::with_avx2;

/// How many rays. A multiple of four with half-step angles, so that a mirrored picture has mirrored rays.
pub(crate) const RAYS: usize = 360;

/// Steps along a ray from the centre to the farthest corner.
pub(crate) const STEPS: usize = 320;

/// Rays from a centre, in working pixels.
pub(crate) struct Rays {
    pub(crate) centre: (f32, f32),
    pub(crate) step: f32,
    directions: Vec<(f32, f32)>,
    /// The pixels along each ray, as far as the plane goes.
    places: Vec<Vec<usize>>,
}

/// From the greatest sums up to one ray, with as much room on both sides as neighbours may differ, to those of the next ray. `back`:
/// how much further than the innermost possible step each came from.
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
        Self { centre, step, directions, places }
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
            with_avx2!(step_on(&total, &gain[k % RAYS], stiff, &mut next, &mut from[k * STEPS..(k + 1) * STEPS]));
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
    pub(crate) fn grown(mut self, k: f32) -> Self {
        self.places.clear();
        self.centre = (self.centre.0 * k, self.centre.1 * k);
        self.step *= k;
        self
    }

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
