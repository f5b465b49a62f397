//! The day's board with 100,000 visits stored.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // helpers of tests may fail loudly

mod common;

use common::{NOW, by, file, open, tamper, visit};
use serrata_store::{VisitId, VisitQuery, VisitState};
use std::time::{Duration, Instant};

#[tokio::test]
async fn open_visits_come_first_each_newest_first_and_pages_join_without_gap() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path()).await;
    let mut ids = Vec::new();
    for n in 0..10 {
        let mut new = visit(&format!("1.{n}"), &format!("P{}", n % 3));
        new.opened_us = NOW + n / 2; // pairs opened in the same moment
        ids.push(store.create_visit(new, &by()).await.unwrap());
    }
    for id in &ids[3..7] {
        store.close_visit(*id, &by()).await.unwrap();
    }
    let whole = store.list_visits(&VisitQuery::default()).await.unwrap();
    let order: Vec<_> = whole.iter().map(|b| b.visit.id).collect();
    let expected: Vec<_> = [9, 8, 7, 2, 1, 0, 6, 5, 4, 3].iter().map(|n| ids[*n]).collect();
    assert_eq!(order, expected);
    assert_eq!(whole.iter().filter(|b| b.visit.state == VisitState::Open).count(), 6);
    for limit in 1..=4 {
        let (mut joined, mut after) = (Vec::new(), None);
        loop {
            let query = VisitQuery { limit, after, ..VisitQuery::default() };
            let page = store.list_visits(&query).await.unwrap();
            let Some(last) = page.last() else { break };
            after = Some(last.visit.id);
            joined.extend(page.iter().map(|b| b.visit.id));
        }
        assert_eq!(joined, expected, "pages of {limit}");
    }
    let recent = VisitQuery { closed_since_us: Some(NOW + 3), ..VisitQuery::default() };
    assert_eq!(store.list_visits(&recent).await.unwrap().len(), 6 + 1);
    let open_only = VisitQuery { closed: false, ..VisitQuery::default() };
    assert_eq!(store.list_visits(&open_only).await.unwrap().len(), 6);
    store.reopen_visit(ids[3], &by()).await.unwrap();
    assert_eq!(store.visit(ids[3]).await.unwrap().unwrap().state, VisitState::Open);
}

#[tokio::test]
async fn the_board_stays_quick_with_a_hundred_thousand_visits() {
    let dir = tempfile::tempdir().unwrap();
    open(dir.path()).await.close().await;
    // Half a million frames in 100,000 visits of which 60 are open, written straight into the database.
    tamper(
        dir.path(),
        "PRAGMA synchronous = OFF; BEGIN;
         WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < 100000)
           INSERT INTO patients (id, hospital_id, name) SELECT i, 'P' || i, 'Invented^' || i FROM n WHERE i <= 20000;
         WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < 100000)
           INSERT INTO visits (id, study_uid, patient_id, order_name, protocol, chair, opened_us, closed, right_eye, left_eye)
           SELECT i, '1.2.' || i, 1 + i % 20000, 'First look', '{\"views\":[]}', NULL, i * 1000000, i % 1667 <> 0, '{}', '{}' FROM n;
         WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < 500000)
           INSERT INTO files (id, sha256, size, name, source, received_us)
           SELECT i, printf('%064x', i), 2000000, i || '.jpg', '{\"kind\":\"upload\"}', i FROM n;
         WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < 500000)
           INSERT INTO frames (id, file_id, idx, visit_id, width, height, facts, state)
           SELECT i, i, 0, 1 + i % 100000, 3600, 3600, '{}', 'checked' FROM n;
         COMMIT;",
    )
    .await;
    let store = open(dir.path()).await;
    store.accept(file(1), &by()).await.unwrap();
    let mut quickest = Duration::MAX;
    for after in [None, Some(VisitId(50_000))] {
        for _ in 0..5 {
            let start = Instant::now();
            let list = store.list_visits(&VisitQuery { after, ..VisitQuery::default() }).await.unwrap();
            let counts = store.counts().await.unwrap();
            quickest = quickest.min(start.elapsed());
            assert_eq!((list.len(), counts.visits_open, counts.waiting), (200, 59, 1));
            assert_eq!(list[0].frames, 5);
        }
    }
    println!("board of 200 visits and counts with 100,000 visits and 500,000 frames stored: {quickest:?}");
    // The budget of the whole page is 50 ms. The quickest of ten, as neighbours on the machine only add to it.
    assert!(quickest < Duration::from_millis(50), "{quickest:?}");
}
