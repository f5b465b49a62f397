//! Work items: leased, finished, failed, given up, never done twice.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // helpers of tests may fail loudly

mod common;

use common::{NOW, by, dicom, file, observe, open, visit};
use serrata_store::{Corrections, FailOutcome, Failure, FrameState, NewWork};
use serrata_words::Modality;

const MINUTE: i64 = 60_000_000;

fn failure(again: bool) -> Failure {
    Failure { message: "The picture is truncated.".to_owned(), remedy: "Copy it again.".to_owned(), again }
}

#[tokio::test]
async fn a_result_comes_with_its_frame_event_and_trail() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path()).await;
    let visit = store.create_visit(visit("1.2", "P1"), &by()).await.unwrap();
    let frame = store.accept(dicom(1, "1.2", "P1"), &by()).await.unwrap().frame_ids[0];
    let item = store.lease_work(NOW, MINUTE).await.unwrap().unwrap();
    assert_eq!((item.frame_id, item.attempts, item.index), (frame, 1, 0));
    assert_eq!(item.facts.modality, Some(Modality::Colour));
    assert!(store.lease_work(NOW, MINUTE).await.unwrap().is_none(), "leased work is not leased twice");
    let before = store.last_event_id().await.unwrap();
    let id = store.finish_work(&item, serde_json::json!({"b": 1, "a": 2}), &by()).await.unwrap();
    assert_eq!(store.finish_work(&item, serde_json::json!({"other": 1}), &by()).await.unwrap(), id);
    let events = store.events_since(before, 10).await.unwrap();
    assert_eq!(events.len(), 1, "a second result changes nothing");
    assert_eq!((events[0].what.as_str(), events[0].visit_id), ("checked", Some(visit)));
    let kept = store.observation(frame).await.unwrap().unwrap();
    assert_eq!((kept.body, kept.key), (serde_json::json!({"a": 2, "b": 1}), item.key));
    assert_eq!(store.frame(frame).await.unwrap().unwrap().state, FrameState::Checked);
    assert_eq!(store.observations_of_visit(visit).await.unwrap().len(), 1);
    assert_eq!(store.counts().await.unwrap().waiting, 0);
}

#[tokio::test]
async fn work_that_fails_is_tried_three_times_then_given_up() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path()).await;
    let frame = store.accept(file(1), &by()).await.unwrap().frame_ids[0];
    for attempt in 1..=3 {
        let item = store.lease_work(NOW, MINUTE).await.unwrap().unwrap();
        assert_eq!(item.attempts, attempt);
        let expected = if attempt < 3 { FailOutcome::WillRetry } else { FailOutcome::Dead };
        assert_eq!(store.fail_work(&item, failure(true), &by()).await.unwrap(), expected);
        assert_eq!(store.fail_work(&item, failure(true), &by()).await.unwrap(), FailOutcome::AlreadyEnded);
    }
    assert!(store.lease_work(NOW, MINUTE).await.unwrap().is_none());
    let kept = store.frame(frame).await.unwrap().unwrap();
    assert_eq!((kept.state, kept.failure), (FrameState::Failed, Some(failure(true))));
    let counts = store.counts().await.unwrap();
    assert_eq!((counts.dead, counts.failed, counts.waiting), (1, 1, 0));
    store.ask_again(frame, observe(), &by()).await.unwrap();
    assert_eq!(store.lease_work(NOW, MINUTE).await.unwrap().unwrap().attempts, 1);
}

#[tokio::test]
async fn work_that_cannot_succeed_is_given_up_at_once() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path()).await;
    store.accept(file(1), &by()).await.unwrap();
    let item = store.lease_work(NOW, MINUTE).await.unwrap().unwrap();
    assert_eq!(store.fail_work(&item, failure(false), &by()).await.unwrap(), FailOutcome::Dead);
}

#[tokio::test]
async fn a_lease_that_ran_out_is_leased_again_and_ends_after_three() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path()).await;
    let frame = store.accept(file(1), &by()).await.unwrap().frame_ids[0];
    for n in 0..3 {
        assert!(store.lease_work(NOW + 2 * n * MINUTE, MINUTE).await.unwrap().is_some());
        assert!(store.lease_work(NOW + 2 * n * MINUTE, MINUTE).await.unwrap().is_none());
    }
    assert!(store.lease_work(NOW + 8 * MINUTE, MINUTE).await.unwrap().is_none());
    let kept = store.frame(frame).await.unwrap().unwrap();
    assert_eq!(kept.failure.unwrap().message, "The check was started three times and never came to an end.");
}

#[tokio::test]
async fn work_leased_by_a_dead_process_is_leased_again_after_a_restart() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path()).await;
    store.accept(file(1), &by()).await.unwrap();
    let lost = store.lease_work(NOW, MINUTE).await.unwrap().unwrap();
    store.close().await;
    let store = open(dir.path()).await;
    let again = store.lease_work(NOW, MINUTE).await.unwrap().unwrap();
    assert_eq!((again.id, again.attempts), (lost.id, 2));
    assert_eq!(
        store.fail_work(&lost, failure(true), &by()).await.unwrap(),
        FailOutcome::AlreadyEnded,
        "a lost lease decides nothing"
    );
}

#[tokio::test]
async fn a_correction_to_another_kind_and_back_keeps_both_results() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path()).await;
    let frame = store.accept(file(1), &by()).await.unwrap().frame_ids[0];
    let item = store.lease_work(NOW, MINUTE).await.unwrap().unwrap();
    let colour = store.finish_work(&item, serde_json::json!({"as": "colour"}), &by()).await.unwrap();
    let as_fa =
        NewWork { parameters: serde_json::json!({"modality": "fa", "instrument": null}), ..observe() };
    let fa = Corrections { modality: Some(Modality::Fa), ..Corrections::default() };
    store.correct_frame(frame, fa, Some(as_fa), "labelled as colour", &by()).await.unwrap();
    assert_eq!(store.frame(frame).await.unwrap().unwrap().state, FrameState::Waiting);
    let item = store.lease_work(NOW, MINUTE).await.unwrap().unwrap();
    store.finish_work(&item, serde_json::json!({"as": "fa"}), &by()).await.unwrap();
    assert_eq!(store.observation(frame).await.unwrap().unwrap().body["as"], "fa");
    store.correct_frame(frame, Corrections::default(), Some(observe()), "was right", &by()).await.unwrap();
    let kept = store.frame(frame).await.unwrap().unwrap();
    assert_eq!(
        (kept.state, kept.observation_id),
        (FrameState::Checked, Some(colour)),
        "no work is done twice"
    );
    assert!(store.lease_work(NOW, MINUTE).await.unwrap().is_none());
    assert_eq!(store.observations_of(frame).await.unwrap().len(), 2);
}
