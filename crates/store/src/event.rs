//! Events: rows with ids that only grow, so that a page resumes where it was.

use crate::{EventId, FrameId, VisitId};
use serde::{Deserialize, Serialize};

/// What an event is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum EventKind {
    /// A frame changed.
    Frame,
    /// A visit changed.
    Visit,
    /// A file arrived.
    Intake,
}

/// One event.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Event {
    /// Its id.
    pub id: EventId,
    /// When, in microseconds since 1970.
    pub at_us: i64,
    /// What it is about.
    pub kind: EventKind,
    /// What happened, in a short stable word: `accepted checked failed assigned set_aside brought_back corrected
    /// opened closed reopened seated eye_state view_closed view_reopened asked_again`.
    pub what: String,
    /// The visit, where there is one.
    pub visit_id: Option<VisitId>,
    /// The frame, where there is one.
    pub frame_id: Option<FrameId>,
}
