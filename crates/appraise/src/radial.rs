//! A closed outline around a centre, found ray by ray with the best total over all rays.

use crate::mask::Mask;

/// How many rays. A multiple of four with half-step angles, so that a mirrored picture has mirrored rays.
pub(crate) const RAYS: usize = 360;

/// Steps along a ray from the centre to the farthest corner.
pub(crate) const STEPS: usize = 320;

/// Rays from a centre, in working pixels.
pub(crate) struct Rays {
    pub(crate) centre: (f32, f32),
    pub(crate) step: f32,
    directions: Vec<(f32, f32)>,
}

impl Rays {
    pub(crate) fn new(width: usize, height: usize, centre: (f32, f32)) -> Self {
        let (w, h) = (width as f32, height as f32);
        let far = centre.0.max(w - centre.0).hypot(centre.1.max(h - centre.1));
        let directions = (0..RAYS)
            .map(|k| {
                let a = (k as f32 + 0.5) / RAYS as f32 * std::f32::consts::TAU;
                (a.cos(), a.sin())
            })
            .collect();
        Self { centre, step: far / STEPS as f32, directions }
    }

    /// The working pixel at a step of a ray, or `None` outside the plane.
    pub(crate) fn pixel(&self, ray: usize, step: usize, width: usize, height: usize) -> Option<usize> {
        let (dx, dy) = self.directions[ray];
        let r = (step as f32 + 0.5) * self.step;
        let (x, y) = ((self.centre.0 + r * dx).floor(), (self.centre.1 + r * dy).floor());
        if x < 0.0 || y < 0.0 || x >= width as f32 || y >= height as f32 {
            return None;
        }
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // checked just above
        Some(y as usize * width + x as usize)
    }

    /// The closed outline (steps a ray) with the greatest sum of `gain`, where neighbouring rays may differ by at most
    /// `slack` steps and each step of difference costs `stiff`.
    ///
    /// `gain[ray][step]` is what an outline at that step earns. The circle is closed by running twice around and
    /// keeping the second half.
    pub(crate) fn best(gain: &[Vec<f32>], slack: usize, stiff: f32) -> Vec<usize> {
        let mut total = gain[0].clone();
        let mut from = Vec::with_capacity(2 * RAYS);
        for k in 1..2 * RAYS {
            let here = &gain[k % RAYS];
            let mut next = vec![f32::NEG_INFINITY; STEPS];
            let mut back = vec![0usize; STEPS];
            for s in 0..STEPS {
                let low = s.saturating_sub(slack);
                let high = (s + slack + 1).min(STEPS);
                for (p, before) in (low..).zip(&total[low..high]) {
                    let v = before - stiff * s.abs_diff(p) as f32;
                    if v > next[s] {
                        (next[s], back[s]) = (v, p);
                    }
                }
                next[s] += here[s];
            }
            total = next;
            from.push(back);
        }
        let mut at = (0..STEPS).fold(0, |b, s| if total[s] > total[b] { s } else { b });
        let mut out = vec![0; RAYS];
        for k in (1..2 * RAYS).rev() {
            // Middle turn: both its ends have seen the whole circle.
            if (RAYS / 2..RAYS / 2 + RAYS).contains(&k) {
                out[k % RAYS] = at;
            }
            at = from[k - 1][at];
        }
        out
    }

    /// The same rays on a plane `k` times as large.
    pub(crate) fn grown(mut self, k: f32) -> Self {
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
