//! Judging as a whole: what musts, shoulds, labels and tries make of an observation.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // helpers of tests

use proptest::prelude::*;
use serrata_visit::{Before, Rules, Try, judge};
use serrata_words::{
    Disc, Eye, EyeInference, EyeState, Finding, FindingKind, Fovea, Gaze, Method, Modality, Next,
    Observation, Reach, Sharpness, Verdict, View, VisibleRetina,
};

fn clean() -> Observation {
    Observation {
        method: Method::new("test", 1),
        width: 100,
        height: 100,
        aperture_fraction: 1.0,
        visible_retina: VisibleRetina {
            fraction: 0.85,
            fraction_of_picture: 0.7,
            ..VisibleRetina::default()
        },
        findings: vec![],
        eye: EyeInference { inferred: Some(Eye::R), probability: 0.99 },
        disc: None,
        fovea: None,
        reach: Some(Reach { superior: 8.0, inferior: 7.5, nasal: 9.0, temporal: 9.0 }),
        sharpness: Sharpness { value: 0.7, unit: "test".into() },
    }
}

fn with(kind: FindingKind, score: f64, fraction: f64) -> Observation {
    let mut o = clean();
    o.findings.push(Finding::new(kind, score, fraction));
    o
}

fn view() -> View {
    View::default_of(Modality::Colour, Gaze::Primary)
}

fn said(o: &Observation, labelled: Option<Eye>, earlier: &[Try]) -> serrata_words::Judgement {
    judge(o, &view(), labelled, &EyeState::default(), earlier, &Rules::default())
}

#[test]
fn nothing_wrong_is_kept() {
    let j = said(&clean(), Some(Eye::R), &[]);
    assert_eq!((j.verdict, j.next, j.reasons.len(), j.advice.len()), (Verdict::Usable, Next::Keep, 0, 0));
}

/// A reflection of a hundredth of the picture at the fovea, 20 pixels from the disc.
fn reflected() -> Observation {
    let mut o = with(FindingKind::Reflex, 0.9, 0.01);
    o.findings[0].place.polygons = vec![vec![[48.0, 48.0], [54.0, 48.0], [54.0, 54.0], [48.0, 54.0]]];
    o.disc = Some(Disc { x: 70.0, y: 50.0, radius: 3.0, probability: 0.9 });
    o.fovea = Some(Fovea { x: 50.0, y: 50.0, probability: 0.9 });
    o
}

#[test]
fn a_mendable_fault_at_the_fovea_is_a_must_straight_ahead() {
    let rules = Rules::default();
    let rule = |o: &Observation, view: &View, eye: &EyeState| {
        judge(o, view, None, eye, &[], &rules).reasons.iter().any(|r| r.rule == "pole" && r.must)
    };
    let (o, healthy) = (reflected(), EyeState::default());
    assert!(rule(&o, &view(), &healthy));
    let up = View::default_of(Modality::Colour, Gaze::Up);
    assert!(!rule(&o, &up, &healthy), "a turned gaze");
    assert!(!rule(&o, &view(), &EyeState { oil: true, ..EyeState::default() }), "the glare of oil");
    let mut far = reflected();
    far.fovea = Some(Fovea { x: 10.0, y: 50.0, probability: 0.9 });
    assert!(!rule(&far, &view(), &healthy), "far from both");
    let mut doubtful = reflected();
    doubtful.findings[0].score = 0.4;
    assert!(!rule(&doubtful, &view(), &healthy), "below the finding's own score");
    let mut lost = reflected();
    lost.fovea = Some(Fovea { x: 50.0, y: 50.0, probability: 0.3 });
    assert!(!rule(&lost, &view(), &healthy), "a doubtful fovea");
}

/// It may be bleeding, which no try mends.
#[test]
fn a_floater_at_the_fovea_is_a_reservation() {
    let verdict = |change: fn(&mut Observation)| {
        let mut o = reflected();
        o.findings[0].kind = FindingKind::Floater;
        change(&mut o);
        said(&o, None, &[]).verdict
    };
    assert_eq!(verdict(|_| ()), Verdict::Limited);
    assert_eq!(verdict(|o| o.findings[0].score = 0.4), Verdict::Usable, "too weak a hint");
    assert_eq!(verdict(|o| o.fovea.as_mut().unwrap().x = 10.0), Verdict::Usable, "far from both");
}

