//! Arteries and veins told apart by how dark they are in red light against green light.
//!
//! Blood rich in oxygen lets red light (about 635 nm) pass and takes up green light (about 532 nm); blood that gave its oxygen away takes
//! up some of the red as well. So a vein stays visible in red while an artery nearly vanishes there: the ratio of the two contrasts
//! is what oximetry of the retina measures (Hickam; Delori, Appl. Opt. 1988; Beach et al. 1999: from memory). Width is no cue of its own here, so it
//! may serve as a check, though a blurred wide vessel shows more of its contrast.
//!
//! How large the ratio is depends on the instrument and on stray light, so the two kinds of a frame are found in the frame itself; where
//! its lines do not fall into two kinds, or a line lies between them, nothing is told; nor is it far from the disc or in small frames, where
//! no check against real frames bore it out.

use crate::{anatomy, filter, mask::Mask, scene::Scene, vessel_lines::VesselLines};
use serrata_frame::Plane;
use serrata_words::{Modality, Point, VesselGuess, VesselKind, VesselLine, VesselNode};

/// A kind less likely than this is not told. Judgement: of the lines told at 0.8 one in twenty or fewer is wrong in simulated frames.
const TOLD: f64 = 0.8;

/// Most blue, against the mean of red and green, of a picture made by a red and a green laser: theirs is 0.04 to 0.10, that of white light
/// mostly 0.22 to 0.31 (six frames), so a wide field by white light is kept out.
const BLUE: f32 = 0.2;

/// Fewest frame pixels along a working pixel. In frames of 853 pixels (1) the lines held for veins were narrower than those held for
/// arteries in one of three, and 16 of 19 trunks were right; in frames of 3.9k (5) 23 of 24. Between them nothing was measured: from 1161 pixels on is judgement.
const FINE: f64 = 1.5;

/// Farthest from the disc's centre that a kind is told, disc radii: there the trunks were judged by eye. Beyond, the lines held for veins
/// were no wider than the others in any of three real frames.
const FAR: f64 = 8.0;

/// Least probability of the disc that distances are measured from. Judgement.
const DISC: f64 = 0.5;

/// Says of each line of a colour frame whether it is an artery or a vein, where that can be told.
pub(crate) fn tell(scene: &Scene<'_>, retina: &Mask, found: &mut VesselLines) {
    let (Modality::Colour, Some(red)) = (scene.modality, &scene.red) else { return };
    // White light and narrow fields: their lines fell into one kind rather than two in all of 14 frames tried.
    if scene.round || scene.blueness() > BLUE || scene.factor < FINE || found.lines.len() < FEWEST {
        return;
    }
    let disc = anatomy::anatomy(scene, retina, &anatomy::Vessels::find(scene, retina)).disc;
    let Some(disc) = disc.filter(|d| d.probability >= DISC) else { return };
    let near = FAR * f64::from(scene.disc_radius) * scene.factor;
    let kinds = kinds(red, &scene.detail, scene.factor, &found.lines, &found.nodes);
    for (line, kind) in found.lines.iter_mut().zip(kinds) {
        let middle = line.points.get(line.points.len() / 2);
        line.kind = kind.filter(|_| middle.is_some_and(|p| (p[0] - disc.x).hypot(p[1] - disc.y) < near));
    }
}

/// The kind of each line; `factor`: frame pixels along one pixel of the planes.
fn kinds(
    red: &Plane,
    green: &Plane,
    factor: f64,
    lines: &[VesselLine],
    nodes: &[VesselNode],
) -> Vec<Option<VesselGuess>> {
    let light = Light::new(red, green);
    let cues: Vec<Option<Cue>> = lines.iter().map(|l| light.cue(l, factor)).collect();
    let Some(frame) = Frame::of(&cues) else { return vec![None; lines.len()] };
    let own: Vec<f64> = cues
        .iter()
        .map(|c| c.as_ref().map_or(0.0, |c| frame.vein_odds(c).clamp(-STRONGEST, STRONGEST)))
        .collect();
    let odds = shared(&own, &ties(lines, nodes, factor));
    odds.into_iter()
        .zip(&cues)
        .map(|(odds, cue)| {
            cue.as_ref()?;
            let vein = 1.0 / (1.0 + (-odds).exp());
            let (name, probability) =
                if vein > 0.5 { (VesselKind::Vein, vein) } else { (VesselKind::Artery, 1.0 - vein) };
            (probability >= TOLD).then_some(VesselGuess { name, probability })
        })
        .collect()
}

