//! Simulated frames, whose place on the sphere is known.

use crate::real::{match_of, placed};
use crate::{interval, mean, quantile, say};
use rand::SeedableRng;
use rand::seq::IndexedRandom;
use rand_pcg::Pcg64Mcg;
use serrata_assemble::{Canvas, Hooks, Lens, Part, Pose, Source, Vessels, assemble};
use serrata_eye::{Rotation, Stereographic, angle_between};
use serrata_phantom::{Rendered, Scene, Sight, render};
use serrata_words::{Eye, Gaze, Modality, Observation, Placement, Ring};
use std::time::Instant;

/// Side of the pictures, pixels.
const SIZE: u32 = 1800;

struct Shot {
    made: Rendered,
    seen: Observation,
    lens: Lens,
    sight: Sight,
}

impl Shot {
    fn new(seed: u64, shot: u64, gaze: Gaze, modality: Modality, size: u32) -> Self {
        let mut scene = Scene::new(seed, Eye::R, modality);
        (scene.shot, scene.gaze, scene.size) = (shot, gaze, size);
        let made = render(&scene);
        let seen = serrata_appraise::observe(&made.frame, modality, Some(&scene.instrument));
        let lens = Lens::known(Stereographic::of(&scene.instrument, size, size).unwrap());
        let sight = Sight::of(&scene);
        Self { made, seen, lens, sight }
    }

    fn source(&self) -> Source<'_> {
        let modality = Some(self.made.truth.modality);
        Source { frame: &self.made.frame, observation: Some(&self.seen), modality, lens: self.lens }
    }

    fn vessels(&self) -> Vessels {
        Vessels::of(&self.source())
    }

    /// From the view frame to the retina, out of disc and fovea as drawn.
    fn to_retina(&self) -> Rotation {
        let at = |x, y| self.lens.projection.to_direction([x, y]);
        let t = &self.made.truth;
        Rotation::bringing(at(t.fovea.x, t.fovea.y), at(t.disc.x, t.disc.y), 0.0).unwrap()
    }
}

/// How far two poses are off.
#[derive(Debug, Clone, Copy)]
struct Off {
    /// Largest error in the overlap, degrees.
    most: f64,
    /// Error at the overlap's place nearest the middle, pixels.
    centre: f64,
    /// Share of the overlap that lies within 0.1 degrees.
    within: f64,
}

/// How far two poses are off over what both frames show.
///
/// The truth is where each pixel really lies, the eye's movement during both sweeps included; the landmarks only say
/// what is in the overlap.
fn geometry(a: &Shot, b: &Shot, pose_a: &Pose, pose_b: &Pose) -> Option<Off> {
    let side = f64::from(a.lens.projection.width);
    let true_turn = b.to_retina().then(a.to_retina().inverse());
    let (mut worst, mut centre, mut count) = (0.0f64, (f64::MAX, 0.0), [0.0; 2]);
    for k in 0..40 * 40 {
        let p = [f64::from(k % 40), f64::from(k / 40)].map(|v| (v + 0.5) / 40.0 * side);
        let truth = true_turn.apply(b.lens.projection.to_direction(p));
        let in_a = a.lens.projection.to_picture(truth);
        let off = |q: [f64; 2]| (q[0] - side / 2.0).hypot(q[1] - side / 2.0);
        if off(p) > 0.45 * side || off(in_a) > 0.45 * side {
            continue;
        }
        let got = pose_a.to_frame(pose_b.to_sphere(p));
        let error = angle_between(a.sight.to_retina(got), b.sight.to_retina(p)).to_degrees();
        worst = worst.max(error);
        count[0] += 1.0;
        count[1] += f64::from(u8::from(error <= 0.1));
        if off(in_a) < centre.0 {
            centre = (off(in_a), error / a.lens.projection.deg_per_px[0]);
        }
    }
    (centre.0 < f64::MAX).then(|| Off { most: worst, centre: centre.1, within: count[1] / count[0] })
}

const GAZES: [Gaze; 5] = [Gaze::Primary, Gaze::Up, Gaze::Down, Gaze::Left, Gaze::Right];