#[test]
fn a_lid_that_takes_a_quarter_from_one_side_is_a_must() {
    let verdict = |share| said(&with(FindingKind::Lid, 0.9, share), None, &[]).verdict;
    assert_eq!([0.19, 0.22, 0.26].map(verdict), [Verdict::Usable, Verdict::Limited, Verdict::NotUsable]);
}

#[test]
fn a_blink_asks_for_another_try_until_it_is_time_to_stop() {
    let o = with(FindingKind::Blink, 0.95, 0.12);
    let j = said(&o, None, &[]);
    assert_eq!((j.verdict, j.next), (Verdict::NotUsable, Next::TryAgain));
    assert!(j.advice[0].contains("blink"), "{:?}", j.advice);
    let tries = [Try { leading: Some(FindingKind::Blink), verdict: Verdict::NotUsable, haze: 0.0 }; 2];
    let again = said(&o, None, &tries[..1]);
    assert!(again.advice[0].contains("change something"), "{:?}", again.advice);
    assert_eq!(said(&o, None, &tries).next, Next::Stop);
    let spare = EyeState { spare: true, ..EyeState::default() };
    assert_eq!(judge(&o, &view(), None, &spare, &tries[..1], &Rules::default()).next, Next::Stop);
}

#[test]
fn a_wrong_label_is_mended_by_a_person_not_by_a_picture() {
    let j = said(&clean(), Some(Eye::L), &[]);
    assert_eq!((j.verdict, j.next), (Verdict::NotUsable, Next::Keep));
    assert_eq!(j.reasons[0].finding, Some(FindingKind::WrongEye));
    let mut unsure = clean();
    unsure.eye = EyeInference { inferred: None, probability: 0.6 };
    assert_eq!(said(&unsure, Some(Eye::L), &[]).verdict, Verdict::Usable, "an unsure anatomy accuses nobody");
}

#[test]
fn haze_alone_never_makes_a_frame_not_usable() {
    let o = with(FindingKind::Haze, 1.0, 1.0);
    let j = said(&o, None, &[]);
    assert_eq!((j.verdict, j.next), (Verdict::Limited, Next::TryAgain), "blinking and cleaning may help");
    let tries = [Try { leading: Some(FindingKind::Haze), verdict: Verdict::Limited, haze: 0.95 }; 2];
    assert_eq!(said(&o, None, &tries).next, Next::Stop, "haze that stays is the eye's");
}

#[test]
fn haze_that_lessens_from_try_to_try_is_worth_another() {
    let o = with(FindingKind::Haze, 0.6, 1.0);
    let hazy = |haze| Try { leading: Some(FindingKind::Haze), verdict: Verdict::Limited, haze };
    assert_eq!(said(&o, None, &[hazy(0.95), hazy(0.8)]).next, Next::TryAgain);
    let stays = said(&o, None, &[hazy(0.62), hazy(0.58)]);
    assert_eq!(stays.next, Next::Stop);
    assert!(stays.advice[0].contains("say today if it is new"), "{:?}", stays.advice);
}

#[test]
fn no_more_is_asked_than_this_eye_ever_gave() {
    let o = with(FindingKind::Lid, 1.0, 0.5);
    let best = said(&with(FindingKind::Lid, 1.0, 0.4), None, &[]);
    let ask = |o: &Observation| {
        let before = Before { best: Some(&best), ..Before::default() };
        judge(o, &view(), None, &EyeState::default(), before, &Rules::default())
    };
    assert_eq!(ask(&o).next, Next::Stop);
    assert!(ask(&o).advice[0].contains("earlier visits"));
    let mut moved = o.clone();
    moved.findings.push(Finding::new(FindingKind::Motion, 1.0, 0.1));
    assert_eq!(ask(&moved).next, Next::TryAgain, "a fault that the eye's best did not have can be mended");
}

#[test]
fn short_reach_is_told_with_its_side() {
    let mut o = clean();
    o.reach = Some(Reach { superior: 4.0, inferior: 7.5, nasal: 9.0, temporal: 6.2 });
    let j = said(&o, None, &[]);
    assert_eq!(j.verdict, Verdict::NotUsable);
    assert!(
        j.reasons[0].text.contains("superior") && j.reasons[1].text.contains("temporal"),
        "{:?}",
        j.reasons
    );
}

fn dye_view(phase: serrata_words::Phase) -> View {
    View { phase: Some(phase), ..View::default_of(Modality::Fa, Gaze::Primary) }
}

