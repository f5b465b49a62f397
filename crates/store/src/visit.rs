//! Visits.

use crate::{PatientId, Person, VisitId};
use serde::{Deserialize, Serialize};
use serrata_words::EyeState;

/// Whether a visit is still going on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum VisitState {
    /// Going on.
    Open,
    /// Closed by a person.
    Closed,
}

/// A visit to be made.
#[derive(Debug, Clone, PartialEq)]
pub struct NewVisit {
    /// DICOM Study Instance UID; `None` makes a new one (2.25 and a random UUID).
    pub study_uid: Option<String>,
    /// The patient. A known patient id is the same patient; its name and birth date are then left as they are.
    pub person: Person,
    /// What the clinician asked for, for example `First look`.
    pub order: String,
    /// The protocol that the order stands for (views), as JSON.
    pub protocol: serde_json::Value,
    /// Where the patient sits.
    pub chair: Option<String>,
    /// When it was opened, in microseconds since 1970 by the station's clock.
    pub opened_us: i64,
}

/// A visit as kept.
#[derive(Debug, Clone, PartialEq)]
pub struct Visit {
    /// Its id.
    pub id: VisitId,
    /// DICOM Study Instance UID.
    pub study_uid: String,
    /// The patient's row.
    pub patient_id: PatientId,
    /// The patient.
    pub person: Person,
    /// What the clinician asked for.
    pub order: String,
    /// The protocol (views) as JSON.
    pub protocol: serde_json::Value,
    /// Where the patient sits.
    pub chair: Option<String>,
    /// When it was scheduled, local time as the order says, `YYYY-MM-DDTHH:MM`.
    pub scheduled: Option<String>,
    /// When it was opened, in microseconds since 1970.
    pub opened_us: i64,
    /// Open or closed.
    pub state: VisitState,
    /// What is known of the right eye today.
    pub right_eye: EyeState,
    /// What is known of the left eye today.
    pub left_eye: EyeState,
}

/// A visit with its numbers, for the day's board.
#[derive(Debug, Clone, PartialEq)]
pub struct VisitBrief {
    /// The visit.
    pub visit: Visit,
    /// Frames, those set aside included.
    pub frames: u32,
    /// Frames that wait for their check.
    pub waiting: u32,
    /// Frames whose check failed.
    pub failed: u32,
    /// Frames set aside.
    pub set_aside: u32,
}

/// Which visits to list: open ones first, then closed ones, each newest first.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct VisitQuery {
    /// Whether closed visits are wanted too.
    pub closed: bool,
    /// Of the closed ones only those opened at or after this time, in microseconds since 1970.
    pub closed_since_us: Option<i64>,
    /// At most so many.
    pub limit: u32,
    /// Continue after this visit, the last one of the page before.
    pub after: Option<VisitId>,
}

impl Default for VisitQuery {
    /// Open visits and closed ones of any day, the first 200.
    fn default() -> Self {
        Self { closed: true, closed_since_us: None, limit: 200, after: None }
    }
}

/// How a person ended a view that was not met.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ViewEnd {
    /// It cannot be had from this eye today.
    NotObtainable,
    /// It was not tried.
    NotDone,
}

impl ViewEnd {
    /// The end as it is written in JSON and in the database.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::NotObtainable => "not_obtainable",
            Self::NotDone => "not_done",
        }
    }
}

/// A view that a person closed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ClosedView {
    /// The visit.
    pub visit_id: VisitId,
    /// The view's name in the protocol.
    pub view: String,
    /// How it ended.
    pub end: ViewEnd,
    /// Why.
    pub reason: String,
    /// When, in microseconds since 1970.
    pub closed_us: i64,
}
