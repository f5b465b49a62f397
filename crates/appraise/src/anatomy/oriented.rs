//! Ridges that go on in a direction: vessels are long, grain and spots are not.

use crate::filter;
use serrata_frame::{Plane, with_avx2};
use std::f32::consts::PI;

/// Directions in which a ridge may run, evenly over half a turn; twelve and sixteen gave no more.
const DIRECTIONS: u8 = 8;

/// How far a ridge is gathered along its direction: standard deviation in those of its width. The second derivative of a Gaussian three
/// times as long as wide, since the variances of the two smoothings add up.
const LONG: f32 = 2.83;

/// Curvature across the ridge through each pixel, averaged along it: the strongest over the directions, 0 where there is none. `sign` is +1
/// for dark ridges and −1 for bright ones.
///
/// Second derivatives in any direction follow from three planes (Freeman & Adelson, IEEE Trans. PAMI 1991;13:891, from memory); lines of them
/// are summed as matched filters do (Chaudhuri et al., IEEE Trans. Med. Imaging 1989;8:263, from memory).
pub(crate) fn ridges(log: &Plane, sigma: f32, sign: f32) -> Plane {
    let (w, h) = (log.width, log.height);
    let mut best = Plane::new(w, h, 0.0);
    if w < 3 || h < 3 {
        return best;
    }
    let calm = filter::gauss(log, sigma);
    let second = Second::of(&calm, sign);
    let mut across = Plane::new(w, h, 0.0);
    for k in 0..DIRECTIONS {
        let (s, c) = (PI * f32::from(k) / f32::from(DIRECTIONS)).sin_cos();
        second.across(c, s, &mut across);
        let taps = taps(c, s, sigma);
        with_avx2!(gather(&across, &taps, &mut best));
    }
    best
}

/// Second derivatives, 0 at the border.
struct Second {
    xx: Plane,
    yy: Plane,
    xy: Plane,
}

impl Second {
    fn of(p: &Plane, sign: f32) -> Self {
        let (w, h, d) = (p.width, p.height, &p.data);
        let inner = |f: &dyn Fn(usize) -> f32| {
            Plane::from_fn(w, h, |x, y| {
                if x > 0 && y > 0 && x + 1 < w && y + 1 < h { sign * f(y * w + x) } else { 0.0 }
            })
        };
        Self {
            xx: inner(&|i| d[i - 1] - 2.0 * d[i] + d[i + 1]),
            yy: inner(&|i| d[i - w] - 2.0 * d[i] + d[i + w]),
            xy: inner(&|i| 0.25 * (d[i + w + 1] - d[i + w - 1] - d[i - w + 1] + d[i - w - 1])),
        }
    }

    /// Second derivative across the direction (`c`, `s`).
    fn across(&self, c: f32, s: f32, to: &mut Plane) {
        let (cc, ss, cs) = (c * c, s * s, 2.0 * c * s);
        let all = self.xx.data.iter().zip(&self.yy.data).zip(&self.xy.data);
        for (t, ((xx, yy), xy)) in to.data.iter_mut().zip(all) {
            *t = ss * xx + cc * yy - cs * xy;
        }
    }
}

/// Whole steps along and down the picture, with the weight of the pixel there.
type Tap = (isize, isize, f32);

/// Pixels along a direction with Gaussian weights that add up to 1; between two pixels both have their share.
fn taps(c: f32, s: f32, sigma: f32) -> Vec<Tap> {
    let level = c.abs() >= s.abs();
    let (main, slope) = if level { (c.abs(), s / c) } else { (s.abs(), c / s) };
    // The smoothing across has reached as far along: steps of its width miss nothing.
    #[allow(clippy::cast_possible_truncation)] // some pixels
    let step = ((sigma * main) as isize).max(1);
    let long = LONG * sigma;
    #[allow(clippy::cast_possible_truncation)] // some pixels
    let many = (2.2 * long * main / step as f32).ceil() as isize;
    let mut out = Vec::new();
    for k in -many..=many {
        let at = k * step;
        let aside = at as f32 * slope;
        let weight = (-0.5 * (at as f32 / main / long).powi(2)).exp();
        let part = aside - aside.floor();
        #[allow(clippy::cast_possible_truncation)] // some pixels
        let low = aside.floor() as isize;
        for (off, share) in [(low, 1.0 - part), (low + 1, part)] {
            if share > 1e-3 {
                out.push(if level { (at, off, weight * share) } else { (off, at, weight * share) });
            }
        }
    }
    let sum: f32 = out.iter().map(|t| t.2).sum();
    out.iter_mut().for_each(|t| t.2 /= sum);
    out
}

