//! What a picture with the gaze turned has to show: its own sector, further than the ahead frame, and free of lids.

use crate::covered::{covered, covering};
use crate::rules::{Rules, TurnedRule};
use serrata_words::{Eye, Gaze, Observation, Phase, Reason, View};

/// Reasons against a picture with the gaze turned; none for one straight ahead, and none in a transit.
///
/// `ahead` is the best frame straight ahead of the same eye and kind. Without it the direction is told by the fovea's
/// place in the picture alone, and nothing is said of how much further it reaches.
pub fn reasons(o: &Observation, view: &View, ahead: Option<&Observation>, rules: &Rules) -> Vec<Reason> {
    let Some(towards) = direction(view.gaze).filter(|_| view.phase != Some(Phase::Transit)) else {
        return Vec::new();
    };
    let rule = &rules.turned;
    let say = |must: bool, text: String| Reason { rule: "gaze".to_owned(), finding: None, must, text };
    let mut all = Vec::new();
    let covering = || covering(o, view.modality, rules);
    let half = (45f64).to_radians().cos();
    let sector = |x: f64, y: f64| x * towards[0] + y * towards[1] >= half * x.hypot(y);
    let lost = covered(o, covering(), sector);
    if lost > rule.sector_lost {
        // First, since it tells what to do: a gaze that a lid hides reaches no further either.
        let worst = covering().max_by(|a, b| a.fraction.total_cmp(&b.fraction)).map(|f| f.kind);
        let text = format!("{:.0} % of the sector looked at is covered", lost * 100.0);
        all.push(Reason { finding: worst, ..say(true, text) });
    }
    match shift(o, ahead) {
        // The engine knows disc and fovea only; a vortex ampulla may place the picture as well, so this is no must.
        None if o.disc.is_none() && o.fovea.is_none() => {
            all.push(say(false, "neither disc nor fovea was found: check that it can be placed".to_owned()));
        }
        None => {}
        Some(s) => all.extend(wrong_way(s, towards, view.gaze, rule).map(|t| say(true, t))),
    }
    all.extend(further(o, view, ahead, rule));
    all
}

/// Where in the picture the retina lies that a gaze shows more of: x right, y down. None straight ahead.
const fn direction(gaze: Gaze) -> Option<[f64; 2]> {
    const D: f64 = std::f64::consts::FRAC_1_SQRT_2;
    Some(match gaze {
        Gaze::Primary => return None,
        Gaze::Up => [0.0, -1.0],
        Gaze::Down => [0.0, 1.0],
        Gaze::Right => [-1.0, 0.0],
        Gaze::Left => [1.0, 0.0],
        Gaze::UpRight => [-D, -D],
        Gaze::UpLeft => [D, -D],
        Gaze::DownRight => [-D, D],
        Gaze::DownLeft => [D, D],
    })
}

/// How far disc or fovea moved from where the ahead frame has it, else the fovea from the picture's middle, as a share
/// of the picture's shorter side.
fn shift(o: &Observation, ahead: Option<&Observation>) -> Option<[f64; 2]> {
    let side = |o: &Observation| f64::from(o.width.min(o.height)).max(1.0);
    let at = |o: &Observation, x: f64, y: f64| {
        [(x - f64::from(o.width) / 2.0) / side(o), (y - f64::from(o.height) / 2.0) / side(o)]
    };
    let disc = |o: &Observation| o.disc.map(|d| at(o, d.x, d.y));
    let fovea = |o: &Observation| o.fovea.map(|f| at(o, f.x, f.y));
    let from = |now: Option<[f64; 2]>, then: Option<[f64; 2]>| {
        now.zip(then).map(|(n, t)| [n[0] - t[0], n[1] - t[1]])
    };
    ahead
        .and_then(|a| from(disc(o), disc(a)).or_else(|| from(fovea(o), fovea(a))))
        .or_else(|| fovea(o).filter(|_| ahead.is_none()))
}

/// Why a gaze was not the one asked for: the pole goes the other way than the retina that is looked at.
fn wrong_way(shift: [f64; 2], towards: [f64; 2], gaze: Gaze, rule: &TurnedRule) -> Option<String> {
    let far = shift[0].hypot(shift[1]);
    if far < rule.least_shift {
        return Some(format!("asked was {}, the gaze is hardly turned", gaze.screen()));
    }
    let along = -(shift[0] * towards[0] + shift[1] * towards[1]) / far;
    let beside = along.clamp(-1.0, 1.0).acos().to_degrees();
    (beside > rule.sector_deg)
        .then(|| format!("asked was {}, the gaze lies {beside:.0}° beside it", gaze.screen()))
}

