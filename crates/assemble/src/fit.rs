//! Robust fitting of a pose to ties.

use crate::pose::{Local, Pose, TERMS, small, terms};
use crate::solve::{Normal, back};
use serrata_eye::{Direction, Rotation};
use serrata_words::Point;

/// A place of the sphere that was found in a frame.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Tie {
    /// Where it is on the sphere.
    pub on: Direction,
    /// Where it was found, frame pixels.
    pub at: Point,
    /// How well each direction is known: a symmetric matrix (xx, xy, yy) with largest eigenvalue 1.
    pub sure: [f64; 3],
    /// How much it counts, 0 to 1.
    pub weight: f64,
}

impl Tie {
    /// A tie that is sure in both directions.
    pub const fn plain(on: Direction, at: Point) -> Self {
        Self { on, at, sure: [1.0, 0.0, 1.0], weight: 1.0 }
    }

    pub fn length(&self, r: [f64; 2]) -> f64 {
        let [xx, xy, yy] = self.sure;
        (xx * r[0] * r[0] + 2.0 * xy * r[0] * r[1] + yy * r[1] * r[1]).max(0.0).sqrt()
    }
}

/// Where the ideal picture shows the tie, minus where the frame shows it, pixels.
pub(crate) fn residual(pose: &Pose, to_view: Rotation, t: &Tie) -> [f64; 2] {
    let (p, q) = (pose.lens.projection.to_picture(to_view.apply(t.on)), pose.ideal(t.at));
    [p[0] - q[0], p[1] - q[1]]
}

/// Length of every residual in units in which the surest direction counts whole, pixels.
pub(crate) fn residuals(pose: &Pose, ties: &[Tie]) -> Vec<f64> {
    let to_view = pose.rotation.inverse();
    ties.iter().map(|t| t.length(residual(pose, to_view, t))).collect()
}

/// Tukey's weight of a residual in units of the scale.
pub(crate) fn tukey(e: f64) -> f64 {
    let k = 1.0 - (e / 4.685).powi(2);
    if k > 0.0 { k * k } else { 0.0 }
}

/// The weight of each tie as its residual calls for.
pub(crate) fn tukeys(pose: &Pose, ties: &[Tie], least: f64) -> Vec<f64> {
    let lengths = residuals(pose, ties);
    let s = scale(&lengths, least);
    lengths.iter().zip(ties).map(|(e, t)| t.weight * tukey(e / s)).collect()
}

/// Robust scale of residuals: 1.4826 × weighted-blind median of lengths, for lengths of two components (÷ 1.18).
pub(crate) fn scale(lengths: &[f64], least: f64) -> f64 {
    let mut v = lengths.to_vec();
    if v.is_empty() {
        return least;
    }
    let k = v.len() / 2;
    (v.select_nth_unstable_by(k, f64::total_cmp).1.abs() / 1.1774).max(least)
}

/// Turns a pose so that it fits the ties best in the least squares sense.
pub(crate) fn rotate(start: &Pose, ties: &[Tie]) -> Pose {
    let mut pose = start.clone();
    for _ in 0..6 {
        let Some(next) = step(&pose, ties, &vec![1.0; ties.len()], 0, 0.0) else { break };
        pose = next;
    }
    pose
}

/// How many numbers an order of distortion has on top of the rotation: none, affine, quadratic, cubic.
pub(crate) const ORDERS: [usize; 4] = [0, 2, 5, 9];

/// Fits rotation and distortion of an order, robustly. Returns the pose and the weight of each tie.
pub(crate) fn robust(start: &Pose, ties: &[Tie], order: usize, least: f64) -> (Pose, Vec<f64>) {
    let mut pose = start.clone();
    pose.bend[ORDERS[order.min(3)]..].fill([0.0; 2]);
    let mut weights = vec![1.0; ties.len()];
    for round in 0..12 {
        let lengths = residuals(&pose, ties);
        // Wide at first, so that a start that is a little off does not throw half of the ties out.
        let wide = [2.5, 1.8, 1.4, 1.2].get(round).copied().unwrap_or(1.0);
        let s = wide * scale(&lengths, least);
        for ((w, e), t) in weights.iter_mut().zip(&lengths).zip(ties) {
            *w = t.weight * tukey(e / s);
        }
        let Some(next) = step(&pose, ties, &weights, ORDERS[order.min(3)], s * s) else { break };
        pose = next;
    }
    pose.degrees_of_freedom[0] = numbers(order);
    (pose, weights)
}

/// How many numbers rotation and distortion of an order have: torsion is both, and counts once.
#[allow(clippy::cast_precision_loss)] // a few
pub(crate) fn numbers(order: usize) -> f64 {
    if order == 0 { 3.0 } else { 2.0 + 2.0 * ORDERS[order.min(3)] as f64 }
}

