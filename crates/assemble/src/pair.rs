//! Two frames: where the second lies on the first's sphere, and whether to believe it.

use crate::coarse::{Candidate, apart, guesses, search};
use crate::field::Field;
use crate::fit::{self, Tie};
use crate::patches::{Patch, Search, agreement, seek};
use crate::pose::Pose;
use crate::warp::Map;
use crate::{Lens, Source};
use serrata_words::{Modality, Placement};

/// The vessels of a frame at four sizes, largest first.
#[derive(Debug, Clone)]
pub struct Vessels {
    pub(crate) levels: Vec<Field>,
    pub(crate) lens: Lens,
    kind: Option<Modality>,
}

/// Cells of the local correction along x and y.
pub(crate) const CELLS: [usize; 2] = [6, 5];

impl Vessels {
    /// Looks for a frame's vessels. The frame itself is not needed afterwards.
    #[must_use]
    pub fn of(source: &Source<'_>) -> Self {
        let mut levels = vec![Field::of(source)];
        for _ in 0..3 {
            if let Some(last) = levels.last() {
                levels.push(last.half());
            }
        }
        Self { levels, lens: source.lens, kind: source.modality }
    }

    /// The lens of the frame.
    #[must_use]
    pub const fn lens(&self) -> Lens {
        self.lens
    }

    /// Kind of picture.
    pub(crate) const fn kind(&self) -> Option<Modality> {
        self.kind
    }

    /// How much of vessels there is, in pixels of the largest field.
    #[must_use]
    pub fn amount(&self) -> f64 {
        self.levels.first().map_or(0.0, |f| f.data.iter().map(|c| f64::from(c.norm().min(1.0))).sum())
    }

    /// Frame pixels that one pixel of the largest field spans.
    pub(crate) fn step(&self) -> f64 {
        self.levels.first().map_or(1.0, |f| f.step)
    }

    /// The same vessels in a mirror: a frame of an eye that does not exist, to see what is refused.
    #[must_use]
    pub fn mirrored(&self) -> Self {
        let levels = self.levels.iter().map(Field::mirrored).collect();
        Self { levels, lens: self.lens, kind: self.kind }
    }
}

/// What two frames have to do with each other.
#[derive(Debug, Clone)]
pub struct Match {
    /// Where the second frame lies, the first one being at its own pose.
    pub pose: Pose,
    /// The figures by which it is believed or not.
    pub evidence: Evidence,
    /// Places of both: (first frame's pixel, second frame's pixel, how sure, weight).
    pub(crate) ties: Vec<(serrata_words::Point, Tie)>,
}

/// The figures by which a match is believed or not.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Evidence {
    /// Squares with vessels in both frames.
    pub squares: usize,
    /// Share of them found where the pose says, within two field pixels, though sought over seventeen.
    pub agreeing: f64,
    /// Correlation of the vessel fields over the overlap.
    pub correlation: f64,
    /// Highest such correlation when the second frame is moved elsewhere.
    pub elsewhere: f64,
    /// Share of the first frame's retina that both see.
    pub overlap: f64,
    /// Median distance between where agreeing squares lie and where the pose says, pixels of the second frame.
    pub residual_px: f64,
}

impl Evidence {
    /// How far the agreeing squares exceed what chance gives, in units that grow with the square root of their number.
    #[must_use]
    pub fn score(&self) -> f64 {
        (self.agreeing - CHANCE) * (self.squares as f64).sqrt()
    }

    /// Whether to believe it.
    #[must_use]
    pub fn placement(&self) -> Placement {
        let stands_out = self.correlation > 2.0 * self.elsewhere;
        let score = self.score();
        if score >= PLACED && self.agreeing >= LEAST && stands_out {
            Placement::Placed
        } else if score >= DOUBTFUL && self.agreeing >= LEAST {
            Placement::Doubtful
        } else {
            Placement::NotPlaced
        }
    }
}

/// Score from which a match is believed; below it lie all pairs of different eyes (docs/assembly.md).
const PLACED: f64 = 3.0;
/// Score from which a match is doubtful.
const DOUBTFUL: f64 = 2.0;
/// Least share of agreeing squares.
const LEAST: f64 = 0.16;
/// Share of squares that agree by chance once the best of all places was chosen.
const CHANCE: f64 = 0.08;

/// Size at which places are sought first.
const COARSE: usize = 3;

/// Two frames of which it is known where the second lies, but for a little: `start`, up to a tenth of the width off.
///
/// Three times as fast as [`pair`], which seeks everywhere. Example: the next frame of a dye run lies where the last did.
#[must_use]
pub fn near(a: &Vessels, pose_a: &Pose, b: &Vessels, start: &Pose) -> Option<Match> {
    let small = |v: &Vessels| v.levels.get(COARSE).is_none_or(|f| f.width.min(f.height) < 8);
    if small(a) || small(b) {
        return None;
    }
    finish(a, pose_a, b, &Pose { local: None, sway: None, ..start.clone() })
}

