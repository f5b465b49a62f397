//! Truth against `serrata-eye`, determinism, and each fault against what was asked for.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // helpers of tests

use proptest::prelude::*;
use serrata_eye::{RetinalPoint, Rotation, Stereographic, angle_between, region_area_sr};
use serrata_frame::Samples;
use serrata_phantom::{Eyeball, Fault, Rendered, Scene, instruments, render};
use serrata_words::region::ring_area;
use serrata_words::{Eye, FindingKind, FrameTruth, Gaze, Modality, Side, SlowAxis, Verdict};

fn scene(seed: u64, eye: Eye, modality: Modality) -> Scene {
    Scene { size: 300, ..Scene::new(seed, eye, modality) }
}

fn bytes(r: &Rendered) -> &[u8] {
    match r.frame.pixels.samples() {
        Samples::U8(v) => v,
        Samples::U16(_) => unreachable!("the phantom makes 8 bit"),
    }
}

fn picture(t: &FrameTruth) -> Stereographic {
    Stereographic { width: t.width, height: t.height, deg_per_px: [t.degrees_per_pixel; 2] }
}

fn share(t: &FrameTruth, kind: FindingKind) -> f64 {
    t.findings.iter().filter(|f| f.kind == kind).map(|f| f.fraction).sum()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]

    /// Disc and fovea in the picture are as far apart on the sphere as they are in the eye, in any gaze.
    #[test]
    fn disc_and_fovea_keep_their_angle(seed in 0u64..10_000, left in any::<bool>(), g in 0usize..9, shot in any::<u64>()) {
        let eye = if left { Eye::L } else { Eye::R };
        let ball = Eyeball::grow(seed, eye);
        let made = ball.render(&Scene { gaze: Gaze::ALL[g], shot, everyday: false, ..scene(seed, eye, Modality::Faf) });
        let t = &made.truth;
        let p = picture(t);
        let (disc, fovea) = (p.to_direction([t.disc.x, t.disc.y]), p.to_direction([t.fovea.x, t.fovea.y]));
        let deg = angle_between(disc, fovea).to_degrees();
        prop_assert!((deg - ball.disc().eccentricity_deg).abs() < 1e-6);
        // 4.76 ± 0.34 mm (Jonas et al. 2015), drawn within 2.5 standard deviations.
        let mm = deg.to_radians() * ball.axial_length_mm() / 2.0;
        prop_assert!((3.9..5.62).contains(&mm), "{mm}");
        // The disc is on the nasal side: to the right of the fovea in a right eye.
        let pose = Rotation::from_landmarks(fovea, disc, eye).unwrap();
        let at = RetinalPoint::from_direction(pose.apply(disc));
        prop_assert!((at.eccentricity_deg - deg).abs() < 1e-6);
        if Gaze::ALL[g] == Gaze::Primary {
            prop_assert_eq!(t.disc.x > t.fovea.x, eye == Eye::R);
        }
    }

    #[test]
    fn no_scene_breaks_it(
        size in 0u32..120, from in any::<u32>(), to in any::<u32>(), share in -1f64..2., sigma in -5f64..900.,
        gain in -1f64..9., shift in -200f64..200., count in 0u32..9, side in 0usize..4, turn in -200f64..200.,
    ) {
        let side = Side::ALL[side];
        let faults = vec![
            Fault::Blink { rows: [from, to] }, Fault::Lid { side, share }, Fault::OffCentre { side, share },
            Fault::Lash { side, length: share, count }, Fault::Blur { sigma }, Fault::Overexposed { gain },
            Fault::Motion { row: from, shift_deg: shift }, Fault::Haze { strength: share },
        ];
        let made = render(&Scene { size, faults, gaze: Gaze::DownLeft, turn_deg: turn, ..scene(1, Eye::R, Modality::Colour) });
        prop_assert!((0.0..=1.0).contains(&made.truth.visible_fraction));
    }
}

