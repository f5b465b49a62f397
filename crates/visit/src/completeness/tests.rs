#![allow(clippy::cast_precision_loss, clippy::cast_possible_wrap)] // small numbers of tests

use super::*;
use crate::{Ask, Protocol};
use proptest::prelude::*;
use serrata_words::{Eye, Modality, NotHad, Rank, Window};

fn views() -> Vec<View> {
    Protocol::shipped().unwrap().remove(0).plan(&Ask::default()).unwrap().views
}

fn frame(id: i64, eye: Eye, modality: Modality, verdict: Option<Verdict>) -> Candidate {
    Candidate { verdict, ..Candidate::new(id, Some(eye), modality, Gaze::Primary) }
}

#[test]
fn a_day_from_nothing_to_complete() {
    let v = views();
    let s = status(&v, &[], &[]);
    assert_eq!(s.complete, Complete::NotYet);
    assert_eq!(s.next_step.as_deref(), Some("Right eye (OD), colour, straight ahead"));
    let mut frames = vec![frame(1, Eye::R, Modality::Colour, Some(Verdict::NotUsable))];
    assert_eq!(
        status(&v, &frames, &[]).next_step.as_deref(),
        Some("Right eye (OD), colour, straight ahead, a second try")
    );
    for (i, view) in v.iter().enumerate() {
        frames.push(frame(10 + i as i64, view.eye.unwrap(), view.modality, Some(Verdict::Usable)));
    }
    let s = status(&v, &frames, &[]);
    assert_eq!((s.complete, s.sentence.as_str()), (Complete::Complete, "The pictures are complete."));
    assert_eq!(s.views[0].frames, [10, 1], "the better frame comes first");
}

#[test]
fn a_closed_view_ends_without_a_picture_and_a_later_picture_still_counts() {
    let v = views();
    let closed: Vec<Closure> = v
        .iter()
        .map(|v| Closure {
            view: v.name.clone(),
            state: ViewState::NotObtainable,
            why: Some(NotHad::Pupil),
            who: "ada".into(),
        })
        .collect();
    let s = status(&v, &[], &closed);
    assert_eq!(s.complete, Complete::AsFarAsPossible);
    assert!(s.sentence.contains("not obtainable"));
    let s = status(&v, &[frame(1, Eye::R, Modality::Colour, Some(Verdict::Usable))], &closed);
    assert_eq!(s.views[0].state, ViewState::Met);
}

proptest! {
    #[test]
    fn another_frame_never_makes_a_view_worse(
        picks in prop::collection::vec((any::<bool>(), 0usize..3, prop::option::of(0usize..3), any::<bool>()), 0..12)
    ) {
        let v = views();
        let mut frames = Vec::new();
        let mut last: Vec<ViewState> = status(&v, &frames, &[]).views.iter().map(|v| v.state).collect();
        for (i, (right, m, q, aside)) in picks.into_iter().enumerate() {
            let mut f = frame(
                i as i64,
                if right { Eye::R } else { Eye::L },
                [Modality::Colour, Modality::Faf, Modality::Fa][m],
                q.map(|q| Verdict::ALL[q]),
            );
            f.set_aside = aside;
            frames.push(f);
            let now: Vec<ViewState> = status(&v, &frames, &[]).views.iter().map(|v| v.state).collect();
            for (a, b) in last.iter().zip(&now) {
                let worth = |s: &ViewState| match s { ViewState::Met => 2, ViewState::MetWithReservations => 1, _ => 0 };
                prop_assert!(worth(b) >= worth(a));
            }
            last = now;
        }
    }
}

const T0: i64 = 1_000_000_000_000;

fn plan(name: &str) -> Vec<View> {
    let all = Protocol::shipped().unwrap();
    let p = all.iter().find(|p| p.name == name).unwrap();
    p.plan(&Ask { transit: Some(Eye::R), ..Ask::default() }).unwrap().views
}

fn at(id: i64, eye: Eye, modality: Modality, s: f64) -> Candidate {
    #[allow(clippy::cast_possible_truncation)]
    let taken_us = Some(T0 + (s * 1e6) as i64);
    Candidate { taken_us, ..frame(id, eye, modality, Some(Verdict::Usable)) }
}

fn run(views: &[View], frames: &[Candidate], now_s: f64) -> Status {
    let dyes = [Dye { modality: Modality::Fa, start_us: T0, error_us: 500_000, by_mouth: false }];
    #[allow(clippy::cast_possible_truncation)]
    let scene = Scene { now_us: Some(T0 + (now_s * 1e6) as i64), dyes: &dyes, ..Scene::default() };
    status_at(views, frames, &[], &scene)
}

fn state_of(s: &Status, name: &str) -> ViewState {
    s.views.iter().find(|v| v.view.name == name).unwrap().state
}

