//! What dye in vessels looks like over time: one model of a first passage, and its fit.

use levenberg_marquardt::{LeastSquaresProblem, LevenbergMarquardt};
use nalgebra::{DMatrix, DVector, Dyn, Owned};

/// Curves that a fit is made to, at the same moments: arteries, veins, ground. Where arteries and veins are not told apart
/// there are no veins.
#[derive(Debug, Clone, PartialEq)]
pub struct Measured {
    /// Seconds since the injection began.
    pub seconds: Vec<f64>,
    /// Brightness from 0 to 1 as stored.
    pub arteries: Vec<f64>,
    /// The same of the veins.
    pub veins: Option<Vec<f64>>,
    /// The same of what shows no vessel.
    pub ground: Vec<f64>,
}

/// A first passage, in numbers.
///
/// In the arteries the dye is `B(t) = u^α·e^(α(1−u)) + stays·(1 − e^(−(t − start)/16 s))` with `u = (t − start)/peak`: a gamma
/// variate (Thompson et al., Circ Res 1964;14:502, from memory) and what recirculates and stays (from memory). The veins see it
/// later by a spread of transit times, the choroid sooner, the capillaries of the ground a little later; a vessel lets
/// part of the ground's light through. A stored picture shows a power of the light, times an exposure of each frame's own.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Passage {
    /// In the order of [`RANGES`].
    values: [f64; N],
}

const N: usize = 15;
const START: usize = 0;
const PEAK: usize = 1;
const ALPHA: usize = 2;
const STAYS: usize = 3;
const LEAD: usize = 4;
const ARTERY: usize = 5;
const THROUGH_ARTERY: usize = 6;
const VEIN: usize = 7;
const THROUGH_VEIN: usize = 8;
const TRANSIT: usize = 9;
const SPREAD: usize = 10;
const GROUND: usize = 11;
const CAPILLARY: usize = 12;
const BASE: usize = 13;
const POWER: usize = 14;

/// What each number may be: seconds, shares, brightnesses (judgement, wide about what is published).
const RANGES: [[f64; 2]; N] = [
    [-5.0, 60.0],
    [4.0, 20.0],
    [1.2, 4.0],
    [0.1, 1.2],
    [0.3, 3.0],
    [0.02, 3.0],
    [0.0, 2.0],
    [0.02, 3.0],
    [0.0, 3.0],
    [0.6, 16.0],
    [0.2, 5.0],
    [0.02, 1.5],
    [0.2, 3.0],
    [0.0, 0.06],
    [0.9, 1.8],
];

/// What is known before looking: which number, mean, spread. Mean circulation 4.7 s (Hickam & Frayser, IOVS 1965;4:876), choroid 1
/// to 2 s before the artery (lecture notes quoted in the reference brief); stored levels are a power of 1.1 to 1.5 of the
/// light (fitted to real frames: docs/phantom.md); the rest is judgement, weak.
const KNOWN: [(usize, f64, f64); 6] = [
    (TRANSIT, 4.7, 4.0),
    (LEAD, 1.5, 0.7),
    (PEAK, 11.0, 4.0),
    (ALPHA, 2.2, 0.7),
    (STAYS, 0.6, 0.4),
    (POWER, 1.3, 0.15),
];

/// Spread of transit times as a share of their mean, and how sure that is, seconds (judgement).
const SPREAD_SHARE: (f64, f64) = (0.3, 1.0);

/// Time constant of mixing, seconds (from memory).
const MIXING_S: f64 = 16.0;

/// Spread of arrivals within choroid and capillaries, seconds (judgement), and how bright capillaries are against the
/// choroid (judgement).
const PATCHY_S: f64 = 0.6;
const CAPILLARIES: f64 = 0.5;

/// Noise of a curve: a share of its brightness, and what is there in the dark (judgement); exposures of frames spread by so much.
const NOISE: (f64, f64) = (0.04, 0.0025);
const EXPOSURE: f64 = 0.2;

/// Seconds after the arteries' peak that a fit looks at: later the dye leaks and fades in ways that tell no time.
const AFTER_S: f64 = 14.0;

/// Dye after the foot of a bolus, before any scale.
fn dye(p: &[f64; N], t: f64) -> f64 {
    if t <= 0.0 {
        return 0.0;
    }
    let u = t / p[PEAK];
    (p[ALPHA] * (u.ln() + 1.0 - u)).exp() + p[STAYS] * (1.0 - (-t / MIXING_S).exp())
}