/// What a line says by itself.
#[derive(Debug, Clone, PartialEq)]
struct Cue {
    /// Its contrast in red against that in green, made even over depth and ground: about 0.2 in arteries, 0.3 in veins of real frames.
    ratio: f64,
    /// Standard error of the ratio.
    error: f64,
    /// The ratio that a grey thread, a lash or a shadow, has at this depth.
    grey: f64,
    /// Length in working pixels.
    long: f64,
    /// How many stretches were measured.
    parts: usize,
}

/// Added before logarithms: 5 of 255, so that noise of the dark is not blown up.
const DARK: f32 = 0.02;
/// Working pixels left out at the ends, where other vessels join.
const ENDS: usize = 3;
/// Shortest line and length of a stretch, working pixels.
const SHORTEST: usize = 8;
const STRETCH: usize = 8;
/// Ground beside the vessel that is looked at on each side, working pixels. Judgement: from 2 to 6 the trunks of five real frames
/// were told apart alike (area under the curve 0.84 to 0.88), and a narrow ground seldom holds another vessel.
const BESIDE: f64 = 2.0;
/// Shallowest line, logarithm of green light: below this there are as many that are no vessel.
const SHALLOW: f64 = 0.08;
/// The contrast in red is divided by that in green to the power of 1 less this: in green even a thin vessel is nearly black, so a
/// plain ratio overcorrects. Area under the curve on the trunks of five real frames 0.87 at 0, 0.89 at 0.25, 0.91 at 0.5; of 80
/// simulated ones 0.91, 0.94, 0.94, but veins and arteries of all depths are on one scale only near 0.25.
const EVEN: f64 = 0.25;
/// How much the ratio falls with the ground's light, per unit of logarithm: stray light takes contrast from the dark parts. Of 0, 0.05,
/// 0.1, 0.15 and 0.2 on the same trunks.
const STRAY: f64 = 0.1;
/// Usual logarithm of the ground's light.
const GROUND: f64 = -1.2;
/// Errors that the spread of the stretches does not show: of the ratio itself, and of the red contrast (the choroid).
const LEAST_ERROR: f64 = 0.03;
const CHOROID: f64 = 0.015;

/// Logarithms of red and green light.
struct Light {
    red: Plane,
    green: Plane,
}

impl Light {
    fn new(red: &Plane, green: &Plane) -> Self {
        let ln = |p: &Plane| Plane {
            width: p.width,
            height: p.height,
            data: p.data.iter().map(|v| (v.max(0.0) + DARK).ln()).collect(),
        };
        Self { red: ln(red), green: ln(green) }
    }

