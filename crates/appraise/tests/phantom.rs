//! The engine on simulated frames, whose truth is known. Limits of what no real frame shows (too far, shade of one side, haze against blur,
//! burnt-out vessels) were set on other simulated frames; what is asked here only says that the engine is not lost on them.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // helpers of tests

use serrata_appraise::observe;
use serrata_frame::{Frame, Pixels, Samples};
use serrata_phantom::{Fault, Rendered, Scene, render};
use serrata_words::{Eye, FindingKind, Modality};

fn made(seed: u64, eye: Eye, modality: Modality, faults: Vec<Fault>) -> Rendered {
    let mut scene = Scene::new(seed, eye, modality);
    scene.size = 1700;
    scene.faults = faults;
    render(&scene)
}

fn bytes(f: &Frame) -> Vec<u8> {
    match f.pixels.samples() {
        Samples::U8(v) => v.to_vec(),
        Samples::U16(_) => panic!("the phantom draws 8 bit"),
    }
}

fn same_shape(f: &Frame, samples: Samples) -> Frame {
    let p = &f.pixels;
    Frame::bare(Pixels::new(p.width(), p.height(), p.channels(), samples).unwrap())
}

fn mirrored(f: &Frame) -> Frame {
    let (w, c) = (f.pixels.width() as usize, usize::from(f.pixels.channels()));
    let v: Vec<u8> =
        bytes(f).chunks_exact(w * c).flat_map(|r| r.chunks_exact(c).rev().flatten().copied()).collect();
    same_shape(f, Samples::U8(v.into()))
}

#[test]
fn the_visible_retina_is_most_of_what_was_drawn() {
    for m in [Modality::Colour, Modality::Fa, Modality::Faf] {
        for (seed, eye) in [(1, Eye::R), (2, Eye::L), (3, Eye::R)] {
            let made = made(seed, eye, m, vec![]);
            let o = observe(&made.frame, m, None);
            let (got, want) = (o.visible_retina.place.flat_area(), made.truth.visible_retina.flat_area());
            assert!((got / want - 1.0).abs() < 0.2, "{m} {seed}: {got} against {want}");
            assert!(o.eye.inferred.is_none_or(|e| e == eye), "{m} {seed}: {:?}", o.eye);
        }
    }
}

#[test]
fn a_mirrored_frame_has_the_mirrored_observation() {
    // An eye that is told with some certainty: of seed 5 both abstain, at 0.88 and 0.89.
    let made = made(7, Eye::R, Modality::Fa, vec![]);
    let (a, b) =
        (observe(&made.frame, Modality::Fa, None), observe(&mirrored(&made.frame), Modality::Fa, None));
    // Near the limit of "not sure" one of the two may abstain, but they never say the same eye.
    let sides = a.eye.inferred.zip(b.eye.inferred);
    assert!(sides.is_none_or(|(x, y)| x == y.fellow()), "{:?} {:?}", a.eye, b.eye);
    assert!(a.eye.inferred.or(b.eye.inferred).is_some(), "{:?} {:?}", a.eye, b.eye);
    assert!((a.visible_retina.fraction - b.visible_retina.fraction).abs() < 0.01);
    let (d, e) = (a.disc.unwrap(), b.disc.unwrap());
    assert!((d.x - (1700.0 - e.x)).abs() < d.radius && (d.y - e.y).abs() < d.radius, "{d:?} {e:?}");
}

/// The retina between them was taken for a blink, and nobody was seen any more.
#[test]
fn lids_from_above_and_below_are_no_blink_in_grey_pictures() {
    let cases = [
        (91_501, Eye::L, Modality::Faf),
        (91_513, Eye::L, Modality::Faf),
        (91_533, Eye::L, Modality::Faf),
        (91_534, Eye::R, Modality::Fa),
    ];
    for (seed, eye, modality) in cases {
        let mut scene = Scene::new(seed, eye, modality);
        (scene.size, scene.faults) = (1200, vec![Fault::TooClose { strength: 0.6 }]);
        let o = observe(&render(&scene).frame, modality, None);
        let worst =
            |kind| o.findings.iter().filter(|f| f.kind == kind).map(|f| f.fraction).fold(0.0, f64::max);
        assert!(
            worst(FindingKind::NoRetina) == 0.0 && worst(FindingKind::Blink) < 0.1,
            "{seed}: {} {}",
            worst(FindingKind::NoRetina),
            worst(FindingKind::Blink)
        );
        assert!(worst(FindingKind::Lid) > 0.02, "{seed}: {}", worst(FindingKind::Lid));
    }
}

