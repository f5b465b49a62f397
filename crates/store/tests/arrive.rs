//! Arrival: duplicates, conflicts, and how frames find their visit.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // helpers of tests may fail loudly

mod common;

use common::{by, dicom, file, open, visit};
use serrata_store::{Corrections, EventId, EventKind, FrameState, StoreError, VisitId};
use serrata_words::{Eye, Personal};

#[tokio::test]
async fn an_arrival_is_kept_and_waits_for_its_check() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path()).await;
    let incoming = file(1);
    let bytes = incoming.bytes.clone();
    let a = store.accept(incoming, &by()).await.unwrap();
    assert!(!a.duplicate && !a.conflict);
    assert_eq!(store.read_original(&a.sha256).await.unwrap(), bytes);
    let frame = store.frame(a.frame_ids[0]).await.unwrap().unwrap();
    assert_eq!(frame.state, FrameState::Waiting);
    assert_eq!((frame.width, frame.height, frame.name.as_str()), (3600, 3600, "1.jpg"));
    assert_eq!(frame.unassigned.as_deref(), Some("The file names neither patient nor study."));
    assert_eq!(store.counts().await.unwrap().waiting, 1);
    let events = store.events_since(EventId(0), 10).await.unwrap();
    assert_eq!(events.iter().map(|e| e.kind).collect::<Vec<_>>(), [EventKind::Intake, EventKind::Frame]);
    assert_eq!(*store.changes().borrow(), store.last_event_id().await.unwrap().0);
}

#[tokio::test]
async fn the_same_bytes_again_are_a_success_that_changes_nothing() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path()).await;
    let first = store.accept(file(1), &by()).await.unwrap();
    let mut other_name = file(1);
    other_name.name = "copy.jpg".to_owned();
    let second = store.accept(other_name, &by()).await.unwrap();
    assert!(second.duplicate);
    assert_eq!((first.file_id, first.frame_ids), (second.file_id, second.frame_ids));
    assert_eq!(store.unassigned(10).await.unwrap().len(), 1);
}

#[tokio::test]
async fn the_same_instance_uid_with_other_bytes_keeps_both_and_flags_both() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path()).await;
    store.create_visit(visit("1.2", "P1"), &by()).await.unwrap();
    let first = store.accept(dicom(1, "1.2", "P1"), &by()).await.unwrap();
    let mut twin = dicom(2, "1.2", "P1");
    twin.instance_uid = Some("2.25.1".to_owned());
    let second = store.accept(twin, &by()).await.unwrap();
    assert!(!first.conflict && second.conflict && !second.duplicate);
    assert_ne!(first.sha256, second.sha256);
    for accepted in [&first, &second] {
        store.read_original(&accepted.sha256).await.unwrap();
        assert!(store.frame(accepted.frame_ids[0]).await.unwrap().unwrap().conflict);
    }
}

#[tokio::test]
async fn a_frame_finds_its_visit_by_study_and_patient_only() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path()).await;
    let id = store.create_visit(visit("1.2", "P1"), &by()).await.unwrap();
    let a = store.accept(dicom(1, "1.2", " P1 "), &by()).await.unwrap();
    assert_eq!((a.visit_id, a.unassigned), (Some(id), None), "padding around the id says nothing");

    let mut born_else = dicom(5, "1.2", "P1");
    born_else.person.as_mut().unwrap().birth_date = Some(Personal::new("19610308".to_owned()));
    let mut no_person = dicom(6, "1.2", "P1");
    no_person.person = None;
    for (incoming, why) in [
        (dicom(2, "1.2", "P2"), "The file names another patient than the visit of its study."),
        (dicom(3, "1.3", "P1"), "No visit has the file's study."),
        (dicom(4, "", "P1"), "The file names no study."),
        (born_else, "The file names another date of birth than the visit's patient has."),
        (no_person, "The file names no patient."),
    ] {
        let a = store.accept(incoming, &by()).await.unwrap();
        assert_eq!((a.visit_id, a.unassigned.as_deref()), (None, Some(why)));
        assert_eq!(store.frame(a.frame_ids[0]).await.unwrap().unwrap().unassigned.as_deref(), Some(why));
    }
    assert_eq!(store.unassigned(10).await.unwrap().len(), 5);
    assert_eq!(store.frames_of_visit(id).await.unwrap().len(), 1);
}

