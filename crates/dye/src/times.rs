//! Times of a run with their intervals.

use crate::Bolus;
use crate::curves::{Class, Curves, SECTORS};
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;

/// A second, or a number of seconds, with its 95 % interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Timed {
    pub value: f64,
    pub interval: [f64; 2],
}

/// Choroid, arm to retina, arterio-venous passage, mean circulation: none where too little shows.
pub(crate) type Times = [Option<Timed>; 4];

/// Draws for an interval.
const DRAWS: usize = 40;

/// Times by fits to the mean curves; intervals by drawing sectors and moments again (Bayesian bootstrap: Rubin, Ann Stat
/// 1981;9:130), widened by what the distance between frames hides.
pub(crate) fn times(curves: &Curves) -> Times {
    let n = curves.seconds.len();
    let plain = once(curves, &[1.0; SECTORS], &vec![1.0; n]);
    let mut rng = Pcg64Mcg::seed_from_u64(0xd7e5);
    let mut weights =
        |n: usize| -> Vec<f64> { (0..n).map(|_| -(1.0 - rng.random::<f64>()).max(1e-12).ln()).collect() };
    let draws: Vec<[Option<f64>; 4]> = (0..DRAWS)
        .map(|_| {
            let (s, m) = (weights(SECTORS), weights(n));
            once(curves, &s, &m)
        })
        .collect();
    std::array::from_fn(|k| {
        let value = plain[k]?;
        let all: Vec<f64> = draws.iter().filter_map(|d| d[k]).collect();
        if all.len() < DRAWS / 2 {
            return None;
        }
        #[allow(clippy::cast_precision_loss)] // some tens
        let sd = (all.iter().map(|v| (v - value).powi(2)).sum::<f64>() / all.len() as f64).sqrt();
        // A rise between two frames is placed by its neighbours, and may lie anywhere in between.
        let hidden = HIDDEN * spacing(&curves.seconds);
        let half = 1.96 * sd.hypot(hidden);
        Some(Timed { value, interval: [value - half, value + half] })
    })
}

/// Share of the distance between frames that a fitted rise is unsure by (judgement, held against simulated runs).
const HIDDEN: f64 = 0.3;

/// Median distance between the frames of the first passage, seconds.
fn spacing(seconds: &[f64]) -> f64 {
    let mut gaps: Vec<f64> = seconds.windows(2).map(|p| p[1] - p[0]).filter(|g| *g > 0.0).collect();
    gaps.sort_by(f64::total_cmp);
    gaps.get(gaps.len() / 3).copied().unwrap_or(1.0)
}

/// Share of a stored curve's peak that stands for a tenth of the dye: stored pictures darken low levels by a power of 1.1 to
/// 1.5 (fitted to real frames: docs/phantom.md), which makes 0.08 to 0.03 of a tenth; the least of these, since arteries are
/// a little darker than the choroid's flush before their own dye shows.
const FIRST: f64 = 0.03;

fn once(curves: &Curves, sectors: &[f64], moments: &[f64]) -> [Option<f64>; 4] {
    let weighed = |class: Class| -> Option<Vec<[f64; 3]>> {
        let mean = curves.mean(class, sectors)?;
        Some(mean.iter().zip(moments).map(|(p, w)| [p[0], p[1], *w]).collect())
    };
    let Some(artery) = weighed(Class::Artery).and_then(|c| rise(&c)) else { return [None; 4] };
    let [late, late_vein] = curves.lag;
    let arm = artery.reaches(FIRST) - late;
    // The ground fills on for seconds through its capillaries: the choroid is its first rise.
    let choroid = weighed(Class::Ground).and_then(|c| Bolus::fit(&c)).map(|b| b.reaches(0.03).min(arm));
    if !curves.apart {
        return [choroid, Some(arm), None, None];
    }
    let vein = weighed(Class::Vein).and_then(|c| rise(&c));
    let passage = vein.map(|b| b.reaches(FIRST) - late_vein - arm).filter(|v| *v > 0.0);
    // A spread of transit times makes a rise flatter about its middle, and moves the middle by the mean transit.
    let mean = vein.map(|b| b.reaches(0.5) - late_vein - artery.reaches(0.5) + late).filter(|v| *v > 0.0);
    [choroid, Some(arm), passage, mean]
}

/// A vessel against what lies beside it: it is darker than the choroid's flush before its own dye comes, which is no rise.
fn rise(curve: &[[f64; 3]]) -> Option<Bolus> {
    let top = (0..curve.len()).max_by(|a, b| curve[*a][1].total_cmp(&curve[*b][1]))?;
    let low = (0..=top).min_by(|a, b| curve[*a][1].total_cmp(&curve[*b][1]))?;
    let base = curve[low][1];
    let flat: Vec<[f64; 3]> =
        curve.iter().enumerate().map(|(k, p)| if k < low { [p[0], base, p[2]] } else { *p }).collect();
    Bolus::fit(&flat)
}
