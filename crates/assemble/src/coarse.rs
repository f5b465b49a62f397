//! Where two frames may fit: every turn and shift, by correlation of whole fields.

use crate::field::{C, Field};
use crate::pose::Pose;
use crate::warp::Map;
use rayon::prelude::*;
use rustfft::{Fft, FftPlanner};
use serrata_eye::Rotation;
use std::sync::Arc;

/// A place where two frames may fit.
#[derive(Debug, Clone)]
pub(crate) struct Candidate {
    /// How frame B would lie, A being as it is.
    pub pose: Pose,
    /// Correlation of the overlap times the square root of its share of the vessels.
    pub score: f32,
}

/// Shifts and correlations by fast Fourier transform on a square of `n` pixels.
struct Plan {
    n: usize,
    forward: Arc<dyn Fft<f32>>,
    back: Arc<dyn Fft<f32>>,
}

impl Plan {
    fn new(n: usize) -> Self {
        let mut planner = FftPlanner::new();
        Self { n, forward: planner.plan_fft_forward(n), back: planner.plan_fft_inverse(n) }
    }

    /// In place, rows then columns; the result is transposed, which the way back undoes.
    fn run(&self, fft: &Arc<dyn Fft<f32>>, data: &mut [C]) {
        let mut scratch = vec![C::default(); fft.get_inplace_scratch_len()];
        for _ in 0..2 {
            fft.process_with_scratch(data, &mut scratch);
            for y in 0..self.n {
                for x in y + 1..self.n {
                    data.swap(y * self.n + x, x * self.n + y);
                }
            }
        }
    }
}

/// Frame A as the search needs it.
struct Prepared {
    plan: Plan,
    field: Vec<C>,
    energy: Vec<C>,
    mask: Vec<C>,
    total: f32,
}

impl Prepared {
    fn new(a: &Field) -> Self {
        let n = (2 * a.width.max(a.height)).next_power_of_two();
        let plan = Plan::new(n);
        let lay = |f: &dyn Fn(usize) -> C| {
            let mut out = vec![C::default(); n * n];
            for y in 0..a.height {
                for x in 0..a.width {
                    out[y * n + x] = f(y * a.width + x);
                }
            }
            plan.run(&plan.forward, &mut out);
            out
        };
        let field = lay(&|i| a.data[i]);
        let energy = lay(&|i| C::new(a.data[i].norm_sqr(), 0.0));
        let mask = lay(&|i| C::new(f32::from(u8::from(a.seen[i])), 0.0));
        let total = a.data.iter().map(C::norm_sqr).sum::<f32>().max(1e-9);
        Self { plan, field, energy, mask, total }
    }

    /// The best shifts of a field drawn on the square: score and shift in pixels.
    #[allow(clippy::cast_precision_loss)] // pixels
    fn shifts(&self, drawn: &[C], seen: &[bool]) -> Vec<(f32, [f64; 2])> {
        let n = self.plan.n;
        let total = drawn.iter().map(C::norm_sqr).sum::<f32>().max(1e-9);
        let mut f = drawn.to_vec();
        self.plan.run(&self.plan.forward, &mut f);
        let mut both: Vec<C> =
            drawn.iter().zip(seen).map(|(d, s)| C::new(f32::from(u8::from(*s)), d.norm_sqr())).collect();
        self.plan.run(&self.plan.forward, &mut both);
        for (f, a) in f.iter_mut().zip(&self.field) {
            *f = a.conj() * *f;
        }
        let mut norms = vec![C::default(); n * n];
        for y in 0..n {
            for x in 0..n {
                let (i, o) = (y * n + x, (n - y) % n * n + (n - x) % n);
                let (p, q) = (both[i], both[o].conj());
                let (mask, energy) = ((p + q) * 0.5, (p - q) * C::new(0.0, -0.5));
                norms[i] = self.energy[i].conj() * mask + C::i() * self.mask[i].conj() * energy;
            }
        }
        self.plan.run(&self.plan.back, &mut f);
        self.plan.run(&self.plan.back, &mut norms);
        let scale = 1.0 / (n * n) as f32;
        let score: Vec<f32> = f
            .iter()
            .zip(&norms)
            .map(|(c, e)| {
                let (a, b) = (e.re * scale / self.total, e.im * scale / total);
                if a < 0.06 || b < 0.06 {
                    return 0.0;
                }
                let both = (a * b).sqrt();
                c.re * scale / (both * (self.total * total).sqrt()) * both.sqrt()
            })
            .collect();
        peaks(&score, n)
    }
}

/// The two highest places at least four pixels apart, as signed shifts.
#[allow(clippy::cast_precision_loss)] // pixels
fn peaks(score: &[f32], n: usize) -> Vec<(f32, [f64; 2])> {
    let mut out: Vec<(f32, [f64; 2])> = Vec::new();
    let signed = |i: usize| if i >= n / 2 { i as f64 - n as f64 } else { i as f64 };
    for _ in 0..2 {
        let mut best = (0.0f32, [0.0; 2]);
        for (i, s) in score.iter().enumerate().filter(|(_, s)| **s > 0.0) {
            let at = [signed(i % n), signed(i / n)];
            if *s > best.0 && out.iter().all(|o| (o.1[0] - at[0]).hypot(o.1[1] - at[1]) >= 4.0) {
                best = (*s, at);
            }
        }
        if best.0 > 0.0 {
            out.push(best);
        }
    }
    out
}