#[test]
fn a_dye_run_from_injection_to_the_late_frames() {
    let views = plan("fa");
    let mut frames: Vec<Candidate> = Vec::new();
    for (i, (eye, m)) in [
        (Eye::R, Modality::Colour),
        (Eye::L, Modality::Colour),
        (Eye::R, Modality::Faf),
        (Eye::L, Modality::Faf),
    ]
    .into_iter()
    .enumerate()
    {
        frames.push(at(i as i64, eye, m, -300.0));
    }
    frames.push(at(10, Eye::R, Modality::Fa, -20.0));
    let s = run(&views, &frames, 0.0);
    assert_eq!(state_of(&s, "control R"), ViewState::Met);
    assert_eq!(state_of(&s, "fa transit R"), ViewState::Later);
    assert_eq!(state_of(&s, "control fellow L"), ViewState::Overdue);
    for i in 0..28 {
        frames.push(at(100 + i, Eye::R, Modality::Fa, 8.0 + i as f64));
    }
    assert_eq!(state_of(&run(&views, &frames, 40.0), "fa transit R"), ViewState::Met);
    frames.push(at(200, Eye::L, Modality::Fa, 44.0));
    frames.push(at(201, Eye::R, Modality::Fa, 300.0));
    frames.push(at(202, Eye::L, Modality::Fa, 400.0)); // late: 6.7 min for 4 to 6
    let s = run(&views, &frames, 420.0);
    assert_eq!(state_of(&s, "fa fellow L"), ViewState::Met);
    assert_eq!(state_of(&s, "fa late at 5 min R"), ViewState::Met);
    let late = s.views.iter().find(|v| v.view.name == "fa late at 5 min L").unwrap();
    assert_eq!(late.state, ViewState::MetWithReservations);
    assert_eq!(late.why, ["taken 6.7 min after the injection, wanted 4 min to 6 min"]);
    assert_eq!(state_of(&s, "fa late at 10 min R"), ViewState::Later);
    assert_eq!(state_of(&run(&views, &frames, 700.0), "fa late at 10 min R"), ViewState::Overdue);
}

#[test]
fn a_gap_in_the_transit_is_told_with_its_seconds() {
    let views = plan("fa");
    let frames: Vec<Candidate> = (0..28)
        .filter(|i| !(10..=14).contains(i))
        .map(|i| at(i, Eye::R, Modality::Fa, 8.0 + i as f64))
        .collect();
    let s = run(&views, &frames, 60.0);
    let t = s.views.iter().find(|v| v.view.name == "fa transit R").unwrap();
    assert_eq!((t.state, t.tries), (ViewState::Overdue, 0));
    assert!(t.why[0].contains("17.0 and 23.0"), "{:?}", t.why);
}

#[test]
fn autofluorescence_after_fluorescein_never_counts() {
    let views = plan("fa");
    let s = run(&views, &[at(1, Eye::R, Modality::Faf, 60.0)], 100.0);
    let v = s.views.iter().find(|v| v.view.name == "faf ahead R").unwrap();
    assert_eq!((v.state, v.failed_tries), (ViewState::Overdue, 1));
    let no_protocol = View::default_of(Modality::Faf, Gaze::Primary);
    let dyes = [Dye { modality: Modality::Fa, start_us: T0, error_us: 0, by_mouth: false }];
    assert!(time_reasons(&no_protocol, Some(T0 + 1), &dyes)[0].must);
    assert!(time_reasons(&no_protocol, None, &dyes)[0].must, "an unknown time proves nothing");
    assert!(time_reasons(&no_protocol, Some(T0 - 1), &dyes).is_empty());
}

#[test]
fn unwell_silences_every_list() {
    let views = plan("fa");
    let dyes = [Dye { modality: Modality::Fa, start_us: T0, error_us: 0, by_mouth: false }];
    let s = status_at(
        &views,
        &[],
        &[],
        &Scene { now_us: Some(T0 + 300_000_000), dyes: &dyes, unwell: true, ..Scene::default() },
    );
    assert!(s.next_step.is_none());
    assert_eq!(s.sentence, "The patient is unwell: nothing is asked for now.");
    assert!(
        s.views.iter().all(|v| !matches!(v.state, ViewState::Due | ViewState::Overdue | ViewState::Later))
    );
}

#[test]
fn side_gazes_are_asked_only_where_the_ahead_frame_falls_short() {
    let views = plan("diabetes");
    let mut f = frame(1, Eye::R, Modality::Colour, Some(Verdict::Limited));
    assert_eq!(state_of(&status(&views, &[f.clone()], &[]), "colour nasal R"), ViewState::NotWanted);
    f.reach_short = true;
    assert_eq!(state_of(&status(&views, &[f], &[]), "colour nasal R"), ViewState::Due);
}

