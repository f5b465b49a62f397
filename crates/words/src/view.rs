//! Views: pictures that are due.

use crate::{Eye, Gaze, Modality, Window};
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

crate::words! {
    /// Which part of a dye run a view belongs to.
    Phase("phase") {
        /// The dark frame before the injection.
        Control = "control",
        /// The dye's first passage, judged as a set.
        Transit = "transit",
        /// The fellow eye, soon after the injection.
        Fellow = "fellow",
        /// After the first passage.
        Mid = "mid",
        /// When the dye leaves.
        Late = "late",
    }
}

/// What makes a set of frames meet a view, where one frame does not.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct SetRule {
    /// Fewest frames.
    pub frames: u32,
    /// Longest gap between frames in seconds: a must.
    pub max_gap_s: Option<f64>,
    /// Longest gap that is wanted, in seconds.
    pub wanted_gap_s: Option<f64>,
    /// Where the wanted gap is asked for, counted as the window is; the whole window where none is given.
    pub wanted_between: Option<Window>,
    /// Frames that are wanted, and within how many seconds from the first dye seen.
    pub wanted_frames: Option<(u32, f64)>,
    /// A frame of this kind of the same eye has to follow or precede within `pair_s`.
    pub pair_with: Option<Modality>,
    /// Longest time between the two of a pair, in seconds.
    pub pair_s: Option<f64>,
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
    /// Part of the dye run, or null for pictures without dye.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub phase: Option<Phase>,
    /// Time after the start of the injection of its own dye, or null for any time.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub window: Option<Window>,
    /// Whether it comes before any dye.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub before_dye: bool,
    /// Met by a set of frames and by which rule, or null: by one frame (or jointly, see `jointly`).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub set: Option<SetRule>,
    /// Whether several frames may meet it together, each showing a part.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub jointly: bool,
    /// Wanted only where the ahead frame of the same eye and kind does not reach far enough.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub if_reach_fails: bool,
    /// What a person has to see in it, beyond what is judged from pixels.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub shows: Vec<String>,
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
        Self {
            name: format!("default {modality}"),
            eye: None,
            modality,
            gaze,
            rank: Rank::Must,
            phase: None,
            window: None,
            before_dye: false,
            set: None,
            jointly: false,
            if_reach_fails: false,
            shows: Vec::new(),
        }
    }
}