/// Raises `best` to the weighted sums of `p`; beyond the border there is nothing.
#[allow(clippy::inline_always)] // see `with_avx2`
#[inline(always)]
#[allow(clippy::cast_possible_wrap, clippy::cast_sign_loss)] // rows and columns of a picture
fn gather(p: &Plane, taps: &[Tap], best: &mut Plane) {
    let (w, h) = (p.width, p.height);
    let mut sum = vec![0.0f32; w];
    for y in 0..h {
        sum.fill(0.0);
        for &(dx, dy, weight) in taps {
            let row = y as isize + dy;
            if row < 0 || row >= h as isize || dx.unsigned_abs() >= w {
                continue;
            }
            let from = p.row(row as usize);
            let (to, from) = if dx >= 0 {
                (&mut sum[..w - dx as usize], &from[dx as usize..])
            } else {
                (&mut sum[dx.unsigned_abs()..], &from[..w - dx.unsigned_abs()])
            };
            for (t, f) in to.iter_mut().zip(from) {
                *t += weight * f;
            }
        }
        for (b, s) in best.data[y * w..(y + 1) * w].iter_mut().zip(&sum) {
            *b = b.max(*s);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at_best(p: &Plane) -> f32 {
        ridges(p, 1.5, 1.0).at(p.width / 2, p.height / 2)
    }

    /// A dark line of a pixel and a half through the middle, at an angle.
    fn line(angle: f32) -> Plane {
        let (s, c) = angle.sin_cos();
        Plane::from_fn(81, 81, |x, y| {
            let aside = (y as f32 - 40.0) * c - (x as f32 - 40.0) * s;
            -(-0.5 * (aside / 1.5).powi(2)).exp()
        })
    }

    #[test]
    fn a_line_is_nearly_as_strong_at_any_angle() {
        let level = at_best(&line(0.0));
        // Half-way between two directions it is weakest.
        for k in 0..32u8 {
            let share = at_best(&line(f32::from(k) * PI / 32.0)) / level;
            assert!((0.78..=1.02).contains(&share), "{k}: {share}");
        }
    }

    #[test]
    fn a_spot_is_much_weaker_than_a_line_of_its_width() {
        let spot = Plane::from_fn(81, 81, |x, y| {
            let r2 = (x as f32 - 40.0).powi(2) + (y as f32 - 40.0).powi(2);
            -(-0.5 * r2 / 2.25).exp()
        });
        let share = at_best(&spot) / at_best(&line(0.3));
        assert!(share < 0.5, "{share}");
    }

    #[test]
    fn bright_lines_are_no_dark_ridges() {
        let mut bright = line(0.5);
        bright.data.iter_mut().for_each(|v| *v = -*v);
        assert!(at_best(&bright) < 0.05 * at_best(&line(0.5)));
        assert!((ridges(&bright, 1.5, -1.0).at(40, 40) - at_best(&line(0.5))).abs() < 1e-6);
    }

    /// The plain reference: the kernel written out.
    #[test]
    fn it_is_the_second_derivative_of_a_long_gaussian() {
        let p = line(0.0);
        let (wide, long) = (1.5f32, 1.5 * (1.0 + LONG * LONG).sqrt());
        let mut sum = 0.0;
        for y in 0..81usize {
            for x in 0..81usize {
                let (u, v) = (x as f32 - 40.0, y as f32 - 40.0);
                let bell =
                    (-0.5 * ((u / long).powi(2) + (v / wide).powi(2))).exp() / (2.0 * PI * wide * long);
                sum += p.at(x, y) * bell * ((v / wide).powi(2) - 1.0) / (wide * wide);
            }
        }
        let got = at_best(&p);
        assert!((got / sum - 1.0).abs() < 0.08, "{got} against {sum}");
    }

    #[test]
    fn planes_too_small_for_a_derivative_have_no_ridges() {
        for (w, h) in [(0, 0), (1, 1), (2, 9), (9, 2), (3, 3)] {
            let found = ridges(&Plane::from_fn(w, h, |x, y| (x * 7 + y * 3) as f32), 1.0, 1.0);
            assert!(found.data.len() == w * h && found.data.iter().all(|v| v.is_finite()));
            assert!(w.min(h) > 2 || found.data.iter().all(|v| *v == 0.0));
        }
    }
}
