//! What a re-reading can find.

use crate::{FileId, ObservationId};
use std::path::PathBuf;

/// One thing that is not as it should be.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum Fault {
    /// The bytes of an original are not those that it is named by.
    #[error("original {sha256} was altered: its bytes now have SHA-256 {found}")]
    AlteredOriginal {
        /// Its name.
        sha256: String,
        /// SHA-256 of what is there.
        found: String,
    },
    /// A file's row has no original.
    #[error("original {sha256} of file {file_id} is missing")]
    MissingOriginal {
        /// Its name.
        sha256: String,
        /// The row.
        file_id: FileId,
    },
    /// An original cannot be read.
    #[error("{}: cannot be read ({error})", path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// Why.
        error: String,
    },
    /// A file's row tells another size than its original has.
    #[error("original {sha256} has {found} bytes, its row says {row}")]
    WrongSize {
        /// Its name.
        sha256: String,
        /// Size in the row.
        row: u64,
        /// Size on disk.
        found: u64,
    },
    /// An original without a row: harmless, its arrival was broken off before success was told.
    #[error(
        "original {sha256} is not indexed (harmless: it was never acknowledged; send it again to index it)"
    )]
    NotIndexed {
        /// Its name.
        sha256: String,
    },
    /// A temporary file of a broken-off arrival: harmless, swept at the next start.
    #[error("{}: left over from a broken-off arrival (harmless: swept at the next start)", .0.display())]
    LeftOver(PathBuf),
    /// A file that does not belong there.
    #[error("{}: does not belong into this folder", .0.display())]
    Stray(PathBuf),
    /// SQLite finds its file inconsistent.
    #[error("database: {0}")]
    Database(String),
    /// The audit trail is broken.
    #[error("audit chain {chain}, entry {seq}: {what}")]
    Audit {
        /// The chain.
        chain: String,
        /// Number of the entry in its chain, from 0.
        seq: i64,
        /// What is wrong.
        what: String,
    },
    /// The audit trail and a file's row disagree.
    #[error("file {file_id}: {what}")]
    FileRow {
        /// The row.
        file_id: FileId,
        /// What is wrong.
        what: String,
    },
    /// An observation is not the one that the audit trail tells of.
    #[error("observation {observation_id}: {what}")]
    ObservationRow {
        /// The row.
        observation_id: ObservationId,
        /// What is wrong.
        what: String,
    },
}

impl Fault {
    /// Whether nothing is lost and nothing needs to be done.
    #[must_use]
    pub const fn harmless(&self) -> bool {
        matches!(self, Self::NotIndexed { .. } | Self::LeftOver(_))
    }
}

/// What [`crate::verify`] read and found.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Report {
    /// Originals read.
    pub originals: u64,
    /// Bytes of originals read.
    pub bytes: u64,
    /// Rows of files.
    pub files: u64,
    /// Rows of frames.
    pub frames: u64,
    /// Audit entries.
    pub audit_entries: u64,
    /// Head of each audit chain: (chain, hash of its last entry, hex).
    pub heads: Vec<(String, String)>,
    /// All that is not as it should be, harmless things included.
    pub faults: Vec<Fault>,
}

impl Report {
    /// Whether nothing is wrong, harmless things apart.
    #[must_use]
    pub fn is_clean(&self) -> bool {
        self.faults.iter().all(Fault::harmless)
    }
}