/// Usual size of each term (standard deviation, share of half the longer side): what holds the distortion where there
/// is no vessel. Judgement: position errors of some millimetres scale and shear a picture by some per cent, and bend it
/// by less.
const USUAL: [f64; TERMS] = [0.1, 0.1, 0.03, 0.03, 0.03, 0.012, 0.012, 0.012, 0.012];

/// One Gauss–Newton step for the rotation and the first `many` terms of the distortion.
pub(crate) fn step(pose: &Pose, ties: &[Tie], weights: &[f64], many: usize, variance: f64) -> Option<Pose> {
    let n = 3 + 2 * many;
    let h = pose.lens.half();
    let mut normal = Normal::new(n);
    let to_view = pose.rotation.inverse();
    let nudge = 1e-5;
    let turned: Vec<Rotation> = (0..3)
        .map(|k| {
            let mut w = [0.0; 3];
            w[k] = nudge;
            small(w).then(pose.rotation).inverse()
        })
        .collect();
    let mut row_x: Vec<(usize, f64)> = Vec::new();
    let mut row_y: Vec<(usize, f64)> = Vec::new();
    for (t, w) in ties.iter().zip(weights).filter(|(_, w)| **w > 0.0) {
        let r = residual(pose, to_view, t);
        row_x.clear();
        row_y.clear();
        for (k, turned) in turned.iter().enumerate() {
            let q = residual(pose, *turned, t);
            row_x.push((k, (q[0] - r[0]) / nudge));
            row_y.push((k, (q[1] - r[1]) / nudge));
        }
        for (k, term) in terms(&pose.lens, t.at).iter().take(many).enumerate() {
            row_x.push((3 + 2 * k, -h * term));
            row_y.push((4 + 2 * k, -h * term));
        }
        // Both components along the axes in which they are sure.
        for (c, s, sure) in axes(t.sure) {
            let row: Vec<(usize, f64)> = row_x
                .iter()
                .map(|(i, v)| (*i, c * v))
                .chain(row_y.iter().map(|(i, v)| (*i, s * v)))
                .collect();
            normal.add(&merged(&row), -(c * r[0] + s * r[1]), w * sure);
        }
    }
    // Torsion is both a rotation and a distortion: the pull on the distortion decides.
    for k in 0..2 * many {
        let pull = variance / USUAL[k / 2].powi(2);
        normal.pull(3 + k, pull);
        normal.b[3 + k] -= pull * pose.bend[k / 2][k % 2];
    }
    let x = normal.solve()?;
    let mut next = pose.clone();
    next.rotation = small([x[0], x[1], x[2]]).then(pose.rotation);
    for k in 0..2 * many {
        next.bend[k / 2][k % 2] += x[3 + k];
    }
    x.iter().all(|v| v.is_finite()).then_some(next)
}

/// Adds up entries of a row that name the same unknown.
fn merged(row: &[(usize, f64)]) -> Vec<(usize, f64)> {
    let mut out: Vec<(usize, f64)> = Vec::with_capacity(row.len());
    for (i, v) in row {
        match out.iter_mut().find(|(j, _)| j == i) {
            Some((_, sum)) => *sum += v,
            None => out.push((*i, *v)),
        }
    }
    out
}

/// The two axes of a symmetric matrix: cosine, sine and eigenvalue of each.
pub(crate) fn axes([xx, xy, yy]: [f64; 3]) -> [(f64, f64, f64); 2] {
    let (mean, half) = (0.5 * (xx + yy), 0.5 * (xx - yy));
    let spread = half.hypot(xy);
    let angle = 0.5 * xy.atan2(half);
    let (s, c) = angle.sin_cos();
    [(c, s, mean + spread), (-s, c, (mean - spread).max(0.0))]
}

/// A tie as the local correction sees it: the knots it leans on with their shares, what is left in pixels, its weight.
type Row = (Vec<(usize, f64)>, [f64; 2], f64);

