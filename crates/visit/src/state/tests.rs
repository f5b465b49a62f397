use super::*;
use crate::{Ask, Candidate, Protocol, Scene, status_at};
use proptest::prelude::*;
use serrata_words::{Drug, Gaze, Identity, Modality, OrderSource, Route, RunMode, Verdict};

fn labels(right: bool) -> Assigned {
    Assigned {
        eye: Some(if right { Eye::R } else { Eye::L }),
        modality: Modality::Colour,
        gaze: Gaze::Primary,
    }
}

fn order(number: &str, provisional: bool) -> Order {
    Order {
        number: number.into(),
        provisional,
        source: OrderSource::Typed,
        state: OrderState::Open,
        identity: Identity::default(),
        study_uid: None,
        scheduled: None,
        asked: "colour".into(),
        protocol: Some("first-look".into()),
        eyes: vec![],
        transit: None,
        options: vec![],
    }
}

fn views() -> Vec<View> {
    Protocol::shipped().unwrap().remove(0).plan(&Ask::default()).unwrap().views
}

fn event(seq: u64, who: &str, fact: Fact) -> Event {
    Event { seq, at_us: 0, who: who.into(), reason: Some("said so".into()), fact }
}

fn arrived(frame: FrameId, right: bool) -> Fact {
    Fact::FrameArrived { frame, labels: labels(right), taken_us: None, order: Some("P1".into()) }
}

fn drug(fluorescein: bool) -> Drug {
    if fluorescein { Drug::Fluorescein } else { Drug::Icg }
}

fn any_fact() -> impl Strategy<Value = Fact> {
    let frame = 0i64..5;
    prop_oneof![
        3 => (frame.clone(), any::<bool>()).prop_map(|(f, r)| arrived(f, r)),
        1 => (frame.clone(), prop::option::of(any::<bool>())).prop_map(|(frame, r)| Fact::EyeCorrected { frame, eye: r.map(|r| labels(r).eye.unwrap()) }),
        1 => (frame.clone(), 0..Gaze::ALL.len()).prop_map(|(frame, g)| Fact::GazeCorrected { frame, gaze: Gaze::ALL[g] }),
        1 => (frame.clone(), 0..Modality::ALL.len()).prop_map(|(frame, m)| Fact::ModalityCorrected { frame, modality: Modality::ALL[m] }),
        1 => frame.clone().prop_map(|frame| Fact::SetAside { frame }),
        1 => frame.clone().prop_map(|frame| Fact::TakenBack { frame }),
        1 => frame.clone().prop_map(|frame| Fact::Moved { frame, step: MoveStep::Asked { to_visit: "other".into(), sent_to: vec!["ARCHIVE".into()] } }),
        1 => frame.clone().prop_map(|frame| Fact::Moved { frame, step: MoveStep::Confirmed }),
        1 => frame.prop_map(|frame| Fact::Moved { frame, step: MoveStep::Refused }),
        1 => Just(Fact::Ordered { order: Box::new(order("P1", true)), views: views() }),
        1 => Just(Fact::OrderMerged { provisional: "P1".into(), into: Box::new(order("A1", false)) }),
        1 => Just(Fact::OrderCancelled { number: "P1".into() }),
        1 => (any::<bool>(), 0i64..5_000_000).prop_map(|(f, start_us)| Fact::NeedleBegan { drug: drug(f), route: Route::Vein, start_us, start_error_us: 500_000 }),
        1 => (any::<bool>(), 0i64..9_000_000).prop_map(|(f, end_us)| Fact::NeedleEnded { drug: drug(f), end_us }),
        1 => Just(Fact::RunStopped),
        1 => Just(Fact::RunModeChosen { mode: RunMode::Icg }),
        1 => Just(Fact::Unwell),
        1 => Just(Fact::WellAgain),
        1 => Just(Fact::ClinicianAsked { frame: None }),
        1 => Just(Fact::ClinicianReached { whom: "Dr Invented".into() }),
    ]
}

