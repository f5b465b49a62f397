//! Known physics of dye, conditions and later visits, masks and raw frames.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // helpers of tests

use serrata_eye::{Stereographic, region_area_sr};
use serrata_frame::Samples;
use serrata_phantom::{Condition, Course, DyeRun, Eyeball, Health, Rendered, Scene, render};
use serrata_words::{DyePhase, Eye, LesionKind, Modality};

fn scene(seed: u64, modality: Modality) -> Scene {
    Scene { size: 300, everyday: false, ..Scene::new(seed, Eye::R, modality) }
}

fn bytes(r: &Rendered) -> &[u8] {
    match r.frame.pixels.samples() {
        Samples::U8(v) => v,
        Samples::U16(_) => unreachable!("the phantom makes 8 bit"),
    }
}

/// Mean grey level under a mask.
fn under(r: &Rendered, mask: &[u8]) -> f64 {
    let hit: Vec<f64> = bytes(r).iter().zip(mask).filter(|p| *p.1 > 0).map(|p| f64::from(*p.0)).collect();
    hit.iter().sum::<f64>() / hit.len() as f64
}

/// At default parameters the published times come out: arm to retina 12 s; choroid 1 to 2 s before; arterio-venous
/// passage 1.46 ± 0.57 s; mean circulation 4.7 ± 1.1 s (Hickam & Frayser 1965); veins brightest about 30 s after the
/// injection (reference brief §4.1: one source says 30 s, another full veins at 20 to 25 s).
#[test]
fn the_published_times_come_out_at_default_parameters() {
    let run = DyeRun::new(scene(0, Modality::Fa), 4, &[]).unwrap();
    let (mut passage, mut circulation) = (0.0, 0.0);
    for seed in 0..8 {
        let t = run.times(&Eyeball::grow(seed, Eye::R));
        assert!((t.arm_to_retina_s - 12.0).abs() < 0.1, "{t:?}");
        assert!((1.0..=2.0).contains(&(t.arm_to_retina_s - t.choroid_s)), "{t:?}");
        assert!((0.89..=2.03).contains(&t.arteriovenous_passage_s), "{t:?}");
        assert!((3.6..=5.8).contains(&t.mean_circulation_s), "{t:?}");
        assert!((25.0..=33.0).contains(&t.venous_peak_s), "{t:?}");
        passage += t.arteriovenous_passage_s / 8.0;
        circulation += t.mean_circulation_s / 8.0;
    }
    assert!((passage - 1.46).abs() < 0.2, "{passage}");
    assert!((circulation - 4.7f64).abs() < 0.3, "{circulation}");
}

#[test]
fn arteries_fill_before_veins_and_a_slow_circulation_takes_longer() {
    let eye = Eyeball::grow(3, Eye::R);
    let wide = Scene { size: 800, ..scene(3, Modality::Fa) };
    let masks = eye.masks(&wide);
    let of = |name| &masks.iter().find(|m| m.name == name).unwrap().bytes;
    let at = |dye_s| eye.render(&Scene { dye_s, ..wide.clone() });
    let (before, early, late) = (at(2.0), at(12.9), at(24.0));
    // What a vessel gained over the ground beside it, where no vessel of the other kind crosses.
    let (arteries, veins) = (of("arteries"), of("veins"));
    let only =
        |a: &[u8], b: &[u8]| a.iter().zip(b).map(|(x, y)| if *y == 0 { *x } else { 0 }).collect::<Vec<u8>>();
    let both: Vec<u8> = arteries.iter().zip(veins).map(|(a, b)| a | b).collect();
    let ground = only(of("visible_retina"), &both);
    let gained = |r: &Rendered, mask: &[u8]| under(r, mask) - under(&before, mask) - under(r, &ground);
    let (arteries, veins) = (only(arteries, veins), only(veins, arteries));
    assert!(gained(&early, &arteries) > 2.0 * gained(&early, &veins), "{}", gained(&early, &veins));
    assert!(gained(&late, &veins) > 3.0 * gained(&early, &veins));
    let slow = Course { speed: 0.5, ..Course::default() };
    let run = |course| DyeRun::new(Scene { course, ..scene(3, Modality::Fa) }, 4, &[]).unwrap();
    let (a, b) = (run(Course::default()).times(&eye), run(slow).times(&eye));
    assert!(b.mean_circulation_s > 1.7 * a.mean_circulation_s);
    let late_arm = Course { arm_to_retina_s: 20.0, ..Course::default() };
    assert!((run(late_arm).times(&eye).arm_to_retina_s - 20.0).abs() < 0.1);
}