/// Grain that is like itself somewhere else along the row was taken for a jump.
#[test]
fn still_autofluorescence_frames_have_no_jump_that_counts() {
    for seed in [91_064, 91_119, 91_124, 91_169, 91_229, 91_259] {
        let mut scene = Scene::new(seed, if seed % 2 == 0 { Eye::R } else { Eye::L }, Modality::Faf);
        scene.size = 1200;
        let o = observe(&render(&scene).frame, Modality::Faf, None);
        let jump =
            o.findings.iter().filter(|f| f.kind == FindingKind::Motion).map(|f| f.score).fold(0.0, f64::max);
        assert!(jump < 0.5, "{seed}: {jump}");
    }
}

#[test]
fn sixteen_bit_is_seen_as_eight_bit() {
    let made = made(6, Eye::L, Modality::Colour, vec![]);
    let wide: Vec<u16> = bytes(&made.frame).iter().map(|v| u16::from(*v) * 257).collect();
    let deep = same_shape(&made.frame, Samples::U16(wide.into()));
    let (a, b) = (observe(&made.frame, Modality::Colour, None), observe(&deep, Modality::Colour, None));
    assert_eq!(a.eye.inferred, b.eye.inferred);
    assert!((a.visible_retina.fraction - b.visible_retina.fraction).abs() < 1e-3);
    assert!((a.sharpness.value - b.sharpness.value).abs() < 1e-2);
}

#[test]
fn the_same_frame_gives_the_same_bytes_beside_other_work() {
    let made = made(7, Eye::R, Modality::Colour, vec![]);
    let seen: Vec<String> = std::thread::scope(|s| {
        let one = || serde_json::to_string(&observe(&made.frame, Modality::Colour, None)).unwrap();
        let all: Vec<_> = (0..3).map(|_| s.spawn(one)).collect();
        all.into_iter().map(|t| t.join().unwrap()).collect()
    });
    assert!(seen.windows(2).all(|w| w[0] == w[1]));
}

#[test]
fn a_blink_is_found_in_its_rows_and_timed_only_with_an_instrument() {
    let scene = Scene::new(1, Eye::R, Modality::Colour);
    let made = made(1, Eye::R, Modality::Colour, vec![Fault::Blink { rows: [600, 850] }]);
    let o = observe(&made.frame, Modality::Colour, Some(&scene.instrument));
    let blink = o.findings.iter().find(|f| f.kind == FindingKind::Blink).expect("a blink");
    let [from, to] = blink.rows.unwrap();
    assert!(from.abs_diff(600) < 40 && to.abs_diff(850) < 40, "{from}..{to}");
    assert!(blink.onset_ms.is_some() && blink.duration_ms.is_some());
    let plain = observe(&made.frame, Modality::Colour, None);
    let blink = plain.findings.iter().find(|f| f.kind == FindingKind::Blink).expect("a blink");
    assert_eq!((blink.onset_ms, blink.duration_ms), (None, None));
}

#[test]
fn half_the_size_is_seen_alike() {
    for m in [Modality::Colour, Modality::Fa] {
        let large = made(8, Eye::R, m, vec![]);
        let mut scene = Scene::new(8, Eye::R, m);
        scene.size = 850;
        let small = render(&scene);
        let (a, b) = (observe(&large.frame, m, None), observe(&small.frame, m, None));
        assert!((a.visible_retina.fraction - b.visible_retina.fraction).abs() < 0.05, "{m}");
        assert!(a.eye.inferred.zip(b.eye.inferred).is_none_or(|(x, y)| x == y), "{m}");
        assert_eq!(b.width * 2, a.width);
    }
}