/// One way in which frame B may be turned before it is shifted.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Guess {
    pub rotation: Rotation,
    /// How much larger B's retina is drawn than A's.
    pub scale: f64,
}

/// All guesses within the limits: tilts by `tilt_deg` in eight directions, torsion to ± 24° in steps of 4°, scales.
pub(crate) fn guesses(tilts_deg: &[f64], scales: &[f64]) -> Vec<Guess> {
    let mut out = Vec::new();
    for tilt in tilts_deg {
        let directions = if *tilt == 0.0 { 1 } else { 8 };
        for k in 0..directions {
            for torsion in -6..=6 {
                for scale in scales {
                    let tilted = Rotation::tilting(f64::from(k) * 45.0, *tilt);
                    let rotation = Rotation::turning(f64::from(torsion) * 4.0).then(tilted);
                    out.push(Guess { rotation, scale: *scale });
                }
            }
        }
    }
    out
}

/// Tries all guesses and gives the best places, best first, at most `most`.
pub(crate) fn search(
    a: &Field,
    pose_a: &Pose,
    b: &Field,
    lens_b: crate::Lens,
    guesses: &[Guess],
    most: usize,
) -> Vec<Candidate> {
    let prepared = Prepared::new(a);
    let mut found: Vec<Candidate> = guesses
        .par_iter()
        .flat_map_iter(|g| {
            let start = start(lens_b, g);
            let (drawn, seen) = draw(a, pose_a, b, &start, prepared.plan.n);
            let shifts = prepared.shifts(&drawn, &seen);
            shifts.into_iter().filter_map(move |(score, shift)| {
                settle(a, pose_a, b, &start, shift).map(|pose| Candidate { pose, score })
            })
        })
        .collect();
    found.sort_by(|p, q| q.score.total_cmp(&p.score));
    let mut kept: Vec<Candidate> = Vec::new();
    for c in found {
        if kept.len() == most {
            break;
        }
        if kept.iter().all(|k| apart(&k.pose, &c.pose)) {
            kept.push(c);
        }
    }
    kept
}

/// Whether two poses put the frame's middle or side to places more than 3 % of the side apart.
pub(crate) fn apart(a: &Pose, b: &Pose) -> bool {
    let (m, h) = (a.lens.middle(), a.lens.half());
    [[0.0, 0.0], [0.5, 0.0], [0.0, 0.5]].iter().any(|o| {
        let p = [m[0] + o[0] * h, m[1] + o[1] * h];
        let q = b.to_frame(a.to_sphere(p));
        (p[0] - q[0]).hypot(p[1] - q[1]) > 0.06 * h
    })
}

/// The pose of a guess before the shift.
fn start(lens: crate::Lens, g: &Guess) -> Pose {
    let mut pose = Pose::turned(lens, g.rotation);
    let k = 1.0 / g.scale - 1.0;
    pose.bend[0] = [k, 0.0];
    pose.bend[1] = [0.0, k];
    pose
}

/// Field B as it would lie around field A, on a square of `n` pixels that wraps round: A's pixels come first.
#[allow(clippy::cast_precision_loss)] // pixels
fn draw(a: &Field, pose_a: &Pose, b: &Field, pose_b: &Pose, n: usize) -> (Vec<C>, Vec<bool>) {
    // A field of the square's size whose origin lies half the free room before A's.
    let (ox, oy) = ((n - a.width) / 2, (n - a.height) / 2);
    let (dx, dy) = (ox as f64 * a.step, oy as f64 * a.step);
    let (mut out, mut seen) = (vec![C::default(); n * n], vec![false; n * n]);
    let across = n / 4 + 1;
    let nodes: Vec<[f64; 2]> = (0..across * across)
        .map(|i| {
            let p = [(i % across * 4) as f64 * a.step - dx, (i / across * 4) as f64 * a.step - dy];
            pose_b.to_frame(pose_a.to_sphere(p))
        })
        .collect();
    let map = Map::of_nodes(across, nodes, 4);
    for y in 0..n {
        for x in 0..n {
            let (p, turn) = map.at(x as f64 + 0.5, y as f64 + 0.5);
            let (v, there) = b.at(p[0] / b.step, p[1] / b.step);
            if there {
                let k = (y + n - oy) % n * n + (x + n - ox) % n;
                out[k] = v * turn.conj();
                seen[k] = true;
            }
        }
    }
    (out, seen)
}

/// Turns a shift in A's pixels into a pose of B.
#[allow(clippy::cast_precision_loss)] // pixels
fn settle(a: &Field, pose_a: &Pose, b: &Field, start: &Pose, shift: [f64; 2]) -> Option<Pose> {
    let mut ties = Vec::new();
    for j in 0..9 {
        for i in 0..9 {
            let p = [(i as f64 + 0.5) / 9.0 * a.width as f64, (j as f64 + 0.5) / 9.0 * a.height as f64];
            let from = [p[0] * a.step, p[1] * a.step];
            let to = [(p[0] + shift[0]) * a.step, (p[1] + shift[1]) * a.step];
            let to = start.to_frame(pose_a.to_sphere(to));
            let (w, h) = (b.width as f64 * b.step, b.height as f64 * b.step);
            if to[0] > 0.0 && to[1] > 0.0 && to[0] < w && to[1] < h {
                ties.push(crate::fit::Tie::plain(pose_a.to_sphere(from), to));
            }
        }
    }
    // A shift in the plane is a tilt of the sphere; what scale there was stays.
    (ties.len() >= 6).then(|| crate::fit::rotate(start, &ties))
}
