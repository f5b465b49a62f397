//! Frames as kept.

use crate::{FileId, FrameId, ObservationId, Person, Source, VisitId};
use serde::{Deserialize, Serialize};
use serrata_words::{AcquisitionFacts, Eye, Gaze, Modality};

/// Where a frame's check stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum FrameState {
    /// The check is still to come, or none was asked for.
    Waiting,
    /// The check is done: there is an observation.
    Checked,
    /// The check failed for good: there is a [`Failure`].
    Failed,
}

impl FrameState {
    /// The state as it is written in JSON and in the database.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Waiting => "waiting",
            Self::Checked => "checked",
            Self::Failed => "failed",
        }
    }
}

/// What a person set right. `None` leaves what the header says.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Corrections {
    /// The eye.
    pub eye: Option<Eye>,
    /// The kind of picture.
    pub modality: Option<Modality>,
    /// The gaze.
    pub gaze: Option<Gaze>,
}

/// Why a check failed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Failure {
    /// What is wrong, one sentence.
    pub message: String,
    /// What to do, one sentence.
    pub remedy: String,
    /// Whether trying again can help: no for a file that cannot be read, yes for want of memory.
    pub again: bool,
}

/// One frame as kept. The original behind it never changes.
#[derive(Debug, Clone, PartialEq)]
pub struct KeptFrame {
    /// Its id.
    pub id: FrameId,
    /// The file it is in.
    pub file_id: FileId,
    /// Index in the file, from 0.
    pub index: u32,
    /// SHA-256 of the file, hex.
    pub sha256: String,
    /// The file's name.
    pub name: String,
    /// Which way the file came.
    pub source: Source,
    /// When it came, in microseconds since 1970 by the station's clock.
    pub received_us: i64,
    /// Whether another file with the same SOP Instance UID and other bytes is kept.
    pub conflict: bool,
    /// Whom the header names.
    pub person: Option<Person>,
    /// DICOM Study Instance UID of the header.
    pub study_uid: Option<String>,
    /// The visit it belongs to.
    pub visit_id: Option<VisitId>,
    /// Why it belongs to none.
    pub unassigned: Option<String>,
    /// Width in pixels.
    pub width: u32,
    /// Height in pixels.
    pub height: u32,
    /// What the header says.
    pub facts: AcquisitionFacts,
    /// What a person set right.
    pub corrections: Corrections,
    /// Where its check stands.
    pub state: FrameState,
    /// Why the check failed.
    pub failure: Option<Failure>,
    /// Why it was set aside, where it was.
    pub set_aside: Option<String>,
    /// What a person should look at before it is trusted, for example that another patient sat at its instrument.
    pub query: Option<String>,
    /// Whether it waits for a second person on its way to another patient: it meets no view and leaves in no hand-over.
    pub quarantined: bool,
    /// The observation that holds now.
    pub observation_id: Option<ObservationId>,
}

impl KeptFrame {
    /// The eye: as corrected, else as labelled.
    #[must_use]
    pub fn eye(&self) -> Option<Eye> {
        self.corrections.eye.or(self.facts.eye)
    }

    /// The kind of picture: as corrected, else as labelled.
    #[must_use]
    pub fn modality(&self) -> Option<Modality> {
        self.corrections.modality.or(self.facts.modality)
    }

    /// The gaze: as corrected, else as labelled.
    #[must_use]
    pub fn gaze(&self) -> Option<Gaze> {
        self.corrections.gaze.or(self.facts.gaze)
    }
}