/// Whether it reaches further into its sector than the ahead frame.
fn further(o: &Observation, view: &View, ahead: Option<&Observation>, rule: &TurnedRule) -> Option<Reason> {
    let (now, then) = (o.reach?, ahead?.reach?);
    let eye = view.eye.or(o.eye.inferred)?;
    let sideways = |right: bool| {
        let temporal = (eye == Eye::R) == right;
        if temporal { now.temporal - then.temporal } else { now.nasal - then.nasal }
    };
    let (up, down) = (now.superior - then.superior, now.inferior - then.inferior);
    let gain = match view.gaze {
        Gaze::Primary => return None,
        Gaze::Up => up,
        Gaze::Down => down,
        Gaze::Right => sideways(true),
        Gaze::Left => sideways(false),
        Gaze::UpRight => up.max(sideways(true)),
        Gaze::UpLeft => up.max(sideways(false)),
        Gaze::DownRight => down.max(sideways(true)),
        Gaze::DownLeft => down.max(sideways(false)),
    };
    (gain < rule.should_further).then(|| Reason {
        rule: "gaze reach".to_owned(),
        finding: None,
        must: gain < rule.must_further,
        text: if gain < 0.05 {
            "reaches no further there than the frame straight ahead".to_owned()
        } else {
            format!("reaches only {gain:.1} disc diameters further than the frame straight ahead")
        },
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use serrata_words::{
        Disc, EyeInference, Finding, FindingKind, Fovea, Method, Modality, Reach, Region, Sharpness,
        VisibleRetina,
    };

    fn seen(fovea: [f64; 2], superior: f64) -> Observation {
        Observation {
            method: Method::new("test", 1),
            width: 1000,
            height: 1000,
            aperture_fraction: 1.0,
            visible_retina: VisibleRetina::default(),
            findings: vec![],
            eye: EyeInference { inferred: Some(Eye::R), probability: 0.99 },
            disc: Some(Disc { x: fovea[0] + 150.0, y: fovea[1], radius: 25.0, probability: 0.9 }),
            fovea: Some(Fovea { x: fovea[0], y: fovea[1], probability: 0.9 }),
            reach: Some(Reach { superior, inferior: 7.0, nasal: 9.0, temporal: 9.0 }),
            sharpness: Sharpness { value: 0.7, unit: "test".into() },
        }
    }

    fn said(o: &Observation, gaze: Gaze, ahead: Option<&Observation>) -> Vec<(bool, String)> {
        let view = View { eye: Some(Eye::R), ..View::default_of(Modality::Colour, gaze) };
        reasons(o, &view, ahead, &Rules::default()).into_iter().map(|r| (r.must, r.text)).collect()
    }

    #[test]
    fn looking_up_moves_the_pole_down_and_shows_more_above() {
        let ahead = seen([500.0, 500.0], 7.0);
        assert_eq!(said(&seen([500.0, 640.0], 9.5), Gaze::Up, Some(&ahead)), []);
        let down = said(&seen([500.0, 360.0], 9.5), Gaze::Up, Some(&ahead));
        assert!(down[0].0 && down[0].1.contains("180° beside"), "{down:?}");
        let ahead_again = said(&seen([503.0, 505.0], 7.0), Gaze::Up, Some(&ahead));
        assert!(ahead_again.iter().any(|(must, t)| *must && t.contains("hardly turned")), "{ahead_again:?}");
        assert!(ahead_again.iter().any(|(must, t)| *must && t.contains("no further")), "{ahead_again:?}");
    }

    #[test]
    fn the_right_eyes_temporal_side_is_seen_by_looking_right() {
        let ahead = seen([500.0, 500.0], 7.0);
        let mut o = seen([640.0, 500.0], 7.0);
        o.reach = Some(Reach { superior: 7.0, inferior: 7.0, nasal: 5.0, temporal: 10.5 });
        let said = said(&o, Gaze::Right, Some(&ahead));
        assert_eq!(
            said,
            [(false, "reaches only 1.5 disc diameters further than the frame straight ahead".into())]
        );
    }

    #[test]
    fn a_lid_counts_by_its_share_of_the_sector() {
        let mut o = seen([500.0, 640.0], 9.5);
        let mut lid = Finding::new(FindingKind::Lid, 1.0, 0.15);
        lid.place = Region {
            polygons: vec![vec![[0.0, 0.0], [1000.0, 0.0], [1000.0, 300.0], [0.0, 300.0]]],
            holes: vec![],
        };
        o.findings.push(lid);
        assert!(said(&o, Gaze::Up, None).iter().any(|(must, t)| *must && t.contains("of the sector")));
        o.fovea = Some(Fovea { x: 500.0, y: 360.0, probability: 0.9 });
        assert_eq!(said(&o, Gaze::Down, None), [], "a lid above is nothing to the lower sector");
    }
}
