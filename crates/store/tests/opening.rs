//! Opening: one instance at a time, no newer data, clear sentences, the lock let go.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // helpers of tests may fail loudly

mod common;

use common::{by, file, open, tamper};
use serrata_store::{OpenError, Store, StoreError, verify};
use std::fs;

#[tokio::test]
async fn a_second_instance_is_refused_until_the_first_has_closed() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path()).await;
    let error = Store::open(dir.path()).await.unwrap_err();
    assert_eq!(error.code(), "in_use");
    let expected = format!(
        "{}: another instance is already running on this data folder. Stop it, or give another folder with --data.",
        dir.path().display()
    );
    assert_eq!(error.to_string(), expected);
    let clone = store.clone();
    store.close().await;
    assert!(matches!(clone.accept(file(1), &by()).await, Err(StoreError::Closed)));
    let again = open(dir.path()).await;
    drop(clone);
    assert!(again.unassigned(1).await.unwrap().is_empty());
}

#[tokio::test]
async fn data_of_a_newer_version_is_refused_and_left_alone() {
    let dir = tempfile::tempdir().unwrap();
    open(dir.path()).await.close().await;
    tamper(dir.path(), "PRAGMA user_version = 99").await;
    let before = fs::read(dir.path().join("serrata.sqlite")).unwrap();
    let expected = format!(
        "{}: this data folder was written by a newer version (schema 99, this program knows 4). Use the newer program, or give another folder with --data.",
        dir.path().display()
    );
    assert_eq!(Store::open(dir.path()).await.unwrap_err().to_string(), expected);
    assert_eq!(verify(dir.path()).await.unwrap_err().to_string(), expected);
    assert_eq!(fs::read(dir.path().join("serrata.sqlite")).unwrap(), before);
}

#[tokio::test]
async fn a_database_of_another_program_is_refused() {
    let dir = tempfile::tempdir().unwrap();
    fs::File::create(dir.path().join("serrata.sqlite")).unwrap();
    tamper(dir.path(), "CREATE TABLE other (x); PRAGMA user_version = 1").await;
    let error = Store::open(dir.path()).await.unwrap_err().to_string();
    let end = "serrata.sqlite: this database belongs to another program. Give another folder with --data.";
    assert!(error.ends_with(end), "{error}");
}

#[tokio::test]
async fn a_file_in_place_of_the_folder_is_told_in_a_sentence() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("data");
    fs::write(&path, b"a file").unwrap();
    let error = Store::open(&path).await.unwrap_err();
    assert!(matches!(error, OpenError::Unusable { .. }));
    let text = error.to_string();
    assert!(
        text.contains("data: making the data folder failed") && text.ends_with("Give a folder with --data."),
        "{text}"
    );
}
