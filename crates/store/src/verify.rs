//! Re-reads a data folder or a backup: every original, rows against originals, the audit trail, the database.

use crate::audit::{Checker, Entry, heads};
use crate::canonical::sha256_hex;
use crate::folder::Folder;
use crate::open::read_only;
use crate::{Fault, FileId, ObservationId, OpenError, Report, StoreError};
use serde_json::Value;
use sha2::{Digest, Sha256};
use sqlx::sqlite::SqliteConnection;
use sqlx::{Connection, Row};
use std::collections::{BTreeMap, BTreeSet};
use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};

/// Rows read at once, so that memory stays flat however long the trail is.
const PAGE: i64 = 5000;

/// Re-reads a data folder, also one in use, or a backup: every original's hash, rows against originals both ways,
/// the audit chains, what the trail says against the rows, and SQLite's own check. Changes nothing.
///
/// # Errors
/// [`OpenError`] where there is no readable data at all; everything else is a [`Fault`] in the report.
pub async fn verify(dir: &Path) -> Result<Report, OpenError> {
    let mut conn = read_only(dir).await?;
    let folder = Folder::new(dir);
    let mut report = Report::default();
    // Files before rows: an original that arrives in between has its row, or is harmlessly not indexed.
    let kept = list_originals(&folder, &mut report.faults);
    let files = match read_rows(&mut conn, &mut report).await {
        Ok(files) => files,
        Err(e) => {
            report.faults.push(Fault::Database(e.to_string()));
            BTreeMap::new()
        }
    };
    let _ = conn.close().await; // nothing was written
    let check = move || {
        check_originals(&folder, kept, &files, &mut report);
        Ok(report)
    };
    crate::original::blocking(check).await.map_err(|e| OpenError::Unusable {
        path: dir.to_owned(),
        what: format!("the check was broken off ({e})"),
        remedy: "Start it again.".to_owned(),
    })
}

/// A file's row: id and size, by SHA-256.
type Files = BTreeMap<String, (FileId, u64)>;

/// Reads and checks all rows as of one moment.
async fn read_rows(conn: &mut SqliteConnection, report: &mut Report) -> Result<Files, StoreError> {
    let mut tx = conn.begin().await?;
    for row in sqlx::query("PRAGMA integrity_check").fetch_all(&mut *tx).await? {
        let text: String = row.try_get(0)?;
        if text != "ok" {
            report.faults.push(Fault::Database(text));
        }
    }
    for row in sqlx::query("PRAGMA foreign_key_check").fetch_all(&mut *tx).await? {
        let (table, parent): (String, String) = (row.try_get(0)?, row.try_get(2)?);
        report
            .faults
            .push(Fault::Database(format!("a row of {table} points to a row of {parent} that is not there")));
    }
    let told = read_trail(&mut tx, report).await?;
    let files = read_files(&mut tx, &told.files, report).await?;
    read_observations(&mut tx, &told.observations, report).await?;
    let frames: i64 = sqlx::query_scalar("SELECT count(*) FROM frames").fetch_one(&mut *tx).await?;
    report.frames = frames.unsigned_abs();
    tx.rollback().await?;
    Ok(files)
}

/// What the trail tells of rows: id and hash.
#[derive(Default)]
struct Told {
    files: BTreeMap<i64, String>,
    observations: BTreeMap<i64, String>,
}

async fn read_trail(conn: &mut SqliteConnection, report: &mut Report) -> Result<Told, StoreError> {
    let (mut checker, mut told, mut last) = (Checker::default(), Told::default(), 0);
    loop {
        let entries = Entry::after(conn, last, PAGE).await?;
        let Some(end) = entries.last() else { break };
        last = end.id;
        report.audit_entries += entries.len() as u64;
        for (kind, details) in entries.iter().filter_map(|e| checker.push(e)) {
            let text = |key: &str| details[key].as_str().map(str::to_owned);
            let id = |key: &str| details.get(key).and_then(Value::as_i64);
            match kind.as_str() {
                "file.accepted" => told.files.extend(id("file_id").zip(text("sha256"))),
                "frame.checked" => {
                    told.observations.extend(id("observation_id").zip(text("observation_sha256")));
                }
                _ => {}
            }
        }
    }
    let table = heads(conn).await?;
    report.faults.extend(checker.finish(&table));
    report.heads = table.into_iter().map(|(chain, (_, head))| (chain, head)).collect();
    Ok(told)
}

async fn read_files(
    conn: &mut SqliteConnection,
    told: &BTreeMap<i64, String>,
    report: &mut Report,
) -> Result<Files, StoreError> {
    let mut files = Files::new();
    let mut seen = BTreeSet::new();
    for row in sqlx::query("SELECT id, sha256, size FROM files ORDER BY id").fetch_all(conn).await? {
        let (id, sha256, size): (i64, String, i64) =
            (row.try_get("id")?, row.try_get("sha256")?, row.try_get("size")?);
        let what = match told.get(&id) {
            Some(hash) if *hash == sha256 => None,
            Some(_) => Some("its row names another original than the audit trail does"),
            None => Some("the audit trail does not tell of its arrival"),
        };
        if let Some(what) = what {
            report.faults.push(Fault::FileRow { file_id: FileId(id), what: what.to_owned() });
        }
        seen.insert(id);
        files.insert(sha256, (FileId(id), size.unsigned_abs()));
    }
    for id in told.keys().filter(|id| !seen.contains(id)) {
        let what = "the audit trail tells of its arrival, but its row is gone".to_owned();
        report.faults.push(Fault::FileRow { file_id: FileId(*id), what });
    }
    report.files = files.len() as u64;
    Ok(files)
}