/// The same with arrivals spread about `t`.
fn spread(p: &[f64; N], t: f64, sd: f64) -> f64 {
    let (mut sum, mut all) = (0.0, 0.0);
    for k in -7..=7 {
        let x = f64::from(k) / 3.0;
        let w = (-0.5 * x * x).exp();
        sum += w * dye(p, t - sd * x);
        all += w;
    }
    sum / all
}

impl Passage {
    /// The seconds before the peak at which the arteries hold that share of what they hold at the most.
    ///
    /// Example: of a tenth, the arm-to-retina time.
    #[must_use]
    pub fn arterial(&self, share: f64) -> f64 {
        let p = &self.values;
        p[START] + reaches(|t| dye(p, t), share, 0.0)
    }

    /// The same of the veins, over their whole width.
    #[must_use]
    pub fn venous(&self, share: f64) -> f64 {
        let p = &self.values;
        p[START] + p[TRANSIT] + reaches(|t| spread(p, t, p[SPREAD]), share, -2.5 * p[SPREAD])
    }

    /// Mean time from the arteries to the veins, seconds.
    #[must_use]
    pub const fn transit(&self) -> f64 {
        self.values[TRANSIT]
    }

    /// How much sooner than the arteries the choroid fills, seconds.
    #[must_use]
    pub const fn lead(&self) -> f64 {
        self.values[LEAD]
    }

    /// Brightness of arteries, veins and ground at a second, every frame exposed alike.
    #[must_use]
    pub fn at(&self, seconds: f64) -> [f64; 3] {
        at(&self.values, seconds)
    }
}

fn at(p: &[f64; N], seconds: f64) -> [f64; 3] {
    let t = seconds - p[START];
    let ground =
        p[GROUND] * (spread(p, t + p[LEAD], PATCHY_S) + CAPILLARIES * spread(p, t - p[CAPILLARY], PATCHY_S));
    let light = [
        p[ARTERY] * dye(p, t) + p[THROUGH_ARTERY] * ground,
        p[VEIN] * spread(p, t - p[TRANSIT], p[SPREAD]) + p[THROUGH_VEIN] * ground,
        ground,
    ];
    light.map(|l| p[BASE] + l.powf(p[POWER]))
}

/// When a curve first reaches a share of its highest value within a minute.
fn reaches(curve: impl Fn(f64) -> f64, share: f64, from: f64) -> f64 {
    let at = |k: u32| from + 0.1 * f64::from(k);
    let top = (0..600).map(|k| curve(at(k))).fold(0.0, f64::max);
    let Some(k) = (0..600).find(|k| curve(at(*k)) >= share * top) else { return from };
    let (mut low, mut high) = (at(k.saturating_sub(1)), at(k));
    for _ in 0..20 {
        let middle = f64::midpoint(low, high);
        if curve(middle) >= share * top { high = middle } else { low = middle }
    }
    high
}

/// A passage with what its fit leaves open.
#[derive(Debug, Clone)]
pub struct Fitted {
    /// The best one.
    pub passage: Passage,
    /// One standard deviation along each of the directions that the fit leaves open.
    roots: DMatrix<f64>,
    free: DVector<f64>,
    /// Standard errors of start and transit for one who knows all other numbers, seconds.
    knowing: [f64; 2],
}