#[test]
fn a_transit_has_no_second_tries_and_no_advice_but_to_hold_still() {
    let o = with(FindingKind::Blink, 0.95, 0.4);
    let j = judge(
        &o,
        &dye_view(serrata_words::Phase::Transit),
        None,
        &EyeState::default(),
        &[],
        &Rules::default(),
    );
    assert_eq!((j.next, j.advice), (Next::Keep, vec!["Blink, hold still, look here.".to_owned()]));
}

#[test]
fn a_nearly_black_control_frame_is_as_it_should_be() {
    let mut o = with(FindingKind::NoRetina, 1.0, 1.0);
    o.findings.push(Finding::new(FindingKind::Underexposed, 1.0, 1.0));
    o.reach = None;
    let j = judge(
        &o,
        &dye_view(serrata_words::Phase::Control),
        None,
        &EyeState::default(),
        &[],
        &Rules::default(),
    );
    assert_eq!(j.verdict, Verdict::Usable, "{:?}", j.reasons);
}

#[test]
fn a_late_view_keeps_the_best_after_two_tries() {
    let o = with(FindingKind::Lid, 1.0, 0.5);
    let late = dye_view(serrata_words::Phase::Late);
    let said =
        |earlier: &[Try]| judge(&o, &late, None, &EyeState::default(), earlier, &Rules::default()).next;
    assert_eq!(said(&[]), Next::TryAgain);
    assert_eq!(
        said(&[Try { leading: Some(FindingKind::Lid), verdict: Verdict::NotUsable, haze: 0.0 }]),
        Next::Keep
    );
}

#[test]
fn the_glare_of_oil_is_no_overexposure() {
    let o = with(FindingKind::Overexposed, 1.0, 0.2);
    assert_eq!(said(&o, None, &[]).verdict, Verdict::NotUsable);
    let oil = EyeState { oil: true, ..EyeState::default() };
    assert_eq!(judge(&o, &view(), None, &oil, &[], &Rules::default()).verdict, Verdict::Limited);
}

#[test]
fn burnt_out_vessels_of_an_angiogram_cost_a_reservation_and_burnt_out_ground_the_view() {
    let verdict = |modality, score, fraction| {
        let view = View::default_of(modality, Gaze::Primary);
        let o = with(FindingKind::Overexposed, score, fraction);
        judge(&o, &view, None, &EyeState::default(), &[], &Rules::default()).verdict
    };
    assert_eq!(verdict(Modality::Fa, 0.6, 0.01), Verdict::Limited);
    assert_eq!(verdict(Modality::Fa, 0.6, 0.12), Verdict::NotUsable);
    assert_eq!(verdict(Modality::Fa, 0.2, 0.01), Verdict::Usable);
    assert_eq!(verdict(Modality::Colour, 0.6, 0.01), Verdict::Usable);
}

#[test]
fn five_tries_in_all_are_enough_whatever_the_faults() {
    let o = with(FindingKind::Blink, 0.95, 0.12);
    let other = Try { leading: Some(FindingKind::Lid), verdict: Verdict::NotUsable, haze: 0.0 };
    assert_eq!(said(&o, None, &[other; 3]).next, Next::TryAgain);
    assert_eq!(said(&o, None, &[other; 4]).next, Next::Stop);
}

#[test]
fn a_frame_is_kept_where_another_would_win_less_than_a_twentieth() {
    let j = said(&with(FindingKind::Blink, 0.95, 0.02), None, &[]);
    assert_eq!((j.verdict, j.next), (Verdict::Limited, Next::Keep));
}

proptest! {
    #[test]
    fn one_more_fault_never_makes_a_frame_better(
        faults in prop::collection::vec((0..FindingKind::ALL.len(), 0.0..1.0f64, 0.0..1.0f64), 1..6)
    ) {
        let mut o = clean();
        let mut last = said(&o, None, &[]).verdict;
        for (k, score, fraction) in faults {
            o.findings.push(Finding::new(FindingKind::ALL[k], score, fraction));
            let now = said(&o, None, &[]).verdict;
            prop_assert!(now >= last, "{:?} after {:?}", now, last);
            last = now;
        }
    }

    #[test]
    fn every_verdict_but_usable_says_why(k in 0..FindingKind::ALL.len(), score in 0.0..1.0f64, fraction in 0.0..1.0f64) {
        let j = said(&with(FindingKind::ALL[k], score, fraction), None, &[]);
        prop_assert_eq!(j.verdict == Verdict::Usable, j.reasons.is_empty());
        if j.verdict == Verdict::NotUsable {
            prop_assert!(j.reasons[0].must);
            prop_assert!(!j.advice.is_empty());
        }
    }
}