/// Broke once: a picture of two lasers whose blue is exactly zero was taken for a grey one.
#[test]
fn an_empty_blue_channel_is_still_a_colour_picture() {
    for gain in [None, Some(0.1)] {
        let faults = gain.map(|gain| Fault::Underexposed { gain }).into_iter().collect();
        let made = made(2, Eye::L, Modality::Colour, faults);
        assert!(bytes(&made.frame).chunks_exact(3).all(|p| p[2] == 0), "the phantom's blue is empty");
        assert_eq!(serrata_appraise::likely_modality(&made.frame), Modality::Colour);
        let o = observe(&made.frame, Modality::Colour, None);
        assert!(o.findings.iter().all(|f| f.kind != FindingKind::WrongModality), "{:?}", o.findings);
    }
}

/// Rows from `row` on moved along by `shift` pixels to the right, the edge repeated.
fn jumped(f: &Frame, row: usize, shift: usize) -> Frame {
    let (w, c) = (f.pixels.width() as usize, usize::from(f.pixels.channels()));
    let mut v = bytes(f);
    for line in v.chunks_exact_mut(w * c).skip(row) {
        let old = line.to_vec();
        for x in 0..w {
            let from = x.saturating_sub(shift);
            line[x * c..(x + 1) * c].copy_from_slice(&old[from * c..(from + 1) * c]);
        }
    }
    same_shape(f, Samples::U8(v.into()))
}

#[test]
fn a_jump_is_found_at_its_row_with_size_and_direction() {
    // The row is found in all; of two of six angiograms looked at (9 and 19) the size is one of a few vessels that agree by chance.
    for (seed, m) in [(9, Modality::Fa), (39, Modality::Fa), (9, Modality::Colour), (19, Modality::Colour)] {
        let o = observe(&jumped(&made(seed, Eye::R, m, vec![]).frame, 800, 60), m, None);
        let rows = o.findings.iter().find(|f| f.kind == FindingKind::Motion).and_then(|f| f.rows);
        assert!(rows.is_some_and(|r| r[0].abs_diff(800) <= 17), "{seed} {m}: {rows:?}");
    }
    let scene = Scene::new(29, Eye::R, Modality::Fa);
    let jumped = jumped(&made(29, Eye::R, Modality::Fa, vec![]).frame, 800, 60);
    let o = observe(&jumped, Modality::Fa, Some(&scene.instrument));
    let jump = o.findings.iter().find(|f| f.kind == FindingKind::Motion).expect("a jump");
    assert!(jump.rows.unwrap()[0].abs_diff(800) <= 17, "{:?}", jump.rows);
    let [right, down] = jump.shift_px.unwrap();
    assert!((right - 60.0).abs() < 4.0 && down == 0.0, "{right}");
    let degrees =
        60.0 * f64::from(scene.instrument.width) / 1700.0 * scene.instrument.degrees_per_pixel.unwrap();
    assert!((jump.shift_deg.unwrap() - degrees).abs() < 0.07 * degrees, "{:?}", jump.shift_deg);
}

/// Broke once: the outline ended at a blink, so that the retina beyond it was taken for a lid and the blink was not seen.
#[test]
fn the_retina_beyond_a_blink_stays_visible() {
    let made = made(1, Eye::R, Modality::Colour, vec![Fault::Blink { rows: [600, 850] }]);
    let o = observe(&made.frame, Modality::Colour, None);
    let lowest = o.visible_retina.place.polygons.iter().flatten().map(|p| p[1]).fold(0.0, f64::max);
    assert!(lowest > 1300.0, "{lowest}");
}

/// Faults are told in three of four simulated eyes at least, and in none where nothing was drawn (docs/appraisal.md has the figures
/// of 640 frames).
#[test]
fn faults_of_dim_pictures_are_told_from_their_absence() {
    let score = |m: Modality, seed: u64, kind: FindingKind, faults: Vec<Fault>| {
        let mut scene = Scene::new(seed, Eye::R, m);
        // The size at which the limits were set: contrast depends on it.
        (scene.size, scene.faults) = (1200, faults);
        observe(&render(&scene).frame, m, None)
            .findings
            .iter()
            .filter(|f| f.kind == kind)
            .map(|f| f.score)
            .fold(0.0, f64::max)
    };
    // Strengths are those of `serrata phantom frame --fault`.
    let lid = Fault::Lid { side: serrata_words::Side::Bottom, share: 0.3 };
    let floater = Fault::Floater { at: [0.38, 0.6], radius: 0.05, dark: 0.7 };
    let cases = [
        (FindingKind::Lid, lid, vec![Modality::Fa, Modality::Faf]),
        (FindingKind::Blur, Fault::Blur { sigma: 14.0 }, vec![Modality::Fa]),
        (FindingKind::Haze, Fault::Haze { strength: 0.8 }, vec![Modality::Fa, Modality::Faf]),
        (FindingKind::TooFar, Fault::TooFar { strength: 0.6 }, vec![Modality::Fa, Modality::Faf]),
        (FindingKind::Floater, floater, vec![Modality::Colour, Modality::Fa]),
    ];
    for (kind, fault, modalities) in cases {
        for m in modalities {
            let told: Vec<(f64, f64)> = (21..25)
                .map(|seed| (score(m, seed, kind, vec![fault.clone()]), score(m, seed, kind, Vec::new())))
                .collect();
            let apart = told.iter().filter(|(with, without)| *with > without + 0.2).count();
            assert!(apart >= 3 && told.iter().all(|t| t.1 < 0.5), "{kind:?} {m}: {told:?}");
        }
    }
}

