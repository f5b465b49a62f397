//! What the engine says of the real pictures in `../shared/data`, against the annotations and the graders.
//!
//! `cargo run --release -p serrata-appraise --example real_report [-- --overlay DIR] [--timings] [--json DIR] [--only frames|verdicts|others] [--folder DIR]`
//!
//! The pictures are not part of the repository; where they are absent this says so and ends.
#![allow(clippy::unwrap_used, clippy::print_stdout)] // a report for developers: stop at the first surprise

use serrata_appraise::{likely_modality, observe, overlay};
use serrata_frame::{Decode, Frame, Limits, Picture, Pixels, Samples};
use serrata_visit::{Rules, judge};
use serrata_words::{Eye, EyeState, Gaze, Judgement, Modality, Observation, Ring, Verdict, View};
use std::{
    path::{Path, PathBuf},
    time::Instant,
};

struct Options {
    overlays: Option<PathBuf>,
    json: Option<PathBuf>,
    timings: bool,
}

fn main() {
    let data = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../../shared/data");
    if !data.is_dir() {
        println!("{} is not there: nothing to report on.", data.display());
        return;
    }
    let args: Vec<String> = std::env::args().collect();
    let after =
        |name: &str| args.iter().position(|a| a == name).and_then(|i| args.get(i + 1)).map(PathBuf::from);
    let options = Options {
        overlays: after("--overlay"),
        json: after("--json"),
        timings: args.iter().any(|a| a == "--timings"),
    };
    for dir in options.overlays.iter().chain(&options.json) {
        std::fs::create_dir_all(dir).unwrap();
    }
    let only = after("--only").map(|p| p.to_string_lossy().into_owned());
    let wanted = |part: &str| only.as_deref().is_none_or(|o| o == part);
    if let Some(dir) = after("--folder") {
        folder(&dir, &options);
        return;
    }
    if wanted("frames") {
        frames(&data, &options);
    }
    if wanted("verdicts") {
        verdicts(&data, &options);
    }
    if wanted("others") {
        others(&data, &options);
    }
}

fn load(path: &Path) -> Frame {
    Picture.decode(&std::fs::read(path).unwrap(), &Limits::default()).unwrap().remove(0)
}

fn judged(o: &Observation, m: Modality) -> Judgement {
    judge(o, &View::default_of(m, Gaze::Primary), None, &EyeState::default(), &[], &Rules::default())
}

fn keep(options: &Options, name: &str, frame: &Frame, o: &Observation, j: &Judgement) {
    if let Some(dir) = &options.json {
        std::fs::write(dir.join(format!("{name}.json")), serde_json::to_string(o).unwrap()).unwrap();
    }
    if let Some(dir) = &options.overlays {
        let p = overlay(frame, o, j, name);
        let Samples::U8(v) = p.samples() else { return };
        let mut ppm = format!("P6\n{} {}\n255\n", p.width(), p.height()).into_bytes();
        ppm.extend_from_slice(v);
        std::fs::write(dir.join(format!("{name}.ppm")), ppm).unwrap();
    }
}

/// Left and right exchanged.
fn mirrored(f: &Frame) -> Frame {
    let p = &f.pixels;
    let (w, c) = (p.width() as usize, usize::from(p.channels()));
    let Samples::U8(v) = p.samples() else { return f.clone() };
    let flipped = v
        .chunks_exact(w * c)
        .flat_map(|row| row.chunks_exact(c).rev().flatten().copied())
        .collect::<Vec<u8>>();
    Frame::bare(Pixels::new(p.width(), p.height(), p.channels(), Samples::U8(flipped.into())).unwrap())
}

fn inside(rings: &[Ring], x: f64, y: f64) -> bool {
    rings
        .iter()
        .map(|r| {
            (0..r.len())
                .filter(|i| {
                    let (a, b) = (r[*i], r[(i + 1) % r.len()]);
                    (a[1] > y) != (b[1] > y) && x < (b[0] - a[0]) * (y - a[1]) / (b[1] - a[1]) + a[0]
                })
                .count()
        })
        .sum::<usize>()
        % 2
        == 1
}

/// Intersection over union on a grid of 300 × 300 points, with the shares that only one of both has.
fn overlap(truth: &[Ring], o: &Observation) -> [f64; 3] {
    let rings: Vec<Ring> =
        o.visible_retina.place.polygons.iter().chain(&o.visible_retina.place.holes).cloned().collect();
    let mut n = [0.0f64; 4];
    for k in 0..90_000u32 {
        let x = (f64::from(k % 300) + 0.5) / 300.0 * f64::from(o.width);
        let y = (f64::from(k / 300) + 0.5) / 300.0 * f64::from(o.height);
        n[usize::from(inside(truth, x, y)) + 2 * usize::from(inside(&rings, x, y))] += 1.0;
    }
    let union = n[1] + n[2] + n[3];
    [n[3] / union, n[1] / union, n[2] / union]
}

