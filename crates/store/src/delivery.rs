//! Deliveries: what is to reach another place, and how far it has come.

use crate::{FrameId, VisitId};
use serde::{Deserialize, Serialize};

/// How far a delivery has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum DeliveryState {
    /// Not there yet.
    Waiting,
    /// The other side said that it has it; that is not proven yet.
    Stored,
    /// The other side was asked to answer for it, and has not yet.
    Asked,
    /// There, and proven: only now it counts as handed over.
    Done,
    /// It needs a person.
    Failed,
    /// Taken out of the queue, by a person or because a frame of it left the hand-over.
    Withdrawn,
}

impl DeliveryState {
    /// The word in JSON and in the database.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Waiting => "waiting",
            Self::Stored => "stored",
            Self::Asked => "asked",
            Self::Done => "done",
            Self::Failed => "failed",
            Self::Withdrawn => "withdrawn",
        }
    }
}

/// What a delivery is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum DeliveryKind {
    /// A file as it was taken: once it is there, its frames count as sent.
    Original,
    /// An object made of pictures; it says something about frames, and sends none of them.
    Derived,
}

impl DeliveryKind {
    /// The word in JSON and in the database.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Original => "original",
            Self::Derived => "derived",
        }
    }
}

/// A file that is to be queued.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewDelivery {
    /// What it is.
    pub kind: DeliveryKind,
    /// SHA-256 of the file.
    pub sha256: String,
    /// Its name.
    pub name: String,
    /// SOP Instance UID.
    pub instance_uid: String,
    /// The frames that it holds, or is about.
    pub frames: Vec<FrameId>,
}

/// As what an object was sent, as its file says it.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct SentAs {
    /// SOP Class UID.
    pub class_uid: String,
    /// Study Instance UID.
    pub study_uid: String,
    /// Series Instance UID.
    pub series_uid: String,
}

/// A delivery as it is kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Delivery {
    /// Its number.
    pub id: i64,
    /// Where it goes: a name of the clinic's own.
    pub destination: String,
    /// The visit that it was queued for.
    pub visit_id: VisitId,
    /// What it is.
    pub kind: DeliveryKind,
    /// SHA-256 of the file.
    pub sha256: String,
    /// Its name.
    pub name: String,
    /// SOP Instance UID.
    pub instance_uid: String,
    /// The frames that it holds, or is about.
    pub frames: Vec<FrameId>,
    /// As what it was sent; none before.
    pub sent_as: Option<SentAs>,
    /// How far it has come.
    pub state: DeliveryState,
    /// How often it was tried in vain in this state.
    pub tries: u32,
    /// When it is tried next, microseconds since 1970 UTC.
    pub next_us: i64,
    /// Why it is not done, or how it was proven.
    pub why: Option<String>,
    /// Who queued it.
    pub who: String,
    /// When, microseconds since 1970 UTC.
    pub queued_us: i64,
    /// When it was proven.
    pub done_us: Option<i64>,
}

/// How a delivery goes on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum DeliveryStep {
    /// The other side said that it has it.
    Stored {
        /// As what it was sent.
        sent_as: SentAs,
    },
    /// It was asked to answer for it under this transaction; where nothing comes, it is asked again at that time.
    Asked {
        /// Transaction UID of the question.
        transaction: String,
        /// Microseconds since 1970 UTC.
        again_us: i64,
    },
    /// Proven, and how.
    Done {
        /// One phrase.
        how: String,
    },
    /// In vain this time; it goes on from `state` at that time.
    Later {
        /// Where it goes on.
        state: DeliveryState,
        /// Why.
        why: String,
        /// Microseconds since 1970 UTC.
        next_us: i64,
    },
    /// It needs a person.
    Failed {
        /// Why.
        why: String,
    },
}

/// How many deliveries of a destination stand where.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DeliveryCount {
    /// The destination.
    pub destination: String,
    /// Where they stand.
    pub state: DeliveryState,
    /// How many.
    pub many: u64,
}