    /// Measures a line: its profile across is averaged in green, and each stretch is told how much of that profile it has in both lights.
    fn cue(&self, line: &VesselLine, factor: f64) -> Option<Cue> {
        let (places, long) = even_steps(&line.points, factor);
        let trim = if places.len() > 2 * ENDS + SHORTEST { ENDS } else { 0 };
        let places = &places[trim..places.len() - trim];
        if places.len() < 2 * SHORTEST {
            return None; // a single stretch has no error
        }
        let width = line.width_px.map_or(3.0, |w| w / factor).clamp(2.0, 20.0);
        let reach = 0.5 * width + BESIDE;
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // a small positive number
        let half = (2.0 * reach).ceil() as usize;
        let step = reach / half as f64;
        let across = 2 * half + 1;
        let (mut red, mut green) =
            (Vec::with_capacity(places.len() * across), Vec::with_capacity(places.len() * across));
        for i in 0..places.len() {
            let (a, b) = (places[i.saturating_sub(4)], places[(i + 4).min(places.len() - 1)]);
            let length = (b[0] - a[0]).hypot(b[1] - a[1]).max(1e-6);
            let (nx, ny) = (-(b[1] - a[1]) / length, (b[0] - a[0]) / length);
            for k in 0..across {
                let t = (k as f64 - half as f64) * step;
                let (x, y) = (places[i][0] + t * nx, places[i][1] + t * ny);
                red.push(at(&self.red, x, y));
                green.push(at(&self.green, x, y));
            }
        }
        let ground = 0.5
            * f64::from(
                filter::percentile(&mut red.clone(), 0.5) + filter::percentile(&mut green.clone(), 0.5),
            );
        red.chunks_exact_mut(across).chain(green.chunks_exact_mut(across)).for_each(level);
        let mut shape = vec![0.0f32; across];
        for row in green.chunks_exact(across) {
            shape.iter_mut().zip(row).for_each(|(s, v)| *s += v / places.len() as f32);
        }
        let depth = -f64::from(shape[half]);
        if depth <= SHALLOW {
            return None;
        }
        let parts = places.len() / STRETCH;
        let mean = |of: &[f32], part: usize| {
            let rows = part * places.len() / parts..(part + 1) * places.len() / parts;
            let sum: f64 = of[rows.start * across..rows.end * across]
                .chunks_exact(across)
                .map(|row| row.iter().zip(&shape).map(|(v, s)| f64::from(v * s)).sum::<f64>())
                .sum();
            sum / rows.len() as f64
        };
        let both: Vec<[f64; 2]> = (0..parts).map(|p| [mean(&red, p), mean(&green, p)]).collect();
        let sum = both.iter().fold([0.0, 0.0], |s, b| [s[0] + b[0], s[1] + b[1]]);
        if sum[1] < 1e-9 {
            return None;
        }
        let ratio = sum[0] / sum[1];
        let n = parts as f64;
        let off = both.iter().map(|[r, g]| (r - ratio * g).powi(2)).sum::<f64>();
        let spread = (off / (n - 1.0) * n).sqrt() / sum[1];
        // The spread of a few stretches is itself uncertain.
        let few = if parts > 4 { 1.0 } else { 2.0f64.sqrt() };
        let grey = depth.powf(EVEN);
        Some(Cue {
            ratio: ratio * grey - STRAY * (ground - GROUND),
            error: (spread.max(LEAST_ERROR) * few).hypot(CHOROID / depth) * grey,
            grey,
            long,
            parts,
        })
    }
}

/// Places along a line one working pixel apart, in indices of the plane, and its length there.
fn even_steps(points: &[Point], factor: f64) -> (Vec<[f64; 2]>, f64) {
    let p: Vec<[f64; 2]> = points.iter().map(|p| p.map(|c| c / factor - 0.5)).collect();
    let (mut out, mut gone) = (Vec::new(), 0.0);
    for ends in p.windows(2) {
        let long = (ends[1][0] - ends[0][0]).hypot(ends[1][1] - ends[0][1]);
        while out.len() as f64 + 0.5 < gone + long {
            let t = (out.len() as f64 + 0.5 - gone) / long;
            out.push([0, 1].map(|k| ends[0][k] + t * (ends[1][k] - ends[0][k])));
        }
        gone += long;
    }
    (out, gone)
}

/// Light between pixels; beyond the border the border's goes on.
fn at(p: &Plane, x: f64, y: f64) -> f32 {
    let clamp = |v: f64, n: usize| {
        let v = v.clamp(0.0, n.saturating_sub(1) as f64);
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // inside, as just made sure
        let i = (v as usize).min(n.saturating_sub(2));
        #[allow(clippy::cast_possible_truncation)] // rounding to f32 is meant
        (i, (i + 1).min(n.saturating_sub(1)), (v - i as f64) as f32)
    };
    let ((i, i2, u), (j, j2, v)) = (clamp(x, p.width), clamp(y, p.height));
    let top = p.at(i, j) + (p.at(i2, j) - p.at(i, j)) * u;
    let low = p.at(i, j2) + (p.at(i2, j2) - p.at(i, j2)) * u;
    top + (low - top) * v
}

