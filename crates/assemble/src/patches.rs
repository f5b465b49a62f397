//! Local matching: small squares of one field sought in the other, drawn in the same pixels.

use crate::field::{C, Field};
use rayon::prelude::*;

/// What became of one square.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Patch {
    /// Middle of the square, field pixels.
    pub at: [f64; 2],
    /// Where it was found, relative to its middle, field pixels.
    pub shift: [f64; 2],
    /// Correlation there, −1 to 1.
    pub peak: f32,
    /// Highest correlation elsewhere.
    pub second: f32,
    /// How sharp the peak is: minus the second derivatives (xx, xy, yy), largest eigenvalue 1.
    pub sure: [f64; 3],
}

/// How squares are laid and sought.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Search {
    /// Half the side of a square, pixels.
    pub radius: usize,
    /// How far it is sought, pixels.
    pub reach: usize,
    /// Distance between the middles of squares, pixels.
    pub spacing: usize,
}

/// Seeks each square of `a` that shows vessels in `b`.
pub(crate) fn seek(a: &Field, b: &Field, s: Search) -> Vec<Patch> {
    let (w, h) = (a.width, a.height);
    let edge = s.radius + s.reach + 1;
    if w <= 2 * edge || h <= 2 * edge {
        return Vec::new();
    }
    let (ea, eb) = (Sums::energy(a), Sums::energy(b));
    let (sa, sb) = (Sums::seen(a), Sums::seen(b));
    let mean = |f: &Field, e: &Sums, n: &Sums| e.whole(f) / n.whole(f).max(1.0);
    let side = (2 * s.radius + 1) as f64;
    let full = side * side;
    // A square with less than a third of the usual vessels says nothing.
    let least_a = 0.33 * mean(a, &ea, &sa) * full;
    let least_b = 0.25 * mean(b, &eb, &sb) * full;
    let middles: Vec<(usize, usize)> = (edge..h - edge)
        .step_by(s.spacing)
        .flat_map(|y| (edge..w - edge).step_by(s.spacing).map(move |x| (x, y)))
        .filter(|&(x, y)| {
            let (r, wide) = (s.radius, s.radius + s.reach);
            ea.square(x, y, r) >= least_a
                && sa.square(x, y, r) >= 0.6 * full
                && sb.square(x, y, r) >= 0.6 * full
                && eb.square(x, y, wide) >= least_b
        })
        .collect();
    middles.par_iter().filter_map(|&(x, y)| seek_one(a, b, &ea, &eb, least_b, x, y, s)).collect()
}

#[allow(clippy::too_many_arguments, clippy::cast_precision_loss, clippy::cast_possible_truncation)] // inner loop
fn seek_one(
    a: &Field,
    b: &Field,
    ea: &Sums,
    eb: &Sums,
    least_b: f64,
    x: usize,
    y: usize,
    s: Search,
) -> Option<Patch> {
    let n = 2 * s.reach + 1;
    let mut score = vec![0f32; n * n];
    let own = ea.square(x, y, s.radius);
    for dy in 0..n {
        for dx in 0..n {
            let (bx, by) = (x + dx - s.reach, y + dy - s.reach);
            let mut sum = 0f32;
            for row in 0..=2 * s.radius {
                let from = |w: usize, x: usize, y: usize| (y + row - s.radius) * w + x - s.radius;
                let p = &a.data[from(a.width, x, y)..][..2 * s.radius + 1];
                let q = &b.data[from(b.width, bx, by)..][..2 * s.radius + 1];
                sum += dot(p, q);
            }
            let other = eb.square(bx, by, s.radius).max(least_b);
            score[dy * n + dx] = sum / (own * other).sqrt() as f32;
        }
    }
    let best = (0..n * n).max_by(|i, j| score[*i].total_cmp(&score[*j]))?;
    let (px, py) = (best % n, best / n);
    if px == 0 || py == 0 || px + 1 == n || py + 1 == n {
        return Some(Patch {
            at: [x as f64 + 0.5, y as f64 + 0.5],
            shift: [f64::NAN; 2],
            peak: score[best],
            second: score[best],
            sure: [0.0; 3],
        });
    }
    let near = |i: usize| (i % n).abs_diff(px).max((i / n).abs_diff(py)) <= 3;
    let second = (0..n * n).filter(|i| !near(*i)).map(|i| score[i]).fold(-1.0, f32::max);
    let at = |dx: usize, dy: usize| f64::from(score[(py + dy - 1) * n + px + dx - 1]);
    let (gx, gy) = (0.5 * (at(2, 1) - at(0, 1)), 0.5 * (at(1, 2) - at(1, 0)));
    let xx = -(at(2, 1) - 2.0 * at(1, 1) + at(0, 1));
    let yy = -(at(1, 2) - 2.0 * at(1, 1) + at(1, 0));
    let xy = -0.25 * (at(2, 2) - at(0, 2) - at(2, 0) + at(0, 0));
    let det = (xx * yy - xy * xy).max(1e-9);
    let off = [(yy * gx - xy * gy) / det, (xx * gy - xy * gx) / det].map(|v| v.clamp(-1.0, 1.0));
    let top = (0.5 * (xx + yy) + (0.25 * (xx - yy).powi(2) + xy * xy).sqrt()).max(1e-9);
    Some(Patch {
        at: [x as f64 + 0.5, y as f64 + 0.5],
        shift: [px as f64 - s.reach as f64 + off[0], py as f64 - s.reach as f64 + off[1]],
        peak: score[best],
        second,
        sure: [xx / top, xy / top, yy / top],
    })
}