#[test]
fn frames_meet_a_view_together_only_while_all_of_them_count() {
    let views = views();
    let mut frames = vec![
        frame(1, Eye::R, Modality::Colour, Some(Verdict::NotUsable)),
        frame(2, Eye::R, Modality::Colour, Some(Verdict::NotUsable)),
    ];
    let joint = [Joint {
        view: "colour ahead R".into(),
        frames: vec![1, 2],
        covered: 0.93,
        verdict: Verdict::Usable,
    }];
    let scene = Scene { joint: &joint, ..Scene::default() };
    let s = status_at(&views, &frames, &[], &scene);
    assert_eq!(state_of(&s, "colour ahead R"), ViewState::Met);
    assert_eq!(s.views[0].why, ["2 frames together show 93 % of it"]);
    frames[1].set_aside = true;
    assert_eq!(state_of(&status_at(&views, &frames, &[], &scene), "colour ahead R"), ViewState::Due);
}

#[test]
fn the_answers_that_people_read() {
    let v = plan("diabetes");
    let mut text = vec![status(&v, &[], &[]).sentence];
    let f = |id, e| frame(id, e, Modality::Colour, Some(Verdict::Usable));
    text.push(status(&v, &[f(1, Eye::R)], &[]).sentence);
    text.push(status(&v, &[f(1, Eye::R), f(2, Eye::L)], &[]).sentence);
    let closed: Vec<Closure> = v
        .iter()
        .filter(|v| v.rank == Rank::Should)
        .map(|v| Closure {
            view: v.name.clone(),
            state: ViewState::NotDone,
            why: Some(NotHad::Declined),
            who: "ada".into(),
        })
        .collect();
    text.push(status(&v, &[f(1, Eye::R), f(2, Eye::L)], &closed).sentence);
    text.push(run(&plan("fa"), &[], 500.0).sentence);
    insta::assert_snapshot!(text.join("\n"));
}

#[test]
fn two_orders_for_one_picture_ask_for_it_once() {
    let merged = merge_views(&[plan("first-look"), plan("diabetes")]);
    assert_eq!(
        merged.iter().filter(|v| v.modality == Modality::Colour && v.gaze == Gaze::Primary).count(),
        2
    );
    let mut names: Vec<&str> = merged.iter().map(|v| v.name.as_str()).collect();
    names.sort_unstable();
    names.dedup();
    assert_eq!(names.len(), merged.len());
}

proptest! {
    #[test]
    fn a_frame_counts_for_one_view_at_most(
        picks in prop::collection::vec((any::<bool>(), 0usize..4, prop::option::of(-100f64..1500.0), any::<bool>()), 0..40),
        now in -1000f64..2000.0,
    ) {
        let views = plan("fa-with-icg");
        let kinds = [Modality::Colour, Modality::Faf, Modality::Fa, Modality::Icg];
        let frames: Vec<Candidate> = picks.into_iter().enumerate().map(|(i, (right, m, s, aside))| {
            let mut f = at(i as i64, if right { Eye::R } else { Eye::L }, kinds[m], s.unwrap_or(0.0));
            if s.is_none() { f.taken_us = None; }
            f.set_aside = aside;
            f
        }).collect();
        let s = run(&views, &frames, now);
        for f in &frames {
            let n = s.views.iter().filter(|v| v.frames.contains(&f.id)).count();
            prop_assert!(n <= usize::from(!f.set_aside), "frame {} counts {} times", f.id, n);
        }
    }

    #[test]
    fn a_set_is_judged_the_same_in_any_order(mut s in prop::collection::vec(5f64..40.0, 0..30), gap in 0.5f64..4.0) {
        let rule = serrata_words::SetRule { frames: 3, max_gap_s: Some(gap), ..Default::default() };
        let w = Some(Window::from_millis(8_000, 35_000).unwrap());
        let set = |s: &[f64]| s.iter().map(|&s| SetFrame { id: 0, s, taken_us: 0 }).collect::<Vec<_>>();
        let a = judge_set(&rule, w, &set(&s), &[]);
        s.reverse();
        prop_assert_eq!(a, judge_set(&rule, w, &set(&s), &[]));
    }
}

#[test]
fn dye_by_mouth_is_judged_by_no_window_of_the_needle() {
    let view =
        View { window: "4 min to 6 min".parse().ok(), ..View::default_of(Modality::Fa, Gaze::Primary) };
    let dyes = [Dye { modality: Modality::Fa, start_us: T0, error_us: 0, by_mouth: true }];
    let scene = Scene { now_us: Some(T0 + 3_600_000_000), dyes: &dyes, ..Scene::default() };
    let views = [view];
    assert_eq!(status_at(&views, &[], &[], &scene).views[0].state, ViewState::Due, "never overdue");
    let mut frame = Candidate::new(1, Some(Eye::R), Modality::Fa, Gaze::Primary);
    (frame.verdict, frame.taken_us) = (Some(Verdict::Usable), Some(T0 + 1_800_000_000));
    let stands = status_at(&views, &[frame], &[], &scene);
    assert_eq!(stands.views[0].state, ViewState::MetWithReservations);
    assert!(stands.views[0].why[0].contains("by mouth"), "{:?}", stands.views[0].why);
}