impl Fitted {
    /// Fits the curves of a run up to 14 s after the arteries' peak. None of fewer than eight moments, where nothing rises,
    /// or where no fit is found.
    #[must_use]
    pub fn of(all: &Measured) -> Option<Self> {
        let top = (0..all.seconds.len()).max_by(|i, j| all.arteries[*i].total_cmp(&all.arteries[*j]))?;
        let until = all.seconds[top] + AFTER_S;
        let many = all.seconds.iter().filter(|t| **t <= until).count();
        let dark = all.arteries.iter().take(3).sum::<f64>() / 3.0;
        if many < 8 || all.arteries[top] < 1.5 * dark + 4.0 * NOISE.1 {
            return None;
        }
        let cut = |v: &[f64]| v[..many].to_vec();
        let veins = all.veins.as_ref().map(|v| cut(v));
        let rows = [Some(cut(&all.arteries)), veins, Some(cut(&all.ground))];
        let half = (0..many).find(|k| all.arteries[*k] > 0.5 * all.arteries[top])?;
        let peak = |k: usize| rows[k].as_ref().map_or(0.3, |r| r.iter().copied().fold(0.0, f64::max));
        let mut best: Option<(f64, Problem)> = None;
        for (before, transit) in [(3.0, 3.0), (3.0, 6.0), (5.0, 3.0), (5.0, 6.0), (7.5, 3.0), (7.5, 6.0)] {
            let mut p = [0.0; N];
            p[START] = all.seconds[half] - before;
            (p[PEAK], p[ALPHA], p[STAYS], p[LEAD], p[CAPILLARY]) = (11.0, 2.2, 0.6, 1.5, 1.0);
            (p[ARTERY], p[VEIN], p[GROUND]) =
                (peak(0).powf(0.77), peak(1).powf(0.77), 0.5 * peak(2).powf(0.77));
            (p[THROUGH_ARTERY], p[THROUGH_VEIN], p[TRANSIT], p[SPREAD]) = (0.5, 0.5, transit, 1.0);
            (p[BASE], p[POWER]) = (dark, 1.3);
            let problem = Problem { seconds: cut(&all.seconds), rows: rows.clone(), free: free(&p) };
            let (done, report) = LevenbergMarquardt::new().with_patience(8).minimize(problem);
            let cost = report.objective_function;
            if cost.is_finite() && best.as_ref().is_none_or(|b| cost < b.0) {
                best = Some((cost, done));
            }
        }
        let (cost, done) = best?;
        let j = done.jacobian()?;
        let moments = done.rows.iter().flatten().map(Vec::len).sum::<usize>();
        #[allow(clippy::cast_precision_loss)] // counts
        let scale = (2.0 * cost / moments.saturating_sub(N).max(1) as f64).max(1.0);
        let knowing = [START, TRANSIT].map(|k| {
            let [low, high] = RANGES[k];
            let share = (bound(&done.free)[k] - low) / (high - low);
            (scale / j.column(k).norm_squared()).sqrt() * (high - low) * share * (1.0 - share)
        });
        // A number that the curves say nothing about stays within its range.
        let covariance = (j.transpose() * &j + DMatrix::identity(N, N) * 0.1).try_inverse()? * scale;
        let roots = covariance.cholesky()?.l();
        Some(Self { passage: Passage { values: bound(&done.free) }, roots, free: done.free, knowing })
    }

    /// Least standard errors of the arrival and of the mean transit, seconds: of one who knows the eye, that is every number
    /// but the one asked for, and only has to place the same curves, frames exposed anew, in time (Cramér and Rao's bound).
    #[must_use]
    pub const fn knowing_the_eye(&self) -> [f64; 2] {
        self.knowing
    }

    /// A number of the passage, and its standard error by the fit's curvature, each direction carried over by one standard
    /// deviation to both sides.
    pub fn number(&self, of: impl Fn(&Passage) -> f64) -> (f64, f64) {
        let value = of(&self.passage);
        let variance: f64 = (0..N)
            .map(|k| {
                let side = |s: f64| {
                    let free = &self.free + self.roots.column(k) * s;
                    of(&Passage { values: bound(&free) })
                };
                ((side(1.0) - side(-1.0)) / 2.0).powi(2)
            })
            .sum();
        (value, variance.sqrt())
    }
}

/// Numbers in their ranges as numbers that may be anything, and back.
fn free(p: &[f64; N]) -> DVector<f64> {
    DVector::from_fn(N, |k, _| {
        let [low, high] = RANGES[k];
        let share = ((p[k] - low) / (high - low)).clamp(0.02, 0.98);
        (share / (1.0 - share)).ln()
    })
}

fn bound(free: &DVector<f64>) -> [f64; N] {
    std::array::from_fn(|k| RANGES[k][0] + (RANGES[k][1] - RANGES[k][0]) / (1.0 + (-free[k]).exp()))
}

struct Problem {
    seconds: Vec<f64>,
    rows: [Option<Vec<f64>>; 3],
    free: DVector<f64>,
}

impl Problem {
    fn of(&self, free: &DVector<f64>) -> DVector<f64> {
        let p = bound(free);
        let mut out = Vec::with_capacity(4 * self.seconds.len() + 8);
        // The square of it grows like the distance itself where it is large, so that one odd frame does not rule.
        let soft = |r: f64| r * (2.0 / ((1.0 + r * r).sqrt() + 1.0)).sqrt();
        for (k, t) in self.seconds.iter().enumerate() {
            let model = at(&p, *t);
            let seen = || (0..3).filter_map(|c| self.rows[c].as_ref().map(|r| (r[k], model[c])));
            let noise = |v: f64| (NOISE.0 * v).hypot(NOISE.1);
            // The exposure that fits the frame best, known to be about 1.
            let tight = EXPOSURE.powi(-2);
            let (top, low) = seen().fold((tight, tight), |(a, b), (v, m)| {
                let w = noise(v).powi(-2);
                (a + w * m * v, b + w * m * m)
            });
            let exposure = top / low;
            out.extend(seen().map(|(v, m)| soft((v - exposure * m) / noise(v))));
            out.push(soft((exposure - 1.0) / EXPOSURE));
        }
        out.extend(KNOWN.iter().map(|(k, mean, sd)| (p[*k] - mean) / sd));
        out.push((p[SPREAD] - SPREAD_SHARE.0 * p[TRANSIT]) / SPREAD_SHARE.1);
        DVector::from_vec(out)
    }
}