proptest! {
    #[test]
    fn no_order_of_events_loses_a_frame_or_meets_a_view_twice_wrongly(
        facts in prop::collection::vec((any_fact(), any::<bool>()), 0..40),
        swaps in prop::collection::vec((0usize..40, 0usize..40), 0..40),
    ) {
        let events: Vec<Event> = facts.into_iter().enumerate()
            .map(|(i, (f, ada))| event(i as u64, if ada { "ada" } else { "ben" }, f)).collect();
        let state = VisitFacts::replay(&events);
        // In whatever order they are handed over, and however often, the state is the same.
        let mut mixed = events.clone();
        let n = mixed.len();
        for (a, b) in swaps {
            if n > 0 { mixed.swap(a % n, b % n); }
        }
        mixed.extend(events.iter().take(3).cloned());
        prop_assert_eq!(&state, &VisitFacts::replay(&mixed));
        // Every frame that came in is there, with the labels that it came with.
        for e in &events {
            if let Fact::FrameArrived { frame, .. } = &e.fact {
                let first = events.iter().find_map(|e| match &e.fact {
                    Fact::FrameArrived { frame: f, labels, .. } if f == frame => Some(*labels), _ => None,
                });
                prop_assert_eq!(state.frames.get(frame).map(|f| f.labels), first);
            }
        }
        // Nobody moved a frame alone.
        for (id, f) in &state.frames {
            if matches!(f.place, Place::Away { .. }) {
                let who = |want: fn(&MoveStep) -> bool| events.iter().filter(|e| matches!(&e.fact,
                    Fact::Moved { frame, step } if frame == id && want(step))).map(|e| e.who.as_str()).collect::<Vec<_>>();
                let asked = who(|s| matches!(s, MoveStep::Asked { .. }));
                let confirmed = who(|s| matches!(s, MoveStep::Confirmed));
                prop_assert!(asked.iter().any(|a| confirmed.iter().any(|c| a != c)));
            }
        }
        // A frame meets one view at most, and none that it does not show, or from outside the visit.
        let candidates: Vec<Candidate> = state.counting().map(|(id, f)| Candidate {
            verdict: Some(Verdict::Usable),
            ..Candidate::new(id, f.counts_as.eye, f.counts_as.modality, f.counts_as.gaze)
        }).collect();
        let stands = status_at(&state.views(), &candidates, &state.closures, &Scene::default());
        for (id, f) in &state.frames {
            let met: Vec<_> = stands.views.iter().filter(|v| v.frames.contains(id)).collect();
            let counts = f.place == Place::Here && f.set_aside.is_none();
            prop_assert!(met.len() <= usize::from(counts));
            prop_assert!(met.iter().all(|v| v.view.eye == f.counts_as.eye && v.view.modality == f.counts_as.modality && v.view.gaze == f.counts_as.gaze));
        }
        // Every fact that had no effect is told.
        prop_assert!(state.without_effect.iter().all(|(_, why)| !why.is_empty()));
    }
}

#[test]
fn a_move_needs_two_people_and_lists_where_it_went() {
    let ask = Fact::Moved {
        frame: 1,
        step: MoveStep::Asked { to_visit: "v2".into(), sent_to: vec!["ARCHIVE".into()] },
    };
    let confirm = Fact::Moved { frame: 1, step: MoveStep::Confirmed };
    let mut events =
        vec![event(1, "ada", arrived(1, true)), event(2, "ada", ask), event(3, "ada", confirm.clone())];
    let s = VisitFacts::replay(&events);
    assert!(matches!(s.frames[&1].place, Place::Quarantine { .. }));
    assert_eq!(s.counting().count(), 0, "in quarantine it counts for nothing");
    assert!(s.without_effect[0].1.contains("second person"));
    assert!(s.against_closing().iter().any(|t| t.contains("second person")));
    events.push(event(4, "ben", confirm));
    let s = VisitFacts::replay(&events);
    assert_eq!(s.frames[&1].place, Place::Away { to_visit: "v2".into(), sent_to: vec!["ARCHIVE".into()] });
}

#[test]
fn a_provisional_order_is_merged_by_a_person_and_its_frames_follow() {
    let events = [
        event(1, "ada", Fact::Ordered { order: Box::new(order("P1", true)), views: views() }),
        event(2, "station", arrived(1, true)),
        event(3, "ben", Fact::OrderMerged { provisional: "P1".into(), into: Box::new(order("A1", false)) }),
    ];
    let s = VisitFacts::replay(&events);
    assert_eq!(s.frames[&1].order.as_deref(), Some("A1"));
    assert_eq!(s.views().len(), views().len());
    assert!(VisitFacts::replay(&events[..2]).against_closing().iter().any(|t| t.contains("provisional")));
}

#[test]
fn an_unanswered_call_stands_against_closing() {
    let mut events = vec![event(1, "ada", Fact::ClinicianAsked { frame: None })];
    assert_eq!(VisitFacts::replay(&events).against_closing().len(), 1);
    events.push(event(2, "ada", Fact::ClinicianReached { whom: "Dr Invented".into() }));
    assert!(VisitFacts::replay(&events).against_closing().is_empty());
}

#[test]
fn one_identifier_is_not_two() {
    let tick = |ids: &[&str]| {
        VisitFacts::replay(&[event(
            1,
            "ada",
            Fact::IdentityTicked { identifiers: ids.iter().map(|s| (*s).to_owned()).collect() },
        )])
    };
    assert!(tick(&["name"]).identity.is_none());
    assert!(tick(&["name", "name"]).identity.is_none());
    assert!(tick(&["name", "day of birth"]).identity.is_some());
}

#[test]
fn facts_read_back_from_json() {
    let all = [
        event(1, "ada", Fact::Noted { note: NeedleNote::Other { text: "hiccup".into() } }),
        event(
            2,
            "ada",
            Fact::Moved { frame: 1, step: MoveStep::Asked { to_visit: "v".into(), sent_to: vec![] } },
        ),
        event(3, "ada", Fact::Ordered { order: Box::new(order("P1", true)), views: views() }),
    ];
    for e in all {
        let text = serde_json::to_string(&e).unwrap();
        assert_eq!(serde_json::from_str::<Event>(&text).unwrap(), e, "{text}");
    }
}