#[tokio::test]
async fn frames_that_came_before_their_visit_come_to_it_when_it_opens() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path()).await;
    let early = store.accept(dicom(1, "1.2", "P1"), &by()).await.unwrap();
    let other = store.accept(dicom(2, "1.2", "P2"), &by()).await.unwrap();
    let id = store.create_visit(visit("1.2", "P1"), &by()).await.unwrap();
    assert_eq!(store.frame(early.frame_ids[0]).await.unwrap().unwrap().visit_id, Some(id));
    assert_eq!(store.frame(other.frame_ids[0]).await.unwrap().unwrap().visit_id, None);
}

#[tokio::test]
async fn a_person_assigns_corrects_sets_aside_and_brings_back() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path()).await;
    let id = store.create_visit(visit("1.2", "P1"), &by()).await.unwrap();
    let frame = store.accept(file(1), &by()).await.unwrap().frame_ids[0];
    let error = store.assign_frame(frame, VisitId(99), &by()).await.unwrap_err();
    assert_eq!(error.to_string(), "there is no visit 99. Reload the page.");
    store.assign_frame(frame, id, &by()).await.unwrap();
    store.set_aside(frame, " taken twice ", &by()).await.unwrap();
    let corrections = Corrections { eye: Some(Eye::L), ..Corrections::default() };
    store.correct_frame(frame, corrections, None, "the other eye", &by()).await.unwrap();
    let kept = store.frame(frame).await.unwrap().unwrap();
    assert_eq!((kept.visit_id, kept.unassigned.as_deref()), (Some(id), None));
    assert_eq!(kept.set_aside.as_deref(), Some("taken twice"));
    assert_eq!((kept.facts.eye, kept.eye()), (Some(Eye::R), Some(Eye::L)));
    assert_eq!(store.list_visits(&Default::default()).await.unwrap()[0].set_aside, 1);
    store.bring_back(frame, None, &by()).await.unwrap();
    assert_eq!(store.frame(frame).await.unwrap().unwrap().set_aside, None);
    let error = store.set_aside(frame, "  ", &by()).await.unwrap_err();
    assert_eq!(error.to_string(), "A frame is set aside only with a reason. Say why.");
    assert!(matches!(
        store.bring_back(serrata_store::FrameId(7), None, &by()).await,
        Err(StoreError::NoFrame(_))
    ));
}

#[tokio::test]
async fn names_stay_out_of_the_audit_trail_and_of_debug_text() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path()).await;
    store.create_visit(visit("1.2", "P1"), &by()).await.unwrap();
    let a = store.accept(dicom(1, "1.2", "P1"), &by()).await.unwrap();
    store.set_aside(a.frame_ids[0], "Invented^P1 asked for it", &by()).await.unwrap();
    let kept = store.frame(a.frame_ids[0]).await.unwrap().unwrap();
    assert!(!format!("{kept:?}").contains("Invented^P1,"));
    assert!(!format!("{:?}", kept.person).contains("Invented"));
    store.close().await;
    let mut conn = sqlx::ConnectOptions::connect(
        &sqlx::sqlite::SqliteConnectOptions::new().filename(dir.path().join("serrata.sqlite")),
    )
    .await
    .unwrap();
    let trail: Vec<String> = sqlx::query_scalar("SELECT body FROM audit").fetch_all(&mut conn).await.unwrap();
    assert!(trail.len() >= 4);
    assert!(trail.iter().all(|body| !body.contains("Invented") && !body.contains("1961")));
}

#[tokio::test]
async fn text_from_outside_never_becomes_a_path() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path()).await;
    for name in ["", "../../etc/passwd", &"../".repeat(22)[..64], &"G".repeat(64)] {
        assert!(matches!(store.read_original(name).await, Err(StoreError::NoOriginal(_))), "{name}");
    }
}