/// Takes mean and slope out of a profile.
fn level(row: &mut [f32]) {
    let n = row.len() as f32;
    let middle = (n - 1.0) / 2.0;
    let mean = row.iter().sum::<f32>() / n;
    let (mut up, mut all) = (0.0, 1e-9);
    for (k, v) in row.iter().enumerate() {
        let t = k as f32 - middle;
        up += t * v;
        all += t * t;
    }
    for (k, v) in row.iter_mut().enumerate() {
        *v -= mean + up / all * (k as f32 - middle);
    }
}

/// What the two kinds of a frame may look like: each pair of kinds with how well it fits all lines.
struct Frame {
    pairs: Vec<(Pair, f64)>,
}

/// Ratios of two kinds.
#[derive(Debug, Clone, Copy)]
struct Pair {
    artery: f64,
    vein: f64,
    /// Spread within a kind.
    spread: f64,
    /// Share of arteries.
    share: f64,
    /// Share of lines that are grey threads.
    grey: f64,
}

/// Fewest lines that a frame's kinds are found from. Judgement.
const FEWEST: usize = 10;
/// Least sure line that they are found from: half the usual distance between the kinds is 0.06, 0.12 still helps.
const UNSURE: f64 = 0.12;
/// Length beyond which a line counts no more, working pixels.
const FULL: f64 = 100.0;
/// How much of a line's evidence counts in finding the kinds: lines of one tree are not independent. Judgement, 0.35 and 1 told 3 %
/// less and 3 % more of the simulated length, 0.3 % better and 1 % worse.
const INDEPENDENT: f64 = 0.5;
/// Share of lines that are grey threads, usually and before many lashes, and of lines of any ratio, with the spread of the former as a
/// share of their ratio. Judgement: a tenth of the simulated lines follows no vessel.
const GREY: [f64; 2] = [0.15, 0.75];
const GREY_SPREAD: f64 = 0.12;
const ANY: f64 = 0.08;
/// Most that a line says by itself, natural logarithm of odds: the choroid can make one look like the other.
const STRONGEST: f64 = 3.0;

fn bell(off: f64, spread: f64) -> f64 {
    (-0.5 * (off / spread).powi(2)).exp() / (spread * std::f64::consts::TAU.sqrt())
}

impl Cue {
    /// Likelihoods: artery, vein, neither.
    fn likelihoods(&self, p: &Pair) -> [f64; 3] {
        let spread = p.spread.hypot(self.error);
        let vessel = 1.0 - p.grey - ANY;
        [
            vessel * bell(self.ratio - p.artery, spread),
            vessel * bell(self.ratio - p.vein, spread),
            ANY + p.grey * bell(self.ratio - self.grey, (GREY_SPREAD * self.grey).hypot(self.error)),
        ]
    }
}

impl Frame {
    /// None where too few lines were measured well.
    fn of(cues: &[Option<Cue>]) -> Option<Self> {
        let good: Vec<&Cue> = cues.iter().flatten().filter(|c| c.parts >= 3 && c.error < UNSURE).collect();
        if good.len() < FEWEST {
            return None;
        }
        let weight = |c: &Cue| c.long.min(FULL);
        let mean = good.iter().map(|c| weight(c)).sum::<f64>() / good.len() as f64;
        let mut pairs: Vec<(Pair, f64)> = grid()
            .map(|p| {
                let fit = good.iter().map(|c| {
                    let [a, v, no] = c.likelihoods(&p);
                    weight(c) / mean * (p.share * a + (1.0 - p.share) * v + no).ln()
                });
                (p, INDEPENDENT * fit.sum::<f64>())
            })
            .collect();
        let best = pairs.iter().map(|p| p.1).fold(f64::MIN, f64::max);
        for p in &mut pairs {
            p.1 = (p.1 - best).exp();
        }
        // What is a thousand times less likely than the best changes nothing.
        pairs.retain(|p| p.1 > 1e-3);
        Some(Self { pairs })
    }

    /// Logarithm of the odds of a vein, both kinds equally likely beforehand; a line like neither says nothing.
    fn vein_odds(&self, cue: &Cue) -> f64 {
        let (mut artery, mut vein) = (0.0, 0.0);
        for (pair, fit) in &self.pairs {
            let [a, v, no] = cue.likelihoods(pair);
            let (a, v) = (0.5 * a, 0.5 * v);
            artery += fit * (a + 0.5 * no) / (a + v + no);
            vein += fit * (v + 0.5 * no) / (a + v + no);
        }
        (vein / artery).ln()
    }
}