/// Finds where frame B lies, frame A being at `pose_a`.
#[must_use]
pub fn pair(a: &Vessels, pose_a: &Pose, b: &Vessels) -> Option<Match> {
    let small = |v: &Vessels| v.levels.get(COARSE).is_none_or(|f| f.width.min(f.height) < 8);
    if small(a) || small(b) {
        return None; // a picture of some tens of pixels shows no vessels
    }
    let mut tried: Vec<(f64, Pose)> = Vec::new();
    for c in candidates(a, pose_a, b) {
        let pose = refine(a, pose_a, b, &c.pose, Pass { level: 2, order: 1, reach: 9, rounds: 2 });
        if tried.iter().any(|(_, t)| !apart(t, &pose)) {
            continue;
        }
        let e = evidence(a, pose_a, b, &pose, 2, false).0;
        let worth = worth(&e) * e.correlation.max(0.0);
        tried.push((worth, pose));
        if worth > CLEAR {
            break;
        }
    }
    tried.sort_by(|p, q| q.0.total_cmp(&p.0));
    let best = tried.first().map_or(0.0, |t| t.0);
    let open = tried.into_iter().take(2).filter(|t| t.0 >= 0.5 * best);
    let all = open.filter_map(|(_, pose)| finish(a, pose_a, b, &pose));
    all.max_by(|p, q| worth(&p.evidence).total_cmp(&worth(&q.evidence)))
}

/// Above this a first look is clear enough to try no other place: true pairs of the seven real eyes reach 1 to 12,
/// pairs of different eyes stay below 1.
const CLEAR: f64 = 3.0;

/// How far a share of agreeing squares stands out.
fn worth(e: &Evidence) -> f64 {
    e.agreeing * (e.squares as f64).sqrt()
}

fn candidates(a: &Vessels, pose_a: &Pose, b: &Vessels) -> Vec<Candidate> {
    let (fa, fb) = (&a.levels[COARSE], &b.levels[COARSE]);
    let scales: &[f64] = if a.lens.known && b.lens.known { &[1.0] } else { &[0.9, 1.0, 1.11] };
    let tilts: &[f64] = if a.lens.known && b.lens.known { &[0.0, 18.0, 36.0] } else { &[0.0] };
    search(fa, pose_a, fb, b.lens, &guesses(tilts, scales), 6)
}

/// One pass of sharpening: at which size, up to which order of distortion, how far to seek (px of that size), how often.
#[derive(Clone, Copy)]
struct Pass {
    level: usize,
    order: usize,
    reach: usize,
    rounds: usize,
}

/// Sharpens a pose at one size, order by order.
fn refine(a: &Vessels, pose_a: &Pose, b: &Vessels, start: &Pose, pass: Pass) -> Pose {
    let Pass { level, order, reach, rounds } = pass;
    let mut pose = start.clone();
    for _ in 0..rounds {
        let ties = ties(a, pose_a, b, &pose, level, reach);
        if ties.len() < 8 {
            break;
        }
        let only: Vec<Tie> = ties.iter().map(|t| t.1).collect();
        pose = choose(&pose, a.lens.known && b.lens.known, &only, order, a.levels[level].step * 0.3);
    }
    pose
}

/// The order of distortion that the ties call for, up to `most`.
///
/// Where the lens is not known, scale and shear are not either.
pub(crate) fn choose(start: &Pose, known: bool, only: &[Tie], most: usize, least: f64) -> Pose {
    let mut best: Option<(f64, Pose)> = None;
    for order in usize::from(!known)..=most {
        if only.len() < 6 * (order + 1) {
            break;
        }
        let (pose, _) = fit::robust(start, only, order, least);
        let cost = fit::criterion(&pose, only, least, pose.degrees_of_freedom[0]);
        if best.as_ref().is_none_or(|b| cost < b.0) {
            best = Some((cost, pose));
        }
    }
    best.map_or_else(|| start.clone(), |b| b.1)
}

fn search_at(level: usize, reach: usize) -> Search {
    match level {
        0 => Search { radius: 20, reach, spacing: 20 },
        1 => Search { radius: 16, reach, spacing: 13 },
        _ => Search { radius: 12, reach, spacing: 8 },
    }
}

/// Squares found at one size as ties: the first frame's pixel and the tie.
fn ties(
    a: &Vessels,
    pose_a: &Pose,
    b: &Vessels,
    pose_b: &Pose,
    level: usize,
    reach: usize,
) -> Vec<(serrata_words::Point, Tie)> {
    let (fa, fb) = (&a.levels[level], &b.levels[level]);
    let map = Map::new(pose_a, fa, pose_b);
    let patches = seek(fa, &map.draw(fa, fb), search_at(level, reach));
    patches.iter().filter_map(|p| tie(p, fa, pose_a, &map)).collect()
}