/// A soft patch and a smear are told apart, where they lie, wherever that is; neither is seen in a clean frame.
#[test]
fn a_soft_patch_and_a_smear_are_found_where_they_lie() {
    for (seed, m, at) in [
        (91_001, Modality::Colour, [0.35, 0.55]),
        (91_002, Modality::Fa, [0.60, 0.40]),
        (91_003, Modality::Faf, [0.45, 0.60]),
    ] {
        let score = |faults: Vec<Fault>, kind: FindingKind| {
            let made = made(seed, Eye::R, m, faults);
            let o = observe(&made.frame, m, None);
            let found = o.findings.into_iter().find(|f| f.kind == kind && !f.place.is_empty());
            found.map_or((0.0, [f64::INFINITY; 2]), |f| {
                let ring = f.place.polygons.iter().max_by_key(|r| r.len()).unwrap();
                let span = |k: usize| {
                    let of = |pick: fn(f64, f64) -> f64| ring.iter().map(|p| p[k]).reduce(pick).unwrap();
                    (of(f64::min) + of(f64::max)) / 2.0 / 1700.0
                };
                (f.score, [span(0), span(1)])
            })
        };
        let soft = score(vec![Fault::RegionalBlur { at, radius: 0.2, sigma: 14.0 }], FindingKind::Blur);
        let smear = score(vec![Fault::Smear { at, radius: 0.2, strength: 0.8 }], FindingKind::Smear);
        for (what, (score, [x, y])) in [("soft patch", soft), ("smear", smear)] {
            assert!(score >= 0.5, "{m} {what} counts: {score}");
            assert!((x - at[0]).hypot(y - at[1]) < 0.12, "{m} {what}: {x} {y} instead of {at:?}");
        }
        assert!(score(vec![], FindingKind::Blur).0 < 0.2 && score(vec![], FindingKind::Smear).0 < 0.2, "{m}");
    }
}

/// Each was missed, or taken for something else, in a simulated frame of 1200 pixels.
#[test]
fn faults_that_were_missed_are_told_and_counted() {
    use serrata_words::Side;
    let lid = Fault::Lid { side: Side::Bottom, share: 0.3 };
    let shadow = Fault::IrisShadow { side: Side::Left, share: 0.3 };
    let cases = [
        // The lid reaches in past half of the way to the picture's edge; lashes before it were taken for vessels.
        (91_013, Eye::L, Modality::Fa, lid, FindingKind::Lid),
        // The dark of the iris, a round soft field, was taken for an instrument's narrow one.
        (91_310, Eye::R, Modality::Colour, Fault::TooFar { strength: 0.6 }, FindingKind::TooFar),
        // Light of dye falls off to both sides, so that the shaded one hardly stood out.
        (91_063, Eye::L, Modality::Fa, shadow, FindingKind::IrisShadow),
        // Only vessels burn out where the ground is dark.
        (91_026, Eye::R, Modality::Fa, Fault::Overexposed { gain: 5.0 }, FindingKind::Overexposed),
        // Edges were sought no farther than a sharp one reaches, and haze was named.
        (91_020, Eye::R, Modality::Colour, Fault::Blur { sigma: 14.0 }, FindingKind::Blur),
    ];
    for (seed, eye, modality, fault, kind) in cases {
        let mut scene = Scene::new(seed, eye, modality);
        (scene.size, scene.faults) = (1200, vec![fault]);
        let o = observe(&render(&scene).frame, modality, None);
        let score = |kind| o.findings.iter().filter(|f| f.kind == kind).map(|f| f.score).fold(0.0, f64::max);
        assert!(score(kind) >= 0.5, "{seed} {kind:?}: {}", score(kind));
        let side = o.findings.iter().find(|f| f.kind == kind).and_then(|f| f.side);
        match kind {
            FindingKind::Lid => assert_eq!(side, Some(Side::Bottom)),
            FindingKind::IrisShadow => assert_eq!(side, Some(Side::Left)),
            _ => {}
        }
    }
}