/// Adds a smooth local correction where it pays: a cubic B-spline over `cells`, held smooth, the strength of the hold
/// chosen by generalised cross-validation (Craven & Wahba 1979) among a few. Returns the pose as it is where no
/// correction predicts better than none.
pub(crate) fn local(pose: &Pose, ties: &[Tie], weights: &[f64], cells: [usize; 2]) -> Pose {
    let s = &pose.lens.projection;
    let to_view = pose.rotation.inverse();
    let (kx, ky) = (cells[0] + 3, cells[1] + 3);
    let n = kx * ky;
    let rows: Vec<Row> = ties
        .iter()
        .zip(weights)
        .filter(|(_, w)| **w > 0.0)
        .map(|(t, w)| {
            let k = Local::weights(cells, t.at[0] / f64::from(s.width), t.at[1] / f64::from(s.height));
            (k.to_vec(), residual(pose, to_view, t), *w * axes(t.sure)[1].2.max(0.25))
        })
        .collect();
    let many: f64 = rows.iter().map(|r| r.2).sum();
    let none: f64 =
        rows.iter().map(|(_, r, w)| w * (r[0] * r[0] + r[1] * r[1])).sum::<f64>() / many.max(1e-9);
    let mut best: Option<(f64, f64, Vec<[f64; 2]>)> = None;
    // Both components have the same system.
    let (mut seen, mut right) = (Normal::new(n), vec![0.0; n]);
    for (row, r, w) in &rows {
        seen.add(row, r[0], *w);
        row.iter().for_each(|(i, v)| right[*i] += w * v * r[1]);
    }
    let dot = |p: &[f64], q: &[f64]| p.iter().zip(q).map(|(p, q)| p * q).sum::<f64>();
    for hold in [0.03, 0.1, 0.3, 1.0, 3.0, 10.0, 30.0] {
        let mut normal = seen.clone();
        smooth(&mut normal, kx, ky, hold * many / n as f64);
        let Some(l) = normal.factor() else { continue };
        let (x, y) = (back(&l, n, &seen.b), back(&l, n, &right));
        let trace = seen.trace_under(&l);
        let left = seen.form(&x) + seen.form(&y) - 2.0 * (dot(&x, &seen.b) + dot(&y, &right));
        let rest = none * many + left;
        let share = (INDEPENDENT * trace / many).min(0.999);
        let gcv = rest / many / (1.0 - share).powi(2);
        if best.as_ref().is_none_or(|b| gcv < b.0) {
            best = Some((gcv, 2.0 * trace, x.into_iter().zip(y).map(|(x, y)| [x, y]).collect()));
        }
    }
    let mut out = pose.clone();
    if let Some((gcv, dof, knots)) = best
        && gcv < 0.98 * none
    {
        out.local = Some(Local { cells, knots });
        out.degrees_of_freedom[1] += dof;
    }
    out
}

/// Holds neighbouring knots' second differences small, and the knots themselves a little.
fn smooth(normal: &mut Normal, kx: usize, ky: usize, hold: f64) {
    for j in 0..ky {
        for i in 0..kx {
            let k = j * kx + i;
            normal.pull(k, 0.02 * hold);
            if i + 2 < kx {
                normal.add(&[(k, 1.0), (k + 1, -2.0), (k + 2, 1.0)], 0.0, hold);
            }
            if j + 2 < ky {
                normal.add(&[(k, 1.0), (k + kx, -2.0), (k + 2 * kx, 1.0)], 0.0, hold);
            }
            if i + 1 < kx && j + 1 < ky {
                normal.add(&[(k, 1.0), (k + 1, -1.0), (k + kx, -1.0), (k + kx + 1, 1.0)], 0.0, 2.0 * hold);
            }
        }
    }
}

/// How many neighbouring patches say as much as one that stands alone (judgement: with 3, half of the simulated pairs
/// got a distortion or a local correction though they were only turned).
pub(crate) const INDEPENDENT: f64 = 8.0;

/// Bayes' criterion of a fit (Schwarz 1978): what is left, and what the numbers cost. Smaller is better.
pub(crate) fn criterion(pose: &Pose, ties: &[Tie], least: f64, numbers: f64) -> f64 {
    criterion_of(pose, ties, least, numbers, INDEPENDENT)
}

/// The same where so many neighbouring patches say as much as one that stands alone.
pub(crate) fn criterion_of(pose: &Pose, ties: &[Tie], least: f64, numbers: f64, alike: f64) -> f64 {
    let lengths = residuals(pose, ties);
    // Patches overlap, and vessels shift their look from kind to kind alike over whole neighbourhoods: one in
    // INDEPENDENT counts. Both components count.
    #[allow(clippy::cast_precision_loss)] // some hundreds
    let n = 2.0 * lengths.len() as f64 / alike;
    let s = scale(&lengths, least);
    let cut = 4.685 * s;
    #[allow(clippy::cast_precision_loss)] // some hundreds
    let mean = lengths.iter().map(|e| e.min(cut).powi(2)).sum::<f64>() / lengths.len().max(1) as f64;
    n * mean.max(least * least).ln() + numbers * n.max(2.0).ln()
}

const _: () = assert!(ORDERS[3] == TERMS);
