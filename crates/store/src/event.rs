//! Events: rows with ids that only grow, so that a page resumes where it was.

use crate::rows::word;
use crate::{EventId, FrameId, Store, StoreError, VisitId};
use serde::{Deserialize, Serialize};
use sqlx::Row;

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

impl EventKind {
    /// The kind as it is written in JSON and in the database.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Frame => "frame",
            Self::Visit => "visit",
            Self::Intake => "intake",
        }
    }
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
    /// opened closed reopened seated paused noted eye_state view_closed view_reopened asked_again ordered merged
    /// quarantined moved move_refused sent answered sending`.
    pub what: String,
    /// The visit, where there is one.
    pub visit_id: Option<VisitId>,
    /// The frame, where there is one.
    pub frame_id: Option<FrameId>,
}

impl Store {
    /// Events after `id`, oldest first, at most `limit`.
    ///
    /// # Errors
    /// [`StoreError::Database`] where they cannot be read.
    pub async fn events_since(&self, id: EventId, limit: u32) -> Result<Vec<Event>, StoreError> {
        let mut conn = self.reader().await?;
        let rows = sqlx::query(
            "SELECT id, at_us, kind, what, visit_id, frame_id FROM events WHERE id > ? ORDER BY id LIMIT ?",
        )
        .bind(id.0)
        .bind(limit)
        .fetch_all(&mut *conn)
        .await?;
        rows.iter()
            .map(|row| {
                Ok(Event {
                    id: EventId(row.try_get("id")?),
                    at_us: row.try_get("at_us")?,
                    kind: word(row.try_get("kind")?)?,
                    what: row.try_get("what")?,
                    visit_id: row.try_get::<Option<i64>, _>("visit_id")?.map(VisitId),
                    frame_id: row.try_get::<Option<i64>, _>("frame_id")?.map(FrameId),
                })
            })
            .collect()
    }

    /// Id of the last event; 0 where there is none yet.
    ///
    /// # Errors
    /// [`StoreError::Database`] where it cannot be read.
    pub async fn last_event_id(&self) -> Result<EventId, StoreError> {
        let mut conn = self.reader().await?;
        let id = sqlx::query_scalar("SELECT coalesce(max(id), 0) FROM events").fetch_one(&mut *conn).await?;
        Ok(EventId(id))
    }
}
