//! How the two sources of real ultra-widefield frames set and stored their pictures, and what ails their eyes: shared by
//! the examples that stand beside them.

use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;
use serrata_frame::Samples;
use serrata_phantom::{Condition, Eyeball, Fault, Scene, Setup};
use serrata_words::{LesionKind, Modality, Projection, Side};
use std::path::Path;

/// Size classes: name, width and height of the frames (the small class is drawn at twice its size).
pub const CLASSES: [(&str, u32, u32); 2] = [("large", 3868, 3000), ("small", 1706, 1364)];

/// How the two sources set and stored their pictures, by size class: set by levels, noise and spectra of the real frames.
pub fn setup(seed: u64, class: &str, modality: Modality) -> Setup {
    match (class, modality) {
        ("large", Modality::Colour) => {
            Setup::draw(seed, [1.0, 1.02], 0.08, [1.1, 1.3], [1.5, 8.0], [0.4, 0.8])
        }
        ("large", _) => Setup::draw(seed, [1.15, 1.15], 0.25, [1.15, 1.45], [0.05, 0.18], [0.9, 1.3]),
        (_, Modality::Colour) => Setup::draw(seed, [0.86, 1.12], 0.22, [1.2, 1.8], [4.0, 8.0], [2.0, 4.0]),
        _ => Setup::draw(seed, [1.55, 1.55], 0.20, [1.1, 1.4], [3.0, 6.0], [1.6, 4.0]),
    }
}

/// Lays a scene out as the real frames are: evenly, and of their width the way from disc to fovea is 0.093 to 0.159, 0.114 in the middle
/// (annotations of 18 frames), with some spread.
pub fn lay_out(scene: &mut Scene, seed: u64) {
    let half_field = Pcg64Mcg::seed_from_u64(seed ^ 0x3a6).random_range(90.0..106.0);
    scene.instrument.projection = Projection::Equidistant;
    scene.instrument.degrees_per_pixel = Some(2.0 * half_field / f64::from(scene.instrument.width));
}

/// What hangs into the small set's frames from above and below: in colour every other time a lid, in dye seldom, for lids hardly glow; else
/// the field just ends in the dark there. Every other eye has lashes before its lower half.
pub fn lids(seed: u64, modality: Modality) -> Vec<Fault> {
    let mut rng = Pcg64Mcg::seed_from_u64(seed ^ 0x11d5);
    let dye = modality == Modality::Fa;
    let most = if dye { 0.14 } else { 0.09 };
    let mut out = Vec::from([Side::Bottom, Side::Top].map(|side| {
        let (share, lid) = (rng.random_range(0.01..most), if dye { 0.2 } else { 0.5 });
        if rng.random_bool(lid) { Fault::Lid { side, share } } else { Fault::OffCentre { side, share } }
    }));
    if rng.random_bool(0.5) {
        let (length, count) = (rng.random_range(0.14..0.30), rng.random_range(6..20));
        out.push(Fault::Lash { side: Side::Bottom, length, count });
    }
    out
}

/// What ails an eye: the small real set is of diseased, hazy eyes, the large one of mild disease.
pub fn ailments(seed: u64, diseased: bool) -> Vec<Condition> {
    let mut rng = Pcg64Mcg::seed_from_u64(seed);
    let marks = |kind, count| Condition::Marks { kind, count };
    let mut out = vec![marks(LesionKind::Leak, rng.random_range(0..6))];
    if diseased {
        if rng.random_bool(0.6) {
            out.push(marks(LesionKind::LaserScar, rng.random_range(200..1200)));
        }
        // Two of the four real eyes are hazy.
        if rng.random_bool(0.5) {
            out.push(Condition::VitreousHaze { strength: rng.random_range(0.1..0.5) });
        }
        if rng.random_bool(0.25) {
            out.push(Condition::Cataract { strength: rng.random_range(0.1..0.5) });
        }
        out.push(marks(LesionKind::Microaneurysm, rng.random_range(0..200)));
        out.push(marks(LesionKind::Haemorrhage, rng.random_range(0..40)));
    } else if rng.random_bool(0.3) {
        out.push(Condition::VitreousHaze { strength: rng.random_range(0.05..0.2) });
    }
    out
}

/// Writes a frame as `STEM.pnm` and its truth as `STEM.json`.
pub fn write(eye: &Eyeball, scene: &Scene, stem: &Path) -> Result<(), Box<dyn std::error::Error>> {
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
