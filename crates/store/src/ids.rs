//! Ids of rows. Each kind has its own type, so that a frame's id cannot be passed where a visit's is meant.

use serde::{Deserialize, Serialize};

macro_rules! ids {
    ($($(#[$meta:meta])* $name:ident),+ $(,)?) => {$(
        $(#[$meta])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
        #[serde(transparent)]
        pub struct $name(pub i64);
        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result { self.0.fmt(f) }
        }
        impl std::str::FromStr for $name {
            type Err = std::num::ParseIntError;
            fn from_str(s: &str) -> Result<Self, Self::Err> { s.parse().map($name) }
        }
    )+};
}

ids! {
    /// A patient's row (not the hospital's patient id).
    PatientId,
    /// A visit.
    VisitId,
    /// A file as it came: one original.
    FileId,
    /// A frame of a file.
    FrameId,
    /// A work item.
    WorkId,
    /// A stored observation.
    ObservationId,
    /// An event; ids only grow, so that a reader resumes after the last one it saw.
    EventId,
}