/// Pairs of one eye, kinds and gazes mixed.
pub fn pairs(n: usize) {
    use Modality::{Colour, Fa, Faf};
    let mut rng = Pcg64Mcg::seed_from_u64(7);
    let kinds = [(Colour, Colour), (Colour, Fa), (Fa, Fa), (Faf, Colour)];
    let (mut degrees, mut pixels, mut within) = (Vec::new(), Vec::new(), Vec::new());
    for seed in 0..n as u64 {
        let (ka, kb) = *kinds.choose(&mut rng).unwrap();
        let gaze = *GAZES.choose(&mut rng).unwrap();
        let a = Shot::new(1000 + seed, 1, Gaze::Primary, ka, SIZE);
        let b = Shot::new(1000 + seed, 2, gaze, kb, SIZE);
        let two = assemble(&[a.vessels(), b.vessels()], &Hooks::default()).frames;
        let score = two.iter().filter_map(|f| f.evidence).map(|e| e.score()).fold(0.0, f64::max);
        let yes = two.iter().all(|f| f.status == Placement::Placed);
        let poses = two[0].pose.as_ref().zip(two[1].pose.as_ref()).filter(|_| yes);
        let found = poses.and_then(|(p, q)| geometry(&a, &b, p, q).map(|g| (g, [p, q])));
        let Some((off, poses)) = found else {
            println!("  {seed}: {ka} – {kb} {gaze}: not placed, score {score:.1}");
            continue;
        };
        let dof = [0, 1].map(|k| poses.iter().map(|p| p.degrees_of_freedom[k]).sum::<f64>());
        println!(
            "  {seed}: {ka} – {kb} {gaze}: most {:.3}°, {:.1} % within 0.1°, centre {:.2} px, score {score:.1}, numbers {:.0} + {:.1}",
            off.most,
            100.0 * off.within,
            off.centre,
            dof[0],
            dof[1]
        );
        degrees.push(off.most);
        pixels.push(off.centre);
        within.push(100.0 * off.within);
    }
    let k = degrees.len();
    say("simulated pairs placed (≥ 95 %)", &format!("{k} of {n}"), n, k * 100 >= 95 * n);
    let high = |v: &mut Vec<f64>| quantile(v, 0.95);
    let middle = |v: &mut Vec<f64>| quantile(v, 0.5);
    say(
        "largest error in the overlap, degrees: 95th percentile (≤ 0.1)",
        &interval(&degrees, high),
        k,
        high(&mut degrees.clone()) <= 0.1,
    );
    say("the same: median over pairs", &interval(&degrees, middle), k, middle(&mut degrees.clone()) <= 0.1);
    let share = interval(&within, |v| mean(v));
    say("share of the overlap within 0.1 degrees, %, mean over pairs", &share, k, mean(&within) >= 100.0);
    say(
        "error at the centre, pixels: 95th percentile (≤ 1)",
        &interval(&pixels, high),
        k,
        high(&mut pixels.clone()) <= 1.0,
    );
}

/// Pairs of different simulated eyes.
pub fn aliens(n: usize) {
    let mut rng = Pcg64Mcg::seed_from_u64(8);
    // Twelve eyes in two kinds give more pairs than are asked for, and each is drawn once.
    let count = (2..).find(|c: &usize| c * (c - 1) * 2 >= n).unwrap();
    let all: Vec<[Vessels; 2]> = (0..count as u64)
        .map(|k| {
            let gaze = *GAZES.choose(&mut rng).unwrap();
            [Modality::Colour, Modality::Fa].map(|m| Shot::new(2000 + k, 1, gaze, m, 900).vessels())
        })
        .collect();
    let (mut wrong, mut done, mut highest) = (0, 0, f64::MIN);
    'all: for i in 0..count {
        for j in i + 1..count {
            for k in 0..4 {
                if done == n {
                    break 'all;
                }
                done += 1;
                let Some((_, m)) = match_of(&all[i][k / 2], &all[j][k % 2]) else { continue };
                highest = highest.max(m.evidence.score());
                wrong += usize::from(m.evidence.placement() == Placement::Placed);
            }
        }
    }
    println!("  {count} eyes; highest score {highest:.2}");
    say("simulated pairs of different eyes placed (0)", &wrong.to_string(), done, wrong == 0);
}