async fn read_observations(
    conn: &mut SqliteConnection,
    told: &BTreeMap<i64, String>,
    report: &mut Report,
) -> Result<(), StoreError> {
    let (mut last, mut seen) = (0, BTreeSet::new());
    loop {
        let rows = sqlx::query("SELECT id, body FROM observations WHERE id > ? ORDER BY id LIMIT ?")
            .bind(last)
            .bind(PAGE)
            .fetch_all(&mut *conn)
            .await?;
        if rows.is_empty() {
            break;
        }
        for row in rows {
            let (id, body): (i64, String) = (row.try_get("id")?, row.try_get("body")?);
            last = id;
            seen.insert(id);
            if told.get(&id) != Some(&sha256_hex(body.as_bytes())) {
                let what = "it is not the one that the audit trail tells of".to_owned();
                report.faults.push(Fault::ObservationRow { observation_id: ObservationId(id), what });
            }
        }
    }
    for id in told.keys().filter(|id| !seen.contains(id)) {
        let what = "the audit trail tells of it, but its row is gone".to_owned();
        report.faults.push(Fault::ObservationRow { observation_id: ObservationId(*id), what });
    }
    Ok(())
}

/// Lists what lies in `originals/` and `incoming/`.
fn list_originals(folder: &Folder, faults: &mut Vec<Fault>) -> BTreeSet<String> {
    let mut kept = BTreeSet::new();
    for dir in entries(&folder.originals(), faults) {
        if !dir.is_dir() {
            faults.push(Fault::Stray(dir));
            continue;
        }
        for file in entries(&dir, faults) {
            let name = [dir.file_name(), file.file_name()].map(|n| n.unwrap_or_default().to_string_lossy());
            let sha256 = name.concat();
            match folder.original(&sha256) {
                Ok(place) if place == file && file.is_file() => _ = kept.insert(sha256),
                _ => faults.push(Fault::Stray(file)),
            }
        }
    }
    // A backup has no `incoming/`.
    if folder.incoming().exists() {
        let left = entries(&folder.incoming(), faults);
        faults.extend(left.into_iter().map(Fault::LeftOver));
    }
    kept
}

/// Sorted entries of a folder; what cannot be read is a fault.
fn entries(dir: &Path, faults: &mut Vec<Fault>) -> Vec<PathBuf> {
    let list =
        fs::read_dir(dir).and_then(|all| all.map(|e| e.map(|e| e.path())).collect::<io::Result<Vec<_>>>());
    let mut list = list.unwrap_or_else(|e| {
        faults.push(Fault::Unreadable { path: dir.to_owned(), error: e.to_string() });
        Vec::new()
    });
    list.sort();
    list
}

fn check_originals(folder: &Folder, mut kept: BTreeSet<String>, files: &Files, report: &mut Report) {
    kept.extend(files.keys().cloned());
    for sha256 in kept {
        let row = files.get(&sha256);
        let Ok(place) = folder.original(&sha256) else {
            let what = "its row names no SHA-256".to_owned();
            report.faults.extend(row.map(|(file_id, _)| Fault::FileRow { file_id: *file_id, what }));
            continue;
        };
        match (hash_file(&place), row) {
            (Ok((found, size)), row) => {
                report.originals += 1;
                report.bytes += size;
                if found != sha256 {
                    report.faults.push(Fault::AlteredOriginal { sha256: sha256.clone(), found });
                }
                match row {
                    None => report.faults.push(Fault::NotIndexed { sha256 }),
                    Some((_, row)) if *row != size => {
                        report.faults.push(Fault::WrongSize { sha256, row: *row, found: size });
                    }
                    Some(_) => {}
                }
            }
            (Err(e), Some((file_id, _))) if e.kind() == io::ErrorKind::NotFound => {
                report.faults.push(Fault::MissingOriginal { sha256, file_id: *file_id });
            }
            (Err(e), _) => report.faults.push(Fault::Unreadable { path: place, error: e.to_string() }),
        }
    }
}

/// SHA-256 (hex) and size of a file.
fn hash_file(path: &Path) -> io::Result<(String, u64)> {
    let mut file = File::open(path)?;
    let mut hasher = Sha256::new();
    let size = io::copy(&mut file, &mut Sink(&mut hasher))?;
    Ok((hex::encode(hasher.finalize()), size))
}

/// Lets `io::copy` write into a hash.
struct Sink<'a>(&'a mut Sha256);

impl io::Write for Sink<'_> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0.update(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}
