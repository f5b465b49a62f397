//! Faults of capture beyond lids and blinks: what each does to the picture and to the truth.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // helpers of tests

use serrata_frame::Samples;
use serrata_phantom::{Fault, Rendered, Scene, render};
use serrata_words::{Eye, Finding, FindingKind, Modality, Side};

fn scene(faults: Vec<Fault>) -> Scene {
    Scene { size: 300, everyday: false, faults, ..Scene::new(5, Eye::R, Modality::Green) }
}

fn bytes(r: &Rendered) -> &[u8] {
    match r.frame.pixels.samples() {
        Samples::U8(v) => v,
        Samples::U16(_) => unreachable!("the phantom makes 8 bit"),
    }
}

fn finding(r: &Rendered, kind: FindingKind) -> &Finding {
    r.truth.findings.iter().find(|f| f.kind == kind).unwrap()
}

/// Mean grey level over a square of half side `r`.
fn level(made: &Rendered, x: usize, y: usize, r: usize) -> f64 {
    let w = made.frame.pixels.width() as usize;
    let all: Vec<f64> = (y - r..=y + r)
        .flat_map(|j| (x - r..=x + r).map(move |i| (i, j)))
        .map(|(i, j)| f64::from(bytes(made)[j * w + i]))
        .collect();
    all.iter().sum::<f64>() / all.len() as f64
}

#[test]
fn too_near_brings_lids_and_lashes_and_too_far_closes_from_all_round() {
    let (near, far) = (
        render(&scene(vec![Fault::TooClose { strength: 0.6 }])),
        render(&scene(vec![Fault::TooFar { strength: 0.8 }])),
    );
    let sides: Vec<_> =
        near.truth.findings.iter().filter(|f| f.kind == FindingKind::TooClose).map(|f| f.side).collect();
    assert!(sides.contains(&Some(Side::Top)) && sides.contains(&Some(Side::Bottom)) && sides.contains(&None));
    assert!(near.truth.findings.iter().any(|f| f.kind == FindingKind::Lash));
    // 0.8 of a half.
    assert!((finding(&far, FindingKind::TooFar).fraction - 0.40).abs() < 0.01);
    let base = render(&scene(vec![]));
    // Just inside the aperture's rim on its four sides.
    for (x, y) in [(14, 150), (286, 150), (150, 31), (150, 269)] {
        let (closed, open) = (level(&far, x, y, 4), level(&base, x, y, 4));
        assert!(closed < 0.5 * open, "{x} {y}: {closed} {open}");
    }
    assert!((level(&far, 150, 150, 10) / level(&base, 150, 150, 10) - 1.0).abs() < 0.02);
}

#[test]
fn reflections_add_and_shadows_take_light_where_the_truth_says() {
    let base = render(&scene(vec![]));
    let at = [0.4, 0.6];
    let reflex = render(&scene(vec![Fault::Reflex { at, radius: 0.05 }]));
    assert!(level(&reflex, 120, 180, 4) > 240.0);
    let floater = render(&scene(vec![Fault::Floater { at, radius: 0.05, dark: 0.8 }]));
    assert!(level(&floater, 120, 180, 3) < 0.45 * level(&base, 120, 180, 3));
    let shadow = render(&scene(vec![Fault::IrisShadow { side: Side::Left, share: 0.2 }]));
    assert!(level(&shadow, 25, 150, 5) < 0.5 * level(&base, 25, 150, 5));
    for (made, kind, hidden) in [
        (&reflex, FindingKind::Reflex, true),
        (&floater, FindingKind::Floater, false),
        (&shadow, FindingKind::IrisShadow, true),
    ] {
        let f = finding(made, kind);
        assert!(!f.place.is_empty() && f.fraction > 0.003, "{kind}");
        assert_eq!(made.truth.visible_fraction < base.truth.visible_fraction, hidden, "{kind}");
    }
}

#[test]
fn a_barrier_filter_holds_reflections_back() {
    for modality in [Modality::Faf, Modality::Fa, Modality::Icg] {
        let of = |faults| render(&Scene { modality, labelled_modality: Some(modality), ..scene(faults) });
        let (plain, reflex) = (of(vec![]), of(vec![Fault::Reflex { at: [0.4, 0.6], radius: 0.05 }]));
        assert!(bytes(&plain) == bytes(&reflex), "{modality}");
        assert!(reflex.truth.findings.iter().all(|f| f.kind != FindingKind::Reflex), "{modality}");
    }
}

