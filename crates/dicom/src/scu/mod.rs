//! What we ask others over the network, and what we send them.
//!
//! * [`worklist`]: one question and its answer, with limits on time and number;
//! * [`WorklistQuery`]: what is asked for;
//! * [`WorklistItem`]: one scheduled step as the server tells it;
//! * [`StoreLink`]: objects to a peer, one after the other (C-STORE);
//! * [`ask_commitment`]: whether it answers for them (Storage Commitment); [`read_back`]: whether it finds them (C-FIND);
//! * [`WebPeer`]: the same over the web (STOW-RS, QIDO-RS);
//! * [`Peer`]: where it is, and how patient we are with it.

mod commitment;
mod exchange;
mod item;
mod link;
mod peer;
mod query;
mod read_back;
mod store;
mod web;

pub(crate) use commitment::{COMMITMENT, read_report};
pub use commitment::{CommitReport, ask_commitment};
pub use peer::{Peer, PeerError};
pub use read_back::read_back;
pub use store::{Instance, Outgoing, StoreLink, Stored, outgoing};
pub use web::WebPeer;

use exchange::{Exchange, Turn};
pub use item::{CodedText, WorklistItem};
pub use query::WorklistQuery;
use std::time::Duration;

/// Where a worklist is, and how patient we are with it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WorklistServer {
    /// Host and port, for example `10.1.2.3:104`.
    pub address: String,
    /// Its AE title.
    pub called: String,
    /// Our AE title.
    pub calling: String,
    /// How long it may be silent.
    pub silence: Duration,
    /// How long the whole answer may take.
    pub whole: Duration,
    /// Most entries that are taken; beyond it the question is cancelled.
    pub most: usize,
}

impl WorklistServer {
    /// A server with 10 s of silence, 60 s in all and 1000 entries: far more than a department's day (judgement).
    #[must_use]
    pub fn new(address: impl Into<String>, called: impl Into<String>, calling: impl Into<String>) -> Self {
        Self {
            address: address.into(),
            called: called.into(),
            calling: calling.into(),
            silence: Duration::from_secs(10),
            whole: Duration::from_secs(60),
            most: 1000,
        }
    }

    fn peer(&self) -> Peer {
        Peer {
            address: self.address.clone(),
            called: self.called.clone(),
            calling: self.calling.clone(),
            silence: self.silence,
        }
    }
}

impl From<PeerError> for WorklistError {
    fn from(e: PeerError) -> Self {
        match e {
            PeerError::NoAnswer { address, detail } => Self::NoAnswer { address, detail },
            PeerError::Refused { address, detail } => Self::Refused { address, detail },
            PeerError::NothingTaken { address } => {
                Self::Refused { address, detail: "it takes nothing of what was offered".to_owned() }
            }
            PeerError::TooSlow { address, seconds } => Self::TooSlow { address, seconds },
            PeerError::Protocol { address, detail } => Self::Protocol { address, detail },
        }
    }
}

/// What a worklist told.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct WorklistAnswer {
    /// Its entries, in the order in which they came.
    pub items: Vec<WorklistItem>,
    /// Entries that could not be read.
    pub unreadable: usize,
    /// Why the list may be short, one sentence; none where it is whole.
    pub cut_short: Option<String>,
}

/// Why a worklist could not be asked. The text names the server, never a patient.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum WorklistError {
    /// Nobody answers there.
    #[error("{address}: the worklist does not answer ({detail})")]
    NoAnswer {
        /// The server.
        address: String,
        /// What the network said.
        detail: String,
    },
    /// It does not let us in.
    #[error("{address}: the worklist refuses us ({detail})")]
    Refused {
        /// The server.
        address: String,
        /// What it said.
        detail: String,
    },
    /// It was silent for too long before its first entry.
    #[error("{address}: the worklist did not answer in {seconds} s")]
    TooSlow {
        /// The server.
        address: String,
        /// How long we waited.
        seconds: u64,
    },
    /// It failed while searching.
    #[error("{address}: the worklist could not search (status {status:04X}{comment})")]
    Failed {
        /// The server.
        address: String,
        /// DICOM status.
        status: u16,
        /// Its comment, in brackets, or empty.
        comment: String,
    },
    /// It said something that is no DICOM.
    #[error("{address}: the worklist's answer cannot be understood ({detail})")]
    Protocol {
        /// The server.
        address: String,
        /// What was wrong.
        detail: String,
    },
}

impl WorklistError {
    /// What a person can do.
    #[must_use]
    pub const fn remedy(&self) -> &'static str {
        match self {
            Self::NoAnswer { .. } => {
                "Check its address and the network; until it answers, type orders in with a provisional number."
            }
            Self::Refused { .. } => "Ask the department system's keeper to admit our AE title.",
            Self::TooSlow { .. } => "Try again; until then type orders in with a provisional number.",
            Self::Failed { .. } | Self::Protocol { .. } => {
                "Tell the department system's keeper; until then type orders in with a provisional number."
            }
        }
    }

    /// A short stable word for `serrata.error/1`.
    #[must_use]
    pub const fn code(&self) -> &'static str {
        match self {
            Self::NoAnswer { .. } => "worklist_no_answer",
            Self::Refused { .. } => "worklist_refused",
            Self::TooSlow { .. } => "worklist_too_slow",
            Self::Failed { .. } => "worklist_failed",
            Self::Protocol { .. } => "worklist_not_understood",
        }
    }
}

/// Asks a worklist once.
///
/// A server that goes away, grows silent or never ends **after** its first entry costs only what had not come yet:
/// those entries are given with [`WorklistAnswer::cut_short`]. An empty list is an answer, not an error.
///
/// Source: DICOM PS3.4 annex K (worklist), PS3.7 §9.1.2 (C-FIND) and §9.3.2.3 (C-CANCEL).
///
/// # Errors
/// [`WorklistError`] where nothing could be had at all.
pub async fn worklist(
    server: &WorklistServer,
    query: &WorklistQuery,
) -> Result<WorklistAnswer, WorklistError> {
    let deadline = tokio::time::Instant::now() + server.whole;
    let peer = server.peer();
    let mut exchange = Exchange::open(&peer, deadline).await?;
    let mut answer = WorklistAnswer::default();
    exchange.ask(query).await?;
    loop {
        match exchange.next().await {
            Ok(Turn::Entry(data)) => match WorklistItem::read(&data, exchange.encoding()) {
                Some(item) => answer.items.push(item),
                None => answer.unreadable += 1,
            },
            Ok(Turn::End) => break,
            Err(e) if answer.items.is_empty() => return Err(e),
            Err(e) => {
                answer.cut_short = Some(format!(
                    "The list broke off after {} entries and may be short: {e}.",
                    answer.items.len()
                ));
                exchange.abort().await;
                return Ok(answer);
            }
        }
        if answer.items.len() >= server.most {
            answer.cut_short = Some(format!(
                "The worklist holds {} entries or more; only these were taken. Ask for fewer days, or for one station.",
                server.most
            ));
            exchange.cancel().await;
            return Ok(answer);
        }
    }
    exchange.release().await;
    Ok(answer)
}