/// Sets of five gazes, all pairs of a set: adjusted together against pairwise.
pub fn sets(n: usize) {
    let (mut within, mut joint, mut alone, mut frames, mut in_place) =
        (Vec::new(), Vec::new(), Vec::new(), 0, 0);
    for seed in 0..n as u64 {
        let shots: Vec<Shot> = GAZES
            .iter()
            .zip(1..)
            .map(|(g, k)| Shot::new(4000 + seed, k, *g, Modality::Colour, SIZE))
            .collect();
        let vessels: Vec<Vessels> = shots.iter().map(Shot::vessels).collect();
        let set = assemble(&vessels, &Hooks::default());
        frames += 5;
        in_place += set.frames.iter().filter(|f| f.status == Placement::Placed).count();
        for i in 0..5 {
            for j in i + 1..5 {
                let together = set.frames[i].pose.as_ref().zip(set.frames[j].pose.as_ref());
                let together = together.and_then(|(p, q)| geometry(&shots[i], &shots[j], p, q));
                let found = match_of(&vessels[i], &vessels[j]).filter(|f| placed(Some(f)));
                let single = found.and_then(|(pose, m)| geometry(&shots[i], &shots[j], &pose, &m.pose));
                println!(
                    "  {seed}: {} – {}: together {together:.3?}, alone {single:.3?}",
                    GAZES[i], GAZES[j]
                );
                if let (Some(t), Some(s)) = (together, single) {
                    joint.push(t.most);
                    alone.push(s.most);
                    within.push([100.0 * t.within, 100.0 * s.within]);
                }
            }
        }
    }
    let k = joint.len();
    say("frames of the sets placed", &format!("{in_place} of {frames}"), n, in_place == frames);
    let middle = |v: &mut Vec<f64>| quantile(v, 0.5);
    say(
        "sets of five: largest error of a pair, degrees, median (≤ 0.1)",
        &interval(&joint, middle),
        k,
        middle(&mut joint.clone()) <= 0.1,
    );
    let share = |c: usize| within.iter().map(|w: &[f64; 2]| w[c]).collect::<Vec<f64>>();
    let text = [0, 1].map(|c| interval(&share(c), |v| mean(v)));
    println!("  share of the overlap within 0.1 degrees, %: together {}, alone {}", text[0], text[1]);
    say(
        "the same, pairwise; together must be lower",
        &interval(&alone, middle),
        k,
        mean(&joint) <= mean(&alone),
    );
}

/// Five frames of 3600 pixels into a 6k mosaic: seconds and peak memory of drawing and placing.
pub fn five() {
    let shots: Vec<Shot> =
        GAZES.iter().zip(1..).map(|(g, k)| Shot::new(5000, k, *g, Modality::Colour, 3600)).collect();
    let before = peak_mib();
    let start = Instant::now();
    let vessels: Vec<Vessels> = shots.iter().map(Shot::vessels).collect();
    let set = assemble(&vessels, &Hooks::default());
    let placing = start.elapsed().as_secs_f64();
    let parts: Vec<Part<'_>> = shots
        .iter()
        .zip(&set.frames)
        .filter_map(|(s, f)| f.pose.clone().map(|p| Part::new(&s.source(), p)))
        .collect();
    let seen = |s: &'_ Shot| s.seen.visible_retina.place.polygons.clone();
    let outlines: Vec<Vec<Ring>> = shots.iter().map(seen).collect();
    let frames = set.frames.iter().zip(&outlines);
    let frames: Vec<(&Pose, &[Ring])> =
        frames.filter_map(|(f, o)| Some((f.pose.as_ref()?, &o[..]))).collect();
    let canvas = Canvas::around(&frames, 6000).unwrap();
    let mut covered = 0;
    for from in (0..canvas.height).step_by(128) {
        let strip = canvas.strip(&parts, 3, from, (from + 128).min(canvas.height));
        covered += strip.provenance.iter().filter(|p| **p > 0).count();
    }
    let whole = start.elapsed().as_secs_f64();
    println!(
        "  canvas {} × {}, {covered} pixels covered, {} frames placed",
        canvas.width,
        canvas.height,
        parts.len()
    );
    println!("  peak memory {:.0} MiB after simulating, {:.0} MiB at the end", before, peak_mib());
    say(
        "five frames into a 6k mosaic, seconds, files aside (≤ 30)",
        &format!("{placing:.1} + {:.1}", whole - placing),
        1,
        whole <= 30.0,
    );
}

/// VmHWM of this process, MiB.
fn peak_mib() -> f64 {
    let text = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = text.lines().find(|l| l.starts_with("VmHWM")).unwrap_or_default();
    line.split_whitespace().nth(1).and_then(|v| v.parse::<f64>().ok()).unwrap_or(0.0) / 1024.0
}
