//! Whether 95 % intervals hold 95 % of the truth, where the truth comes from another model than the intervals.
//!
//! Intervals come from `Spread`: a sphere of half the axial length, and what Watson's
//! cubic and a nodal sphere would make of the same figure. The truth:
//! the digitised curve of Drasdo & Fowler on its own sphere (R 11.95 mm for an eye of 24 mm), scaled by the true axial
//! length (population 24.5 ± 1.57 mm, measured with an error of 0.04 mm, or not known), with 2 % of scatter of R
//! between eyes; a maker's model anywhere between that curve and a nodal sphere; and outlines drawn with 2 px of jitter.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::print_stdout)] // a test that prints its figures

use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, Normal};
use serrata_eye::{
    Direction, DrasdoFowler, Measure, Picture, Radius, RetinalPoint, Rotation, Spread, Stereographic,
    VisualAngle, area_jitter_sr, densify, path_jitter_rad, path_length_rad, polygon_area_sr,
};
use serrata_words::{Point, Region};

const CASES: usize = 1500;
const JITTER_PX: f64 = 2.0;

/// Eye angle (radians) by a nodal sphere of R 12, N 16.67 mm.
fn nodal(visual: f64) -> f64 {
    visual + (4.67 / 12.0 * visual.sin()).asin()
}

/// What a maker's model calls an eye angle, for a visual angle: a share `w` of the nodal sphere's, the rest the curve's.
fn said(visual: f64, w: f64) -> f64 {
    w * nodal(visual) + (1.0 - w) * DrasdoFowler::eye_angle(VisualAngle(visual)).unwrap().0
}

/// From the angle in the picture to the angle on the true retina, by halving.
fn truly(c: f64, w: f64) -> f64 {
    let (mut low, mut high) = (0.0, 99.2f64.to_radians());
    for _ in 0..40 {
        let middle = 0.5 * (low + high);
        if said(middle, w) < c { low = middle } else { high = middle }
    }
    DrasdoFowler::eye_angle(VisualAngle(0.5 * (low + high))).unwrap().0
}

fn on_retina(picture: &Picture, p: Point, w: f64) -> Direction {
    let at = RetinalPoint::from_direction(picture.to_direction(p).unwrap());
    let c = truly(at.eccentricity_deg.to_radians(), w).to_degrees();
    RetinalPoint { eccentricity_deg: c, ..at }.to_direction()
}

#[derive(Default)]
struct Tally {
    held: usize,
    cases: usize,
    score: f64,
    oracle: f64,
}

/// Interval score (Gneiting & Raftery, J Am Stat Assoc 2007;102:359, eq. 43), over the truth.
fn score([low, high]: [f64; 2], truth: f64) -> f64 {
    (high - low + 40.0 * (low - truth).max(0.0) + 40.0 * (truth - high).max(0.0)) / truth
}

