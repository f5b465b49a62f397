//! Four senders at once.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // helpers of tests may fail loudly

mod common;

use common::{by, dicom, open, visit};
use serrata_store::{EventId, verify};
use std::collections::BTreeSet;

#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn four_senders_at_once_lose_and_double_nothing() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path()).await;
    let id = store.create_visit(visit("1.2", "P1"), &by()).await.unwrap();
    let mut senders = Vec::new();
    for sender in 0..4u64 {
        let store = store.clone();
        senders.push(tokio::spawn(async move {
            let mut answers = Vec::new();
            for n in 0..15 {
                // Every third file is sent by all four in the same moment.
                let number = if n % 3 == 0 { n } else { 1000 * (sender + 1) + n };
                answers.push(store.accept(dicom(number, "1.2", "P1"), &by()).await.unwrap());
            }
            answers
        }));
    }
    let mut answers = Vec::new();
    for sender in senders {
        answers.extend(sender.await.unwrap());
    }
    let files: BTreeSet<_> = answers.iter().map(|a| a.sha256.clone()).collect();
    assert_eq!((answers.len(), files.len()), (60, 5 + 4 * 10));
    assert_eq!(answers.iter().filter(|a| !a.duplicate).count(), 45, "one of the four is the first");
    assert!(answers.iter().all(|a| !a.conflict && a.visit_id == Some(id)));
    assert_eq!(store.frames_of_visit(id).await.unwrap().len(), 45);
    let events = store.events_since(EventId(0), 1000).await.unwrap();
    assert_eq!(events.iter().filter(|e| e.what == "accepted").count(), 2 * 45);
    let mut leased = BTreeSet::new();
    let (a, b) = (store.clone(), store.clone());
    let take = |store: serrata_store::Store| async move {
        let mut got = Vec::new();
        while let Some(item) = store.lease_work(0, 1).await.unwrap() {
            got.push(item.id);
        }
        got
    };
    let (a, b) = tokio::join!(tokio::spawn(take(a)), tokio::spawn(take(b)));
    for id in a.unwrap().into_iter().chain(b.unwrap()) {
        assert!(leased.insert(id), "work item {id} was given twice");
    }
    assert_eq!(leased.len(), 45);
    assert_eq!(verify(dir.path()).await.unwrap().faults, []);
}
