use serde::{Deserialize, Serialize};
use serrata_words::{Eye, Gaze, Modality, Phase, Rank, SetRule, Window};

/// Which eye a wanted picture is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum EyeWanted {
    /// The right eye.
    R,
    /// The left eye.
    L,
    /// Each eye that was ordered; the eye with the complaint first.
    #[serde(rename = "both")]
    Both,
    /// The transit eye of a dye run, asked of the clinician.
    #[serde(rename = "transit")]
    Transit,
    /// The other one.
    #[serde(rename = "fellow")]
    Fellow,
}

/// Where the patient looks, also by the side of the head: nasal and temporal depend on the eye.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[allow(missing_docs)] // the words of `Gaze`, which say it
pub enum GazeWanted {
    Primary,
    Up,
    Down,
    Right,
    Left,
    UpRight,
    UpLeft,
    DownRight,
    DownLeft,
    /// Towards the temple: shows the temporal retina.
    Temporal,
    /// Towards the nose: shows the nasal retina.
    Nasal,
}

impl GazeWanted {
    /// The gaze of a given eye. Example: temporal of the right eye is the patient's right.
    #[must_use]
    pub const fn of(self, eye: Eye) -> Gaze {
        match (self, eye) {
            (Self::Primary, _) => Gaze::Primary,
            (Self::Up, _) => Gaze::Up,
            (Self::Down, _) => Gaze::Down,
            (Self::Right, _) | (Self::Temporal, Eye::R) | (Self::Nasal, Eye::L) => Gaze::Right,
            (Self::Left, _) | (Self::Temporal, Eye::L) | (Self::Nasal, Eye::R) => Gaze::Left,
            (Self::UpRight, _) => Gaze::UpRight,
            (Self::UpLeft, _) => Gaze::UpLeft,
            (Self::DownRight, _) => Gaze::DownRight,
            (Self::DownLeft, _) => Gaze::DownLeft,
        }
    }
}

/// One wanted picture of a protocol, as the clinic writes it.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Wanted {
    /// Name, unique in the protocol.
    pub name: String,
    /// Which eye.
    pub eye: EyeWanted,
    /// Kind of picture.
    pub modality: Modality,
    /// Where the patient looks.
    pub gaze: GazeWanted,
    /// Must or should.
    pub rank: Rank,
    /// Options that make a should a must.
    #[serde(default)]
    pub must_when: Vec<String>,
    /// Options that make a must a should.
    #[serde(default)]
    pub should_when: Vec<String>,
    /// Wanted only with one of these options.
    #[serde(default)]
    pub only_when: Vec<String>,
    /// Part of the dye run.
    #[serde(default)]
    pub phase: Option<Phase>,
    /// Time after the start of the injection of its own dye.
    #[serde(default)]
    pub window: Option<Window>,
    /// Whether it comes before any dye.
    #[serde(default)]
    pub before_dye: bool,
    /// Met by a set of frames.
    #[serde(default)]
    pub set: Option<SetRule>,
    /// Whether several frames may meet it together.
    #[serde(default)]
    pub jointly: bool,
    /// Wanted only where the ahead frame of the same eye and kind does not reach far enough.
    #[serde(default)]
    pub if_reach_fails: bool,
    /// What a person has to see in it.
    #[serde(default)]
    pub shows: Vec<String>,
}