impl LeastSquaresProblem<f64, Dyn, Dyn> for Problem {
    type ResidualStorage = Owned<f64, Dyn>;
    type JacobianStorage = Owned<f64, Dyn, Dyn>;
    type ParameterStorage = Owned<f64, Dyn>;

    fn set_params(&mut self, x: &DVector<f64>) {
        self.free.copy_from(x);
    }

    fn params(&self) -> DVector<f64> {
        self.free.clone()
    }

    fn residuals(&self) -> Option<DVector<f64>> {
        Some(self.of(&self.free))
    }

    fn jacobian(&self) -> Option<DMatrix<f64>> {
        const STEP: f64 = 1e-4;
        let columns: Vec<DVector<f64>> = (0..N)
            .map(|k| {
                let side = |s: f64| {
                    let mut x = self.free.clone();
                    x[k] += s * STEP;
                    self.of(&x)
                };
                (side(1.0) - side(-1.0)) / (2.0 * STEP)
            })
            .collect();
        Some(DMatrix::from_columns(&columns))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    impl Passage {
        fn tenth(&self) -> f64 {
            self.arterial(0.1)
        }
    }

    fn measured(p: &[f64; N], step: f64, exposures: impl Fn(usize) -> f64) -> Measured {
        let seconds: Vec<f64> = (0..45).map(|k| 5.0 + step * f64::from(k)).collect();
        let row = |c: usize| seconds.iter().enumerate().map(|(k, t)| at(p, *t)[c] * exposures(k)).collect();
        Measured { arteries: row(0), veins: Some(row(1)), ground: row(2), seconds }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(12))]
        #[test]
        fn a_passage_is_found_again_though_every_frame_is_exposed_anew(
            start in 6f64..20., peak in 9f64..13., transit in 2.5f64..8., share in 0.25f64..0.4, seed in 0usize..1000,
        ) {
            let p = [start, peak, 2.2, 0.6, 1.5, 0.45, 0.5, 0.4, 0.7, transit, share * transit, 0.15, 1.0, 0.006, 1.3];
            // Exposures from 0.75 to 1.25 in no order.
            let exposure = |k: usize| 0.75 + 0.5 * (((k * 7919 + seed * 104_729) % 997) as f64 / 997.0);
            let fit = Fitted::of(&measured(&p, 0.8, exposure)).unwrap();
            let truth = Passage { values: p };
            // Exposures hide some of the truth; the fit's own error has to know by how much.
            for (name, of) in [("arrival", Passage::tenth as fn(&Passage) -> f64), ("transit", Passage::transit)] {
                let ((value, error), want) = (fit.number(of), of(&truth));
                prop_assert!((value - want).abs() < 0.3 + 3.0 * error, "{} {} ± {} {}", name, value, error, want);
                prop_assert!(error < 1.0, "{} ± {}", name, error);
            }
            let [start_error, transit_error] = fit.knowing_the_eye();
            prop_assert!(start_error > 0.0 && start_error < fit.number(Passage::tenth).1);
            prop_assert!(transit_error > 0.0 && transit_error < fit.number(Passage::transit).1);
        }
    }

    #[test]
    fn a_tenth_and_a_half_lie_on_the_rise() {
        let p = [10.0, 12.0, 2.2, 0.6, 1.5, 0.45, 0.5, 0.4, 0.7, 4.7, 1.4, 0.15, 1.0, 0.006, 1.3];
        let passage = Passage { values: p };
        let (tenth, half) = (passage.arterial(0.1), passage.arterial(0.5));
        assert!((1.0..2.5).contains(&(tenth - 10.0)), "{tenth}");
        assert!((3.5..6.0).contains(&(half - 10.0)), "{half}");
        assert!(passage.venous(0.1) > tenth + 1.0);
    }

    #[test]
    fn nothing_that_rises_is_no_passage() {
        let flat = Measured {
            seconds: (0..20).map(f64::from).collect(),
            arteries: vec![0.2; 20],
            veins: None,
            ground: vec![0.1; 20],
        };
        assert!(Fitted::of(&flat).is_none());
    }
}
