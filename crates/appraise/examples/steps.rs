//! Where the milliseconds of an appraisal go, step by step, on one thread.
//!
//! `cargo run --release -p serrata-appraise --example steps -- [--rounds N] FILE...` prints for each file the median time of
//! decoding, of telling the kind of picture, and of every step of the observation.
#![allow(clippy::unwrap_used, clippy::print_stdout)] // a tool for developers: stop at the first surprise

use serrata_appraise::{likely_modality, observe_steps};
use serrata_frame::{Decode, Limits, Picture};
use std::time::Instant;

/// The allocator of the binary, so that times are those of the binary.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

fn main() {
    let mut rounds = 9usize;
    let mut files = Vec::new();
    let mut args = std::env::args().skip(1);
    while let Some(a) = args.next() {
        match a.as_str() {
            "--rounds" => rounds = args.next().unwrap().parse().unwrap(),
            _ => files.push(a),
        }
    }
    for file in files {
        let bytes = std::fs::read(&file).unwrap();
        let mut times: Vec<(&'static str, Vec<f64>)> = Vec::new();
        for _ in 0..rounds.max(1) {
            let mut last = Instant::now();
            let mut done = |step: &'static str| {
                let ms = last.elapsed().as_secs_f64() * 1e3;
                match times.iter_mut().find(|(s, _)| *s == step) {
                    Some((_, all)) => all.push(ms),
                    None => times.push((step, vec![ms])),
                }
                last = Instant::now();
            };
            let frame = Picture.decode(&bytes, &Limits::default()).unwrap().remove(0);
            done("decode");
            let modality = likely_modality(&frame);
            done("kind of picture");
            let seen = observe_steps(&frame, modality, None, &mut done);
            assert!(seen.width > 0);
        }
        let name = std::path::Path::new(&file).file_name().unwrap().to_string_lossy().into_owned();
        let mut whole = 0.0;
        for (step, all) in &mut times {
            all.sort_by(f64::total_cmp);
            let middle = all[all.len() / 2];
            whole += middle;
            println!("{name:24} {step:20} {middle:8.1} ms");
        }
        println!("{name:24} {:20} {whole:8.1} ms", "together");
    }
}
