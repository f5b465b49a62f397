//! The appraisal of picture files as lines of JSON, without the rest of the house: quick to build while working on the
//! engine.
//!
//! `cargo run --release -p serrata-appraise --example lines -- appraise --json [--modality M] [--jobs N] [--vessels DIR] FILE...`
//! takes the same words as `serrata appraise --json`, so that `checks/appraisal_bench.py --engine …/examples/lines` works.
#![allow(clippy::unwrap_used, clippy::print_stdout)] // a tool for developers: stop at the first surprise

use serrata_appraise::{likely_modality, observe, vessel_lines, vessel_map};
use serrata_frame::{Decode, Frame, Limits, Picture};
use serrata_visit::{Rules, advice_for, judge};
use serrata_words::{AppraisalLine, EyeState, Gaze, Modality, VesselsLine, View, appraisal::Source};
use std::path::{Path, PathBuf};

/// The allocator of the binary, so that times are those of the binary.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

fn main() {
    let mut files = Vec::new();
    let (mut modality, mut vessels, mut jobs) = (None, None, 2usize);
    let mut args = std::env::args().skip(1);
    while let Some(a) = args.next() {
        match a.as_str() {
            "appraise" | "--json" => {}
            "--modality" => modality = Some(args.next().unwrap().parse::<Modality>().unwrap()),
            "--jobs" => jobs = args.next().unwrap().parse().unwrap(),
            "--vessels" => vessels = args.next().map(PathBuf::from),
            _ => files.push(PathBuf::from(a)),
        }
    }
    if let Some(dir) = &vessels {
        std::fs::create_dir_all(dir).unwrap();
    }
    if jobs <= 1 {
        // As the binary: one thread for all files, whose allocator keeps what it has.
        for f in &files {
            println!("{}", line(f, modality, vessels.as_deref()));
        }
        return;
    }
    for group in files.chunks(jobs) {
        let lines: Vec<String> = std::thread::scope(|s| {
            let all: Vec<_> =
                group.iter().map(|f| s.spawn(|| line(f, modality, vessels.as_deref()))).collect();
            all.into_iter().map(|t| t.join().unwrap()).collect()
        });
        for l in lines {
            println!("{l}");
        }
    }
}

fn load(path: &Path) -> Frame {
    Picture.decode(&std::fs::read(path).unwrap(), &Limits::default()).unwrap().remove(0)
}

fn line(path: &Path, modality: Option<Modality>, vessels: Option<&Path>) -> String {
    let frame = load(path);
    let m = modality.unwrap_or_else(|| likely_modality(&frame));
    let o = observe(&frame, m, None);
    let view = View::default_of(m, Gaze::Primary);
    let j = judge(&o, &view, None, &EyeState::default(), &[], &Rules::default());
    if let Some(dir) = vessels {
        let map = vessel_map(&frame, m).picture();
        let v: Vec<u8> = match map.samples() {
            serrata_frame::Samples::U8(v) => v.to_vec(),
            serrata_frame::Samples::U16(v) => v.iter().map(|v| v.to_be_bytes()[0]).collect(),
        };
        let mut pgm = format!("P5\n{} {}\n255\n", map.width(), map.height()).into_bytes();
        pgm.extend_from_slice(&v);
        let name = path.file_stem().unwrap().to_string_lossy().into_owned();
        std::fs::write(dir.join(format!("{name}.pgm")), pgm).unwrap();
        let v = vessel_lines(&frame, m);
        let line = VesselsLine {
            schema: "serrata.vessels/1".into(),
            path: name.clone(),
            frame: 0,
            width: o.width,
            height: o.height,
            method: serrata_appraise::METHOD,
            lines: v.lines,
            nodes: v.nodes,
        };
        std::fs::write(dir.join(format!("{name}.json")), serde_json::to_string(&line).unwrap()).unwrap();
    }
    let name = path.to_string_lossy();
    let source = Source { path: &name, frame: 0, sha256: "", labelled: None, instrument: None };
    let line = AppraisalLine::new(&source, &view, &o, &j, |f| advice_for(f, &EyeState::default()));
    serde_json::to_string(&line).unwrap()
}
