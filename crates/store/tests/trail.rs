//! What a re-reading finds: altered, lost and stray originals, and any tampering with rows or the trail.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // helpers of tests may fail loudly

mod common;

use common::{NOW, by, file, open, tamper};
use serrata_store::{Fault, Report, Store, backup, verify};
use std::fs;
use std::path::{Path, PathBuf};

/// Three files, the first one checked; two chains, as the folder was opened twice.
async fn filled(dir: &Path) -> Vec<String> {
    let mut names = Vec::new();
    for round in 0..2 {
        let store = open(dir).await;
        for n in 0..3 {
            names.push(store.accept(file(10 * round + n), &by()).await.unwrap().sha256);
        }
        let item = store.lease_work(NOW, 1).await.unwrap().unwrap();
        store.finish_work(&item, serde_json::json!({"round": round}), &by()).await.unwrap();
        store.close().await;
    }
    names
}

fn place(dir: &Path, sha256: &str) -> PathBuf {
    dir.join("originals").join(&sha256[..2]).join(&sha256[2..])
}

async fn faults(dir: &Path) -> Vec<Fault> {
    verify(dir).await.unwrap().faults
}

#[tokio::test]
async fn a_sound_folder_its_copy_and_a_folder_in_use_are_clean() {
    let dir = tempfile::tempdir().unwrap();
    filled(dir.path()).await;
    let report = verify(dir.path()).await.unwrap();
    assert_eq!(report.faults, []);
    assert_eq!((report.originals, report.files, report.frames, report.bytes), (6, 6, 6, 24_000));
    assert_eq!((report.heads.len(), report.audit_entries), (2, 2 * (1 + 3 + 1)));

    let store = open(dir.path()).await;
    assert_eq!(verify(dir.path()).await.unwrap().faults, []);
    fs::write(dir.path().join(serrata_store::SECRET_FILE), [7; 32]).unwrap();
    let to = dir.path().join("copies").join("monday");
    assert_eq!(store.backup(&to, &by()).await.unwrap(), 6);
    assert_eq!(
        fs::read(to.join(serrata_store::SECRET_FILE)).unwrap(),
        [7; 32],
        "copies made later still fit together"
    );
    let copy = verify(&to).await.unwrap();
    assert_eq!((copy.faults, copy.originals), (vec![], 6));
    let second = backup(dir.path(), &to).await.unwrap_err().to_string();
    assert!(
        second.ends_with("monday: this folder is not empty. Give a new folder for the copy."),
        "{second}"
    );
    assert!(
        fs::read_dir(to.parent().unwrap()).unwrap().all(|e| !e.unwrap().path().ends_with("monday.partial"))
    );

    let restored = Store::open(&to).await.unwrap();
    assert_eq!(restored.unassigned(10).await.unwrap().len(), 6, "a copy is a data folder");
}

#[tokio::test]
async fn a_copy_made_while_files_arrive_is_whole() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path()).await;
    let writer = store.clone();
    let arrivals = tokio::spawn(async move {
        for n in 0..60 {
            writer.accept(file(n), &by()).await.unwrap();
        }
    });
    for n in 0..3 {
        let to = dir.path().join(format!("copy-{n}"));
        let count = backup(dir.path(), &to).await.unwrap();
        let report = verify(&to).await.unwrap();
        assert_eq!((report.faults, report.originals), (vec![], count));
        assert!(verify(dir.path()).await.unwrap().is_clean());
    }
    arrivals.await.unwrap();
    assert_eq!(verify(dir.path()).await.unwrap().faults, []);
}

#[tokio::test]
async fn altered_lost_and_stray_originals_are_named() {
    let dir = tempfile::tempdir().unwrap();
    let names = filled(dir.path()).await;
    fs::write(place(dir.path(), &names[0]), b"altered").unwrap();
    fs::remove_file(place(dir.path(), &names[1])).unwrap();
    fs::write(dir.path().join("originals/ab/note.txt"), b"mine").unwrap();
    fs::write(dir.path().join("incoming/half"), b"half").unwrap();
    let found = faults(dir.path()).await;
    let has = |f: &dyn Fn(&Fault) -> bool| found.iter().any(f);
    assert!(has(&|f| matches!(f, Fault::AlteredOriginal { sha256, .. } if *sha256 == names[0])));
    assert!(has(&|f| matches!(f, Fault::WrongSize { sha256, found: 7, row: 4000 } if *sha256 == names[0])));
    assert!(has(&|f| matches!(f, Fault::MissingOriginal { sha256, .. } if *sha256 == names[1])));
    assert!(has(&|f| matches!(f, Fault::Stray(path) if path.ends_with("note.txt"))));
    assert!(has(&|f| matches!(f, Fault::LeftOver(path) if path.ends_with("half")) && f.harmless()));
    assert_eq!(found.len(), 5);

    let store = open(dir.path()).await;
    let error = store.accept(file(0), &by()).await.unwrap_err().to_string();
    assert!(
        error.contains("has other bytes than its name says"),
        "damage is told, never passed over: {error}"
    );
}