#[test]
fn the_phases_come_in_order_and_a_run_streams() {
    let eye = Eyeball::grow(4, Eye::R);
    let run = DyeRun::new(Scene { size: 64, ..scene(4, Modality::Fa) }, 40, &[]).unwrap();
    let phases: Vec<DyePhase> = run.frames(&eye).map(|f| f.truth.dye.unwrap().phase).collect();
    let order = [
        DyePhase::Before,
        DyePhase::Choroidal,
        DyePhase::Arterial,
        DyePhase::LaminarVenous,
        DyePhase::Venous,
        DyePhase::Mid,
        DyePhase::Late,
    ];
    let places: Vec<usize> = phases.iter().map(|p| order.iter().position(|o| o == p).unwrap()).collect();
    assert!(places.is_sorted() && (0..order.len()).all(|k| places.contains(&k)), "{phases:?}");
    // Both dyes come in turn, each at a later second, the pair within 3 s.
    let both = DyeRun::new(scene(4, Modality::Fa), 40, &[Modality::Icg, Modality::Fa]).unwrap();
    assert!(both.plan.windows(2).all(|w| w[0].0 < w[1].0 && w[0].1 != w[1].1));
    assert!(both.plan.chunks(2).all(|p| p[1].0 - p[0].0 <= 3.0));
    assert!(DyeRun::new(scene(4, Modality::Fa), 0, &[]).is_err());
}

#[test]
fn leaks_spread_and_regions_without_perfusion_never_fill() {
    let health = |c| Health { conditions: vec![c], ..Health::default() };
    let leaking =
        Eyeball::grow_with(6, Eye::R, &health(Condition::Marks { kind: LesionKind::Leak, count: 6 }))
            .unwrap();
    let closed = Condition::Region { kind: LesionKind::NonPerfusion, area_mm2: 60.0 };
    let closed = Eyeball::grow_with(6, Eye::R, &health(closed)).unwrap();
    let plain = Eyeball::grow(6, Eye::R);
    let at = |e: &Eyeball, dye_s| e.render(&Scene { dye_s, size: 600, ..scene(6, Modality::Fa) });
    let brighter = |s| {
        let (a, b) = (at(&leaking, s), at(&plain, s));
        bytes(&a).iter().zip(bytes(&b)).filter(|(x, y)| x.saturating_sub(**y) > 12).count()
    };
    let (first, last) = (brighter(40.0), brighter(600.0));
    assert!(last > 2 * first && last > 100, "{first} {last}");
    let mask = closed.masks(&Scene { size: 600, ..scene(6, Modality::Fa) });
    let lost = &mask.iter().find(|m| m.name == "lesions").unwrap().bytes;
    for s in [20.0, 60.0, 300.0] {
        assert!(under(&at(&closed, s), lost) < 0.85 * under(&at(&plain, s), lost), "{s}");
    }
}

/// ICG shows the choroid; late its vessels are dark before an even ground, and the disc is dark.
#[test]
fn late_icg_has_lost_its_vessels() {
    let eye = Eyeball::grow(3, Eye::R);
    let masks = eye.masks(&scene(3, Modality::Icg));
    let of = |name| masks.iter().find(|m| m.name == name).unwrap().bytes.clone();
    let at = |dye_s| eye.render(&Scene { dye_s, ..scene(3, Modality::Icg) });
    let contrast = |r: &Rendered| under(r, &of("veins")) / under(r, &of("visible_retina"));
    assert!(contrast(&at(30.0)) > 1.1 && contrast(&at(1200.0)) < contrast(&at(30.0)) - 0.1);
}

