//! What arrives, and what became of it.

use crate::{FileId, FrameId, VisitId};
use bytes::Bytes;
use serde::{Deserialize, Serialize};
use serrata_words::{AcquisitionFacts, Method, Personal};

/// A person as a file's header or an order names them. `id` is the hospital's patient id.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Person {
    /// Patient id as the hospital writes it; two persons are the same where this is the same.
    pub id: Personal<String>,
    /// Name for screens.
    pub name: Personal<String>,
    /// Date of birth as `1961-03-07`, where known.
    pub birth_date: Option<Personal<String>>,
    /// Sex as DICOM writes it (`F`, `M`, `O`), where known.
    pub sex: Option<Personal<String>>,
}

/// Which way a file came.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
#[non_exhaustive]
pub enum Source {
    /// Out of a watched folder.
    Folder {
        /// Path of the file there.
        path: String,
    },
    /// Over the DICOM network.
    Dicom {
        /// Calling AE title.
        calling: String,
    },
    /// Dropped on the page.
    Upload,
}

impl Source {
    /// The kind in one word: `folder`, `dicom` or `upload`.
    #[must_use]
    pub const fn kind(&self) -> &'static str {
        match self {
            Self::Folder { .. } => "folder",
            Self::Dicom { .. } => "dicom",
            Self::Upload => "upload",
        }
    }
}

/// One frame of an arriving file.
#[derive(Debug, Clone, PartialEq)]
pub struct NewFrame {
    /// Index in the file, from 0.
    pub index: u32,
    /// Width in pixels.
    pub width: u32,
    /// Height in pixels.
    pub height: u32,
    /// What the header says of it.
    pub facts: AcquisitionFacts,
    /// The work that it causes; `None` where there is nothing to do.
    pub work: Option<NewWork>,
}

impl NewFrame {
    /// A frame of which nothing is known but its size, and which causes no work.
    #[must_use]
    pub fn new(index: u32, width: u32, height: u32) -> Self {
        Self { index, width, height, facts: AcquisitionFacts::default(), work: None }
    }

    /// The same with the work that it causes.
    #[must_use]
    pub fn with_work(mut self, work: NewWork) -> Self {
        self.work = Some(work);
        self
    }
}

/// Work that a fact causes. Its key is made of kind, method, the frame it reads and `parameters`
/// (see [`crate::work_key`]): the same work is never done twice.
#[derive(Debug, Clone, PartialEq)]
pub struct NewWork {
    /// What kind of work, for example `observe`.
    pub kind: String,
    /// Method and revision that will do it.
    pub method: Method,
    /// Everything else that the result depends on, for example `{"modality":"fa","instrument":null}`.
    pub parameters: serde_json::Value,
}

/// A file that arrives.
#[derive(Debug, Clone)]
pub struct Incoming {
    /// The file's bytes, untouched.
    pub bytes: Bytes,
    /// The file's name, for screens.
    pub name: String,
    /// Which way it came.
    pub source: Source,
    /// When, in microseconds since 1970 by the station's clock.
    pub received_us: i64,
    /// DICOM SOP Class UID.
    pub class_uid: Option<String>,
    /// DICOM SOP Instance UID.
    pub instance_uid: Option<String>,
    /// DICOM Study Instance UID.
    pub study_uid: Option<String>,
    /// Whom the header names.
    pub person: Option<Person>,
    /// The visit that a person chose for it. `None`: the frames find their visit by study and patient.
    pub visit: Option<VisitId>,
    /// Its frames.
    pub frames: Vec<NewFrame>,
}

impl Incoming {
    /// A file without header facts and without frames yet.
    pub fn new(name: impl Into<String>, source: Source, received_us: i64, bytes: impl Into<Bytes>) -> Self {
        Self {
            bytes: bytes.into(),
            name: name.into(),
            source,
            received_us,
            class_uid: None,
            instance_uid: None,
            study_uid: None,
            person: None,
            visit: None,
            frames: Vec::new(),
        }
    }

    /// The same with frames.
    #[must_use]
    pub fn with_frames(mut self, frames: Vec<NewFrame>) -> Self {
        self.frames = frames;
        self
    }
}

/// What became of an arriving file. When this is in the caller's hand, the file is synced and indexed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Accepted {
    /// The file's row: the earlier one where the same bytes came before.
    pub file_id: FileId,
    /// SHA-256 of the bytes, hex.
    pub sha256: String,
    /// Its frames, in the order of their index.
    pub frame_ids: Vec<FrameId>,
    /// The same bytes were here before: nothing new was made, and that is a success.
    pub duplicate: bool,
    /// Another file with the same SOP Instance UID and other bytes is here: both are kept and flagged.
    pub conflict: bool,
    /// The visit that the frames found.
    pub visit_id: Option<VisitId>,
    /// Why they found none, in a sentence.
    pub unassigned: Option<String>,
}
