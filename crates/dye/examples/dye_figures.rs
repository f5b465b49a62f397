//! Times and phases of simulated dye runs against their truth (docs/dye.md).
//!
//! ```text
//! cargo run --release -p serrata-dye --example dye_figures -- [RUNS] [SIZE] [FIRST SEED]
//! ```

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // a measuring program

use serrata_assemble::Lens;
use serrata_dye::{Run, Shot, analyse};
use serrata_eye::Stereographic;
use serrata_phantom::{Course, DyeRun, Eyeball, Scene};
use serrata_words::{DyePhase, DyeSpan, DyeTimes, Eye, Modality};

/// One simulated run: what was read, the truth, the phases.
struct Outcome {
    run: Run,
    truth: DyeTimes,
    phases: Vec<(f64, DyePhase)>,
}

fn one(seed: u64, size: u32) -> Outcome {
    let mut scene = Scene::new(seed, if seed.is_multiple_of(2) { Eye::R } else { Eye::L }, Modality::Fa);
    scene.size = size;
    // Arm to retina about 12 s, spread 24 %; speed of the circulation spread 20 % (Wolf, Arend & Reim 1994).
    let unit = |k: u64| {
        let mut x =
            seed.wrapping_mul(0x9e37_79b9_7f4a_7c15).wrapping_add(k.wrapping_mul(0xbf58_476d_1ce4_e5b9));
        x = (x ^ (x >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        x = (x ^ (x >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        #[allow(clippy::cast_precision_loss)]
        let u = ((x ^ (x >> 31)) >> 11) as f64 / (1u64 << 53) as f64;
        u
    };
    // The sum of four evens is near enough to normal, sd 0.577.
    let bell = |k: u64| ((0..4).map(|j| unit(4 * k + j)).sum::<f64>() - 2.0) / 0.577;
    scene.course = Course {
        arm_to_retina_s: (12.0 * (1.0 + 0.24 * bell(1))).clamp(8.6, 20.0),
        speed: (1.0 + 0.2 * bell(2)).clamp(0.5, 1.7),
    };
    let lens = Lens::known(Stereographic::of(&scene.instrument, size, size).unwrap());
    let eye = Eyeball::grow(scene.seed, scene.eye);
    let run = DyeRun::new(scene, 60, &[Modality::Fa]).unwrap();
    let (mut shots, mut phases) = (Vec::new(), Vec::new());
    for (k, made) in run.frames(&eye).enumerate() {
        let seconds = run.plan[k].0;
        phases.push((seconds, made.truth.dye.unwrap().phase));
        shots.push(Shot::new(k.to_string(), &made.frame, Modality::Fa, Some(seconds), lens).unwrap());
    }

    let read = analyse(&shots, Modality::Fa, |s| {
        let frame = s.frame().unwrap();
        let seen = serrata_appraise::observe(&frame, Modality::Fa, None);
        seen.disc.as_ref().map(|d| ([d.x, d.y], d.radius))
    });
    Outcome { run: read.expect("a run"), truth: run.times(&eye), phases }
}

fn main() {
    let words: Vec<u64> = std::env::args().skip(1).map(|w| w.parse().expect("a number")).collect();
    let (runs, size, first) = (
        words.first().copied().unwrap_or(20),
        words.get(1).copied().unwrap_or(512),
        words.get(2).copied().unwrap_or(3000),
    );
    let limits = [0.5, 0.3, 1.0];
    let names = ["arm to retina", "arterio-venous passage", "mean circulation"];
    let (mut off, mut inside, mut widths) = (vec![Vec::new(); 3], [0usize; 3], vec![Vec::new(); 3]);
    let mut ratios = vec![Vec::new(); 3];
    let (mut right, mut frames) = (0usize, 0usize);
    for seed in first..first + runs {
        let o = one(seed, u32::try_from(size).unwrap());
        let l = &o.run.line;
        let told = [l.arm_to_retina, l.arteriovenous_passage, l.mean_circulation];
        let truth = [o.truth.arm_to_retina_s, o.truth.arteriovenous_passage_s, o.truth.mean_circulation_s];
        let mut text = String::new();
        for k in 0..3 {
            match told[k] {
                Some(DyeSpan { seconds, interval }) => {
                    off[k].push(seconds - truth[k]);
                    inside[k] += usize::from((interval[0]..=interval[1]).contains(&truth[k]));
                    widths[k].push(interval[1] - interval[0]);
                    let least = o.run.least_half_widths.expect("told with the times")[k];
                    ratios[k].push((interval[1] - interval[0]) / (2.0 * least));
                    text += &format!(
                        "  {seconds:.2} ± {:.2} (truth {:.2})",
                        (interval[1] - interval[0]) / 2.0,
                        truth[k]
                    );
                }
                None => text += "  –",
            }
        }
        let edges =
            [o.truth.choroid_s, o.truth.arm_to_retina_s, truth[0] + truth[1], truth[0] + truth[1] + truth[2]];
        for (f, (t, phase)) in l.frames.iter().zip(&o.phases) {
            let near = edges.iter().any(|e| (e - t).abs() <= 0.3);
            frames += 1;
            right += usize::from(near || f.phase == Some(*phase));
        }
        let lost = l.frames.iter().filter(|f| !f.registered).count();
        println!(
            "  {seed}:{text}  choroid {:.2} ({:.2}), {lost} by a neighbour {}",
            l.choroid.map_or(f64::NAN, |c| c.seconds),
            o.truth.choroid_s,
            l.problem.as_deref().unwrap_or("")
        );
    }
    for k in 0..3 {
        let n = off[k].len();
        let good = off[k].iter().filter(|d| d.abs() <= limits[k]).count();
        let mut d = off[k].clone();
        d.sort_by(f64::total_cmp);
        let mut w = widths[k].clone();
        w.sort_by(f64::total_cmp);
        let mut ratio = ratios[k].clone();
        ratio.sort_by(f64::total_cmp);
        if n > 0 {
            println!(
                "{:24} told in {n} of {runs}; within ± {} s: {good}; median error {:+.2}, 2.5 to 97.5 %: {:+.2} to {:+.2}; interval holds the truth in {} of {n}, median width {:.2}, {:.1} (median) times as wide as of one who knows the eye",
                names[k],
                limits[k],
                d[n / 2],
                d[n / 40],
                d[n - 1 - n / 40],
                inside[k],
                w[n / 2],
                ratio[n / 2]
            );
        }
    }
    println!("phase right: {right} of {frames} frames");
}
