//! The queue of deliveries: nothing twice, nothing lost, nothing told as sent before it is proven.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // helpers of tests may fail loudly

mod common;

use common::{NOW, by, dicom, open, visit};
use serrata_store::{
    By, DeliveryKind, DeliveryState, DeliveryStep, FrameId, NewDelivery, SentAs, Store, StoreError, VisitId,
};

async fn queued(store: &Store, files: u64) -> (VisitId, Vec<FrameId>) {
    let id = store.create_visit(visit("1.2", "P1"), &by()).await.unwrap();
    let (mut all, mut frames) = (Vec::new(), Vec::new());
    for n in 1..=files {
        let a = store.accept(dicom(n, "1.2", "P1"), &by()).await.unwrap();
        frames.push(a.frame_ids[0]);
        all.push(NewDelivery {
            kind: DeliveryKind::Original,
            sha256: a.sha256,
            name: format!("{n}.dcm"),
            instance_uid: format!("2.25.{n}"),
            frames: a.frame_ids,
        });
    }
    assert_eq!(store.queue_deliveries(id, "archive", all.clone(), &by()).await.unwrap(), files);
    assert_eq!(
        store.queue_deliveries(id, "archive", all, &by()).await.unwrap(),
        0,
        "nothing is queued twice"
    );
    (id, frames)
}

fn stored() -> DeliveryStep {
    let sent_as = SentAs { class_uid: "1.2.3".into(), study_uid: "1.2".into(), series_uid: "1.2.4".into() };
    DeliveryStep::Stored { sent_as }
}

async fn due(store: &Store, state: DeliveryState, at: i64) -> Vec<i64> {
    store.due_deliveries("archive", state, at, 100).await.unwrap().iter().map(|d| d.id).collect()
}

#[tokio::test]
async fn only_what_is_proven_counts_as_sent() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path()).await;
    let (id, frames) = queued(&store, 3).await;
    let ids = due(&store, DeliveryState::Waiting, NOW).await;
    assert_eq!(ids.len(), 3);
    store.step_deliveries(ids.iter().map(|i| (*i, stored())).collect()).await.unwrap();
    let now = By::station().at_us;
    assert_eq!(store.unsent(id).await.unwrap(), 3, "stored is not sent");
    assert_eq!(due(&store, DeliveryState::Stored, now).await, ids);
    let asked = DeliveryStep::Asked { transaction: "2.25.77".into(), again_us: now + 1000 };
    store.step_deliveries(ids.iter().map(|i| (*i, asked.clone())).collect()).await.unwrap();
    let answer = |committed: &[&str]| {
        let committed = committed.iter().map(|u| (*u).to_owned()).collect();
        let failed = vec![("2.25.3".to_owned(), "it does not have it".to_owned(), true)];
        store.answered_deliveries("2.25.77", committed, failed, now)
    };
    assert!(!store.answered_deliveries("2.25.78", vec!["2.25.1".into()], vec![], now).await.unwrap());
    assert_eq!(store.unsent(id).await.unwrap(), 3, "a stranger's answer changes nothing");
    assert!(answer(&["2.25.1", "2.25.2"]).await.unwrap());
    assert_eq!(store.unsent(id).await.unwrap(), 1);
    let all = store.deliveries(Some(id), 10).await.unwrap();
    let states: Vec<_> = all.iter().map(|d| (d.state, d.done_us.is_some())).collect();
    assert_eq!(
        states,
        [(DeliveryState::Done, true), (DeliveryState::Done, true), (DeliveryState::Waiting, false)]
    );
    // What is done stays done, whatever is said later.
    store.step_deliveries(vec![(ids[0], DeliveryStep::Failed { why: "late".into() })]).await.unwrap();
    assert_eq!(store.deliveries(Some(id), 10).await.unwrap()[0].state, DeliveryState::Done);
    assert!(matches!(store.retry_delivery(ids[0], &by()).await, Err(StoreError::Refused { .. })));
    assert_eq!(frames.len(), 3);
    store.close().await;
    assert!(serrata_store::verify(dir.path()).await.unwrap().faults.is_empty());
}

