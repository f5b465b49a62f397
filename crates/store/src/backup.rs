//! A consistent copy of a data folder, also of one in use.

use crate::folder::{Folder, SECRET_FILE, sync_file, sync_folder};
use crate::open::read_only;
use crate::original::blocking;
use crate::schema::vacuum_into;
use crate::{By, Store, StoreError};
use sqlx::Connection;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

impl Store {
    /// Makes a consistent copy in `to` (see [`backup`]) and notes it in the audit trail.
    ///
    /// # Errors
    /// As [`backup`].
    pub async fn backup(&self, to: impl AsRef<Path>, by: &By) -> Result<u64, StoreError> {
        let by = by.clone();
        self.write(move |tx| {
            Box::pin(async move { tx.record(&by, "data.copied", serde_json::json!({}), &[]).await })
        })
        .await?;
        backup(self.folder(), to.as_ref()).await
    }
}

/// Makes a consistent copy of a data folder in `to`, which must not exist yet or be empty; gives the number of
/// originals in it. The data may be in use: the database is copied as of one moment, and every row's original was
/// there before the row. Originals are real copies, so that one damaged block does not hit both; everything is
/// synced, and `to` gets its name when all of it is there.
///
/// # Errors
/// One sentence: `to` is not empty, the disk is full, or the data cannot be read. Nothing half-written stays.
pub async fn backup(from: &Path, to: &Path) -> Result<u64, StoreError> {
    let partial = partial_name(to)?;
    make_room(to, &partial)?;
    let result = fill(&Folder::new(from), &Folder::new(&partial)).await;
    let named = match result {
        Ok(count) => give_name(&partial, to).map(|()| count),
        Err(e) => Err(e),
    };
    if named.is_err() {
        let _ = fs::remove_dir_all(&partial); // the error that led here is the one to tell
    }
    named
}

fn partial_name(to: &Path) -> Result<PathBuf, StoreError> {
    let mut name = to.file_name().map(std::ffi::OsStr::to_owned).ok_or_else(|| {
        StoreError::refused(format!("{}: this names no folder.", to.display()), "Give a new folder's name.")
    })?;
    name.push(".partial");
    Ok(to.with_file_name(name))
}

fn make_room(to: &Path, partial: &Path) -> Result<(), StoreError> {
    match fs::read_dir(to).map(|mut entries| entries.next().is_none()) {
        Ok(true) => {}
        Err(e) if e.kind() == io::ErrorKind::NotFound => {}
        Ok(false) => {
            let message = format!("{}: this folder is not empty.", to.display());
            return Err(StoreError::refused(message, "Give a new folder for the copy."));
        }
        Err(e) => return Err(StoreError::io(to, "reading the folder", &e)),
    }
    if let Some(parent) = to.parent().filter(|p| !p.as_os_str().is_empty()) {
        fs::create_dir_all(parent).map_err(|e| StoreError::io(parent, "making the folder", &e))?;
    }
    match fs::create_dir(partial) {
        Err(e) if e.kind() == io::ErrorKind::AlreadyExists => {
            let message = format!("{}: an earlier copy was broken off here.", partial.display());
            Err(StoreError::refused(message, "Remove this folder, then try again."))
        }
        other => other.map_err(|e| StoreError::io(partial, "making the folder", &e)),
    }
}

async fn fill(from: &Folder, to: &Folder) -> Result<u64, StoreError> {
    let mut conn = read_only(&from.root).await?;
    vacuum_into(&mut conn, &to.database()).await?;
    conn.close().await?;
    let mut copy = read_only(&to.root).await?;
    let names: Vec<String> =
        sqlx::query_scalar("SELECT sha256 FROM files ORDER BY sha256").fetch_all(&mut copy).await?;
    let underway: Vec<String> = sqlx::query_scalar(
        "SELECT sha256 FROM deliveries WHERE kind = 'derived' AND state NOT IN ('done', 'withdrawn') ORDER BY sha256",
    )
    .fetch_all(&mut copy)
    .await?;
    copy.close().await?;
    let (from, to) = (from.clone(), to.clone());
    blocking(move || {
        copy_derived(&from, &to, &underway)?;
        copy_secret(&from, &to)?;
        copy_originals(&from, &to, &names)
    })
    .await
}

/// Objects that are on their way.
fn copy_derived(from: &Folder, to: &Folder, names: &[String]) -> Result<(), StoreError> {
    if names.is_empty() {
        return Ok(());
    }
    let io = |path: &Path, e: io::Error| StoreError::io(path, "copying", &e);
    let folder = to.derived();
    fs::create_dir_all(&folder).map_err(|e| io(&folder, e))?;
    for name in names {
        let (source, target) = (from.derived_file(name)?, to.derived_file(name)?);
        fs::copy(&source, &target).map_err(|e| io(&source, e))?;
        sync_file(&target).map_err(|e| io(&target, e))?;
    }
    sync_folder(&folder).map_err(|e| io(&folder, e))
}

/// The secret of copies, where one was made: with its rights, so that it stays readable by its owner alone.
fn copy_secret(from: &Folder, to: &Folder) -> Result<(), StoreError> {
    let (source, target) = (from.root.join(SECRET_FILE), to.root.join(SECRET_FILE));
    match fs::copy(&source, &target) {
        Ok(_) => sync_file(&target).map_err(|e| StoreError::io(&target, "copying", &e)),
        Err(e) if e.kind() == io::ErrorKind::NotFound => Ok(()),
        Err(e) => Err(StoreError::io(&source, "copying", &e)),
    }
}

fn copy_originals(from: &Folder, to: &Folder, names: &[String]) -> Result<u64, StoreError> {
    let io = |path: &Path, e: io::Error| StoreError::io(path, "copying", &e);
    let originals = to.originals();
    fs::create_dir(&originals).map_err(|e| io(&originals, e))?;
    for name in names {
        let (source, target) = (from.original(name)?, to.original(name)?);
        let folder = target.parent().unwrap_or(&originals);
        fs::create_dir_all(folder).map_err(|e| io(folder, e))?;
        fs::copy(&source, &target).map_err(|e| io(&source, e))?;
        sync_file(&target).map_err(|e| io(&target, e))?;
    }
    let inner = fs::read_dir(&originals).map_err(|e| io(&originals, e))?;
    for folder in inner {
        let folder = folder.map_err(|e| io(&originals, e))?.path();
        sync_folder(&folder).map_err(|e| io(&folder, e))?;
    }
    let database = to.database();
    sync_file(&database).map_err(|e| io(&database, e))?;
    for folder in [&originals, &to.root] {
        sync_folder(folder).map_err(|e| io(folder, e))?;
    }
    Ok(names.len() as u64)
}

fn give_name(partial: &Path, to: &Path) -> Result<(), StoreError> {
    let io = |e| StoreError::io(to, "naming the copy", &e);
    if to.exists() {
        fs::remove_dir(to).map_err(io)?; // empty, as was seen at the start; refuses otherwise
    }
    fs::rename(partial, to).map_err(io)?;
    match to.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => sync_folder(parent).map_err(io),
        _ => sync_folder(Path::new(".")).map_err(io),
    }
}
