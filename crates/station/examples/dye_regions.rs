//! Regions that a simulated dye run has against those that are proposed (docs/dye.md).
//!
//! ```text
//! cargo run --release -p serrata-station --example dye_regions -- [RUNS] [SIZE] [FIRST SEED]
//! ```

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // a measuring program

use serrata_eye::Stereographic;
use serrata_phantom::{Condition, DyeRun, Eyeball, Health, Scene, Setup};
use serrata_station::dye::{Series, Taken};
use serrata_words::{DyeRegion, Eye, LesionKind, Modality, Region};

/// What is proposed against what is there: pixels of both, of either, mm² with interval.
struct Compared {
    both: usize,
    proposed: usize,
    there: usize,
    mm2: f64,
    interval: [f64; 2],
    truth_mm2: f64,
}

impl Compared {
    #[allow(clippy::cast_precision_loss)]
    fn dice(&self) -> f64 {
        2.0 * self.both as f64 / (self.proposed + self.there).max(1) as f64
    }
}

fn inside(regions: &[&DyeRegion], n: usize) -> Vec<bool> {
    let mut out = vec![false; n * n];
    for r in regions {
        let region = Region { polygons: r.polygons.clone(), holes: r.holes.clone() };
        for (o, i) in out.iter_mut().zip(serrata_station::dye::filled(&region, n, n)) {
            *o |= i;
        }
    }
    out
}

/// Only what touches a true region is compared: how many others are proposed is counted apart.
fn compared(
    all: &[DyeRegion],
    what: &str,
    truth: &[bool],
    n: usize,
    s: &Stereographic,
    mm: f64,
) -> (Compared, usize) {
    let mine: Vec<&DyeRegion> = all.iter().filter(|r| r.what.starts_with(what)).collect();
    let (touching, others): (Vec<&DyeRegion>, Vec<&DyeRegion>) =
        mine.into_iter().partition(|r| inside(&[*r], n).iter().zip(truth).any(|(a, b)| *a && *b));
    let drawn = inside(&touching, n);
    let steradians = |k: usize| {
        #[allow(clippy::cast_precision_loss)]
        let p = [(k % n) as f64 + 0.5, (k / n) as f64 + 0.5];
        let d = s.to_direction(p);
        let local = Stereographic::local_scale(d.z().clamp(-1.0, 1.0).acos());
        (s.deg_per_px[0].to_radians() * local) * (s.deg_per_px[1].to_radians() * local)
    };
    let c = Compared {
        both: drawn.iter().zip(truth).filter(|(a, b)| **a && **b).count(),
        proposed: drawn.iter().filter(|a| **a).count(),
        there: truth.iter().filter(|b| **b).count(),
        mm2: touching.iter().filter_map(|r| r.area_mm2).sum(),
        interval: [0, 1].map(|k| touching.iter().filter_map(|r| Some(r.area_interval_mm2?[k])).sum()),
        truth_mm2: (0..n * n).filter(|k| truth[*k]).map(steradians).sum::<f64>() * mm * mm,
    };
    (c, others.len())
}

/// Where light gains more than half of what the place's brightest tenth does, place by place.
fn halves(gain: &[f32], n: usize) -> Vec<bool> {
    let mut sorted = gain.to_vec();
    sorted.sort_by(f32::total_cmp);
    let top = sorted[sorted.len() - 1 - sorted.len() / 3000];
    let mut open: Vec<bool> = gain.iter().map(|g| *g > 0.1 * top).collect();
    let mut out = vec![false; n * n];
    for first in 0..n * n {
        if !open[first] {
            continue;
        }
        let (mut place, mut next) = (vec![first], 0);
        open[first] = false;
        while next < place.len() {
            let i = place[next];
            next += 1;
            for k in [i.wrapping_sub(1), i + 1, i.wrapping_sub(n), i + n] {
                if k < n * n && open[k] {
                    open[k] = false;
                    place.push(k);
                }
            }
        }
        let mut gains: Vec<f32> = place.iter().map(|i| gain[*i]).collect();
        gains.sort_by(f32::total_cmp);
        let peak = gains[gains.len() - 1 - gains.len() / 10];
        if peak > 0.3 * top && place.len() >= 30 {
            place.iter().for_each(|i| out[*i] = gain[*i] > 0.5 * peak);
        }
    }
    out
}

