//! The eye's movement during a sweep, found in what a pose leaves.

use crate::fit::{Tie, axes, criterion_of, residual, scale, step, tukey};
use crate::pose::{Pose, Sway, spline};
use crate::solve::{Normal, back};

/// Cells of the spline: a small jump of the eye takes some 25 ms, a tenth of a sweep of a quarter of a second.
const CELLS: usize = 24;

/// How many neighbouring places say as much as one that stands alone. Fewer than for distortions: a whole line must move,
/// which vessels that look different here and there do not.
pub(crate) const INDEPENDENT: f64 = 3.0;

/// Adds the sway of a frame to its pose where the ties call for one, lines being rows or columns; the pose is turned and
/// bent anew beneath it.
///
/// `many`: how many terms of the distortion are fitted; none: the pose stays where it is and only sways, as the sphere's
/// reference does. `least`: residuals below it mean nothing, pixels. A sway is kept where Bayes' criterion pays for it.
pub(crate) fn with_sway(plain: &Pose, ties: &[Tie], many: Option<usize>, least: f64) -> Pose {
    let cost = |p: &Pose| criterion_of(p, ties, least, p.degrees_of_freedom.iter().sum(), INDEPENDENT);
    let mut best = (cost(plain), plain.clone());
    for columns in [false, true] {
        let swayed = swayed(plain, ties, many, least, columns);
        let cost = cost(&swayed);
        if cost < best.0 {
            best = (cost, swayed);
        }
    }
    best.1
}

fn swayed(plain: &Pose, ties: &[Tie], many: Option<usize>, least: f64, columns: bool) -> Pose {
    let mut pose = Pose { sway: None, ..plain.clone() };
    // Wide at first: after a jump that no distortion follows, the ties of the smaller part look like outliers.
    for wide in [4.0, 3.0, 2.0, 1.5, 1.0, 1.0] {
        let to_view = pose.rotation.inverse();
        let all: Vec<[f64; 2]> = ties.iter().map(|t| residual(&pose, to_view, t)).collect();
        let lengths: Vec<f64> = ties.iter().zip(&all).map(|(t, r)| t.length(*r)).collect();
        let s = wide * scale(&lengths, least);
        let weights: Vec<f64> = ties.iter().zip(&lengths).map(|(t, e)| t.weight * tukey(e / s)).collect();
        let bare = Pose { sway: None, ..pose.clone() };
        let rows: Vec<Row> = ties
            .iter()
            .zip(&weights)
            .filter(|(_, w)| **w > 0.0)
            .map(|(t, w)| Row {
                at: spline(Sway::across(columns, &bare.lens, t.at), CELLS),
                left: residual(&bare, to_view, t),
                sure: t.sure,
                weight: *w,
            })
            .collect();
        let Some((knots, freedom)) = spline_of(&rows) else { return plain.clone() };
        pose.sway = Some(Sway { columns, knots });
        pose.degrees_of_freedom[1] = freedom;
        if let Some(many) = many
            && let Some(next) = step(&pose, ties, &weights, many, s * s)
        {
            pose = next;
        }
    }
    pose
}

/// A tie as the spline sees it.
struct Row {
    at: (usize, [f64; 4]),
    left: [f64; 2],
    sure: [f64; 3],
    weight: f64,
}

/// The knots that follow what is left, neighbours held alike (an eye that rests or drifts slowly), by generalised
/// cross-validation over how strongly; with its degrees of freedom.
#[allow(clippy::cast_precision_loss)] // some hundreds of ties
fn spline_of(rows: &[Row]) -> Option<(Vec<[f64; 2]>, f64)> {
    let (k, n) = (CELLS + 3, 2 * (CELLS + 3));
    let many: f64 = rows.iter().map(|r| r.weight).sum();
    let (mut seen, mut square) = (Normal::new(n), 0.0);
    for r in rows {
        for (c, s, sure) in axes(r.sure) {
            let entries: [(usize, f64); 8] = std::array::from_fn(|j| {
                let (i, w) = (r.at.0 + j / 2, r.at.1[j / 2]);
                if j % 2 == 0 { (i, c * w) } else { (k + i, s * w) }
            });
            let (value, weight) = (c * r.left[0] + s * r.left[1], r.weight * sure);
            seen.add(&entries, value, weight);
            square += weight * value * value;
        }
    }
    let mut best: Option<(f64, Vec<f64>, f64)> = None;
    for hold in [0.03, 0.1, 0.3, 1.0, 3.0, 10.0, 100.0] {
        let mut normal = seen.clone();
        let hold = hold * many / k as f64;
        for i in (0..n).filter(|i| (i + 1) % k != 0) {
            normal.add(&[(i, 1.0), (i + 1, -1.0)], 0.0, hold);
        }
        (0..n).for_each(|i| normal.pull(i, 1e-3 * hold));
        let Some(l) = normal.factor() else { continue };
        let x = back(&l, n, &normal.b);
        let trace = seen.trace_under(&l);
        let rest = square + seen.form(&x) - 2.0 * x.iter().zip(&seen.b).map(|(x, b)| x * b).sum::<f64>();
        let share = (INDEPENDENT * trace / (2.0 * many)).min(0.999);
        let gcv = rest / (1.0 - share).powi(2);
        if best.as_ref().is_none_or(|b| gcv < b.0) {
            best = Some((gcv, x, trace));
        }
    }
    best.map(|(_, x, trace)| ((0..k).map(|i| [x[i], x[k + i]]).collect(), trace))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Lens;
    use crate::pose::small;

    #[test]
    fn a_jump_between_two_lines_is_followed_and_its_absence_is_not() {
        let lens = Lens::nominal(900, 900);
        let truth = Pose::turned(lens, small([0.02, -0.03, 0.01]));
        for jump in [3.0, 0.0] {
            let ties: Vec<Tie> = (0..400)
                .map(|i| {
                    let p = [f64::from(i % 20), f64::from(i / 20)].map(|v| 45.0 * v + 20.0);
                    // A hundredth of the places were not found but guessed.
                    let wild = if i % 100 == 7 { 9.0 } else { 0.0 };
                    let moved = if p[1] > 550.0 { jump } else { 0.0 };
                    Tie::plain(truth.to_sphere(p), [p[0] + moved + wild, p[1]])
                })
                .collect();
            let plain = crate::fit::robust(&Pose::reference(lens), &ties, 0, 0.1).0;
            let pose = with_sway(&plain, &ties, Some(0), 0.1);
            let off = |p: [f64; 2]| {
                let q = pose.to_frame(truth.to_sphere(p));
                (q[0] - p[0]).hypot(q[1] - p[1])
            };
            assert_eq!(pose.sway.is_some(), jump > 0.0);
            assert!(off([200.0, 300.0]) < 0.2, "{}", off([200.0, 300.0]));
            assert!((off([200.0, 800.0]) - jump).abs() < 0.2, "{}", off([200.0, 800.0]));
        }
    }
}
