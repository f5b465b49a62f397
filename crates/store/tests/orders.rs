//! Orders, merges and moves: what is kept, and what is refused.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // helpers of tests

mod common;

use common::{NOW, by, dicom, open};
use serrata_store::{By, NewOrder, Store, StoreError, Taken, VisitId};
use serrata_words::{BirthDate, Fact, Identity, Order, OrderSource, OrderState, Personal};

fn order(number: &str, study: &str, patient: &str) -> NewOrder {
    NewOrder {
        order: Order {
            number: number.to_owned(),
            provisional: false,
            source: OrderSource::Worklist,
            state: OrderState::Open,
            identity: Identity {
                patient_id: Personal::new(patient.to_owned()),
                issuer: None,
                family: Personal::new("Invented".to_owned()),
                given: Personal::new(patient.to_owned()),
                born: Personal::new(BirthDate::parse("1961-03-07")),
                sex: None,
            },
            study_uid: Some(study.to_owned()),
            scheduled: None,
            asked: "First look".to_owned(),
            protocol: None,
            eyes: Vec::new(),
            transit: None,
            options: Vec::new(),
        },
        number_from: None,
        title: "First look".to_owned(),
        protocol: serde_json::json!({"view": [{"name": "colour ahead R"}]}),
        views: Vec::new(),
    }
}

fn provisional(study: &str, patient: &str) -> NewOrder {
    let mut new = order("", study, patient);
    new.order.provisional = true;
    new.number_from = Some("P-20260302-".to_owned());
    new
}

async fn taken(store: &Store, new: NewOrder) -> (VisitId, String) {
    match store.take_order(new, &by()).await.unwrap() {
        Taken::Opened(v, n) | Taken::Joined(v, n) | Taken::Known(v, n) | Taken::Changed(v, n) => (v, n),
        other => panic!("{other:?}"),
    }
}

fn refusal<T: std::fmt::Debug>(e: Result<T, StoreError>) -> String {
    match e.unwrap_err() {
        StoreError::Refused { message, .. } => message,
        other => panic!("{other:?}"),
    }
}

#[tokio::test]
async fn an_order_opens_joins_and_is_known_again() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path()).await;
    let (visit, _) = taken(&store, order("A-1", "2.25.1", "P1")).await;
    assert_eq!(taken(&store, order("A-1", "2.25.1", "P1")).await.0, visit);
    assert_eq!(taken(&store, order("A-2", "2.25.1", "P1")).await.0, visit, "one study is one visit");
    assert!(refusal(store.take_order(order("A-1", "2.25.9", "P2"), &by()).await).contains("another patient"));
    assert!(refusal(store.take_order(order("A-3", "2.25.1", "P2"), &by()).await).contains("another patient"));
    assert_eq!(store.orders_of(visit).await.unwrap().len(), 2);
    let mut cancelled = order("A-1", "2.25.1", "P1");
    cancelled.order.state = OrderState::Cancelled;
    assert!(
        matches!(store.take_order(cancelled, &by()).await.unwrap(), Taken::Cancelled(v, _) if v == visit)
    );
    store.close().await;
    assert!(serrata_store::verify(dir.path()).await.unwrap().is_clean());
}

#[tokio::test]
async fn a_merge_loses_no_frame_and_frames_of_both_studies_find_the_visit() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path()).await;
    let (visit, number) = taken(&store, provisional("2.25.5", "P1")).await;
    assert_eq!(number, "P-20260302-001");
    assert_eq!(taken(&store, provisional("2.25.6", "P2")).await.1, "P-20260302-002");
    let mut early = dicom(1, "2.25.5", "P1");
    early.person.as_mut().unwrap().name = Personal::new("Invented^P1".to_owned());
    assert_eq!(store.accept(early, &by()).await.unwrap().visit_id, Some(visit));
    let (other, _) = taken(&store, order("A-1", "2.25.7", "P1")).await;
    assert_ne!(other, visit);
    assert_eq!(store.merge_order(&number, "A-1", &by()).await.unwrap(), visit);
    assert!(refusal(store.merge_order(&number, "A-1", &by()).await).contains("no provisional"));
    for (n, study) in [(2, "2.25.5"), (3, "2.25.7")] {
        assert_eq!(
            store.accept(dicom(n, study, "P1"), &by()).await.unwrap().visit_id,
            Some(visit),
            "{study}"
        );
    }
    assert_eq!(store.frames_of_visit(visit).await.unwrap().len(), 3);
    assert_eq!(store.order("A-1").await.unwrap().unwrap().visit_id, visit);
    store.close().await;
    assert!(serrata_store::verify(dir.path()).await.unwrap().is_clean());
}

#[tokio::test]
async fn a_frame_goes_to_another_patient_only_by_a_second_person() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path()).await;
    let (from, _) = taken(&store, order("A-1", "2.25.1", "P1")).await;
    let (to, _) = taken(&store, order("A-2", "2.25.2", "P2")).await;
    let frame = store.accept(dicom(1, "2.25.1", "P1"), &by()).await.unwrap().frame_ids[0];
    store.note_sent(frame, "ARCHIVE", &by()).await.unwrap();
    let (one, two) = (By::person("RK").at(NOW), By::person("MN").at(NOW));
    assert!(refusal(store.ask_move(frame, to, " ", &one).await).contains("reason"));
    let asked = store.ask_move(frame, to, "entry of the last patient", &one).await.unwrap();
    assert_eq!(asked.sent_to, ["ARCHIVE"]);
    assert!(store.frame(frame).await.unwrap().unwrap().quarantined);
    assert!(refusal(store.ask_move(frame, to, "again", &two).await).contains("already"));
    assert!(refusal(store.decide_move(frame, true, &one).await).contains("second person"));
    store.decide_move(frame, false, &one).await.unwrap();
    assert_eq!(store.frame(frame).await.unwrap().unwrap().visit_id, Some(from));
    store.ask_move(frame, to, "really", &one).await.unwrap();
    store.decide_move(frame, true, &two).await.unwrap();
    let kept = store.frame(frame).await.unwrap().unwrap();
    assert_eq!((kept.visit_id, kept.quarantined), (Some(to), false));
    store.close().await;
    assert!(serrata_store::verify(dir.path()).await.unwrap().is_clean());
}

#[tokio::test]
async fn a_chair_holds_one_visit_and_facts_keep_their_order_when_the_clock_jumps_back() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path()).await;
    let (a, _) = taken(&store, order("A-1", "2.25.1", "P1")).await;
    let (b, _) = taken(&store, order("A-2", "2.25.2", "P2")).await;
    let sit = || Fact::Seated { chair: "By the door".to_owned() };
    store.add_fact(a, sit(), None, &by()).await.unwrap();
    assert!(refusal(store.add_fact(b, sit(), None, &by()).await).contains("Another patient"));
    store.add_fact(a, Fact::Paused { until_us: None }, None, &by().at(NOW - 3_600_000_000)).await.unwrap();
    store.add_fact(b, sit(), None, &by()).await.unwrap();
    let facts = store.facts(a).await.unwrap();
    assert!(facts.windows(2).all(|w| w[0].seq < w[1].seq));
    assert!(matches!(facts.last().unwrap().fact, Fact::Paused { .. }), "the last fact stays the last");
    store.close().await;
}
