//! Work items: what is still to be done, kept in the same transaction as the fact that causes it.

use crate::{Corrections, FileId, FrameId, WorkId};
use serde::{Deserialize, Serialize};
use serrata_words::{AcquisitionFacts, Method};

/// Where a work item stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum WorkState {
    /// Waits for a worker.
    Ready,
    /// A worker has it until its lease ends.
    Leased,
    /// Done: its result is kept.
    Done,
    /// Given up after too many tries.
    Dead,
}

/// A leased work item, with all that a worker needs.
#[derive(Debug, Clone, PartialEq)]
pub struct WorkItem {
    /// Its id.
    pub id: WorkId,
    /// Its key (see [`crate::work_key`]).
    pub key: String,
    /// What kind of work.
    pub kind: String,
    /// Method and revision.
    pub method: Method,
    /// Everything else that the result depends on.
    pub parameters: serde_json::Value,
    /// The frame.
    pub frame_id: FrameId,
    /// The file that it is in.
    pub file_id: FileId,
    /// SHA-256 of the file, for [`crate::Store::read_original`].
    pub sha256: String,
    /// The file's name, which tells the decoder its kind.
    pub name: String,
    /// Index of the frame in the file.
    pub index: u32,
    /// What the header says.
    pub facts: AcquisitionFacts,
    /// What a person set right.
    pub corrections: Corrections,
    /// Tries including this one, from 1.
    pub attempts: u32,
    /// End of the lease, in microseconds since 1970.
    pub lease_until_us: i64,
}

/// What became of a failed work item.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FailOutcome {
    /// It will be tried again.
    WillRetry,
    /// It was given up: the frame's state is failed.
    Dead,
    /// Someone else had ended it before: nothing was changed.
    AlreadyEnded,
}