/// Veins darker in red than this are none: grey threads begin here.
const REDDEST: f64 = 0.76;

/// Pairs of kinds that are tried. Ratios of 0.02 to 0.2 for arteries and 0.12 to 0.3 for veins were found in real frames, 0.4 and 0.55 in
/// simulated ones; closer than 0.08 the kinds are no kinds.
fn grid() -> impl Iterator<Item = Pair> {
    const APART: [f64; 6] = [0.08, 0.12, 0.16, 0.20, 0.25, 0.30];
    const SPREADS: [f64; 4] = [0.03, 0.05, 0.07, 0.10];
    const SHARES: [f64; 3] = [0.3, 0.5, 0.7];
    (0..13 * APART.len() * SPREADS.len() * SHARES.len() * GREY.len())
        .map(|i| {
            let (i, grey) = (i / GREY.len(), GREY[i % GREY.len()]);
            let (i, share) = (i / SHARES.len(), SHARES[i % SHARES.len()]);
            let (i, spread) = (i / SPREADS.len(), SPREADS[i % SPREADS.len()]);
            let (i, apart) = (i / APART.len(), APART[i % APART.len()]);
            let artery = 0.05 * i as f64 - 0.05;
            Pair { artery, vein: artery + apart, spread, share, grey }
        })
        .filter(|p| p.vein < REDDEST)
}

/// How likely two lines that meet are of one kind: those that go straight on at a branching, the third line with them, those that go
/// straight on at a crossing, and those that cross. In simulated frames 0.99, 0.78, 0.86 and 0.10; real ones have more meeting places that are
/// none (scars, vessels that touch), and there fuller values (0.97, 0.7, 0.8, 0.2) turned whole trees:
/// of the trunks told, 46 of 63 were then right, with these 36 of 42.
const STRAIGHT_ON: f64 = 0.9;
const BESIDE_IT: f64 = 0.6;
const OVER: f64 = 0.6;
const CROSSING: f64 = 0.4;
/// Cosine between two halves of a vessel at a crossing, below which they go straight on.
const STRAIGHT: f64 = -0.85;

/// Pairs of lines that meet, with the probability that they are of one kind.
fn ties(lines: &[VesselLine], nodes: &[VesselNode], factor: f64) -> Vec<(usize, usize, f64)> {
    let mut out = Vec::new();
    for node in nodes {
        let ways: Option<Vec<[f64; 2]>> =
            node.lines.iter().map(|l| outwards(lines.get(*l)?, [node.x, node.y], factor)).collect();
        let Some(ways) = ways else { continue };
        let cos = |i: usize, j: usize| ways[i][0] * ways[j][0] + ways[i][1] * ways[j][1];
        let mut tie = |i: usize, j: usize, same: f64| {
            let (a, b) = (node.lines[i], node.lines[j]);
            if a != b {
                out.push((a, b, same));
            }
        };
        match ways.len() {
            3 => {
                let [i, j, k] = [[0, 1, 2], [0, 2, 1], [1, 2, 0]]
                    .into_iter()
                    .min_by(|a, b| cos(a[0], a[1]).total_cmp(&cos(b[0], b[1])))
                    .unwrap_or([0, 1, 2]);
                tie(i, j, STRAIGHT_ON);
                tie(i, k, BESIDE_IT);
                tie(j, k, BESIDE_IT);
            }
            4 => {
                let [i, j, k, l] = [[0, 1, 2, 3], [0, 2, 1, 3], [0, 3, 1, 2]]
                    .into_iter()
                    .min_by(|a, b| {
                        let sum = |m: &[usize; 4]| cos(m[0], m[1]) + cos(m[2], m[3]);
                        sum(a).total_cmp(&sum(b))
                    })
                    .unwrap_or([0, 1, 2, 3]);
                if cos(i, j).max(cos(k, l)) < STRAIGHT {
                    tie(i, j, OVER);
                    tie(k, l, OVER);
                    for (a, b) in [(i, k), (i, l), (j, k), (j, l)] {
                        tie(a, b, CROSSING);
                    }
                }
            }
            _ => {}
        }
    }
    out
}