fn tie(p: &Patch, fa: &Field, pose_a: &Pose, map: &Map) -> Option<(serrata_words::Point, Tie)> {
    if !p.shift[0].is_finite() || p.peak < 0.12 {
        return None;
    }
    let from = [p.at[0] * fa.step, p.at[1] * fa.step];
    let (at, turn) = map.at(p.at[0] + p.shift[0], p.at[1] + p.shift[1]);
    // `turn` is twice the angle, which is how a symmetric matrix turns.
    let [xx, xy, yy] = p.sure;
    let (mean, half) = (0.5 * (xx + yy), 0.5 * (xx - yy));
    let (c, s) = (f64::from(turn.re), f64::from(turn.im));
    let (half, xy) = (c * half - s * xy, s * half + c * xy);
    let floor = 0.03;
    let sure = [mean + half + floor, xy, mean - half + floor];
    let clear = f64::from((p.peak - 0.6 * p.second.max(0.0)).max(0.02));
    Some((from, Tie { on: pose_a.to_sphere(from), at, sure, weight: (clear / 0.4).min(1.0) }))
}

/// Goes on at the larger sizes, adds the local correction, and weighs the evidence.
fn finish(a: &Vessels, pose_a: &Pose, b: &Vessels, start: &Pose) -> Option<Match> {
    let most = 3;
    let pose = refine(a, pose_a, b, start, Pass { level: 2, order: most, reach: 6, rounds: 2 });
    let pose = refine(a, pose_a, b, &pose, Pass { level: 1, order: most, reach: 8, rounds: 2 });
    let pose = refine(a, pose_a, b, &pose, Pass { level: 0, order: most, reach: 6, rounds: 1 });
    let (evidence, patches, map) = evidence(a, pose_a, b, &pose, 0, true);
    let found: Vec<_> = patches.iter().filter_map(|p| tie(p, &a.levels[0], pose_a, &map)).collect();
    if found.len() < 8 {
        return None;
    }
    let only: Vec<Tie> = found.iter().map(|t| t.1).collect();
    let least = a.levels[0].step * 0.15;
    let order = (0..=most).find(|o| fit::numbers(*o) >= pose.degrees_of_freedom[0]).unwrap_or(0);
    let (pose, weights) = fit::robust(&pose, &only, order, least);
    let pose = fit::local(&pose, &only, &weights, CELLS);
    Some(Match { pose, evidence, ties: found })
}

/// Weighs a pose at one size.
fn evidence(
    a: &Vessels,
    pose_a: &Pose,
    b: &Vessels,
    pose_b: &Pose,
    level: usize,
    whole: bool,
) -> (Evidence, Vec<Patch>, Map) {
    let (fa, fb) = (&a.levels[level], &b.levels[level]);
    let map = Map::new(pose_a, fa, pose_b);
    let drawn = map.draw(fa, fb);
    let (correlation, overlap) = agreement(fa, &drawn);
    let patches = seek(fa, &drawn, search_at(level, 8));
    let mut near: Vec<f64> = patches
        .iter()
        .filter(|p| p.shift[0].is_finite())
        .map(|p| {
            let [xx, xy, yy] = p.sure;
            let [x, y] = p.shift;
            // Along a straight vessel the place is not known: only what is known counts.
            (xx * x * x + 2.0 * xy * x * y + yy * y * y).max(0.0).sqrt().max(0.35 * x.hypot(y))
        })
        .filter(|d| *d <= 2.0)
        .collect();
    let agreeing = near.len() as f64 / patches.len().max(1) as f64;
    near.sort_by(f64::total_cmp);
    let residual = near.get(near.len() / 2).copied().unwrap_or(0.0);
    let e = Evidence {
        squares: patches.len(),
        agreeing,
        correlation,
        elsewhere: if whole { elsewhere(fa, &drawn) } else { 0.0 },
        overlap,
        residual_px: residual * fa.step,
    };
    (e, patches, map)
}

/// Highest correlation over the overlap when one field is moved by 3 to 8 % of the width in sixteen directions.
#[allow(clippy::cast_possible_truncation, clippy::cast_precision_loss)] // pixels
fn elsewhere(a: &Field, b: &Field) -> f64 {
    let mut most = 0.0f64;
    for k in 0..16 {
        let (s, c) = (f64::from(k) * std::f64::consts::TAU / 16.0).sin_cos();
        let r = a.width as f64 * if k % 2 == 0 { 0.03 } else { 0.08 };
        most = most.max(agreement(a, &b.moved((c * r) as isize, (s * r) as isize)).0);
    }
    most
}