#[test]
fn numbers_that_are_none_do_no_harm() {
    let faults = vec![
        Fault::Blur { sigma: f64::NAN },
        Fault::Lid { side: Side::Top, share: f64::NAN },
        Fault::Haze { strength: f64::NAN },
        Fault::Lash { side: Side::Left, length: f64::INFINITY, count: 2 },
        Fault::Motion { row: 100, shift_deg: f64::NAN },
        Fault::Underexposed { gain: f64::NAN },
    ];
    let made = render(&Scene { faults, dye_s: f64::NAN, ..scene(1, Eye::R, Modality::Fa) });
    assert_eq!(made.frame.pixels.width(), 300);
}

#[test]
fn looking_up_moves_the_fovea_down_and_shows_more_superior_retina() {
    let ball = Eyeball::grow(11, Eye::R);
    let look =
        |gaze| ball.render(&Scene { gaze, everyday: false, ..scene(11, Eye::R, Modality::Colour) }).truth;
    let (ahead, up, right) = (look(Gaze::Primary), look(Gaze::Up), look(Gaze::Right));
    // 25° from the centre is 2·tan(12.5°)/0.888° = 28.6 pixels of 300; the shot's slip is the same in each.
    assert!((up.fovea.y - ahead.fovea.y - 28.6).abs() < 2.0);
    assert!((right.fovea.x - ahead.fovea.x - 28.6).abs() < 2.0);
    // The topmost retina in the picture lies further up on the eye.
    let top = |t: &FrameTruth| {
        let p = picture(t);
        let pose = |q| p.to_direction(q);
        let r = Rotation::from_landmarks(pose([t.fovea.x, t.fovea.y]), pose([t.disc.x, t.disc.y]), Eye::R)
            .unwrap();
        let points = t.visible_retina.polygons.iter().flatten();
        points
            .map(|q| RetinalPoint::from_direction(r.apply(p.to_direction(*q))))
            .filter(|q| (60.0..120.0).contains(&q.meridian_deg))
            .map(|q| q.eccentricity_deg)
            .fold(0.0, f64::max)
    };
    assert!(top(&up) > top(&ahead) + 5.0, "{} {}", top(&up), top(&ahead));
}

#[test]
fn the_same_scene_gives_the_same_bytes_on_any_number_of_threads() {
    let s = Scene { faults: vec![Fault::Blur { sigma: 9.0 }], ..scene(4, Eye::L, Modality::Colour) };
    let on = |n| rayon::ThreadPoolBuilder::new().num_threads(n).build().unwrap().install(|| render(&s));
    let (one, three) = (on(1), on(3));
    assert_eq!(bytes(&one), bytes(&three));
    assert_eq!(one.truth, three.truth);
}

#[test]
fn seeds_shots_and_eyes_differ() {
    let base = render(&scene(1, Eye::R, Modality::Colour));
    for other in [
        scene(2, Eye::R, Modality::Colour),
        scene(1, Eye::L, Modality::Colour),
        Scene { shot: 1, ..scene(1, Eye::R, Modality::Colour) },
    ] {
        let other = render(&other);
        assert_ne!(bytes(&base), bytes(&other));
        assert!((base.truth.disc.x - other.truth.disc.x).abs() > 0.1);
    }
}

#[test]
fn fellow_eyes_are_mirrored_and_wrong_labels_are_findings() {
    let (r, l) = (render(&scene(8, Eye::R, Modality::Colour)), render(&scene(8, Eye::L, Modality::Colour)));
    assert!(r.truth.disc.x > r.truth.fovea.x && l.truth.disc.x < l.truth.fovea.x);
    assert_eq!(r.truth.axial_length_mm, l.truth.axial_length_mm);
    let wrong = render(&Scene { labelled: Some(Eye::L), ..scene(8, Eye::R, Modality::Colour) });
    assert_eq!(wrong.frame.facts.eye, Some(Eye::L));
    assert_eq!(wrong.truth.eye, Eye::R);
    assert_eq!(wrong.truth.expected, Verdict::NotUsable);
    assert!(
        share(&wrong.truth, FindingKind::WrongEye) > 0.0 && share(&r.truth, FindingKind::WrongEye) == 0.0
    );
    assert_eq!(bytes(&wrong), bytes(&r), "the label is no part of the picture");
}

