//! Real frames: annotated points, rings of three, different eyes.

use crate::{interval, mean, quantile, say};
use rand::SeedableRng;
use rand::seq::SliceRandom;
use rand_pcg::Pcg64Mcg;
use serrata_assemble::{Lens, Match, Pose, Source, Vessels, pair};
use serrata_frame::{Decode, Frame, Limits, Picture};
use serrata_words::{Modality, Placement, Point};
use std::path::{Path, PathBuf};
use std::time::Instant;

/// Where the real pictures lie.
pub fn shared() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../../shared/data")
}

pub fn read(path: &Path) -> Frame {
    let bytes = std::fs::read(path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    Picture.decode(&bytes, &Limits::default()).unwrap().remove(0)
}

/// The vessels of a frame as the command looks for them.
pub fn vessels(frame: &Frame, modality: Modality, lens: Option<Lens>) -> Vessels {
    let seen = serrata_appraise::observe(frame, modality, None);
    let lens = lens.unwrap_or_else(|| Lens::nominal(frame.pixels.width(), frame.pixels.height()));
    Vessels::of(&Source { frame, observation: Some(&seen), modality: Some(modality), lens })
}

pub fn kind(stem: &str) -> Modality {
    if stem.contains("_fa") { Modality::Fa } else { Modality::Colour }
}

/// An ultra-widefield frame: its stem, size and vessels.
pub struct Wide {
    pub stem: String,
    pub vessels: Vessels,
}

fn path_of(stem: &str) -> PathBuf {
    let low = shared().join(format!("uwf_triplets/{stem}.png"));
    if low.exists() { low } else { shared().join(format!("uwf_pairs_hires/{stem}.jpg")) }
}

fn wide(stem: &str) -> Wide {
    Wide { stem: stem.to_owned(), vessels: vessels(&read(&path_of(stem)), kind(stem), None) }
}

fn stems() -> Vec<String> {
    let mut all: Vec<String> =
        (1..5).flat_map(|e| ["colour", "fa_early", "fa_late"].map(|k| format!("eye0{e}_{k}"))).collect();
    all.extend((1..4).flat_map(|e| ["colour", "fa"].map(|k| format!("pair{e}_{k}"))));
    all
}

pub fn match_of(a: &Vessels, b: &Vessels) -> Option<(Pose, Match)> {
    let pose = Pose::reference(a.lens());
    pair(a, &pose, b).map(|m| (pose, m))
}

pub fn placed(found: Option<&(Pose, Match)>) -> bool {
    found.is_some_and(|f| f.1.evidence.placement() == Placement::Placed)
}

/// Point errors of the eleven annotated pairs.
pub fn points() {
    let folder = shared().join("annotations/points");
    let mut files: Vec<PathBuf> = std::fs::read_dir(folder).unwrap().map(|f| f.unwrap().path()).collect();
    files.sort();
    let (mut errors, mut worst, mut lost) = (Vec::new(), 0f64, 0);
    for file in &files {
        let stem = file.file_stem().unwrap().to_string_lossy().into_owned();
        let names: Vec<&str> = stem.split("__").collect();
        let start = Instant::now();
        let (a, b) = (wide(names[1]), wide(names[2]));
        let prepared = start.elapsed().as_secs_f64();
        let found = match_of(&a.vessels, &b.vessels);
        let whole = start.elapsed().as_secs_f64();
        let ok = placed(found.as_ref());
        let Some((pose, m)) = found else {
            lost += 1;
            continue;
        };
        let width = f64::from(a.vessels.lens().projection.width);
        let text = std::fs::read_to_string(file).unwrap();
        let e: Vec<f64> = text
            .lines()
            .skip(1)
            .map(|l| {
                let c: Vec<f64> = l.split(',').map(|v| v.trim().parse().unwrap()).collect();
                let q = m.pose.to_frame(pose.to_sphere([c[0], c[1]]));
                100.0 * (q[0] - c[2]).hypot(q[1] - c[3]) / width
            })
            .collect();
        let most = e.iter().copied().fold(0.0, f64::max);
        println!(
            "  {} – {}: mean {:.3} %, most {most:.2} % of {} points, score {:.1}, {}, numbers fitted {:.0} + {:.1}, {prepared:.1} + {:.1} s",
            names[1],
            names[2],
            mean(&e),
            e.len(),
            m.evidence.score(),
            m.evidence.placement().word(),
            m.pose.degrees_of_freedom[0],
            m.pose.degrees_of_freedom[1],
            whole - prepared,
        );
        if ok {
            errors.push(mean(&e));
            worst = worst.max(most);
        } else {
            lost += 1;
        }
    }
    say("real pairs placed", &format!("{} of {}", errors.len(), files.len()), files.len(), lost == 0);
    say(
        "mean point error, % of the width (≤ 0.35)",
        &interval(&errors, |v| mean(v)),
        errors.len(),
        mean(&errors) <= 0.35,
    );
    let most = quantile(&mut errors.clone(), 1.0);
    say("largest of the pairs' mean errors (≤ 0.8)", &format!("{most:.3}"), errors.len(), most <= 0.8);
    println!("  largest error of one point: {worst:.2} %");
}

/// Colour → early → late → colour.
pub fn rings() {
    let mut gaps = Vec::new();
    for eye in 1..5 {
        let frames = ["colour", "fa_early", "fa_late"].map(|k| wide(&format!("eye0{eye}_{k}")));
        let legs: Vec<_> =
            (0..3).map(|k| match_of(&frames[k].vessels, &frames[(k + 1) % 3].vessels)).collect();
        let scores: Vec<String> = legs
            .iter()
            .map(|l| l.as_ref().map_or("none".to_owned(), |l| format!("{:.1}", l.1.evidence.score())))
            .collect();
        if !legs.iter().all(|l| placed(l.as_ref())) {
            println!("  eye {eye}: not all legs are placed (scores {})", scores.join(", "));
            gaps.push(f64::INFINITY);
            continue;
        }
        let projection = frames[0].vessels.lens().projection;
        let (w, h) = (f64::from(projection.width), f64::from(projection.height));
        let mut gap = Vec::new();
        for i in 0..42 * 34 {
            let p = [f64::from(i % 42) * 20.0 + 20.0, f64::from(i / 42) * 20.0 + 20.0];
            let around = legs.iter().flatten().try_fold(p, |q: Point, (pose, m)| {
                let next = m.pose.to_frame(pose.to_sphere(q));
                (m.pose.holds(next)).then_some(next)
            });
            // Both ends within an ellipse that the visible retina fills.
            let inside = |q: Point| ((q[0] / w - 0.5) / 0.42).hypot((q[1] / h - 0.5) / 0.36) < 1.0;
            if let Some(q) = around.filter(|_| inside(p)) {
                gap.push(100.0 * (p[0] - q[0]).hypot(p[1] - q[1]) / w);
            }
        }
        let n = gap.len();
        gaps.push(quantile(&mut gap, 0.5));
        let high = quantile(&mut gap, 0.9);
        println!(
            "  eye {eye}: median gap {:.3} %, nine of ten below {high:.3} % ({n} places; scores {})",
            gaps[gaps.len() - 1],
            scores.join(", ")
        );
    }
    let most = quantile(&mut gaps, 1.0);
    say(
        "largest median gap of a ring, % of the width (≤ 0.4)",
        &format!("{most:.3}"),
        gaps.len(),
        most <= 0.4,
    );
}

/// Different eyes, mirrored copies included; and the same eye.
pub fn others(n: usize) {
    let all: Vec<Wide> = stems().iter().map(|s| wide(s)).collect();
    let mirrored: Vec<Vessels> = all.iter().map(|w| w.vessels.mirrored()).collect();
    let eye = |i: usize| &all[i].stem[..5];
    let (mut same, mut jobs) = (Vec::new(), Vec::new());
    for i in 0..all.len() {
        for j in i..all.len() {
            jobs.push((i, j, true));
            match (i == j, eye(i) == eye(j)) {
                (true, _) => {}
                (false, true) => same.push((i, j)),
                (false, false) => jobs.push((i, j, false)),
            }
        }
    }
    jobs.shuffle(&mut Pcg64Mcg::seed_from_u64(1));
    let whole = jobs.len();
    jobs.truncate(n);
    let (mut wrong, mut doubtful, mut highest) = (0, 0, f64::MIN);
    for (i, j, mirror) in &jobs {
        let b = if *mirror { &mirrored[*j] } else { &all[*j].vessels };
        let Some((_, m)) = match_of(&all[*i].vessels, b) else { continue };
        highest = highest.max(m.evidence.score());
        let status = m.evidence.placement();
        if status != Placement::NotPlaced {
            println!(
                "  {} {} mirrored {mirror}: {} {:?}",
                all[*i].stem,
                all[*j].stem,
                status.word(),
                m.evidence
            );
        }
        wrong += usize::from(status == Placement::Placed);
        doubtful += usize::from(status == Placement::Doubtful);
    }
    println!("  {} of {whole} such pairs; highest score {highest:.2}; doubtful {doubtful}", jobs.len());
    say(
        "real pairs of different eyes, mirrored ones among them, placed (0)",
        &wrong.to_string(),
        jobs.len(),
        wrong == 0,
    );
    let mut yes = 0;
    for (i, j) in &same {
        let found = match_of(&all[*i].vessels, &all[*j].vessels);
        if placed(found.as_ref()) {
            yes += 1;
        } else {
            println!("  not placed: {} {} {:?}", all[*i].stem, all[*j].stem, found.map(|f| f.1.evidence));
        }
    }
    say(
        "real pairs of one eye placed (≥ 95 %)",
        &format!("{yes} of {}", same.len()),
        same.len(),
        yes * 100 >= 95 * same.len(),
    );
}
