//! Layout of a data folder: `serrata.sqlite`, `originals/ab/cdef…`, `derived/`, `incoming/`, `lock`.

use crate::{OpenError, StoreError};
use std::fs::{self, File, OpenOptions, TryLockError};
use std::io;
use std::path::{Path, PathBuf};

/// Paths of a data folder.
#[derive(Debug, Clone)]
pub(crate) struct Folder {
    pub(crate) root: PathBuf,
}

/// Name of the house's secret in a data folder: what copies that do not name the patient are made with. Whoever makes them makes it;
/// here it only goes along with a backup.
pub const SECRET_FILE: &str = "deidentify.key";

impl Folder {
    pub(crate) fn new(root: &Path) -> Self {
        Self { root: root.to_owned() }
    }

    pub(crate) fn database(&self) -> PathBuf {
        self.root.join("serrata.sqlite")
    }

    pub(crate) fn originals(&self) -> PathBuf {
        self.root.join("originals")
    }

    pub(crate) fn incoming(&self) -> PathBuf {
        self.root.join("incoming")
    }

    /// Place of an original.
    ///
    /// # Errors
    /// [`StoreError::NoOriginal`] where `sha256` is no SHA-256 in hex, so that no text from outside becomes a path.
    pub(crate) fn original(&self, sha256: &str) -> Result<PathBuf, StoreError> {
        let sha256 = checked(sha256)?;
        Ok(self.originals().join(&sha256[..2]).join(&sha256[2..]))
    }

    pub(crate) fn derived(&self) -> PathBuf {
        self.root.join("derived")
    }

    /// Place of an object that was made of pictures.
    ///
    /// # Errors
    /// As [`Folder::original`].
    pub(crate) fn derived_file(&self, sha256: &str) -> Result<PathBuf, StoreError> {
        Ok(self.derived().join(checked(sha256)?))
    }

    /// Makes what is missing, takes the lock, and sweeps what broken-off arrivals left in `incoming/`.
    ///
    /// All 256 folders of originals are made and synced here, so that keeping an original has to sync one only.
    pub(crate) fn prepare(&self) -> Result<File, OpenError> {
        let at = |path: &Path, doing: &str, e: io::Error| OpenError::io(path, doing, &e);
        fs::create_dir_all(&self.root).map_err(|e| at(&self.root, "making the data folder", e))?;
        let lock = self.lock()?;
        for dir in [self.originals(), self.incoming()] {
            fs::create_dir_all(&dir).map_err(|e| at(&dir, "making the folder", e))?;
        }
        let originals = self.originals();
        for n in 0..=255u8 {
            let dir = originals.join(hex::encode([n]));
            match fs::create_dir(&dir) {
                Err(e) if e.kind() != io::ErrorKind::AlreadyExists => {
                    return Err(at(&dir, "making the folder", e));
                }
                _ => {}
            }
        }
        let incoming = self.incoming();
        let entries = fs::read_dir(&incoming).map_err(|e| at(&incoming, "reading the folder", e))?;
        for entry in entries {
            let path = entry.map_err(|e| at(&incoming, "reading the folder", e))?.path();
            fs::remove_file(&path).map_err(|e| at(&path, "sweeping a temporary file", e))?;
        }
        for dir in [&originals, &self.root] {
            sync_folder(dir).map_err(|e| at(dir, "syncing the folder", e))?;
        }
        Ok(lock)
    }

    fn lock(&self) -> Result<File, OpenError> {
        let path = self.root.join("lock");
        let file = OpenOptions::new()
            .read(true)
            .write(true)
            .create(true)
            .truncate(false)
            .open(&path)
            .map_err(|e| OpenError::io(&path, "opening the lock", &e))?;
        match file.try_lock() {
            Ok(()) => Ok(file),
            Err(TryLockError::WouldBlock) => Err(OpenError::InUse(self.root.clone())),
            Err(TryLockError::Error(e)) => Err(OpenError::io(&path, "taking the lock", &e)),
        }
    }
}

fn checked(sha256: &str) -> Result<&str, StoreError> {
    let hex = |b: u8| b.is_ascii_digit() || (b'a'..=b'f').contains(&b);
    if sha256.len() != 64 || !sha256.bytes().all(hex) {
        return Err(StoreError::NoOriginal(sha256.chars().take(80).collect()));
    }
    Ok(sha256)
}

/// Syncs a file's bytes to the disk.
pub(crate) fn sync_file(path: &Path) -> io::Result<()> {
    File::open(path)?.sync_all()
}

/// Syncs a folder, so that the names in it outlive a power cut. Windows cannot open folders as files and syncs
/// them by itself.
pub(crate) fn sync_folder(path: &Path) -> io::Result<()> {
    if cfg!(windows) {
        return Ok(());
    }
    File::open(path)?.sync_all()
}
