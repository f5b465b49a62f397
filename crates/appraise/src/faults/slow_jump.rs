//! Jumps of the eye that take many rows: everything that crosses them leans to the same side by the same amount.
//!
//! A saccade lasts 20 to 50 ms, which is 5 to 12 % of a sweep of 0.4 s, so no row breaks. Vessels lean and bend by themselves, and
//! as much: what is told here is a hint, and most such jumps are not found (`docs/appraisal.md`).

use super::motion::Rows;
use crate::filter;
use serrata_frame::with_avx2;

/// Lengths of a jump as shares of the height: what saccades of 4° and of 10° take of a sweep of 0.4 s.
const LENGTHS: [f64; 2] = [0.08, 0.11];

/// The width is asked in this many parts, so that one vessel is one voice.
const PARTS: usize = 48;

/// Rows that are taken together.
const STEP: usize = 2;

/// Mean lean in standard errors: named from, and as sure as it gets. Untouched real frames reach 3.2 (one 4.0), simulated ones 4.4
/// (two of 48 reach 5), 15 of 48 simulated jumps of 1.2 to 5 % of the width more.
const LEAN: (f64, f64) = (4.2, 8.0);

/// Steepest lean that one part may claim, pixels along for one down: the peak of 5 % of the width in a twelfth of the height.
const STEEPEST: f64 = 1.5;

/// Spread of the parts' leans that is always there (variance; judgement), so that few parts that agree by chance are not sure.
const SPREAD: f64 = 0.02;

/// Fewest groups of rows of a jump: fewer have no course (judgement).
const SHORTEST: usize = 6;

/// Pixels to each side that have to be retina: the outline does not lean with the eye, and the detail beside it is smoothed.
const MARGIN: usize = 6;

/// Of what a usual part tells: below the first it says nothing, at the second it has half a voice (judgement).
const LEAST: f64 = 0.1;
const HALF: f64 = 0.5;

/// One slow jump over working rows, half-open.
pub(super) struct SlowJump {
    pub(super) rows: [usize; 2],
    /// 0 to 1.
    pub(super) sure: f64,
}

/// Sums over the parts of groups of rows.
struct Leans {
    groups: usize,
    /// Of squared change along the row.
    along: Vec<f64>,
    /// Of change along the row times change down it, sign turned: over `along` it is the lean.
    down: Vec<f64>,
    /// A usual `along`.
    usual: f64,
}

/// The surest slow jump, if there is one.
pub(super) fn slow_jump(rows: &Rows) -> Option<SlowJump> {
    let leans = Leans::of(rows)?;
    let best = LENGTHS
        .iter()
        .filter_map(|share| {
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // a share of the rows
            let length = (share * leans.groups as f64).round() as usize;
            (length >= SHORTEST).then(|| leans.strongest(length)).flatten()
        })
        .max_by(|a, b| a.t.abs().total_cmp(&b.t.abs()))?;
    let sure = super::ramp(best.t.abs(), LEAN.0, LEAN.1);
    (sure > 0.0).then(|| SlowJump { rows: [best.from * STEP, (best.from + best.length) * STEP], sure })
}

struct Found {
    from: usize,
    length: usize,
    /// Lean in standard errors.
    t: f64,
}

/// Share of a saccade's way that each group of its rows takes, mean 1: the smoothest course (minimum jerk).
fn course(length: usize) -> Vec<f64> {
    let way = |k: usize| {
        let t = (k as f64 + 0.5) / length as f64;
        30.0 * t * t * (1.0 - t) * (1.0 - t)
    };
    let all: f64 = (0..length).map(way).sum();
    (0..length).map(|k| way(k) * length as f64 / all).collect()
}

impl Leans {
    fn of(rows: &Rows) -> Option<Self> {
        let calm = filter::columns_mean(&rows.fine, 1);
        let (w, h) = (calm.width, calm.height);
        let groups = h / STEP;
        let (mut along, mut down) = (vec![0.0; groups * PARTS], vec![0.0; groups * PARTS]);
        let mut inside = vec![false; w];
        let part_of: Vec<usize> = (0..w).map(|x| x * PARTS / w).collect();
        for y in 2..h.saturating_sub(2) {
            let (row, above, below) = (calm.row(y), calm.row(y - 2), calm.row(y + 2));
            let group = (y / STEP).min(groups.saturating_sub(1)) * PARTS;
            // Runs that are inside all round.
            let [a, b, c] = [y - 2, y, y + 2].map(|y| &rows.core.data[y * w..(y + 1) * w]);
            for (((i, a), b), c) in inside.iter_mut().zip(a).zip(b).zip(c) {
                *i = a & b & c;
            }
            let mut end = 0;
            while let Some(start) = inside[end..].iter().position(|i| *i).map(|i| i + end) {
                end = inside[start..].iter().position(|i| !*i).map_or(w, |i| i + start);
                for at in start + MARGIN..end.saturating_sub(MARGIN) {
                    let gx = row[at + 2] - row[at - 2];
                    let gy = below[at] - above[at];
                    let part = group + part_of[at];
                    along[part] += f64::from(gx * gx);
                    down[part] -= f64::from(gx * gy);
                }
            }
        }
        let (along, down) = (calmed(&along), calmed(&down));
        let mut some: Vec<f64> = along.iter().copied().filter(|v| *v > 0.0).collect();
        let middle = some.len() / 2;
        if some.is_empty() {
            return None;
        }
        let usual = *some.select_nth_unstable_by(middle, f64::total_cmp).1;
        Some(Self { groups, along, down, usual })
    }

