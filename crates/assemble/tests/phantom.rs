//! Simulated frames, whose place on the sphere is known.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // helpers of tests

use serrata_assemble::{Canvas, Hooks, Lens, Part, Pose, Source, Vessels, assemble, pair};
use serrata_eye::{Direction, Rotation, Stereographic, angle_between};
use serrata_frame::{Frame, Pixels, Samples};
use serrata_phantom::{Rendered, Scene, render};
use serrata_words::{Eye, Gaze, Modality, Observation, Placement};

const SIZE: u32 = 720;

struct Shot {
    made: Rendered,
    seen: Observation,
    lens: Lens,
}

fn shot(seed: u64, number: u64, gaze: Gaze, modality: Modality) -> Shot {
    let mut scene = Scene::new(seed, Eye::R, modality);
    (scene.shot, scene.gaze, scene.size) = (number, gaze, SIZE);
    let made = render(&scene);
    let seen = serrata_appraise::observe(&made.frame, modality, Some(&scene.instrument));
    let lens = Lens::known(Stereographic::of(&scene.instrument, SIZE, SIZE).unwrap());
    Shot { made, seen, lens }
}

impl Shot {
    fn source(&self) -> Source<'_> {
        Source {
            frame: &self.made.frame,
            observation: Some(&self.seen),
            modality: Some(self.made.truth.modality),
            lens: self.lens,
        }
    }

    fn vessels(&self) -> Vessels {
        Vessels::of(&self.source())
    }

    /// From this frame's view frame to the retina, out of disc and fovea as drawn.
    fn to_retina(&self) -> Rotation {
        let at = |x, y| self.lens.projection.to_direction([x, y]);
        let t = &self.made.truth;
        Rotation::bringing(at(t.fovea.x, t.fovea.y), at(t.disc.x, t.disc.y), 0.0).unwrap()
    }
}

/// Largest distance between where B's pixels lie by the pose and by the truth, over what both show, degrees.
fn worst(a: &Shot, b: &Shot, pose: &Pose) -> f64 {
    let true_turn = b.to_retina().then(a.to_retina().inverse());
    let mut worst = 0.0f64;
    for i in 0..20 {
        for j in 0..20 {
            let p = [(f64::from(i) + 0.5) * 36.0, (f64::from(j) + 0.5) * 36.0];
            let truth: Direction = true_turn.apply(b.lens.projection.to_direction(p));
            let q = a.lens.projection.to_picture(truth);
            let near = |p: [f64; 2]| (p[0] - 360.0).hypot(p[1] - 360.0) < 300.0;
            if near(p) && near(q) {
                worst = worst.max(angle_between(truth, pose.to_sphere(p)).to_degrees());
            }
        }
    }
    worst
}

#[test]
fn frames_of_turned_gaze_and_another_kind_lie_where_they_were_drawn() {
    let a = shot(11, 1, Gaze::Primary, Modality::Colour);
    for (gaze, modality) in [(Gaze::Primary, Modality::Fa), (Gaze::Up, Modality::Colour)] {
        let b = shot(11, 2, gaze, modality);
        let m = pair(&a.vessels(), &Pose::reference(a.lens), &b.vessels()).expect("a match");
        assert_eq!(m.evidence.placement(), Placement::Placed, "{gaze} {modality} {:?}", m.evidence);
        let off = worst(&a, &b, &m.pose);
        // A fifth of the full size: a pixel spans 0.37 degrees.
        assert!(off < 0.4, "{gaze} {modality}: {off}");
    }
}

#[test]
fn another_eye_and_a_mirrored_picture_are_not_placed() {
    let a = shot(11, 1, Gaze::Primary, Modality::Colour).vessels();
    let other = shot(12, 1, Gaze::Primary, Modality::Colour).vessels();
    let assembly = assemble(&[a.clone(), other, a.mirrored()], &Hooks::default());
    assert!(assembly.frames.iter().all(|f| f.status != Placement::Placed), "{assembly:?}");
    assert_eq!(assembly.reference, None);
    assert!(assembly.frames.iter().all(|f| f.reason.is_some()));
}

#[test]
fn one_frame_alone_is_an_assembly_and_none_is_none() {
    let a = shot(11, 1, Gaze::Primary, Modality::Colour);
    let assembly = assemble(&[a.vessels()], &Hooks::default());
    assert_eq!(assembly.frames[0].status, Placement::Placed);
    assert!(assemble::<Vessels>(&[], &Hooks::default()).frames.is_empty());
}

#[test]
fn pictures_without_vessels_or_of_a_few_pixels_are_refused_without_a_crash() {
    for (w, h) in [(1u32, 1u32), (7, 3), (64, 2), (400, 300)] {
        let grey = Frame::bare(Pixels::new(w, h, 1, Samples::U8(vec![90; (w * h) as usize].into())).unwrap());
        let source = Source { frame: &grey, observation: None, modality: None, lens: Lens::nominal(w, h) };
        let v = Vessels::of(&source);
        let assembly = assemble(&[v.clone(), v], &Hooks::default());
        assert!(assembly.frames.iter().all(|f| f.status == Placement::NotPlaced), "{w} × {h}");
    }
}

#[test]
fn a_mosaic_covers_what_its_frames_saw_and_names_them() {
    let a = shot(11, 1, Gaze::Primary, Modality::Colour);
    let pose = Pose::reference(a.lens);
    let canvas = Canvas::around(&[(&pose, &[])], 360).unwrap();
    let part = Part::new(&a.source(), pose);
    let strip = canvas.strip(&[part], 3, 0, canvas.height);
    let covered = strip.provenance.iter().filter(|p| **p == 1).count();
    assert!(strip.provenance.iter().all(|p| *p <= 1));
    // Coverage and provenance say the same, and what is not covered is not black by accident.
    for (s, p) in strip.samples.chunks_exact(4).zip(&strip.provenance) {
        assert_eq!(s[3] > 0.0, *p > 0);
    }
    let share = covered as f64 / strip.provenance.len() as f64;
    assert!((share / a.seen.visible_retina.fraction_of_picture - 1.0).abs() < 0.12, "{share}");
    // Around what was seen the canvas is smaller, and nothing that was drawn is cut off.
    let rings = &a.seen.visible_retina.place.polygons[..];
    let tight = Canvas::around(&[(&Pose::reference(a.lens), rings)], 360).unwrap();
    let degrees = |c: &Canvas, n: usize| n as f64 * c.degrees_per_pixel.powi(2);
    let part = Part::new(&a.source(), Pose::reference(a.lens));
    let drawn = tight.strip(&[part], 3, 0, tight.height).provenance.iter().filter(|p| **p == 1).count();
    assert!(tight.degrees_per_pixel < canvas.degrees_per_pixel || tight.width < canvas.width);
    assert!((degrees(&tight, drawn) / degrees(&canvas, covered) - 1.0).abs() < 0.02);
    // Strips are the same however they are cut.
    let part = Part::new(&a.source(), Pose::reference(a.lens));
    let whole = canvas.strip(std::slice::from_ref(&part), 3, 0, 64);
    let half = canvas.strip(&[part], 3, 32, 64);
    for (a, b) in whole.samples[whole.samples.len() / 2..].iter().zip(&half.samples) {
        assert!((a - b).abs() < 0.02);
    }
}
