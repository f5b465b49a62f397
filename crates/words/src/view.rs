//! Views: pictures that are due.

use crate::{Eye, Gaze, Modality};
use serde::{Deserialize, Serialize};

crate::words! {
    /// Whether a view has to be there.
    Rank("rank") {
        /// The order is not met without it.
        Must = "must",
        /// Wanted.
        Should = "should",
    }
}

/// One picture that is due, and what it must show.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct View {
    /// Name, unique in its protocol.
    pub name: String,
    /// The eye, or null where any will do (the default views).
    #[serde(default)]
    pub eye: Option<Eye>,
    /// Kind of picture.
    pub modality: Modality,
    /// Commanded gaze.
    pub gaze: Gaze,
    /// Must or should.
    pub rank: Rank,
}

impl View {
    /// The default view of a modality, for frames without an order.
    ///
    /// ```
    /// use serrata_words::{Gaze, Modality, View};
    /// assert_eq!(View::default_of(Modality::Faf, Gaze::Primary).name, "default faf");
    /// ```
    #[must_use]
    pub fn default_of(modality: Modality, gaze: Gaze) -> Self {
        Self { name: format!("default {modality}"), eye: None, modality, gaze, rank: Rank::Must }
    }
}