#[test]
fn a_touch_starts_the_clock_and_the_record_fills_it_in() {
    let began = |start_us| Fact::NeedleBegan {
        drug: Drug::Fluorescein,
        route: Route::Vein,
        start_us,
        start_error_us: 500_000,
    };
    let mut events = vec![
        event(0, "ada", began(100_000_000)),
        event(1, "ada", Fact::NeedleEnded { drug: Drug::Fluorescein, end_us: 107_000_000 }),
    ];
    let touched = VisitFacts::replay(&events);
    assert_eq!(touched.dyes().len(), 1);
    let record = serrata_words::Injection {
        given_by: "ada".into(),
        prescribed_by: "Dr Invented".into(),
        lot: "L1".into(),
        start_us: 130_000_000,
        start_error_us: 30_000_000,
        ..touched.injections[0].clone()
    };
    events.push(event(2, "ada", Fact::Injected { injection: Box::new(record.clone()) }));
    let filled = VisitFacts::replay(&events);
    assert_eq!(filled.injections.len(), 1, "the record is that of the touch, no second injection");
    assert_eq!(filled.injections[0].start_us, 100_000_000, "the touch was made at the moment itself");
    assert_eq!(filled.injections[0].seconds, Some(7.0));
    events.push(event(3, "ada", Fact::Injected { injection: Box::new(record) }));
    assert_eq!(VisitFacts::replay(&events).injections.len(), 2, "a second record is a second injection");
    let early = event(4, "ada", Fact::NeedleEnded { drug: Drug::Icg, end_us: 1 });
    assert_eq!(VisitFacts::replay(&[early]).without_effect.len(), 1);
}

#[test]
fn a_header_says_when_the_dye_began_only_where_no_person_did() {
    let stamp = |utc_us| serrata_words::Stamp {
        utc_us,
        offset_minutes: Some(0),
        granularity_us: 1_000_000,
        clock: "c".into(),
    };
    let headers =
        [(Modality::Fa, stamp(9_000_000)), (Modality::Fa, stamp(8_000_000)), (Modality::Icg, stamp(5))];
    let none = VisitFacts::default().dyes_with(&headers);
    assert_eq!(none.iter().map(|d| d.start_us).collect::<Vec<_>>(), [8_000_000, 5]);
    let began =
        Fact::NeedleBegan { drug: Drug::Fluorescein, route: Route::Vein, start_us: 77, start_error_us: 1 };
    let marked = VisitFacts::replay(&[event(0, "ada", began)]).dyes_with(&headers);
    assert_eq!(marked.iter().map(|d| d.start_us).collect::<Vec<_>>(), [77, 5]);
}

#[test]
fn what_was_a_mistake_has_no_effect_and_its_undoing_can_be_undone() {
    let answer = |text: &str| Fact::Answered { question: "light".into(), answer: text.into() };
    let undo = |seq| Fact::Undone { seq };
    let mut events = vec![
        event(1, "ada", answer("no")),
        event(2, "ada", answer("yes")),
        event(3, "ada", Fact::Remarked { text: "hearing aid".into() }),
        event(4, "ada", Fact::ClinicianAsked { frame: None }),
        event(5, "bo", undo(2)),
        event(6, "bo", undo(3)),
        event(7, "bo", undo(4)),
    ];
    let state = VisitFacts::replay(&events);
    assert_eq!(state.answers["light"].0, "no", "the answer before it holds again");
    assert!(state.remarks.is_empty() && state.calls.is_empty() && state.without_effect.is_empty());
    assert_eq!(state.undone.iter().copied().collect::<Vec<_>>(), [2, 3, 4]);
    events.push(event(8, "bo", undo(6)));
    events.push(event(9, "bo", undo(99)));
    let again = VisitFacts::replay(&events);
    assert_eq!(again.remarks[0].0, "hearing aid");
    assert_eq!(again.without_effect.iter().map(|(seq, _)| *seq).collect::<Vec<_>>(), [9]);
}

#[test]
fn a_record_of_the_needle_is_written_anew_and_undone() {
    let began = Fact::NeedleBegan {
        drug: Drug::Fluorescein,
        route: Route::Vein,
        start_us: 100_000_000,
        start_error_us: 1,
    };
    let mut events = vec![event(1, "ada", began)];
    let touched = VisitFacts::replay(&events).injections[0].clone();
    let record = |lot: &str| Fact::Injected {
        injection: Box::new(serrata_words::Injection {
            prescribed_by: "Dr Invented".into(),
            lot: lot.into(),
            ..touched.clone()
        }),
    };
    events.push(event(2, "ada", record("L1")));
    events.push(event(3, "ada", record("L2")));
    let state = VisitFacts::replay(&events);
    assert_eq!(state.injections.iter().map(|i| i.lot.as_str()).collect::<Vec<_>>(), ["L2"], "one needle");
    events.push(event(4, "ada", Fact::Undone { seq: 3 }));
    events.push(event(5, "ada", Fact::Undone { seq: 2 }));
    let state = VisitFacts::replay(&events);
    assert_eq!(state.injections.len(), 1, "the needle that went in stays");
    assert!(only_touched(&state.injections[0]));
}