#[test]
fn a_later_visit_is_the_same_eye_with_the_change_that_was_asked_for() {
    let mut health = Health {
        conditions: vec![
            Condition::Marks { kind: LesionKind::Drusen, count: 10 },
            Condition::Region { kind: LesionKind::Atrophy, area_mm2: 6.0 },
        ],
        growth: 0.25,
        new_marks: 4,
        ..Health::default()
    };
    let first = Eyeball::grow_with(2, Eye::L, &health).unwrap();
    health.visit = 1;
    let second = Eyeball::grow_with(2, Eye::L, &health).unwrap();
    let (a, b) = (first.truth(), second.truth());
    assert_eq!((a.axial_length_mm, a.disc_eccentricity_deg), (b.axial_length_mm, b.disc_eccentricity_deg));
    assert_eq!((a.lesions.len(), b.lesions.len()), (11, 15));
    for old in &a.lesions {
        let now = b.lesions.iter().find(|n| (n.meridian_deg - old.meridian_deg).abs() < 1e-9).unwrap();
        assert!((now.radius_deg / old.radius_deg - 1.25).abs() < 1e-5 && now.since_visit == 0);
    }
    assert_eq!(b.lesions.iter().filter(|l| l.since_visit == 1).count(), 4);
    // 2πR²(1 − cos r) is the area that was asked for.
    let region = a.lesions.iter().find(|l| l.kind == LesionKind::Atrophy).unwrap();
    assert!((region.area_mm2 - 6.0).abs() < 1e-4, "{}", region.area_mm2);
}

/// The mask of a region, measured pixel by pixel on the sphere, has the area that the truth names.
#[test]
fn a_mask_s_area_on_the_sphere_is_the_one_in_the_truth() {
    let condition = Condition::Region { kind: LesionKind::Atrophy, area_mm2: 40.0 };
    let eye =
        Eyeball::grow_with(9, Eye::R, &Health { conditions: vec![condition], ..Health::default() }).unwrap();
    let scene = Scene { size: 800, ..scene(9, Modality::Colour) };
    let masks = eye.masks(&scene);
    let of = |name| &masks.iter().find(|m| m.name == name).unwrap().bytes;
    let truth = eye.render(&scene).truth;
    let deg = truth.degrees_per_pixel.to_radians();
    let area = |mask: &[u8]| {
        let mut sum = 0.0;
        for (i, _) in mask.iter().enumerate().filter(|m| *m.1 > 0) {
            let (x, y) = ((i % 800) as f64 + 0.5 - 400.0, (i / 800) as f64 + 0.5 - 400.0);
            // Solid angle of a stereographic pixel: (1 + ρ²/4)⁻².
            sum += deg * deg * (1.0 + (x * x + y * y) * deg * deg / 4.0).powi(-2);
        }
        sum
    };
    let r2 = (eye.axial_length_mm() / 2.0).powi(2);
    // The rim is ragged by up to 16 % of the radius.
    assert!((area(of("lesions")) * r2 / 40.0 - 1.0).abs() < 0.15, "{}", area(of("lesions")) * r2);
    let picture = Stereographic { width: 800, height: 800, deg_per_px: [truth.degrees_per_pixel; 2] };
    let seen = region_area_sr(&picture, &truth.visible_retina);
    assert!((area(of("visible_retina")) / seen - 1.0).abs() < 0.005, "{} {seen}", area(of("visible_retina")));
}

/// Oishi et al., IOVS 2014;55:2424: stretched 1.12 times across, which a frame must not be measured through.
#[test]
fn a_raw_frame_is_stretched_and_gives_no_angle() {
    let s = Scene { size: 400, ..scene(5, Modality::Faf) };
    let (flat, raw) = (render(&s), render(&Scene { raw: true, ..s }));
    assert!(raw.truth.raw && raw.frame.facts.centre_view_angle_deg.is_none());
    let wide = |r: &Rendered| r.truth.disc.x - r.truth.fovea.x;
    assert!((wide(&raw) / wide(&flat) - 1.12).abs() < 1e-9);
    assert_ne!(bytes(&flat), bytes(&raw));
}

/// A picture of 5:4 is the middle of the square one.
#[test]
fn a_wide_picture_is_cut_from_the_middle() {
    let square = Scene { size: 300, ..scene(2, Modality::Faf) };
    let wide = render(&Scene { height: Some(240), ..square.clone() });
    let square = render(&square);
    assert!((wide.truth.fovea.y + 30.0 - square.truth.fovea.y).abs() < 1e-9);
    assert_eq!((wide.frame.pixels.width(), wide.frame.pixels.height()), (300, 240));
    let unlike =
        (0..240 * 300).filter(|i| bytes(&wide)[*i].abs_diff(bytes(&square)[i + 30 * 300]) > 14).count();
    assert!(unlike < 700, "{unlike}");
}
