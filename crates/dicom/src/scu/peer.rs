//! Another DICOM application, and what can go wrong with it.

use dicom_ul::association::Error;
use std::time::Duration;

/// Another DICOM application, and how patient we are with it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Peer {
    /// Host and port, for example `10.1.2.3:104`.
    pub address: String,
    /// Its AE title.
    pub called: String,
    /// Our AE title.
    pub calling: String,
    /// How long it may be silent.
    pub silence: Duration,
}

/// Why a peer could not be talked to. The text names the peer, never a patient.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum PeerError {
    /// Nobody answers there, or it went away.
    #[error("{address} does not answer ({detail})")]
    NoAnswer {
        /// The peer.
        address: String,
        /// What the network said.
        detail: String,
    },
    /// It does not let us in.
    #[error("{address} refuses us ({detail})")]
    Refused {
        /// The peer.
        address: String,
        /// What it said.
        detail: String,
    },
    /// It talks to us, and takes nothing of what we offered.
    #[error("{address} takes nothing of what was offered")]
    NothingTaken {
        /// The peer.
        address: String,
    },
    /// It was silent for too long.
    #[error("{address} was silent for {seconds} s")]
    TooSlow {
        /// The peer.
        address: String,
        /// How long we waited.
        seconds: u64,
    },
    /// It said something that is no DICOM, or not what was asked.
    #[error("{address} is not understood ({detail})")]
    Protocol {
        /// The peer.
        address: String,
        /// What was wrong.
        detail: String,
    },
}

impl PeerError {
    /// What a person can do.
    #[must_use]
    pub const fn remedy(&self) -> &'static str {
        match self {
            Self::NoAnswer { .. } => "Check its address and the network; it is tried again by itself.",
            Self::Refused { .. } => "Ask its keeper to admit our AE title, and check the one that we call.",
            Self::NothingTaken { .. } => "Ask its keeper to take these classes and transfer syntaxes.",
            Self::TooSlow { .. } => "Look whether it is busy; it is tried again by itself.",
            Self::Protocol { .. } => "Tell its keeper; it is tried again by itself.",
        }
    }

    /// A short stable word for `serrata.error/1`.
    #[must_use]
    pub const fn code(&self) -> &'static str {
        match self {
            Self::NoAnswer { .. } => "peer_no_answer",
            Self::Refused { .. } => "peer_refused",
            Self::NothingTaken { .. } => "peer_takes_nothing",
            Self::TooSlow { .. } => "peer_too_slow",
            Self::Protocol { .. } => "peer_not_understood",
        }
    }
}

impl Peer {
    pub(super) fn too_slow(&self) -> PeerError {
        PeerError::TooSlow { address: self.address.clone(), seconds: self.silence.as_secs() }
    }

    pub(super) fn no_answer(&self, detail: impl Into<String>) -> PeerError {
        PeerError::NoAnswer { address: self.address.clone(), detail: detail.into() }
    }

    pub(super) fn refused(&self, detail: impl Into<String>) -> PeerError {
        PeerError::Refused { address: self.address.clone(), detail: detail.into() }
    }

    /// The same where an association has one purpose: then nothing taken means that it does not serve it.
    pub(super) fn without(&self, what: &str) -> impl Fn(PeerError) -> PeerError {
        move |e| match e {
            PeerError::NothingTaken { .. } => self.refused(format!("it offers no {what}")),
            other => other,
        }
    }

    pub(super) fn not_understood(&self, detail: impl Into<String>) -> PeerError {
        PeerError::Protocol { address: self.address.clone(), detail: detail.into() }
    }

    /// An error of the upper layer in our words.
    pub(super) fn told(&self, e: &Error) -> PeerError {
        match e {
            Error::Rejected { .. } => self.refused(e.to_string()),
            Error::NoAcceptedPresentationContexts { .. } => {
                PeerError::NothingTaken { address: self.address.clone() }
            }
            Error::Timeout { .. } => self.too_slow(),
            Error::Connect { source, .. } => self.no_answer(source.to_string()),
            Error::ToAddress { .. } => self.no_answer("there is no such host"),
            Error::UnexpectedPdu { .. } | Error::UnknownPdu { .. } => {
                self.not_understood("it sent something other than an answer")
            }
            other => self.no_answer(other.to_string()),
        }
    }
}