/// One drawn path or outline: its interval, and the true value.
fn one(
    rng: &mut rand_pcg::Pcg64Mcg,
    from_deg: f64,
    to_deg: f64,
    known: bool,
    area: bool,
) -> ([f64; 2], f64, f64) {
    let picture = Picture::from(Stereographic { width: 4000, height: 4000, deg_per_px: [0.06, 0.06] });
    let normal =
        |mean: f64, sd: f64, rng: &mut rand_pcg::Pcg64Mcg| Normal::new(mean, sd).unwrap().sample(rng);
    let axial = loop {
        let al = normal(24.5, 1.57, rng);
        if (20.0..30.0).contains(&al) {
            break al;
        }
    };
    let true_r = 11.95 * axial / 24.0 * normal(1.0, 0.02, rng);
    let w = rng.random::<f64>();
    let radius =
        if known { Radius::from_axial_length(normal(axial, 0.04, rng)) } else { Radius::population() };
    // A figure of 6 to 16 degrees about a place of the stratum.
    let size = 3.0 + 5.0 * rng.random::<f64>();
    let e = from_deg + size + (to_deg - from_deg - 2.0 * size) * rng.random::<f64>();
    let m = 360.0 * rng.random::<f64>();
    let place = Rotation::tilting(m, e);
    let n = if area { 10 } else { 4 };
    let turn = 360.0 * rng.random::<f64>();
    let meant: Vec<Point> = (0..n)
        .map(|k| {
            let f = f64::from(k);
            let p = if area {
                RetinalPoint {
                    eccentricity_deg: size * (0.6 + 0.4 * rng.random::<f64>()),
                    meridian_deg: turn + 36.0 * f,
                }
            } else {
                RetinalPoint {
                    eccentricity_deg: size * (f / 1.5 - 1.0).abs(),
                    meridian_deg: turn + if f > 1.5 { 0.0 } else { 180.0 },
                }
            };
            picture.to_picture(place.apply(p.to_direction())).unwrap()
        })
        .collect();
    let drawn: Vec<Point> = meant.iter().map(|p| p.map(|c| c + normal(0.0, JITTER_PX, rng))).collect();
    if area {
        let ring: Vec<Direction> =
            densify(&meant, 8.0).into_iter().map(|p| on_retina(&picture, p, w)).collect();
        let truth = polygon_area_sr(&ring, place.apply(Direction::POLE)).abs() * true_r * true_r;
        let region = Region { polygons: vec![drawn.clone()], holes: vec![] };
        let sr = picture.region_sr(&region).unwrap();
        let sd = area_jitter_sr(&picture, &drawn, JITTER_PX).unwrap();
        let m = Measure::area(sr, Spread::of_region(&picture, &region).unwrap(), sd, radius);
        (m.interval, truth, m.value)
    } else {
        let path: Vec<Direction> = meant.iter().map(|p| on_retina(&picture, *p, w)).collect();
        let truth = path_length_rad(&path) * true_r;
        let sd = path_jitter_rad(&picture, &drawn, JITTER_PX).unwrap();
        let m = Measure::length(
            picture.path_rad(&drawn).unwrap(),
            Spread::of_path(&picture, &drawn).unwrap(),
            sd,
            radius,
        );
        (m.interval, truth, m.value)
    }
}

#[test]
fn intervals_hold_93_to_97_percent_in_every_stratum() {
    let mut rng = rand_pcg::Pcg64Mcg::seed_from_u64(20_171_104);
    let mut failed = vec![];
    println!("stratum                       held    score  oracle");
    for area in [false, true] {
        for known in [true, false] {
            for (name, from, to) in [("posterior", 0.0, 30.0), ("mid", 30.0, 65.0), ("far", 65.0, 100.0)] {
                let cases: Vec<_> = (0..CASES).map(|_| one(&mut rng, from, to, known, area)).collect();
                // The oracle knows the distribution of true over said in this very stratum: its quantiles.
                let mut ratios: Vec<f64> = cases.iter().map(|(_, truth, value)| truth / value).collect();
                ratios.sort_by(f64::total_cmp);
                let q = |share: f64| ratios[(share * CASES as f64) as usize];
                let (low, high) = (q(0.025), q(0.975));
                let mut t = Tally::default();
                for (interval, truth, value) in &cases {
                    t.cases += 1;
                    t.held += usize::from((interval[0]..=interval[1]).contains(truth));
                    t.score += score(*interval, *truth);
                    t.oracle += score([low * value, high * value], *truth);
                }
                let n = t.cases as f64;
                let held = t.held as f64 / n;
                let what = if area { "area" } else { "length" };
                let axial = if known { "known" } else { "unknown" };
                println!(
                    "{what:7} {name:10} AL {axial:8} {held:.3}  {:.4}  {:.4}  middle {:.3}",
                    t.score / n,
                    t.oracle / n,
                    q(0.5)
                );
                if !(0.93..=0.97).contains(&held) || t.score > 1.25 * t.oracle {
                    failed.push(format!("{what} {name} {axial}: {held:.3}"));
                }
            }
        }
    }
    assert!(failed.is_empty(), "{failed:?}");
}