/// Real part of the sum of conj(p)·q, eight at a time, so that the processor can.
fn dot(p: &[C], q: &[C]) -> f32 {
    let mut lanes = [0f32; 8];
    let (pc, qc) = (p.chunks_exact(4), q.chunks_exact(4));
    let rest: f32 = pc.remainder().iter().zip(qc.remainder()).map(|(p, q)| p.re * q.re + p.im * q.im).sum();
    for (p, q) in pc.zip(qc) {
        for k in 0..4 {
            lanes[2 * k] += p[k].re * q[k].re;
            lanes[2 * k + 1] += p[k].im * q[k].im;
        }
    }
    lanes.iter().sum::<f32>() + rest
}

/// Sums over rectangles of a plane.
struct Sums {
    across: usize,
    sums: Vec<f64>,
}

impl Sums {
    fn of(f: &Field, v: impl Fn(usize) -> f64) -> Self {
        let across = f.width + 1;
        let mut sums = vec![0.0; across * (f.height + 1)];
        for y in 0..f.height {
            let mut row = 0.0;
            for x in 0..f.width {
                row += v(y * f.width + x);
                sums[(y + 1) * across + x + 1] = sums[y * across + x + 1] + row;
            }
        }
        Self { across, sums }
    }

    fn energy(f: &Field) -> Self {
        Self::of(f, |i| f64::from(f.data[i].norm_sqr()))
    }

    fn seen(f: &Field) -> Self {
        Self::of(f, |i| f64::from(u8::from(f.seen[i])))
    }

    fn square(&self, x: usize, y: usize, r: usize) -> f64 {
        let (x0, y0, x1, y1) = (x - r, y - r, x + r + 1, y + r + 1);
        let s = |x: usize, y: usize| self.sums[y * self.across + x];
        s(x1, y1) - s(x0, y1) - s(x1, y0) + s(x0, y0)
    }

    fn whole(&self, f: &Field) -> f64 {
        self.sums[f.height * self.across + f.width]
    }
}

/// Correlation of two fields over all that both see, and the share of the first's seen pixels that both see.
#[allow(clippy::cast_precision_loss)] // pixels
pub(crate) fn agreement(a: &Field, b: &Field) -> (f64, f64) {
    let (mut sum, mut ea, mut eb, mut both, mut one) = (0.0f64, 0.0f64, 0.0f64, 0usize, 0usize);
    for i in 0..a.data.len() {
        one += usize::from(a.seen[i]);
        if a.seen[i] && b.seen[i] {
            both += 1;
            let (p, q) = (a.data[i], b.data[i]);
            sum += f64::from(p.re * q.re + p.im * q.im);
            ea += f64::from(p.norm_sqr());
            eb += f64::from(q.norm_sqr());
        }
    }
    (sum / (ea * eb).sqrt().max(1e-12), both as f64 / one.max(1) as f64)
}