    /// Sums of each part over `all` groups: of `along` by the course's powers 0, 1 and 2, of `down` by 0 and 1. The course begins
    /// after `wing` groups.
    #[allow(clippy::inline_always)] // see `with_avx2`
    #[inline(always)]
    fn sums(&self, from: usize, all: usize, wing: usize, course: &[f64]) -> [[f64; PARTS]; 5] {
        let mut sums = [[0.0; PARTS]; 5];
        let [s0, s1, s2, t0, t1] = &mut sums;
        for j in 0..all {
            let here = (from + j) * PARTS..(from + j + 1) * PARTS;
            let (along, down) = (&self.along[here.clone()], &self.down[here]);
            for p in 0..PARTS {
                s0[p] += along[p];
                t0[p] += down[p];
            }
            if let Some(k) = j.checked_sub(wing).and_then(|j| course.get(j)) {
                for p in 0..PARTS {
                    s1[p] += k * along[p];
                    s2[p] += k * k * along[p];
                    t1[p] += k * down[p];
                }
            }
        }
        sums
    }

    /// The place where a jump of that length fits best.
    fn strongest(&self, length: usize) -> Option<Found> {
        let wing = length / 2;
        let course = course(length);
        let all = length + 2 * wing;
        // Of each part over a window: a lean of its own, and on top of it one that follows the course; least squares.
        let mut best: Option<Found> = None;
        for from in 0..(self.groups + 1).saturating_sub(all) {
            let (mut voices, mut sum, mut squares) = (0.0, 0.0, 0.0);
            let sums = with_avx2!(self.sums(from, all, wing, &course));
            for p in 0..PARTS {
                let [s0, s1, s2, t0, t1] = sums.map(|s| s[p]);
                let enough = self.usual * length as f64;
                let told = if s0 > 0.0 { s2 - s1 * s1 / s0 } else { 0.0 };
                if told < LEAST * enough {
                    continue;
                }
                let lean = ((t1 - s1 * t0 / s0) / told).clamp(-STEEPEST, STEEPEST);
                let voice = told / (told + HALF * enough);
                voices += voice;
                sum += voice * lean;
                squares += voice * lean * lean;
            }
            let n = voices + 1.0;
            let lean = sum / n;
            let spread = (squares - 2.0 * lean * sum + voices * lean * lean) / n + SPREAD;
            let t = lean / (spread / n).sqrt();
            if best.as_ref().is_none_or(|b| t.abs() > b.t.abs()) {
                best = Some(Found { from: from + wing, length, t });
            }
        }
        best
    }
}

/// Means over three groups of rows, twice.
fn calmed(v: &[f64]) -> Vec<f64> {
    let once = |v: &[f64]| -> Vec<f64> {
        let at = |i: usize, p: usize| v.get(i * PARTS + p).copied().unwrap_or(0.0);
        (0..v.len())
            .map(|k| {
                let (i, p) = (k / PARTS, k % PARTS);
                (i.checked_sub(1).map_or(0.0, |i| at(i, p)) + at(i, p) + at(i + 1, p)) / 3.0
            })
            .collect()
    };
    once(&once(v))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mask::Mask;
    use serrata_frame::Plane;

    /// Lines of many leanings across a field, which from row `from` on have moved by `shift`, over `long` rows.
    fn swept(from: f32, long: f32, shift: f32, mirrored: bool) -> Rows {
        let (w, h) = (600usize, 480usize);
        let moved = |y: f32| {
            let t = ((y - from) / long).clamp(0.0, 1.0);
            shift * t * t * t * (10.0 - 15.0 * t + 6.0 * t * t)
        };
        let light = Plane::from_fn(w, h, |x, y| {
            let x = if mirrored { w - 1 - x } else { x };
            let (x, y) = (x as f32 - moved(y as f32), y as f32 - 240.0);
            let dark: f32 = (-12..13i8)
                .map(|k| {
                    let k = f32::from(k);
                    let middle = 300.0 + 26.0 * k + y * (k * 1.7).sin() * 0.5 + 6.0 * (y / 45.0 + k).sin();
                    0.3 * (-((x - middle) / 2.5).powi(2)).exp()
                })
                .sum();
            0.6 * (1.0 - dark.min(0.5))
        });
        Rows::new(&light, &Mask::new(w, h, true))
    }

    #[test]
    fn a_jump_over_fifty_rows_is_told_with_its_rows_to_either_side() {
        let jump = slow_jump(&swept(200.0, 50.0, 26.0, false)).unwrap();
        assert!(jump.rows[0].abs_diff(200) <= 12 && jump.rows[1].abs_diff(250) <= 12, "{:?}", jump.rows);
        let other = slow_jump(&swept(200.0, 50.0, 26.0, true)).unwrap();
        assert_eq!(other.rows, jump.rows, "mirrored");
        assert!((other.sure - jump.sure).abs() < 0.05, "{} {}", other.sure, jump.sure);
    }

    #[test]
    fn lines_that_lean_by_themselves_are_no_jump() {
        assert!(slow_jump(&swept(200.0, 50.0, 0.0, false)).is_none());
    }

    #[test]
    fn a_course_has_the_mean_one_and_its_peak_in_the_middle() {
        let way = course(40);
        assert!((way.iter().sum::<f64>() / 40.0 - 1.0).abs() < 1e-12);
        assert!((way[20] - 1.875).abs() < 0.01, "{}", way[20]);
    }

    #[test]
    fn pictures_without_detail_or_rows_say_nothing() {
        for (w, h) in [(0, 0), (1, 1), (7, 400), (200, 8)] {
            let rows = Rows::new(&Plane::new(w, h, 0.4), &Mask::new(w, h, true));
            assert!(slow_jump(&rows).is_none());
        }
    }
}
