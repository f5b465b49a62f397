//! Whether 95 % intervals hold 95 % of the truth, where the truth comes from another model than the intervals.
//!
//! Intervals come from `Spread`: Watson's polynomials on a sphere that grows into a spheroid, makers up to a nodal sphere. The
//! truths are in `truth.rs`: population axial lengths of 24.5 ± 1.57 mm, measured with an error of 0.04 mm or not known,
//! eyes of one length that differ in cornea, chamber and equator, jittered corners, and a retina and makers that are not
//! theirs. No source of one side is a source of the other.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::print_stdout)] // a test that prints its figures

mod trace;
mod truth;

use rand::{RngExt, SeedableRng};
use serrata_eye::{
    Direction, EyeAxis, Measure, Picture, Radius, Rotation, Spread, Stereographic, area_jitter_sr, densify,
    path_jitter_rad,
};
use serrata_words::{Gaze, Point, Region};
use truth::{Kind, Rng, Shown, figure, normal};

/// Cases a stratum of the judged truth.
const CASES: u32 = 2000;

/// The interval, the true value, and the sphere's.
type Case = ([f64; 2], f64, f64);

/// A set of truths: which retina, and what is drawn on it.
struct Truth {
    kind: Kind,
    /// Half-size of the figures in degrees, from and to.
    size: [f64; 2],
    /// Corners of an outline, of a path, and the least share of its size that an outline reaches.
    corners: (u32, u32, f64),
    /// Jitter of every corner in pixels of 0.06°.
    jitter: f64,
    /// Cases a stratum.
    cases: u32,
    /// Which gaze the eyes are asked for, straight ahead or up, and which one the interval is told.
    gaze: [Gaze; 2],
}

/// The seed that figures are printed for; `SERRATA_SEED=1 cargo test …` judges on another.
fn seed() -> u64 {
    std::env::var("SERRATA_SEED").ok().and_then(|s| s.parse().ok()).unwrap_or(22_360_679)
}

/// Where, and what is known.
#[derive(Clone, Copy)]
struct Stratum {
    deg: [f64; 2],
    known: bool,
    area: bool,
}

/// Interval score (Gneiting & Raftery, J Am Stat Assoc 2007;102:359, eq. 43), over the truth.
fn score([low, high]: [f64; 2], truth: f64) -> f64 {
    (high - low + 40.0 * (low - truth).max(0.0) + 40.0 * (truth - high).max(0.0)) / truth
}

/// One drawn path or outline: its interval, the true value, and the sphere's.
fn one(t: &Truth, s: Stratum, rng: &mut Rng) -> Case {
    let picture = Picture::from(Stereographic { width: 4000, height: 4000, deg_per_px: [0.06, 0.06] });
    let axial = loop {
        let al = normal(24.5, 1.57, rng);
        if (20.0..30.0).contains(&al) {
            break al;
        }
    };
    // A turn of 25° of eye angle is one of 18.5° of visual angle.
    let turned = if t.gaze[0] == Gaze::Up { normal(18.5, 3.0, rng) } else { 0.0 };
    let eye = Shown::draw(t.kind, axial, turned, rng);
    let axis = EyeAxis::of(t.gaze[1], Some(eye.eye));
    let radius =
        if s.known { Radius::from_axial_length(normal(axial, 0.04, rng)) } else { Radius::population() };
    let size = t.size[0] + (t.size[1] - t.size[0]) * rng.random::<f64>();
    let e = s.deg[0] + size + (s.deg[1] - s.deg[0] - 2.0 * size) * rng.random::<f64>();
    let place = Rotation::tilting(360.0 * rng.random::<f64>(), e);
    let (ring, path, least) = t.corners;
    let on = figure(place, size, if s.area { ring } else { path }, least, s.area, rng);
    let meant: Vec<Point> = on.iter().map(|d| picture.to_picture(*d).unwrap()).collect();
    let drawn: Vec<Point> = meant.iter().map(|p| p.map(|c| c + normal(0.0, t.jitter, rng))).collect();
    if s.area {
        let ring: Vec<Direction> =
            densify(&meant, 20.0).into_iter().map(|p| picture.to_direction(p).unwrap()).collect();
        let truth = eye.area(&ring, place.apply(Direction::POLE));
        let region = Region { polygons: vec![drawn.clone()], holes: vec![] };
        let sr = picture.region_sr(&region).unwrap();
        let sd = area_jitter_sr(&picture, &drawn, t.jitter).unwrap();
        let m = Measure::area(sr, Spread::of_region(&picture, &region, axis).unwrap(), sd, radius);
        (m.interval, truth, m.value)
    } else {
        let sd = path_jitter_rad(&picture, &drawn, t.jitter).unwrap();
        let spread = Spread::of_path(&picture, &drawn, axis).unwrap();
        let m = Measure::length(picture.path_rad(&drawn).unwrap(), spread, sd, radius);
        (m.interval, eye.length(&on), m.value)
    }
}