#[tokio::test]
async fn what_leaves_the_hand_over_is_withdrawn_before_it_goes() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path()).await;
    let (id, frames) = queued(&store, 3).await;
    let other = store.create_visit(visit("1.3", "P2"), &by()).await.unwrap();
    store.set_aside(frames[0], "a better one", &by()).await.unwrap();
    store.ask_move(frames[1], other, "wrong patient", &By::person("RK")).await.unwrap();
    assert_eq!(due(&store, DeliveryState::Waiting, NOW).await.len(), 1);
    let states: Vec<_> = store.deliveries(Some(id), 10).await.unwrap().iter().map(|d| d.state).collect();
    assert_eq!(states.iter().filter(|s| **s == DeliveryState::Withdrawn).count(), 2);
    assert_eq!(store.deliveries(None, 10).await.unwrap().len(), 1, "the board shows what is open");
    // Brought back and queued again, it goes.
    store.bring_back(frames[0], None, &by()).await.unwrap();
    let d =
        store.deliveries(Some(id), 10).await.unwrap().into_iter().find(|d| d.frames == [frames[0]]).unwrap();
    let again = NewDelivery {
        kind: d.kind,
        sha256: d.sha256,
        name: d.name,
        instance_uid: d.instance_uid,
        frames: d.frames,
    };
    assert_eq!(store.queue_deliveries(id, "archive", vec![again], &by()).await.unwrap(), 1);
    assert_eq!(due(&store, DeliveryState::Waiting, NOW).await.len(), 2);
}

/// A frame that goes to another patient is asked back from where it may be, though nothing there is proven yet.
#[tokio::test]
async fn what_may_be_there_is_asked_back() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path()).await;
    let (_, frames) = queued(&store, 3).await;
    let other = store.create_visit(visit("1.3", "P2"), &by()).await.unwrap();
    let ids = due(&store, DeliveryState::Waiting, NOW).await;
    store.withdraw_delivery(ids[0], "not wanted there", &by()).await.unwrap();
    // It was in flight when it was taken out, and arrived.
    let cut = DeliveryStep::Later { state: DeliveryState::Waiting, why: "hung up".into(), next_us: NOW };
    store.step_deliveries(vec![(ids[0], stored()), (ids[1], cut)]).await.unwrap();
    let mut asked = Vec::new();
    for frame in frames {
        asked.push(store.ask_move(frame, other, "wrong patient", &by()).await.unwrap().sent_to);
    }
    assert_eq!(asked, [vec!["archive".to_owned()], vec!["archive".to_owned()], vec![]]);
}

#[tokio::test]
async fn tries_are_counted_and_those_tried_least_come_first() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path()).await;
    queued(&store, 3).await;
    let ids = due(&store, DeliveryState::Waiting, NOW).await;
    let later = DeliveryStep::Later { state: DeliveryState::Waiting, why: "hung up".into(), next_us: NOW };
    store.step_deliveries(vec![(ids[0], later)]).await.unwrap();
    assert_eq!(due(&store, DeliveryState::Waiting, NOW).await, [ids[1], ids[2], ids[0]]);
    store.put_off_deliveries("archive", "nobody answers", NOW + 5).await.unwrap();
    assert!(due(&store, DeliveryState::Waiting, NOW).await.is_empty());
    assert_eq!(store.next_delivery_us("archive").await.unwrap(), Some(NOW + 5));
    assert_eq!(due(&store, DeliveryState::Waiting, NOW + 5).await.len(), 3);
    store.withdraw_delivery(ids[2], "sent another way", &by()).await.unwrap();
    assert_eq!(due(&store, DeliveryState::Waiting, NOW + 5).await.len(), 2);
    assert!(matches!(store.withdraw_delivery(ids[1], " ", &by()).await, Err(StoreError::Refused { .. })));
}

#[tokio::test]
async fn ten_thousand_are_kept_counted_and_given_out_in_pieces() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path()).await;
    let id = store.create_visit(visit("1.2", "P1"), &by()).await.unwrap();
    let frame = store.accept(dicom(1, "1.2", "P1"), &by()).await.unwrap();
    let all: Vec<NewDelivery> = (0..10_000)
        .map(|n| NewDelivery {
            kind: DeliveryKind::Original,
            // Of the first the file is there; what has none never leaves, and is told.
            sha256: if n == 0 { frame.sha256.clone() } else { format!("{n:064x}") },
            name: format!("{n}.dcm"),
            instance_uid: format!("2.25.{n}"),
            frames: frame.frame_ids.clone(),
        })
        .collect();
    assert_eq!(store.queue_deliveries(id, "archive", all, &by()).await.unwrap(), 10_000);
    let counts = store.delivery_counts().await.unwrap();
    assert_eq!((counts.len(), counts[0].many, counts[0].state), (1, 10_000, DeliveryState::Waiting));
    assert_eq!(store.deliveries(None, 500).await.unwrap().len(), 500, "a list is cut, its numbers are not");
}

