//! Writes frames for the comparison with real ones: `series FOLDER FIRST_SEED COUNT [large|small]` makes COUNT eyes of
//! a size class (both where none is named) as colour and fluorescein: `CLASS-KIND-I.pnm` and its truth as `.json`.
//!
//! What ails an eye follows from its number: the small real set is of diseased, hazy eyes, the large one of mild
//! disease. The small class is drawn at twice its size, to be scaled down as the real ones were.

use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;
use serrata_frame::Samples;
use serrata_phantom::{Condition, Eyeball, Fault, Health, Scene, Setup};
use serrata_words::{Eye, LesionKind, Modality, Side};
use std::path::Path;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let [folder, first, many, ..] = args.as_slice() else { return Err("say FOLDER FIRST_SEED COUNT".into()) };
    let (first, many): (u64, u64) = (first.parse()?, many.parse()?);
    let folder = Path::new(folder);
    std::fs::create_dir_all(folder)?;
    for (class, width, height) in [("large", 3868, 3000), ("small", 1706, 1364)] {
        if args.get(3).is_some_and(|only| only != class) {
            continue;
        }
        for i in 0..many {
            let side = if i % 2 == 0 { Eye::R } else { Eye::L };
            let health = Health { conditions: ailments(first + i, class == "small"), ..Health::default() };
            let eye = Eyeball::grow_with(first + i, side, &health)?;
            for modality in [Modality::Colour, Modality::Fa] {
                let mut scene = Scene::new(first + i, side, modality);
                (scene.shot, scene.size, scene.height) = (i, width, Some(height));
                // Early and late frames of the small set, transit frames of the large one.
                scene.dye_s = if class == "small" { [25.0, 60.0, 300.0][(i % 3) as usize] } else { 40.0 };
                if class == "small" {
                    scene.faults = lids(first + i, modality);
                }
                scene.setup = Some(setup(first + i, class, modality));
                write(&eye, &scene, &folder.join(format!("{class}-{modality}-{i}")))?;
            }
        }
    }
    Ok(())
}

/// How the two sources set and stored their pictures, by size class: set by levels, noise and spectra of the real frames.
fn setup(seed: u64, class: &str, modality: Modality) -> Setup {
    match (class, modality) {
        ("large", Modality::Colour) => {
            Setup::draw(seed, [1.0, 1.1], 0.08, [1.1, 1.3], [1.5, 9.0], [0.6, 1.0])
        }
        ("large", _) => Setup::draw(seed, [1.35, 1.35], 0.25, [1.15, 1.45], [0.4, 0.7], [0.8, 1.0]),
        (_, Modality::Colour) => Setup::draw(seed, [1.05, 1.2], 0.22, [1.2, 1.8], [3.5, 6.5], [2.0, 5.0]),
        _ => Setup::draw(seed, [2.7, 2.7], 0.22, [1.1, 1.4], [3.0, 6.0], [1.5, 4.0]),
    }
}

/// Lids as they hang in the small set: a tenth of the field and more, and the iris or darkness above and below in dye.
fn lids(seed: u64, modality: Modality) -> Vec<Fault> {
    let mut rng = Pcg64Mcg::seed_from_u64(seed ^ 0x11d5);
    let most = if modality == Modality::Fa { 0.14 } else { 0.09 };
    [Side::Bottom, Side::Top].map(|side| Fault::Lid { side, share: rng.random_range(0.01..most) }).into()
}

fn ailments(seed: u64, diseased: bool) -> Vec<Condition> {
    let mut rng = Pcg64Mcg::seed_from_u64(seed);
    let marks = |kind, count| Condition::Marks { kind, count };
    let mut out = vec![marks(LesionKind::Leak, rng.random_range(0..6))];
    if diseased {
        if rng.random_bool(0.6) {
            out.push(marks(LesionKind::LaserScar, rng.random_range(200..1200)));
        }
        if rng.random_bool(0.7) {
            out.push(Condition::VitreousHaze { strength: rng.random_range(0.1..0.6) });
        }
        if rng.random_bool(0.4) {
            out.push(Condition::Cataract { strength: rng.random_range(0.1..0.5) });
        }
        out.push(marks(LesionKind::Microaneurysm, rng.random_range(0..200)));
        out.push(marks(LesionKind::Haemorrhage, rng.random_range(0..40)));
    } else if rng.random_bool(0.3) {
        out.push(Condition::VitreousHaze { strength: rng.random_range(0.05..0.2) });
    }
    out
}

fn write(eye: &Eyeball, scene: &Scene, stem: &Path) -> Result<(), Box<dyn std::error::Error>> {
    let made = eye.render(scene);
    let p = &made.frame.pixels;
    let Samples::U8(bytes) = p.samples() else { return Ok(()) };
    let kind = if p.channels() == 3 { 6 } else { 5 };
    let mut out = format!("P{kind}\n{} {}\n255\n", p.width(), p.height()).into_bytes();
    out.extend_from_slice(bytes);
    std::fs::write(stem.with_extension("pnm"), out)?;
    std::fs::write(stem.with_extension("json"), serde_json::to_string(&made.truth)?)?;
    Ok(())
}