/// Blur takes the vessels' contrast, too, and was told as haze as well.
#[test]
fn blur_is_not_told_as_haze() {
    let mut scene = Scene::new(91_107, Eye::L, Modality::Colour);
    (scene.size, scene.faults) = (1200, vec![Fault::Blur { sigma: 14.0 }]);
    let o = observe(&render(&scene).frame, Modality::Colour, None);
    let score = |kind| o.findings.iter().filter(|f| f.kind == kind).map(|f| f.score).fold(0.0, f64::max);
    assert!(
        score(FindingKind::Blur) >= 0.5 && score(FindingKind::Haze) < 0.5,
        "{}",
        score(FindingKind::Haze)
    );
}

/// A frame of 1000 pixels was halved, and its vessels looked pale: clear real ones were called hazy.
#[test]
fn a_clear_frame_is_not_hazy_at_a_thousand_pixels() {
    for seed in [93_007, 93_015, 93_037] {
        let haze = |size| {
            let mut scene = Scene::new(seed, Eye::L, Modality::Colour);
            scene.size = size;
            let o = observe(&render(&scene).frame, Modality::Colour, None);
            o.findings.iter().filter(|f| f.kind == FindingKind::Haze).map(|f| f.score).fold(0.0, f64::max)
        };
        assert!(haze(1000) < 0.5 && haze(1200) < 0.5, "{seed}: {} {}", haze(1000), haze(1200));
    }
}

/// It was told, but stayed in the visible retina and had no place.
#[test]
fn what_lies_in_the_shadow_of_the_iris_is_not_seen() {
    use serrata_words::Side;
    for (seed, modality, side) in [
        (91_064, Modality::Faf, Side::Left),
        (91_060, Modality::Colour, Side::Right),
        (91_149, Modality::Faf, Side::Right),
    ] {
        let of = |faults| {
            let mut scene = Scene::new(seed, Eye::R, modality);
            (scene.size, scene.faults) = (1200, faults);
            let made = render(&scene);
            (observe(&made.frame, modality, None), made.truth)
        };
        let (o, truth) = of(vec![Fault::IrisShadow { side, share: 0.3 }]);
        let f = o.findings.iter().find(|f| f.kind == FindingKind::IrisShadow).expect("a shadow");
        assert_eq!(f.side, Some(side));
        let xs: Vec<f64> = f.place.polygons.iter().flatten().map(|p| p[0]).collect();
        let mean = xs.iter().sum::<f64>() / xs.len() as f64;
        assert!(if side == Side::Left { mean < 500.0 } else { mean > 700.0 }, "{seed}: {mean}");
        let (got, want) = (o.visible_retina.fraction, truth.visible_fraction);
        assert!((got - want).abs() < 0.12, "{seed}: {got} against {want}");
        let (clear, _) = of(Vec::new());
        assert!(clear.visible_retina.fraction > got + 0.15, "{seed}: {}", clear.visible_retina.fraction);
    }
}

/// Near the end of the retina, where little is left to compare, chance likeness was called a jump.
#[test]
fn no_jump_is_named_at_the_end_of_the_retina() {
    for (seed, eye) in [(91_066, Eye::R), (91_088, Eye::R)] {
        let mut scene = Scene::new(seed, eye, Modality::Fa);
        scene.size = 1200;
        let o = observe(&render(&scene).frame, Modality::Fa, None);
        let jumps: Vec<_> =
            o.findings.iter().filter(|f| f.kind == FindingKind::Motion).map(|f| (f.score, f.rows)).collect();
        assert!(jumps.iter().all(|j| j.0 < 0.5), "{seed}: {jumps:?}");
    }
}