#[test]
fn a_blink_covers_its_rows_and_says_when() {
    let blink = vec![Fault::Blink { rows: [60, 90] }];
    let base = render(&Scene { everyday: false, ..scene(3, Eye::R, Modality::Colour) });
    let made =
        render(&Scene { faults: blink.clone(), everyday: false, ..scene(3, Eye::R, Modality::Colour) });
    let f = made.truth.findings.iter().find(|f| f.kind == FindingKind::Blink).unwrap();
    assert_eq!(f.rows, Some([60, 90]));
    // 0.4 s over 300 rows.
    assert!((f.onset_ms.unwrap() - 80.0).abs() < 1e-9 && (f.duration_ms.unwrap() - 40.0).abs() < 1e-9);
    // The lid's margin is an arch: the middle is covered later and freed sooner than the sides. The rows are those of
    // which at least half of the width is covered.
    let row = 300 * 3;
    let unlike =
        |x: usize, y: usize| bytes(&base)[y * row + 3 * x..][..2] != bytes(&made)[y * row + 3 * x..][..2];
    let inside = |y: usize| (0..300).filter(|x| bytes(&base)[y * row + 3 * x] > 12).count();
    let covered = |y: usize| (0..300).filter(|x| unlike(*x, y)).count();
    // Column 40 is near the end of the upper rows, where the aperture is narrower.
    for y in 0..300 {
        assert!((45..105).contains(&y) || covered(y) == 0, "row {y}");
        assert!(!(70..80).contains(&y) || unlike(150, y) && unlike(40, y), "row {y}");
        let half = 2 * covered(y) >= inside(y) && covered(y) > 0;
        assert!(half == (60..90).contains(&y) || (58..62).contains(&y) || (88..92).contains(&y), "row {y}");
    }
    assert!(unlike(40, 59) && !unlike(150, 61) && unlike(40, 91) && !unlike(150, 88));
    let lost = base.truth.visible_fraction - made.truth.visible_fraction;
    assert!((lost - f.fraction).abs() < 0.02, "{lost} {}", f.fraction);
    // An instrument that sweeps upwards meets the lower rows first.
    let small = Scene {
        instrument: instruments().unwrap()[1].clone(),
        faults: blink,
        ..scene(3, Eye::R, Modality::Colour)
    };
    assert_eq!(small.instrument.slow_axis, SlowAxis::Up);
    let f = render(&small).truth.findings.into_iter().find(|f| f.kind == FindingKind::Blink).unwrap();
    assert!((f.onset_ms.unwrap() - 175.0).abs() < 1e-9 && (f.duration_ms.unwrap() - 25.0).abs() < 1e-9);
}

#[test]
fn covers_take_the_share_that_was_asked_for() {
    for side in Side::ALL {
        for (fault, kind) in [
            (Fault::Lid { side: *side, share: 0.18 }, FindingKind::Lid),
            (Fault::OffCentre { side: *side, share: 0.18 }, FindingKind::OffCentre),
        ] {
            let made =
                render(&Scene { faults: vec![fault], everyday: false, ..scene(5, Eye::R, Modality::Colour) });
            assert!((share(&made.truth, kind) - 0.18).abs() < 0.01, "{side} {kind}");
            assert!(made.truth.visible_fraction < 0.84);
            assert_eq!(made.truth.findings.iter().find(|f| f.kind == kind).unwrap().side, Some(*side));
        }
    }
}

