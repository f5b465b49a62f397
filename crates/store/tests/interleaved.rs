//! Any interleaving of arrivals, assignments and setting aside loses no frame.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // helpers of tests may fail loudly

mod common;

use common::{by, dicom, open, visit};
use proptest::prelude::*;
use serrata_store::{EventId, FrameId, StoreError, VisitId, verify};
use std::collections::{BTreeMap, BTreeSet};

#[derive(Debug, Clone)]
enum Act {
    Accept { n: u64, study: u8, patient: u8 },
    Assign { frame: i64, visit: i64 },
    Aside { frame: i64 },
    Back { frame: i64 },
    OpenVisit { study: u8, patient: u8 },
    Restart,
}

fn act() -> impl Strategy<Value = Act> {
    prop_oneof![
        4 => (0..12u64, 0..3u8, 0..2u8).prop_map(|(n, study, patient)| Act::Accept { n, study, patient }),
        2 => (1..12i64, 1..4i64).prop_map(|(frame, visit)| Act::Assign { frame, visit }),
        1 => (1..12i64).prop_map(|frame| Act::Aside { frame }),
        1 => (1..12i64).prop_map(|frame| Act::Back { frame }),
        1 => (0..3u8, 0..2u8).prop_map(|(study, patient)| Act::OpenVisit { study, patient }),
        1 => Just(Act::Restart),
    ]
}

/// What should be there: for each frame its visit and whether it is set aside. Plain maps, the rule written again.
#[derive(Default)]
struct Model {
    frames: BTreeMap<i64, (String, Option<i64>, bool)>,
    header: BTreeMap<i64, (u8, u8)>,
    visits: BTreeMap<u8, (i64, u8)>,
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 12, max_shrink_iters: 60, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn no_interleaving_loses_a_frame(acts in prop::collection::vec(act(), 1..40)) {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
        runtime.block_on(run(acts));
    }
}

async fn run(acts: Vec<Act>) {
    let dir = tempfile::tempdir().unwrap();
    let mut store = open(dir.path()).await;
    let mut model = Model::default();
    for act in acts {
        match act {
            Act::Accept { n, study, patient } => {
                let incoming = dicom(n, &format!("1.{study}"), &format!("P{patient}"));
                let accepted = store.accept(incoming, &by()).await.unwrap();
                let frame = accepted.frame_ids[0].0;
                assert_eq!(accepted.duplicate, model.frames.contains_key(&frame));
                if !accepted.duplicate {
                    let visit = model.visits.get(&study).filter(|v| v.1 == patient).map(|v| v.0);
                    model.frames.insert(frame, (accepted.sha256, visit, false));
                    model.header.insert(frame, (study, patient));
                }
            }
            Act::Assign { frame, visit } => {
                let done = store.assign_frame(FrameId(frame), VisitId(visit), &by()).await;
                let known = model.visits.values().any(|v| v.0 == visit);
                match model.frames.get_mut(&frame) {
                    Some(kept) if known => {
                        done.unwrap();
                        kept.1 = Some(visit);
                    }
                    Some(_) => assert!(matches!(done, Err(StoreError::NoVisit(_)))),
                    None => assert!(matches!(done, Err(StoreError::NoFrame(_)))),
                }
            }
            Act::Aside { frame } => {
                let done = store.set_aside(FrameId(frame), "again", &by()).await;
                assert_eq!(done.is_ok(), model.frames.contains_key(&frame));
                model.frames.entry(frame).and_modify(|kept| kept.2 = true);
            }
            Act::Back { frame } => {
                let done = store.bring_back(FrameId(frame), None, &by()).await;
                assert_eq!(done.is_ok(), model.frames.contains_key(&frame));
                model.frames.entry(frame).and_modify(|kept| kept.2 = false);
            }
            Act::OpenVisit { study, patient } => {
                let made =
                    store.create_visit(visit(&format!("1.{study}"), &format!("P{patient}")), &by()).await;
                assert_eq!(made.is_ok(), !model.visits.contains_key(&study));
                if let Ok(id) = made {
                    model.visits.insert(study, (id.0, patient));
                    for (frame, kept) in &mut model.frames {
                        if kept.1.is_none() && model.header[frame] == (study, patient) {
                            kept.1 = Some(id.0);
                        }
                    }
                }
            }
            Act::Restart => {
                store.close().await;
                store = open(dir.path()).await;
            }
        }
    }
    let mut seen = BTreeMap::new();
    let mut all = store.unassigned(1000).await.unwrap();
    for (id, _) in model.visits.values() {
        all.extend(store.frames_of_visit(VisitId(*id)).await.unwrap());
    }
    for f in all {
        assert_eq!(f.visit_id.is_none(), f.unassigned.is_some());
        assert!(seen.insert(f.id.0, (f.sha256, f.visit_id.map(|v| v.0), f.set_aside.is_some())).is_none());
    }
    assert_eq!(seen, model.frames);
    let events = store.events_since(EventId(0), 10_000).await.unwrap();
    let ids: BTreeSet<_> = events.iter().map(|e| e.id).collect();
    assert_eq!(ids.len(), events.len());
    assert!(events.is_sorted_by_key(|e| e.id));
    assert_eq!(verify(dir.path()).await.unwrap().faults, []);
}
