//! Where to look next, held against simulated eyes: the proposal against the best of all gazes that were really taken.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // helpers of tests

use serrata_eye::{Footprint, Rotation, Stereographic};
use serrata_phantom::{Eyeball, Fault, Scene};
use serrata_visit::{LookQuery, Seen, look_next, wanted_region};
use serrata_words::{Eye, FrameTruth, Gaze, Modality, Side, View};

const RANGE_DEG: f64 = 28.0;
const SIZE: u32 = 240;

fn lie(t: &FrameTruth, eye: Eye) -> (Stereographic, Rotation) {
    let p = Stereographic { width: t.width, height: t.height, deg_per_px: [t.degrees_per_pixel; 2] };
    let at = |x: f64, y: f64| p.to_direction([x, y]);
    let turn = Rotation::from_landmarks(at(t.fovea.x, t.fovea.y), at(t.disc.x, t.disc.y), eye).unwrap();
    (p, turn)
}

fn shown(t: &FrameTruth, eye: Eye) -> (Footprint, Rotation) {
    let (picture, turn) = lie(t, eye);
    (Footprint::from_region(&t.visible_retina, &picture.into(), turn).unwrap(), turn)
}

/// The gaze and the turn that come nearest to a proposal: a target shows eight directions.
fn nearest(meridian_deg: f64) -> Gaze {
    const ROUND: [Gaze; 8] = [
        Gaze::Left,
        Gaze::UpLeft,
        Gaze::Up,
        Gaze::UpRight,
        Gaze::Right,
        Gaze::DownRight,
        Gaze::Down,
        Gaze::DownLeft,
    ];
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // 0 to 8
    let k = (meridian_deg.rem_euclid(360.0) / 45.0).round() as usize;
    ROUND[k % 8]
}

/// Source: none, our own simulation. The lids are those of the patient: the same in every gaze.
#[test]
fn the_proposal_adds_nearly_as_much_as_the_best_gaze_that_was_really_taken() {
    let mut worst = f64::INFINITY;
    for (seed, eye, top, bottom) in [
        (11, Eye::R, 0.22, 0.05),
        (12, Eye::L, 0.05, 0.2),
        (13, Eye::R, 0.18, 0.16),
        (14, Eye::L, 0.12, 0.12),
    ] {
        let ball = Eyeball::grow(seed, eye);
        let faults = vec![
            Fault::Lid { side: Side::Top, share: top },
            Fault::Lid { side: Side::Bottom, share: bottom },
        ];
        let shoot = |gaze: Gaze, turn_deg: f64| {
            let base = Scene::new(seed, eye, Modality::Faf);
            let scene = Scene { size: SIZE, gaze, turn_deg, everyday: false, faults: faults.clone(), ..base };
            shown(&ball.render(&scene).truth, eye)
        };
        let (ahead, to_retina) = shoot(Gaze::Primary, 0.0);
        let views = [Gaze::Primary, Gaze::Up, Gaze::Down].map(|g| View::default_of(Modality::Faf, g));
        let wanted = wanted_region(views.iter(), eye, 75.0, RANGE_DEG);
        let frames = [Seen { footprint: &ahead, to_retina }];
        let q = LookQuery {
            eye,
            frames: &frames,
            wanted: &wanted,
            field_deg: 97.0,
            range_deg: RANGE_DEG,
            least: 0.02,
        };
        let look = look_next(&q).unwrap();
        let gain =
            |gaze: Gaze, turn: f64| shoot(gaze, turn).0.intersection(&wanted).difference(&ahead).area_sr();
        let mut best: (f64, Gaze, f64) = (0.0, Gaze::Primary, 0.0);
        for gaze in Gaze::ALL.iter().copied().filter(|g| *g != Gaze::Primary) {
            for turn in [10.0, 19.0, RANGE_DEG] {
                let g = gain(gaze, turn);
                if g > best.0 {
                    best = (g, gaze, turn);
                }
            }
        }
        let own = gain(nearest(look.meridian_deg), look.turn_deg);
        println!("seed {seed}: {} ({:.0}°): {own:.4} sr of {best:?}", look.sentence, look.meridian_deg);
        worst = worst.min(own / best.0);
    }
    println!("worst share of the best: {worst:.3}");
    assert!(worst >= 0.95, "{worst}");
}