fn eye_word(e: Option<Eye>) -> &'static str {
    e.map_or("-", Eye::word)
}

fn strongest(o: &Observation) -> String {
    let all = o.findings.iter().filter(|f| f.score >= 0.1);
    let text: Vec<String> = all.map(|f| format!("{} {:.2}/{:.2}", f.kind, f.score, f.fraction)).collect();
    text.join(", ")
}

/// The 18 annotated frames and their mirrored copies.
fn frames(data: &Path, options: &Options) {
    println!(
        "frame              modality  verdict     eye  P     mirror  IoU   miss  extra disc/DD fovea/DD sharp findings"
    );
    let (mut total, mut count, mut wrong, mut unsure) = (0.0, 0.0, 0, 0);
    for (set, ext) in [("uwf_pairs_hires", "jpg"), ("uwf_triplets", "png")] {
        let mut notes: Vec<PathBuf> = std::fs::read_dir(data.join("annotations").join(set))
            .unwrap()
            .map(|e| e.unwrap().path())
            .collect();
        notes.sort();
        for note in notes {
            let stem = note.file_stem().unwrap().to_string_lossy().into_owned();
            let a: serde_json::Value = serde_json::from_slice(&std::fs::read(&note).unwrap()).unwrap();
            let frame = load(&data.join(set).join(format!("{stem}.{ext}")));
            let m = if stem.contains("_fa") { Modality::Fa } else { Modality::Colour };
            let (o, ms) = timed(&frame, m, options.timings);
            let back = observe(&mirrored(&frame), m, None);
            let j = judged(&o, m);
            let truth: Vec<Ring> = serde_json::from_value(a["visible_retina"].clone()).unwrap();
            let [iou, miss, extra] = overlap(&truth, &o);
            (total, count) = (total + iou, count + 1.0);
            let real: Eye = a["eye"].as_str().unwrap().parse().unwrap();
            for (said, is) in [(o.eye.inferred, real), (back.eye.inferred, real.fellow())] {
                match said {
                    None => unsure += 1,
                    Some(s) if s != is => wrong += 1,
                    Some(_) => {}
                }
            }
            let far = |at: Option<(f64, f64)>, key: &str| match (at, a[key].as_array()) {
                (Some((x, y)), Some(t)) => {
                    let dd = 2.0 * a["disc"][2].as_f64().unwrap();
                    format!("{:.2}", (x - t[0].as_f64().unwrap()).hypot(y - t[1].as_f64().unwrap()) / dd)
                }
                (at, t) => format!(
                    "{}/{}",
                    if at.is_some() { "yes" } else { "no" },
                    if t.is_some() { "yes" } else { "no" }
                ),
            };
            println!(
                "{stem:18} {:9} {:11} {}/{}  {:.3} {:6}  {iou:.3} {miss:.3} {extra:.3} {:7} {:8} {:.2}  {}{}",
                likely_modality(&frame).word(),
                j.verdict.word(),
                eye_word(o.eye.inferred),
                real,
                o.eye.probability,
                eye_word(back.eye.inferred),
                far(o.disc.map(|d| (d.x, d.y)), "disc"),
                far(o.fovea.map(|f| (f.x, f.y)), "fovea"),
                o.sharpness.value,
                strongest(&o),
                ms.map_or(String::new(), |ms| format!("  [{ms:.0} ms]")),
            );
            keep(options, &stem, &frame, &o, &j);
        }
    }
    println!("mean IoU {:.4}; eye side of 36: {wrong} wrong, {unsure} not sure\n", total / count);
}

fn timed(frame: &Frame, m: Modality, timings: bool) -> (Observation, Option<f64>) {
    let mut best = f64::INFINITY;
    let mut o = observe(frame, m, None);
    if !timings {
        return (o, None);
    }
    for _ in 0..5 {
        let t = Instant::now();
        o = observe(frame, m, None);
        best = best.min(t.elapsed().as_secs_f64() * 1000.0);
    }
    (o, Some(best))
}