/// One stratum's outcome.
struct Outcome {
    name: String,
    known: bool,
    held: f64,
    /// Mean interval score over the oracle's.
    cost: f64,
}

/// Prints and returns every stratum of a truth.
fn strata(t: &Truth) -> Vec<Outcome> {
    let seed = seed();
    let mut rng = Rng::seed_from_u64(seed);
    let mut all = vec![];
    println!(
        "{:?}, gaze {:?} told as {:?}, seed {}: held, mean interval score, oracle's; middle of true over said",
        t.kind, t.gaze[0], t.gaze[1], seed
    );
    for area in [false, true] {
        for known in [true, false] {
            for (name, deg) in [("posterior", [0.0, 30.0]), ("mid", [30.0, 65.0]), ("far", [65.0, 100.0])] {
                let s = Stratum { deg, known, area };
                let cases: Vec<_> = (0..t.cases).map(|_| one(t, s, &mut rng)).collect();
                let what = if area { "area" } else { "length" };
                let axial = if known { "known" } else { "unknown" };
                all.push(outcome(&cases, format!("{what:7} {name:10} AL {axial:8}"), known));
            }
        }
    }
    all
}

fn outcome(cases: &[Case], name: String, known: bool) -> Outcome {
    // The oracle knows the distribution of true over said in this very stratum: its quantiles.
    let mut ratios: Vec<f64> = cases.iter().map(|(_, truth, value)| truth / value).collect();
    ratios.sort_by(f64::total_cmp);
    let q = |share: f64| ratios[(share * ratios.len() as f64) as usize];
    let (low, high) = (q(0.025), q(0.975));
    let n = cases.len() as f64;
    let mean = |f: &dyn Fn(&Case) -> f64| cases.iter().map(f).sum::<f64>() / n;
    let held = mean(&|(i, truth, _)| f64::from(u8::from((i[0]..=i[1]).contains(truth))));
    let ours = mean(&|(i, truth, _)| score(*i, *truth));
    let oracle = mean(&|(_, truth, value)| score([low * value, high * value], *truth));
    let above = mean(&|(i, truth, _)| f64::from(u8::from(*truth > i[1])));
    println!("{name} {held:.3} (above {above:.3})  {ours:.4}  {oracle:.4}  middle {:.3}", q(0.5));
    Outcome { name, known, held, cost: ours / oracle }
}

/// The strata that are not held so often, or whose intervals cost too much.
fn failed(all: &[Outcome], [low, high]: [f64; 2]) -> Vec<String> {
    all.iter()
        .filter(|o| !(low..=high).contains(&o.held) || o.cost > 1.25)
        .map(|o| format!("{}: {:.3}, {:.2} of the oracle's score", o.name, o.held, o.cost))
        .collect()
}

/// The judged truth: its seed and its figures were first used when all of the intervals' settings stood, which are from
/// publications that have no part in it.
const JUDGED: Truth = Truth {
    kind: Kind::Digitised,
    size: [2.0, 12.0],
    corners: (8, 4, 0.4),
    jitter: 1.5,
    cases: CASES,
    gaze: [Gaze::Primary; 2],
};

#[test]
fn intervals_hold_93_to_97_percent_of_another_model() {
    let missed = failed(&strata(&JUDGED), [0.93, 0.97]);
    assert!(missed.is_empty(), "{missed:?}");
}

/// With the gaze turned up the picture's middle is not the eye's axis. Told so, the interval holds; told nothing, it misses
/// more in the far periphery with a known axial length, which is why `measure` says for which gaze it is.
#[test]
fn the_interval_of_a_turned_gaze_holds_where_the_gaze_is_told() {
    let of = |told: Gaze| strata(&Truth { gaze: [Gaze::Up, told], cases: 400, ..JUDGED });
    let (told, untold) = (of(Gaze::Up), of(Gaze::Primary));
    let least = |all: &[Outcome]| all.iter().map(|o| o.held).fold(1.0, f64::min);
    assert!(least(&told) > 0.88, "{}", least(&told));
    assert!(least(&untold) < least(&told) - 0.1, "{}", least(&untold));
}

/// What the intervals do *not* hold: an eye whose retina follows a traced ray and not the curve of Drasdo & Fowler lies
/// beyond them, as `docs/measuring.md` tells. These are the shares told there: better or worse, the page changes too.
#[test]
fn a_traced_ray_is_missed_as_the_page_on_measuring_says() {
    for o in strata(&Truth { kind: Kind::Traced, cases: 300, ..JUDGED }) {
        let told = if o.known { 0.08..=0.50 } else { 0.50..=0.90 };
        assert!(told.contains(&o.held), "{}: {:.3}", o.name, o.held);
    }
}
