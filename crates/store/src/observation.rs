//! Observations as kept: insert-only, one per key.

use crate::{FrameId, ObservationId, StoreError};
use serrata_words::{Method, Observation};

/// An observation as kept, with the method and parameters that made it.
#[derive(Debug, Clone, PartialEq)]
pub struct StoredObservation {
    /// Its id.
    pub id: ObservationId,
    /// The frame it is of.
    pub frame_id: FrameId,
    /// Key of the work that made it (see [`crate::work_key`]).
    pub key: String,
    /// Kind of work, for example `observe`.
    pub kind: String,
    /// Method and revision.
    pub method: Method,
    /// Everything else that it depends on.
    pub parameters: serde_json::Value,
    /// When it was made, in microseconds since 1970.
    pub made_us: i64,
    /// The result as JSON.
    pub body: serde_json::Value,
}

impl StoredObservation {
    /// The result as an observation.
    ///
    /// # Errors
    /// [`StoreError::Damaged`] where the kept JSON is no observation.
    pub fn observation(&self) -> Result<Observation, StoreError> {
        serde_json::from_value(self.body.clone())
            .map_err(|e| StoreError::Damaged(format!("observation {} cannot be read back ({e})", self.id)))
    }
}