#[test]
fn a_jump_breaks_the_picture_at_its_row() {
    let jump = |shift_deg| Scene {
        faults: vec![Fault::Motion { row: 200, shift_deg }],
        everyday: false,
        ..scene(5, Eye::R, Modality::Green)
    };
    let (still, moved) = (render(&jump(0.0)), render(&jump(5.0)));
    let (a, b) = (bytes(&still), bytes(&moved));
    let unlike = |y: usize| (0..300).filter(|x| a[y * 300 + x].abs_diff(b[y * 300 + x]) > 12).count();
    // A 5° saccade lasts 32 ms, which is 24 of 300 rows of a 0.4 s sweep; pigment is mixed over some rows round it.
    assert_eq!((0..196).map(unlike).sum::<usize>(), 0);
    assert!((226..290).map(unlike).sum::<usize>() > 200);
    let f = moved.truth.findings.iter().find(|f| f.kind == FindingKind::Motion).unwrap();
    assert_eq!(f.rows, Some([200, 224]));
    assert!((f.duration_ms.unwrap() - 32.0).abs() < 1e-9);
    let m = moved.truth.movements.iter().find(|m| m.kind == "saccade").unwrap();
    assert!((m.onset_ms - 200.0 / 300.0 * 400.0).abs() < 1e-9 && m.shift_deg == [5.0, 0.0]);
    // Main sequence: some 290°/s at 5°.
    assert!((250.0..350.0).contains(&m.peak_deg_s), "{}", m.peak_deg_s);
}

#[test]
fn the_frame_says_what_it_is() {
    let made = render(&Scene { gaze: Gaze::Up, ..scene(2, Eye::L, Modality::Faf) });
    let f = &made.frame.facts;
    assert_eq!((f.eye, f.modality, f.gaze), (Some(Eye::L), Some(Modality::Faf), Some(Gaze::Up)));
    assert_eq!(f.instrument.as_deref(), Some("demo-wide"));
    let d = 0.074 * 12.0;
    assert!((f.centre_view_angle_deg.unwrap()[0] - d).abs() < 1e-12);
    assert_eq!(made.frame.pixels.channels(), 1);
    let colour = render(&scene(2, Eye::L, Modality::Colour));
    assert!(bytes(&colour).chunks(3).all(|p| p[2] == 0), "two lasers: blue is empty");
    let json = serde_json::to_value(&made.truth).unwrap();
    assert_eq!(json["schema"], "serrata.truth/1");
    assert_eq!(serde_json::from_value::<FrameTruth>(json).unwrap().findings.len(), made.truth.findings.len());
}

#[test]
fn the_visible_retina_is_made_of_rings_that_fill_the_share_it_names() {
    let made = render(&scene(6, Eye::R, Modality::Colour));
    let t = &made.truth;
    assert!(t.visible_retina.polygons.iter().all(|r| ring_area(r) > 0.0));
    assert!(t.visible_retina.holes.iter().all(|r| ring_area(r) < 0.0));
    // The aperture is some three quarters of the square; what is visible is measured as a share of it.
    let flat = t.visible_retina.flat_area() / (300.0 * 300.0);
    assert!((flat / t.visible_fraction - 0.77).abs() < 0.05, "{flat} {}", t.visible_fraction);
    // And on the sphere, at R = 12 mm, it is of the size that published ultra-widefield areas have (892 mm² at 200°
    // for R = 11: 1062 mm² at R = 12).
    let mm2 = region_area_sr(&picture(t), &t.visible_retina) * 144.0;
    assert!((750.0..1150.0).contains(&mm2), "{mm2}");
}

#[test]
fn dye_comes_by_the_arteries_first() {
    let at = |dye_s| {
        let made = render(&Scene { dye_s, everyday: false, ..scene(9, Eye::R, Modality::Fa) });
        bytes(&made).iter().map(|b| u64::from(*b)).sum::<u64>()
    };
    let (before, arterial, full) = (at(2.0), at(13.0), at(30.0));
    assert!(before < arterial && arterial < full, "{before} {arterial} {full}");
}

