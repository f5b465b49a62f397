//! What can go wrong, each as one sentence with its remedy.

use crate::{FrameId, VisitId};
use std::io;
use std::path::{Path, PathBuf};

/// Why a data folder cannot be opened.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum OpenError {
    /// Another instance holds the lock.
    #[error(
        "{}: another instance is already running on this data folder. Stop it, or give another folder with --data.",
        .0.display()
    )]
    InUse(PathBuf),
    /// The data was written by a newer version.
    #[error(
        "{}: this data folder was written by a newer version (schema {found}, this program knows {known}). Use the newer program, or give another folder with --data.",
        folder.display()
    )]
    Newer {
        /// The data folder.
        folder: PathBuf,
        /// Schema version of the data.
        found: i64,
        /// Newest schema version that this program knows.
        known: i64,
    },
    /// There is a database of something else, or none that can be read.
    #[error("{}: {what}. {remedy}", path.display())]
    Unusable {
        /// The file or folder.
        path: PathBuf,
        /// What is wrong.
        what: String,
        /// What to do.
        remedy: String,
    },
}

impl OpenError {
    /// An I/O error in words.
    pub(crate) fn io(path: &Path, doing: &str, e: &io::Error) -> Self {
        let (what, remedy) = io_words(doing, e);
        Self::Unusable { path: path.to_owned(), what, remedy }
    }

    /// A database error in words.
    pub(crate) fn sql(path: &Path, e: &sqlx::Error) -> Self {
        let (what, remedy) = sql_words(e);
        Self::Unusable { path: path.to_owned(), what, remedy }
    }

    /// A short stable word for `serrata.error/1`: `in_use`, `newer_data` or `unusable_folder`.
    #[must_use]
    pub const fn code(&self) -> &'static str {
        match self {
            Self::InUse(_) => "in_use",
            Self::Newer { .. } => "newer_data",
            Self::Unusable { .. } => "unusable_folder",
        }
    }
}

/// Why something could not be kept or read.
#[derive(Debug, Clone, thiserror::Error)]
#[non_exhaustive]
pub enum StoreError {
    /// There is no such visit.
    #[error("there is no visit {0}. Reload the page.")]
    NoVisit(VisitId),
    /// There is no such frame.
    #[error("there is no frame {0}. Reload the page.")]
    NoFrame(FrameId),
    /// There is no such original.
    #[error("there is no original {0} in this data folder. Check the data with `serrata verify`.")]
    NoOriginal(String),
    /// What was asked does not fit what is there.
    #[error("{message} {remedy}")]
    Refused {
        /// What is wrong, one sentence.
        message: String,
        /// What to do, one sentence.
        remedy: String,
    },
    /// The disk or the folder failed.
    #[error("{}: {what}. {remedy}", path.display())]
    Disk {
        /// The file or folder.
        path: PathBuf,
        /// What is wrong.
        what: String,
        /// What to do.
        remedy: String,
    },
    /// The database failed.
    #[error("the database failed: {what}. {remedy}")]
    Database {
        /// What is wrong.
        what: String,
        /// What to do.
        remedy: String,
    },
    /// Kept data cannot be read back.
    #[error("kept data is damaged: {0}. Check it with `serrata verify` and go back to a backup.")]
    Damaged(String),
    /// A data folder cannot be read for a copy.
    #[error("{0}")]
    Folder(String),
    /// The store is closed.
    #[error("the store is closed. Start the program again.")]
    Closed,
}

impl StoreError {
    /// An I/O error in words.
    pub(crate) fn io(path: &Path, doing: &str, e: &io::Error) -> Self {
        let (what, remedy) = io_words(doing, e);
        Self::Disk { path: path.to_owned(), what, remedy }
    }

    /// A refusal.
    pub(crate) fn refused(message: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self::Refused { message: message.into(), remedy: remedy.into() }
    }

    /// A short stable word for `serrata.error/1`: `no_such_visit no_such_frame no_such_original refused disk
    /// database damaged unusable_folder closed`.
    #[must_use]
    pub const fn code(&self) -> &'static str {
        match self {
            Self::NoVisit(_) => "no_such_visit",
            Self::NoFrame(_) => "no_such_frame",
            Self::NoOriginal(_) => "no_such_original",
            Self::Refused { .. } => "refused",
            Self::Disk { .. } => "disk",
            Self::Database { .. } => "database",
            Self::Damaged(_) => "damaged",
            Self::Folder(_) => "unusable_folder",
            Self::Closed => "closed",
        }
    }
}

impl From<OpenError> for StoreError {
    fn from(e: OpenError) -> Self {
        Self::Folder(e.to_string())
    }
}

impl From<sqlx::Error> for StoreError {
    fn from(e: sqlx::Error) -> Self {
        let (what, remedy) = sql_words(&e);
        Self::Database { what, remedy }
    }
}

/// What is wrong and what to do about an I/O error.
fn io_words(doing: &str, e: &io::Error) -> (String, String) {
    let remedy = match e.kind() {
        io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => {
            return ("the disk is full".to_owned(), "Free some space, then try again.".to_owned());
        }
        io::ErrorKind::PermissionDenied => "Give this user the right to read and write there.",
        io::ErrorKind::ReadOnlyFilesystem => "Mount it writable, or give another folder with --data.",
        io::ErrorKind::NotADirectory | io::ErrorKind::AlreadyExists => "Give a folder with --data.",
        io::ErrorKind::NotFound => "Check that the folder is there and its disk is mounted.",
        _ => "Check the disk.",
    };
    (format!("{doing} failed ({e})"), remedy.to_owned())
}

/// What is wrong and what to do about a database error. SQLite's primary result codes are the low eight bits.
fn sql_words(e: &sqlx::Error) -> (String, String) {
    let code =
        e.as_database_error().and_then(|d| d.code()).and_then(|c| c.parse::<i32>().ok()).map(|c| c & 0xff);
    let (what, remedy) = match code {
        Some(13) => ("the disk is full".to_owned(), "Free some space, then try again."),
        Some(8) => ("the database cannot be written".to_owned(), "Give this user the right to write there."),
        Some(11 | 26) => ("the database is damaged".to_owned(), "Go back to a backup."),
        Some(14) => ("the database cannot be opened".to_owned(), "Check the rights on the folder."),
        Some(10) => (format!("reading or writing the database failed ({e})"), "Check the disk."),
        Some(5 | 6) => ("the database is held by another program".to_owned(), "Stop that program."),
        _ => (format!("{e}"), "Try again; if it stays, check the data with `serrata verify`."),
    };
    (what, remedy.to_owned())
}