/// What is said about frames leaves through the same queue: it sends no frame, it gives way to what is said later, and it stays here once
/// one of its frames goes to another patient.
#[tokio::test]
async fn what_is_made_of_pictures_is_kept_until_it_has_left() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path()).await;
    let (id, frames) = queued(&store, 2).await;
    let object = async |uid: &str, bytes: &'static [u8], frames: &[FrameId]| NewDelivery {
        kind: DeliveryKind::Derived,
        sha256: store.put_derived(bytes.into()).await.unwrap().sha256,
        name: "report.dcm".into(),
        instance_uid: uid.into(),
        frames: frames.to_vec(),
    };
    let first = object("2.25.90", b"what was seen", &frames).await;
    assert_eq!(store.queue_deliveries(id, "archive", vec![first.clone()], &by()).await.unwrap(), 1);
    assert_eq!(store.queue_deliveries(id, "archive", vec![first], &by()).await.unwrap(), 0);
    let second = object("2.25.91", b"what was seen later", &frames).await;
    assert_eq!(store.queue_deliveries(id, "archive", vec![second], &by()).await.unwrap(), 1);
    let known = store.derived_on_their_way(id, "archive").await.unwrap();
    assert_eq!(known.keys().collect::<Vec<_>>(), ["2.25.91"], "the first gave way");
    // Refused, then made anew under the same number: the refused one does not stay as a thing to look at.
    let refused = store.due_deliveries("archive", DeliveryState::Waiting, NOW, 10).await.unwrap();
    let refused = refused.iter().find(|d| d.kind == DeliveryKind::Derived).unwrap();
    let no = DeliveryStep::Failed { why: "it will not take it".into() };
    store.step_deliveries(vec![(refused.id, no)]).await.unwrap();
    let anew = object("2.25.91", b"what was seen later, made anew", &frames).await;
    assert_eq!(store.queue_deliveries(id, "archive", vec![anew], &by()).await.unwrap(), 1);
    let states = store.deliveries(Some(id), 10).await.unwrap();
    assert!(states.iter().all(|d| d.state != DeliveryState::Failed));
    let waiting = store.due_deliveries("archive", DeliveryState::Waiting, NOW, 10).await.unwrap();
    let report = waiting.iter().find(|d| d.kind == DeliveryKind::Derived).unwrap();
    assert_eq!(&store.read_delivery(report).await.unwrap()[..], b"what was seen later, made anew");
    assert_eq!(store.sweep_derived().await.unwrap(), 0, "what was just made is spared");

    let copy = dir.path().join("copy");
    store.backup(&copy, &by()).await.unwrap();
    assert!(copy.join("derived").join(&report.sha256).is_file(), "a copy holds what is on its way");
    assert_eq!(std::fs::read_dir(copy.join("derived")).unwrap().count(), 1);

    let done = DeliveryStep::Done { how: "found".into() };
    store.step_deliveries(vec![(report.id, stored()), (report.id, done)]).await.unwrap();
    assert!(!store.frame(frames[0]).await.unwrap().unwrap().quarantined);
    let third = object("2.25.92", b"what was seen at last", &frames).await;
    store.queue_deliveries(id, "archive", vec![third], &by()).await.unwrap();
    let other = store.create_visit(visit("1.3", "P2"), &by()).await.unwrap();
    let sent_to = store.ask_move(frames[1], other, "wrong patient", &By::person("RK")).await.unwrap().sent_to;
    assert_eq!(sent_to, ["archive"], "what was said about it is there");
    let left = store.due_deliveries("archive", DeliveryState::Waiting, NOW, 10).await.unwrap();
    assert!(left.iter().all(|d| d.kind == DeliveryKind::Original), "it is said no more");
    assert!(store.put_derived("".into()).await.is_ok());
}