fn main() {
    let words: Vec<u64> = std::env::args().skip(1).map(|w| w.parse().expect("a number")).collect();
    let at = |k: usize, usual: u64| words.get(k).copied().unwrap_or(usual);
    let (runs, first) = (at(0, 10), at(2, 400));
    let size = u32::try_from(at(1, 720)).unwrap();
    let n = size as usize;
    let mut all: [Vec<Compared>; 2] = [Vec::new(), Vec::new()];
    let mut others = [0usize; 2];
    for seed in first..first + runs {
        let eye = if seed.is_multiple_of(2) { Eye::R } else { Eye::L };
        let health = Health {
            conditions: vec![
                Condition::Marks { kind: LesionKind::Leak, count: 4 },
                Condition::Region {
                    kind: LesionKind::NonPerfusion,
                    area_mm2: 15.0 + 5.0 * (seed % 8) as f64,
                },
            ],
            ..Health::default()
        };
        let mut scene = Scene::new(seed, eye, Modality::Fa);
        scene.size = size;
        let grown = Eyeball::grow_with(seed, eye, &health).unwrap();
        let plain = Eyeball::grow(seed, eye);
        let lens = Stereographic::of(&scene.instrument, size, size).unwrap();
        let run = DyeRun::new(scene, 24, &[Modality::Fa]).unwrap();
        let mut series = Series::default();
        for (k, made) in run.frames(&grown).enumerate() {
            let taken = Taken {
                modality: Modality::Fa,
                eye: Some(eye),
                seconds: Some(run.plan[k].0),
                instrument: None,
                degrees: Some(lens.deg_per_px[0]),
            };
            series.add(k.to_string(), &made.frame, taken).unwrap();
        }
        let axial = grown.truth().axial_length_mm;
        let told =
            series.read(Modality::Fa, serrata_station::dye::radius(Some(axial)).unwrap(), &[]).unwrap();
        let reference: usize = told.line.reference.as_ref().unwrap().parse().unwrap();
        // What leaks: the reference at the last frame's second, with the leaks and without, both without noise of exposure.
        let mut plan = run.plan.clone();
        plan[reference].0 = run.plan[23].0;
        let still = DyeRun { scene: Scene { setup: Some(Setup::PLAIN), ..run.scene.clone() }, plan };
        let pixel =
            |r: serrata_phantom::Rendered| -> Vec<f32> { r.frame.working(u32::MAX).channels[0].data.clone() };
        let pictures = [&grown, &plain].map(|e| pixel(still.frames(e).nth(reference).unwrap()));
        let gain: Vec<f32> = pictures[0].iter().zip(&pictures[1]).map(|(a, b)| a - b).collect();
        let leaks = halves(&gain, n);
        let masks = grown.masks(&run.scene_of(reference).unwrap());
        let mask = |name: &str| masks.iter().find(|m| m.name == name).unwrap();
        let seen = &mask("visible_retina").bytes;
        let dark: Vec<bool> = mask("lesions")
            .bytes
            .iter()
            .zip(seen)
            .zip(&leaks)
            .map(|((l, s), leak)| *l > 0 && *s > 0 && !leak)
            .collect();
        let mm = axial / 2.0;
        if let Ok(dir) = std::env::var("PICTURES") {
            // Red: there; green: proposed.
            let mine: Vec<&DyeRegion> =
                told.line.regions.iter().filter(|r| r.what.starts_with("dark")).collect();
            let drawn = inside(&mine, n);
            let frames: Vec<_> = run.frames(&grown).collect();
            let grey = &frames[reference].frame.working(u32::MAX).channels[0].data;
            let mut all = Vec::with_capacity(3 * n * n);
            for k in 0..n * n {
                let v = (grey[k].sqrt() * 200.0) as u8;
                all.extend([
                    v.saturating_add(if dark[k] { 55 } else { 0 }),
                    v.saturating_add(if drawn[k] { 55 } else { 0 }),
                    v,
                ]);
            }
            image::RgbImage::from_raw(size, size, all).unwrap().save(format!("{dir}/{seed}.png")).unwrap();
        }
        for (k, (what, truth)) in [("late", &leaks), ("dark", &dark)].into_iter().enumerate() {
            let (c, more) = compared(&told.line.regions, what, truth, n, &lens, mm);
            others[k] += more;
            if std::env::var("SHOW").is_ok() {
                for r in told.line.regions.iter().filter(|r| r.what.starts_with(what)) {
                    println!(
                        "    {:?} {:.2} mm² score {:.2}",
                        r.polygons[0][0].map(f64::round),
                        r.area_mm2.unwrap_or(0.0),
                        r.score
                    );
                }
            }
            println!(
                "{seed} {what}: Dice {:.3}, {:.2} mm² ({:.2} to {:.2}), truth {:.2}; {more} others",
                c.dice(),
                c.mm2,
                c.interval[0],
                c.interval[1],
                c.truth_mm2
            );
            all[k].push(c);
        }
    }
    for (k, what) in ["late brightening", "dark, unfilled"].into_iter().enumerate() {
        let mut dice: Vec<f64> = all[k].iter().map(Compared::dice).collect();
        dice.sort_by(f64::total_cmp);
        let held = all[k].iter().filter(|c| (c.interval[0]..=c.interval[1]).contains(&c.truth_mm2)).count();
        #[allow(clippy::cast_precision_loss)]
        let mean = dice.iter().sum::<f64>() / dice.len().max(1) as f64;
        println!(
            "{what}: Dice mean {mean:.3}, median {:.3}, at least 0.85 in {} of {}; interval holds the area in {held}; {} other places",
            dice[dice.len() / 2],
            dice.iter().filter(|d| **d >= 0.85).count(),
            dice.len(),
            others[k]
        );
    }
}
