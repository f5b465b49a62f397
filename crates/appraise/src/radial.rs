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
                for p in low..(s + slack + 1).min(STEPS) {
                    let v = total[p] - stiff * s.abs_diff(p) as f32;
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

    /// What lies inside an outline given as radii in steps.
    pub(crate) fn fill(&self, radii: &[f32], width: usize, height: usize) -> Mask {
        Mask::from_fn(width, height, |x, y| {
            let (u, v) = (x as f32 + 0.5 - self.centre.0, y as f32 + 0.5 - self.centre.1);
            let turn = v.atan2(u).rem_euclid(std::f32::consts::TAU) / std::f32::consts::TAU * RAYS as f32 - 0.5;
            let turn = turn.rem_euclid(RAYS as f32);
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // 0 to RAYS
            let k = turn.floor() as usize % RAYS;
            let t = turn - turn.floor();
            let r = radii[k] * (1.0 - t) + radii[(k + 1) % RAYS] * t;
            u.hypot(v) <= r * self.step
        })
    }
}