/// Nearest and farthest place from a node by which a line's way out of it is told, working pixels.
const WAY: [f64; 2] = [4.0, 14.0];

/// The direction in which a line leaves a node; none where it is too short to say.
fn outwards(line: &VesselLine, node: Point, factor: f64) -> Option<[f64; 2]> {
    let far = |p: &Point| (p[0] - node[0]).hypot(p[1] - node[1]) / factor;
    let (first, last) = (line.points.first()?, line.points.last()?);
    let from_end = far(first) > far(last);
    let at = |i: usize| &line.points[if from_end { line.points.len() - 1 - i } else { i }];
    let begin = (1..line.points.len()).find(|i| far(at(*i)) >= WAY[0])?;
    let end = (begin..line.points.len()).find(|i| far(at(*i)) >= WAY[1]).unwrap_or(line.points.len() - 1);
    let (p, long) = (at(end), far(at(end)));
    (long > 2.0).then(|| [(p[0] - node[0]) / factor / long, (p[1] - node[1]) / factor / long])
}

/// Rounds of exchange: a kind is then heard of this many branchings away.
const ROUNDS: usize = 20;

/// Odds after lines that meet have told one another (belief propagation: Pearl 1988, from memory), each change halved so that rings settle.
fn shared(own: &[f64], ties: &[(usize, usize, f64)]) -> Vec<f64> {
    // What each tie tells its first and its second line.
    let mut told = vec![[0.0f64; 2]; ties.len()];
    let heard = |told: &[[f64; 2]]| {
        let mut all = own.to_vec();
        for ((a, b, _), t) in ties.iter().zip(told) {
            all[*a] += t[0];
            all[*b] += t[1];
        }
        all
    };
    for _ in 0..ROUNDS {
        let all = heard(&told);
        for ((a, b, same), t) in ties.iter().zip(&mut told) {
            let pull = 2.0 * same - 1.0;
            let pass = |rest: f64| 2.0 * (pull * (rest / 2.0).tanh()).atanh();
            let [to_a, to_b] = [pass(all[*b] - t[1]), pass(all[*a] - t[0])];
            *t = [0.5 * (t[0] + to_a), 0.5 * (t[1] + to_b)];
        }
    }
    heard(&told)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use serrata_frame::{Frame as Picture, Pixels, Samples};
    use serrata_words::VesselNodeKind;

    /// Straight lines down the picture: light of their middle, red and green, against a ground of 0.4.
    fn drawn(reds: &[f32], greens: &[f32]) -> (Plane, Plane, Vec<VesselLine>) {
        let n = reds.len();
        let plane = |depth: &[f32]| {
            Plane::from_fn(24 * n, 120, |x, y| {
                let off = (x % 24) as f32 - 12.0;
                let grain = ((x * 37 + y * 91) % 17) as f32 / 17.0 - 0.5;
                0.4 * (1.0 - depth[x / 24] * (-0.5 * (off / 1.5).powi(2)).exp()) * (1.0 + 0.03 * grain)
            })
        };
        let line = |i: usize| VesselLine {
            points: (0..12).map(|k| [24.0 * i as f64 + 12.5, 5.0 + 10.0 * f64::from(k)]).collect(),
            width_px: Some(3.5),
            kind: None,
        };
        (plane(reds), plane(greens), (0..n).map(line).collect())
    }

    const ARTERY: [f32; 2] = [0.03, 0.42];
    const VEIN: [f32; 2] = [0.22, 0.50];

    fn both() -> (Plane, Plane, Vec<VesselLine>) {
        let of = |k: usize| -> Vec<f32> {
            (0..14).map(|i| if i % 2 == 0 { ARTERY[k] } else { VEIN[k] }).collect()
        };
        drawn(&of(0), &of(1))
    }

    #[test]
    fn what_vanishes_in_red_is_an_artery() {
        let (red, green, lines) = both();
        for (i, k) in kinds(&red, &green, 1.0, &lines, &[]).into_iter().enumerate() {
            let k = k.unwrap();
            assert_eq!(k.name, if i % 2 == 0 { VesselKind::Artery } else { VesselKind::Vein }, "{i}");
            assert!((TOLD..1.0).contains(&k.probability), "{}", k.probability);
        }
    }

    #[test]
    fn a_mirrored_frame_gives_the_mirrored_answer() {
        let (red, green, lines) = both();
        let flip = |p: &Plane| Plane::from_fn(p.width, p.height, |x, y| p.at(p.width - 1 - x, y));
        let width = red.width as f64;
        let flipped: Vec<VesselLine> = lines
            .iter()
            .map(|l| VesselLine {
                points: l.points.iter().map(|p| [width - p[0], p[1]]).collect(),
                ..l.clone()
            })
            .collect();
        let (a, b) =
            (kinds(&red, &green, 1.0, &lines, &[]), kinds(&flip(&red), &flip(&green), 1.0, &flipped, &[]));
        for (a, b) in a.iter().zip(&b) {
            let (a, b) = (a.unwrap(), b.unwrap());
            assert_eq!(a.name, b.name);
            assert!((a.probability - b.probability).abs() < 1e-3);
        }
    }

    #[test]
    fn grey_threads_and_few_lines_are_not_told() {
        let (_, green, lines) = both();
        assert!(kinds(&green, &green, 1.0, &lines, &[]).iter().all(Option::is_none));
        let (red, green, lines) = drawn(&[0.03, 0.22, 0.03], &[0.42, 0.5, 0.42]);
        assert!(kinds(&red, &green, 1.0, &lines, &[]).iter().all(Option::is_none));
    }

    #[test]
    fn a_faint_line_takes_the_kind_of_what_it_goes_on_from() {
        let told = shared(&[3.0, 0.0, 0.0], &[(0, 1, STRAIGHT_ON), (1, 2, CROSSING)]);
        assert!(told[1] > 1.0 && told[2] < 0.0 && told[2] > -0.5, "{told:?}");
        // A ring of agreement settles.
        let ring = shared(&[0.5; 3], &[(0, 1, STRAIGHT_ON), (1, 2, STRAIGHT_ON), (2, 0, STRAIGHT_ON)]);
        assert!(ring.iter().all(|o| o.is_finite() && *o > 0.5), "{ring:?}");
    }

    #[test]
    fn the_straightest_pair_of_a_fork_goes_on() {
        let line = |to: Point| VesselLine { points: vec![[50.0, 50.0], to], width_px: None, kind: None };
        let node = VesselNode { x: 50.0, y: 50.0, kind: VesselNodeKind::Branching, lines: vec![0, 1, 2] };
        let lines = [line([10.0, 50.0]), line([80.0, 80.0]), line([90.0, 52.0])];
        let t = ties(&lines, &[node], 1.0);
        assert_eq!(t[0], (0, 2, STRAIGHT_ON));
        assert_eq!(t.len(), 3);
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(40))]
        #[test]
        fn any_small_frame_is_answered(w in 1u32..70, h in 1u32..70, seed in any::<u32>(), blank in any::<bool>()) {
            let byte = |i: u32| if blank { 90 } else { (i.wrapping_mul(seed | 1).wrapping_mul(2_654_435_761) >> 24) as u8 };
            let bytes: Vec<u8> = (0..w * h * 3).map(byte).collect();
            let frame = Picture::bare(Pixels::new(w, h, 3, Samples::U8(bytes.into())).unwrap());
            let found = crate::vessel_lines(&frame, Modality::Colour);
            prop_assert!(found.lines.iter().flat_map(|l| l.kind).all(|k| (TOLD..=1.0).contains(&k.probability)));
        }

        #[test]
        fn lines_anywhere_on_tiny_planes_are_measured(w in 1usize..9, h in 1usize..9, x in -20.0f64..30.0, y in -20.0f64..30.0) {
            let p = Plane::from_fn(w, h, |x, y| (x * y % 3) as f32 / 3.0);
            let line = VesselLine { points: vec![[x, y], [y, x + 1.0], [x + 40.0, y]], width_px: Some(x.abs()), kind: None };
            let cue = Light::new(&p, &p).cue(&line, 1.0);
            prop_assert!(cue.is_none_or(|c| c.ratio.is_finite() && c.error.is_finite()));
        }
    }
}
