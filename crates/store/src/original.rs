//! Originals: write-once files named by their SHA-256.
//!
//! Plain `std` files and not `object_store`: its local store can sync file and folder as well, but it puts
//! temporary files beside the originals, where a broken-off arrival stays for ever, syncs parent folders one by one
//! as it makes them, and leaves no place between write, sync and link at which a test can stop it.

use crate::canonical::sha256_hex;
use crate::folder::{Folder, sync_folder};
use crate::{Hooks, Step, Store, StoreError};
use bytes::Bytes;
use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// Where an original stands after [`crate::Store::put_original`].
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Original {
    /// SHA-256 of the bytes, hex.
    pub sha256: String,
    /// Size in bytes.
    pub size: u64,
    /// Whether it was there before.
    pub existed: bool,
}

impl Store {
    /// Keeps bytes as an original: written to a temporary file, synced, linked to its place without ever replacing
    /// what is there, and the folder synced. The same bytes again change nothing.
    ///
    /// # Errors
    /// [`StoreError::Disk`] where the disk is full or fails, [`StoreError::Damaged`] where an original of this name
    /// is there with other bytes.
    pub async fn put_original(&self, bytes: Bytes) -> Result<Original, StoreError> {
        let (folder, hooks) = (self.inner().folder.clone(), self.inner().hooks.clone());
        blocking(move || put(&folder, &hooks, &bytes)).await
    }

    /// Reads an original.
    ///
    /// # Errors
    /// [`StoreError::NoOriginal`] where there is none of this name, [`StoreError::Disk`] where it cannot be read.
    pub async fn read_original(&self, sha256: &str) -> Result<Bytes, StoreError> {
        let path = self.inner().folder.original(sha256)?;
        let sha256 = sha256.to_owned();
        blocking(move || match fs::read(&path) {
            Ok(bytes) => Ok(bytes.into()),
            Err(e) if e.kind() == io::ErrorKind::NotFound => Err(StoreError::NoOriginal(sha256)),
            Err(e) => Err(StoreError::io(&path, "reading an original", &e)),
        })
        .await
    }
}

/// Runs work that blocks on a thread of its own.
pub(crate) async fn blocking<T: Send + 'static>(
    f: impl FnOnce() -> Result<T, StoreError> + Send + 'static,
) -> Result<T, StoreError> {
    // A join error means that the runtime is going down (or a panic, which the crate does not do).
    tokio::task::spawn_blocking(f).await.unwrap_or(Err(StoreError::Closed))
}

fn put(folder: &Folder, hooks: &Hooks, bytes: &[u8]) -> Result<Original, StoreError> {
    let sha256 = sha256_hex(bytes);
    let place = folder.original(&sha256)?;
    keep(folder, hooks, bytes, sha256, &place)
}

/// Keeps bytes under a name made of their hash.
pub(crate) fn keep(
    folder: &Folder,
    hooks: &Hooks,
    bytes: &[u8],
    sha256: String,
    place: &Path,
) -> Result<Original, StoreError> {
    let size = bytes.len() as u64;
    let parent = place.parent().unwrap_or(&folder.root);
    let existed = match fs::metadata(place) {
        Ok(_) => true,
        Err(e) if e.kind() == io::ErrorKind::NotFound => !write_once(folder, hooks, bytes, place)?,
        Err(e) => return Err(StoreError::io(place, "looking for an original", &e)),
    };
    if existed {
        let kept = fs::read(place).map_err(|e| StoreError::io(place, "reading an original", &e))?;
        if kept != bytes {
            return Err(StoreError::Damaged(format!("original {sha256} has other bytes than its name says")));
        }
    }
    // Also where it was there before: another arrival may have linked it and not yet synced the folder.
    sync_folder(parent).map_err(|e| StoreError::io(parent, "syncing the folder", &e))?;
    step(hooks, Step::FolderSynced, place)?;
    Ok(Original { sha256, size, existed })
}

/// Writes, syncs and links; false where another arrival was quicker.
fn write_once(folder: &Folder, hooks: &Hooks, bytes: &[u8], place: &Path) -> Result<bool, StoreError> {
    let temp = folder.incoming().join(uuid::Uuid::new_v4().simple().to_string());
    let written = write_temp(hooks, bytes, &temp)?;
    written.sync_all().map_err(|e| failed(&temp, "syncing", &e))?;
    drop(written);
    step(hooks, Step::TempSynced, &temp)?;
    let linked = match link_once(&temp, place) {
        Ok(()) => true,
        Err(e) if e.kind() == io::ErrorKind::AlreadyExists => false,
        Err(e) => return Err(failed(&temp, "keeping", &e)),
    };
    step(hooks, Step::Renamed, place)?;
    match fs::remove_file(&temp) {
        // Gone where it was renamed and not linked.
        Err(e) if e.kind() != io::ErrorKind::NotFound => Err(failed(&temp, "removing", &e)),
        _ => Ok(linked),
    }
}

fn write_temp(hooks: &Hooks, bytes: &[u8], temp: &Path) -> Result<File, StoreError> {
    let mut file = File::create_new(temp).map_err(|e| failed(temp, "making", &e))?;
    file.write_all(bytes).map_err(|e| failed(temp, "writing", &e))?;
    step(hooks, Step::TempWritten, temp)?;
    Ok(file)
}

/// Gives the file its name unless the name is taken. A hard link refuses a taken name in one step; a disk without
/// hard links gets a rename after a look, which can only replace bytes by the same bytes, as the name is their hash.
fn link_once(temp: &Path, place: &Path) -> io::Result<()> {
    match fs::hard_link(temp, place) {
        Err(e) if matches!(e.kind(), io::ErrorKind::Unsupported | io::ErrorKind::PermissionDenied) => {
            if fs::exists(place)? {
                return Err(io::ErrorKind::AlreadyExists.into());
            }
            fs::rename(temp, place)
        }
        other => other,
    }
}

/// An error on the way; what was half written goes away.
fn failed(temp: &Path, doing: &str, e: &io::Error) -> StoreError {
    // It may not be there at all; the next start sweeps it otherwise.
    let _ = fs::remove_file(temp);
    StoreError::io(temp, &format!("{doing} an arriving file"), e)
}

fn step(hooks: &Hooks, step: Step, path: &Path) -> Result<(), StoreError> {
    hooks.after(step).map_err(|e| StoreError::io(&PathBuf::from(path), "keeping an arriving file", &e))
}