/// The graded pictures: verdicts against both graders.
fn verdicts(data: &Path, options: &Options) {
    let text = std::fs::read_to_string(data.join("verdicts/labels.csv")).unwrap();
    let mut tables = [[[0usize; 3]; 3]; 2];
    let (mut too_kind, mut too_hard) = (0, 0);
    println!(
        "file     source               spoiled        A           B           engine      eye findings; reasons"
    );
    for line in text.lines().skip(1) {
        let c: Vec<&str> = line.split(',').collect();
        let frame = load(&data.join("verdicts").join(c[0]));
        let m = if c[1].contains("_fa") { Modality::Fa } else { Modality::Colour };
        let o = observe(&frame, m, None);
        let j = judged(&o, m);
        let (a, b): (Verdict, Verdict) = (c[4].parse().unwrap(), c[8].parse().unwrap());
        tables[0][a as usize][j.verdict as usize] += 1;
        tables[1][b as usize][j.verdict as usize] += 1;
        let mut mark = "";
        if a == b && a != j.verdict {
            mark = " <";
            if a == Verdict::NotUsable && j.verdict == Verdict::Usable {
                too_kind += 1;
                mark = " <<<";
            }
            if a == Verdict::Usable && j.verdict == Verdict::NotUsable {
                too_hard += 1;
                mark = " <<<";
            }
        }
        let why: Vec<String> =
            j.reasons.iter().map(|r| format!("{}{}", r.rule, if r.must { "!" } else { "" })).collect();
        println!(
            "{:8} {:20} {:14} {:11} {:11} {:11} {} {:.2} {}; {}{mark}",
            c[0].trim_end_matches(".jpg"),
            c[1],
            format!("{} {}", c[2], c[3]),
            a.word(),
            b.word(),
            j.verdict.word(),
            eye_word(o.eye.inferred),
            o.sharpness.value,
            strongest(&o),
            why.join(", ")
        );
        keep(options, c[0].trim_end_matches(".jpg"), &frame, &o, &j);
    }
    println!(
        "quadratic weighted kappa: {:.3} against A, {:.3} against B; both not_usable called usable: {too_kind}; both usable called not_usable: {too_hard}\n",
        kappa(&tables[0]),
        kappa(&tables[1])
    );
}

/// Quadratic weighted kappa (Cohen 1968) of a table of counts.
fn kappa(t: &[[usize; 3]; 3]) -> f64 {
    let n: f64 = t.iter().flatten().map(|v| *v as f64).sum();
    let row = |i: usize| t[i].iter().sum::<usize>() as f64;
    let column = |k: usize| t.iter().map(|r| r[k]).sum::<usize>() as f64;
    let (mut seen, mut chance) = (0.0, 0.0);
    for (i, line) in t.iter().enumerate() {
        for (k, count) in line.iter().enumerate() {
            let w = (i as f64 - k as f64).powi(2) / 4.0;
            seen += w * *count as f64;
            chance += w * row(i) * column(k) / n;
        }
    }
    1.0 - seen / chance
}

/// Any folder of pictures, each judged as what it looks like.
fn folder(dir: &Path, options: &Options) {
    let mut files: Vec<PathBuf> = std::fs::read_dir(dir).unwrap().map(|e| e.unwrap().path()).collect();
    files.sort();
    for f in &files {
        let frame = load(f);
        let m = likely_modality(&frame);
        let o = observe(&frame, m, None);
        let j = judged(&o, m);
        let name = f.file_stem().unwrap().to_string_lossy().into_owned();
        println!("{name:24} {:8} {:10} {}", m.word(), j.verdict.word(), strongest(&o));
        keep(options, &name, &frame, &o, &j);
    }
}

/// Pictures of a narrower field: they must not fail, and eye sides are compared where known.
fn others(data: &Path, options: &Options) {
    for (set, m) in [
        ("hrf", Modality::Colour),
        ("chase_db1", Modality::Colour),
        ("idrid_disc", Modality::Colour),
        ("retina_cc0", Modality::Colour),
        ("fa_phase", Modality::Fa),
        ("fa_disease", Modality::Fa),
        ("fa_area_masks", Modality::Fa),
    ] {
        let mut files: Vec<PathBuf> =
            std::fs::read_dir(data.join(set)).unwrap().map(|e| e.unwrap().path()).collect();
        files.retain(|f| {
            let n = f.file_name().unwrap().to_string_lossy();
            !n.ends_with(".csv") && !n.contains("_vessels") && !n.contains("_mask")
        });
        files.sort();
        let mut counts = [0usize; 3];
        let mut none = 0;
        for f in &files {
            let frame = load(f);
            let o = observe(&frame, m, None);
            let j = judged(&o, m);
            counts[j.verdict as usize] += 1;
            none += usize::from(
                o.findings.iter().any(|f| f.kind == serrata_words::FindingKind::NoRetina && f.score > 0.5),
            );
            let name = f.file_stem().unwrap().to_string_lossy().into_owned();
            println!(
                "  {set}/{name:26} {:8} {:10} visible {:.2} eye {} {:.2} sharp {:.2} {}",
                likely_modality(&frame).word(),
                j.verdict.word(),
                o.visible_retina.fraction,
                eye_word(o.eye.inferred),
                o.eye.probability,
                o.sharpness.value,
                strongest(&o)
            );
            keep(options, &format!("{set}_{name}"), &frame, &o, &j);
        }
        println!(
            "{set}: {} pictures, usable {}, limited {}, not usable {}, no retina {none}",
            files.len(),
            counts[0],
            counts[1],
            counts[2]
        );
    }
}