#[test]
fn small_pictures_show_the_same_field_as_large_ones() {
    let at = |size| render(&Scene { size, everyday: false, ..scene(9, Eye::R, Modality::Green) }).truth;
    let (a, b) = (at(200), at(800));
    assert!((a.fovea.x * 4.0 - b.fovea.x).abs() < 1e-6 && (a.disc.radius * 4.0 - b.disc.radius).abs() < 1e-6);
    assert!((a.visible_fraction - b.visible_fraction).abs() < 0.01);
}

/// The written rule for the expected verdict, row by row.
#[test]
fn the_expected_verdict_follows_the_written_rule() {
    let verdict = |faults| {
        render(&Scene { faults, everyday: false, ..scene(5, Eye::R, Modality::Colour) }).truth.expected
    };
    for (fault, want) in [
        (Fault::Lid { side: Side::Top, share: 0.05 }, Verdict::Usable),
        (Fault::Lid { side: Side::Bottom, share: 0.09 }, Verdict::Usable),
        (Fault::Lid { side: Side::Bottom, share: 0.15 }, Verdict::Usable),
        (Fault::Lid { side: Side::Bottom, share: 0.22 }, Verdict::Limited),
        (Fault::Lid { side: Side::Bottom, share: 0.30 }, Verdict::NotUsable),
        (Fault::Blink { rows: [40, 44] }, Verdict::Limited),
        (Fault::Blink { rows: [140, 160] }, Verdict::NotUsable),
        (Fault::Blur { sigma: 2.0 }, Verdict::Usable),
        (Fault::Blur { sigma: 5.0 }, Verdict::Limited),
        (Fault::Blur { sigma: 12.0 }, Verdict::NotUsable),
        (Fault::Underexposed { gain: 0.2 }, Verdict::NotUsable),
        (Fault::Overexposed { gain: 1.8 }, Verdict::Limited),
        (Fault::Haze { strength: 0.2 }, Verdict::Usable),
        (Fault::Haze { strength: 0.9 }, Verdict::Limited),
        (Fault::Floater { at: [0.5, 0.5], radius: 0.03, dark: 0.8 }, Verdict::Limited),
        (Fault::OffCentre { side: Side::Left, share: 0.15 }, Verdict::Limited),
        (Fault::IrisShadow { side: Side::Left, share: 0.3 }, Verdict::NotUsable),
        (Fault::Motion { row: 60, shift_deg: 1.0 }, Verdict::Limited),
        (Fault::Motion { row: 60, shift_deg: 6.0 }, Verdict::NotUsable),
        (Fault::TooFar { strength: 0.3 }, Verdict::Limited),
        (Fault::TooClose { strength: 0.8 }, Verdict::NotUsable),
        (Fault::Dust { count: 40, deposit: 1 }, Verdict::Usable),
        (Fault::NoRetina, Verdict::NotUsable),
    ] {
        let text = format!("{fault:?}");
        assert_eq!(verdict(vec![fault]), want, "{text}");
    }
    assert_eq!(verdict(vec![]), Verdict::Usable);
    // Everyday lids: each below a tenth, of which the first two would have cost the view if they were faults.
    let lids =
        |sides: &[Side]| verdict(sides.iter().map(|side| Fault::Lid { side: *side, share: 0.09 }).collect());
    assert_eq!(lids(&[Side::Bottom, Side::Left]), Verdict::Usable);
    assert_eq!(lids(&[Side::Bottom, Side::Left, Side::Right]), Verdict::Limited);
    // Before a dark ground only vessels burn out.
    for (gain, want) in [(2.0, Verdict::Usable), (4.0, Verdict::Limited), (7.0, Verdict::NotUsable)] {
        let faults = vec![Fault::Overexposed { gain }];
        let made = render(&Scene { faults, everyday: false, ..scene(5, Eye::R, Modality::Fa) });
        assert_eq!(made.truth.expected, want, "{gain}");
    }
}
