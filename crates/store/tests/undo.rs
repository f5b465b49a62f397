//! Facts that were a mistake: undone, with what is written beside them.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // helpers of tests may fail loudly

mod common;

use common::{NOW, by, open, visit};
use serrata_store::{Store, VisitId};
use serrata_words::{Eye, EyeState, Fact, PersonState};

async fn eye(store: &Store, id: VisitId) -> EyeState {
    store.visit(id).await.unwrap().unwrap().right_eye
}

fn noted(state: EyeState) -> Fact {
    Fact::EyeNoted { eye: Eye::R, state: Box::new(state) }
}

#[tokio::test]
async fn an_eyes_state_is_again_what_it_was_down_to_the_visit_before() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path()).await;
    let first = store.create_visit(visit("1.1", "P1"), &by()).await.unwrap();
    let oil = EyeState { oil: true, dilated: Some(true), ..EyeState::default() };
    store.add_fact(first, noted(oil.clone()), None, &by()).await.unwrap();

    let mut later = visit("1.2", "P1");
    later.opened_us = NOW + 1_000_000;
    let second = store.create_visit(later, &by()).await.unwrap();
    let carried = EyeState { dilated: None, ..oil };
    assert_eq!(eye(&store, second).await, carried);

    let gas = EyeState { gas: true, ..EyeState::default() };
    let a = store.add_fact(second, noted(gas.clone()), None, &by()).await.unwrap();
    let b = store.add_fact(second, noted(EyeState::default()), None, &by()).await.unwrap();
    let undo = |seq| Fact::Undone { seq };
    let of_b = store.add_fact(second, undo(b), None, &by()).await.unwrap();
    assert_eq!(eye(&store, second).await, gas);
    store.add_fact(second, undo(a), None, &by()).await.unwrap();
    assert_eq!(eye(&store, second).await, carried, "nothing noted today: what the visit began with");
    store.add_fact(second, undo(of_b), None, &by()).await.unwrap();
    assert_eq!(eye(&store, second).await, EyeState::default(), "an undoing that was undone");

    // Neither twice, nor what is not there, nor another visit's.
    assert!(store.add_fact(second, undo(a), None, &by()).await.is_err());
    assert!(store.add_fact(second, undo(4711), None, &by()).await.is_err());
    assert!(store.add_fact(first, undo(b), None, &by()).await.is_err());
    let unwell = store.add_fact(second, Fact::Unwell, None, &by()).await.unwrap();
    assert!(
        store.add_fact(second, undo(unwell), None, &by()).await.is_err(),
        "it has an opposite of its own"
    );
    assert_eq!(store.facts(second).await.unwrap().len(), 6, "what was refused left nothing behind");
}

#[tokio::test]
async fn a_person_noted_by_mistake_is_not_carried_to_the_next_visit() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path()).await;
    let first = store.create_visit(visit("1.1", "P1"), &by()).await.unwrap();
    let noted =
        |child| Fact::PersonNoted { state: Box::new(PersonState { child, ..PersonState::default() }) };
    store.add_fact(first, noted(false), None, &by()).await.unwrap();
    let wrong = store.add_fact(first, noted(true), None, &by()).await.unwrap();
    store.add_fact(first, Fact::Undone { seq: wrong }, None, &by()).await.unwrap();
    let mut later = visit("1.2", "P1");
    later.opened_us = NOW + 1_000_000;
    let second = store.create_visit(later, &by()).await.unwrap();
    assert!(!store.earlier_person(second).await.unwrap().unwrap().child);
}

#[tokio::test]
async fn a_view_that_was_closed_is_open_again() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path()).await;
    let id = store.create_visit(visit("1.1", "P1"), &by()).await.unwrap();
    store.close_view(id, "colour R", serrata_store::ViewEnd::NotDone, "no time", &by()).await.unwrap();
    assert_eq!(store.closed_views(id).await.unwrap().len(), 1);
    store.add_fact(id, Fact::ViewReopened { view: "colour R".into() }, None, &by()).await.unwrap();
    assert!(store.closed_views(id).await.unwrap().is_empty());
}