#[test]
fn soft_patches_and_smears_blur_only_where_they_lie() {
    let base = render(&scene(vec![]));
    let detail = |r: &Rendered, x: usize, y: usize| {
        let d = |i: usize, j: usize| f64::from(bytes(r)[j * 300 + i]);
        (y - 12..y + 12)
            .flat_map(|j| (x - 12..x + 12).map(move |i| (i, j)))
            .map(|(i, j)| (d(i, j) - d(i + 1, j)).powi(2))
            .sum::<f64>()
    };
    for (fault, kind) in [
        (Fault::RegionalBlur { at: [0.6, 0.5], radius: 0.12, sigma: 30.0 }, FindingKind::Blur),
        (Fault::Smear { at: [0.6, 0.5], radius: 0.12, strength: 1.0 }, FindingKind::Smear),
    ] {
        let made = render(&scene(vec![fault]));
        assert!(detail(&made, 180, 150) < 0.6 * detail(&base, 180, 150), "{kind}");
        assert!((detail(&made, 60, 150) / detail(&base, 60, 150) - 1.0).abs() < 0.05, "{kind}");
        assert!(
            (0.02..0.25).contains(&finding(&made, kind).fraction),
            "{kind} {}",
            finding(&made, kind).fraction
        );
    }
}

/// Dust stays where it is in the instrument while the retina moves.
#[test]
fn dust_is_fixed_in_the_instrument() {
    let made =
        |shot, count| render(&Scene { shot, size: 900, ..scene(vec![Fault::Dust { count, deposit: 3 }]) });
    let (a, b) = (made(1, 12), made(2, 12));
    assert_eq!(finding(&a, FindingKind::Dust).place, finding(&b, FindingKind::Dust).place);
    let clean = made(1, 0);
    let darker = bytes(&clean).iter().zip(bytes(&a)).filter(|(c, d)| c > d).count();
    let brighter = bytes(&clean).iter().zip(bytes(&a)).filter(|(c, d)| c < d).count();
    assert!(darker > 200 && brighter == 0, "{darker} {brighter}");
}

#[test]
fn an_empty_chamber_shows_no_retina_and_says_so() {
    let made = render(&scene(vec![Fault::NoRetina]));
    assert_eq!(made.truth.visible_fraction, 0.0);
    assert!(bytes(&made).iter().all(|b| *b < 30));
    assert!(made.truth.findings.iter().any(|f| f.kind == FindingKind::NoRetina));
}

#[test]
fn impossible_parameters_are_named_with_their_range() {
    let with = |change: &dyn Fn(&mut Scene)| {
        let mut s = scene(vec![]);
        change(&mut s);
        s.check().unwrap_err().to_string()
    };
    for (text, said) in [
        ("picture width in pixels is 0: it must lie from 16 to 8192", with(&|s| s.size = 0)),
        ("gaze turn in degrees is 90: it must lie from 0 to 60", with(&|s| s.turn_deg = 90.0)),
        (
            "blink's last row (a blink within the sweep) is 400: it must lie from 10 to 300",
            with(&|s| s.faults = vec![Fault::Blink { rows: [10, 400] }]),
        ),
        (
            "haze strength is NaN: it must lie from 0 to 1",
            with(&|s| s.faults = vec![Fault::Haze { strength: f64::NAN }]),
        ),
    ] {
        assert_eq!(said, text);
    }
}

/// A jump takes its own time: the longer the sweep, the fewer lines see it, and the more small jumps come besides.
#[test]
fn a_longer_sweep_sees_a_jump_in_fewer_lines_and_more_microsaccades() {
    let shot = |sweep_s: f64, shot: u64| {
        let mut s = scene(vec![Fault::Motion { row: 50, shift_deg: 4.0 }]);
        s.instrument.sweep_s = sweep_s;
        (s.everyday, s.shot, s.size) = (true, shot, 100);
        let movements = render(&s).truth.movements;
        let lines = movements.iter().find(|m| m.kind == "saccade").map(|m| m.rows[1] - m.rows[0]).unwrap();
        (lines, movements.iter().filter(|m| m.kind == "microsaccade").count())
    };
    let mut many = [0, 0];
    for k in 0..20 {
        let (short, long) = (shot(0.4, k), shot(4.0, k));
        assert!(short.0 > 4 * long.0.max(1), "{} {}", short.0, long.0);
        many = [many[0] + short.1, many[1] + long.1];
    }
    // 1.2 a second.
    assert!((3..=17).contains(&many[0]) && (80..=100).contains(&many[1]), "{many:?}");
}