#[tokio::test]
async fn any_tampering_with_rows_or_trail_is_found() {
    let open_trail = "DROP TRIGGER audit_stays; DROP TRIGGER audit_keeps; DROP TRIGGER observations_stay; ";
    let cases: [(&str, &'static str); 9] = [
        (
            "an edited entry",
            "UPDATE audit SET body = replace(body, '\"size\":4000', '\"size\":4001') WHERE id = 3",
        ),
        ("a dropped entry", "DELETE FROM audit WHERE id = 3"),
        ("the last entry dropped", "DELETE FROM audit WHERE id = (SELECT max(id) FROM audit)"),
        (
            "the end of an earlier chain dropped, and its table set to match",
            "DELETE FROM audit WHERE id = 5; UPDATE chains SET entries = 4, head = (SELECT hash FROM audit WHERE id = 4)              WHERE chain = (SELECT chain FROM audit WHERE id = 1)",
        ),
        (
            "an earlier chain dropped as a whole",
            "PRAGMA foreign_keys = OFF; DELETE FROM chains WHERE chain = (SELECT chain FROM audit WHERE id = 1);              DELETE FROM audit WHERE id <= 5",
        ),
        (
            "two entries swapped",
            "UPDATE audit SET id = -1 WHERE id = 3; UPDATE audit SET id = 3 WHERE id = 4;              UPDATE audit SET id = 4 WHERE id = -1",
        ),
        (
            "a file's row pointed elsewhere",
            "UPDATE files SET sha256 = replace(sha256, 'a', 'b') WHERE id = 2",
        ),
        ("a file's row gone", "PRAGMA foreign_keys = OFF; DELETE FROM files WHERE id = 2"),
        ("an edited observation", "UPDATE observations SET body = '{\"round\":7}' WHERE id = 1"),
    ];
    for (what, sql) in cases {
        let dir = tempfile::tempdir().unwrap();
        filled(dir.path()).await;
        tamper(dir.path(), "SELECT 1").await;
        assert_eq!(faults(dir.path()).await, [], "clean before {what}");
        tamper(dir.path(), open_trail).await;
        tamper(dir.path(), sql).await;
        let report: Report = verify(dir.path()).await.unwrap();
        assert!(!report.is_clean(), "{what} was not found");
    }
}

#[tokio::test]
async fn the_database_itself_refuses_to_change_trail_and_observations() {
    use sqlx::ConnectOptions;
    let dir = tempfile::tempdir().unwrap();
    filled(dir.path()).await;
    let options = sqlx::sqlite::SqliteConnectOptions::new().filename(dir.path().join("serrata.sqlite"));
    let mut conn = options.connect().await.unwrap();
    for sql in [
        "UPDATE audit SET body = ''",
        "DELETE FROM audit",
        "UPDATE observations SET body = ''",
        "DELETE FROM observations",
    ] {
        assert!(sqlx::query(sql).execute(&mut conn).await.is_err(), "{sql}");
    }
}

#[tokio::test]
async fn a_damaged_database_and_no_database_are_told_in_a_sentence() {
    let dir = tempfile::tempdir().unwrap();
    let error = verify(dir.path()).await.unwrap_err().to_string();
    assert!(error.contains("serrata.sqlite: there is no readable database"), "{error}");
    let copy = backup(dir.path(), &dir.path().join("copy")).await.unwrap_err().to_string();
    assert_eq!(copy, error, "and nothing half-written stays");
    assert_eq!(fs::read_dir(dir.path()).unwrap().count(), 0);
    fs::write(dir.path().join("serrata.sqlite"), vec![7u8; 9000]).unwrap();
    let error = Store::open(dir.path()).await.unwrap_err().to_string();
    assert!(error.ends_with("serrata.sqlite: the database is damaged. Go back to a backup."), "{error}");
}
