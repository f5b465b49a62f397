//! The choroid's curve of a simulated ICG run: there only in ICG, and before the arteries.

#![allow(clippy::unwrap_used, clippy::expect_used)] // a test

use serrata_assemble::Lens;
use serrata_dye::{Run, Shot, analyse};
use serrata_eye::Stereographic;
use serrata_phantom::{DyeRun, Eyeball, Scene};
use serrata_words::{DyeCurve, Eye, Modality};

fn read(modality: Modality, seed: u64) -> Run {
    let mut scene = Scene::new(seed, Eye::R, modality);
    scene.size = 700;
    let lens = Lens::known(Stereographic::of(&scene.instrument, 700, 700).unwrap());
    let eye = Eyeball::grow(scene.seed, scene.eye);
    let run = DyeRun::new(scene, 40, &[modality]).unwrap();
    let shots: Vec<Shot> = run
        .frames(&eye)
        .enumerate()
        .map(|(k, made)| Shot::new(k.to_string(), &made.frame, modality, Some(run.plan[k].0), lens).unwrap())
        .collect();
    let truth = made_disc(&run, &eye);
    analyse(&shots, modality, |_| Some(truth)).expect("a run")
}

/// Middle and radius of the disc in the small picture, from the truth: finding it is not what is tested here.
fn made_disc(run: &DyeRun, eye: &Eyeball) -> ([f64; 2], f64) {
    let made = run.frames(eye).next().unwrap();
    let d = made.truth.disc;
    ([d.x, d.y], d.radius)
}

/// The second at which a curve has risen by a tenth of its way to its highest value within the first minute.
fn rises(curve: &DyeCurve) -> f64 {
    let early: Vec<[f64; 2]> = curve.points.iter().copied().filter(|p| p[0] < 60.0).collect();
    let top = early.iter().map(|p| p[1]).fold(0.0, f64::max);
    let low = early.iter().map(|p| p[1]).fold(f64::INFINITY, f64::min);
    early.iter().find(|p| p[1] > low + 0.1 * (top - low)).unwrap()[0]
}

#[test]
fn the_choroid_of_an_icg_run_has_its_own_curve_that_rises_first() {
    for seed in [31, 32] {
        let run = read(Modality::Icg, seed);
        let curve = |what: &str| run.line.curves.iter().find(|c| c.what == what);
        let choroid = curve("choroid").expect("a choroidal curve");
        assert_eq!(choroid.points.len(), run.planes.len());
        let arteries = curve("arteries").expect("arteries");
        assert!(rises(choroid) <= rises(arteries), "{} {}", rises(choroid), rises(arteries));
        let early = choroid.points.iter().filter(|p| p[0] < 6.0).map(|p| p[1]).fold(0.0, f64::max);
        let top = choroid.points.iter().map(|p| p[1]).fold(0.0, f64::max);
        assert!(top > 2.0 * early, "{early} {top}");
    }
}

#[test]
fn fluorescein_has_no_choroidal_curve_of_its_own() {
    let run = read(Modality::Fa, 31);
    assert!(run.line.curves.iter().all(|c| c.what != "choroid"));
}
