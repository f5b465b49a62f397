//! The words that every part of Serrata shares: eye, modality, gaze, view, finding, observation, verdict,
//! instrument, and each `serrata.*/1` contract that others script against.
//!
//! Only types, `serde` and rounding live here: no pixels, no files, no clocks, no network.
//! A frame travels as follows: [`AcquisitionFacts`] come in with the picture, an [`Observation`] says what is in
//! its pixels, a [`Judgement`] says what that means for a [`View`], and an [`AppraisalLine`] is what is printed.
//!
//! ```
//! use serrata_words::{Eye, Verdict};
//! assert_eq!(Eye::R.screen(), "Right eye (OD)");
//! assert_eq!(serde_json::to_string(&Verdict::NotUsable)?, "\"not_usable\"");
//! # Ok::<(), serde_json::Error>(())
//! ```

pub mod appraisal;
pub mod assembly;
mod dye;
pub mod error_line;
pub mod event;
pub mod eye;
pub mod eye_state;
pub mod facts;
pub mod finding;
pub mod gaze;
pub mod instrument;
pub mod measure;
pub mod method;
pub mod modality;
pub mod needle;
pub mod observation;
pub mod order;
mod package;
pub mod personal;
pub mod region;
pub mod round;
pub mod stamp;
pub mod truth;
pub mod verdict;
pub mod vessels;
pub mod view;
pub mod window;

pub use appraisal::{
    AppraisalLine, AppraisedFinding, EyeLine, GazeLine, Milliseconds, ViewLine, VisibleLine,
};
pub use assembly::{AssembledFrame, AssemblyLine, LocalShape, MosaicLine, Placement, Shape, SwayShape};
pub use dye::{DyeCurve, DyeFrame, DyeIndex, DyeLine, DyeLook, DyeRegion, DyeSpan, DyeZone};
pub use error_line::ErrorLine;
pub use event::{
    Assigned, Event, Fact, FrameId, JudgedRegion, MoveStep, NotHad, RegionDecision, RunMode, ViewEnd, undone,
};
pub use eye::Eye;
pub use eye_state::{EyeState, PersonState};
pub use facts::AcquisitionFacts;
pub use finding::{Finding, FindingKind, Side};
pub use gaze::Gaze;
pub use instrument::{Instrument, Laser, Projection, Radial, SlowAxis};
pub use measure::{MeasureKind, MeasureLine};
pub use method::Method;
pub use modality::Modality;
pub use needle::{Concentration, DoseRule, Drug, Injection, NeedleNote, Route};
pub use observation::{Disc, EyeInference, Fovea, Observation, Reach, Sharpness, VisibleRetina};
pub use order::{BirthDate, Identity, Order, OrderSource, OrderState};
pub use package::{LeftOut, PackageFile, PackageManifest};
pub use personal::Personal;
pub use region::{Point, Region, Ring};
pub use stamp::Stamp;
pub use truth::{DyeMoment, DyePhase, DyeTimes, EyeMovement, EyeTruth, FrameTruth, LesionKind, LesionTruth};
pub use verdict::{Judgement, Next, Reason, Verdict};
pub use vessels::{VesselGuess, VesselKind, VesselLine, VesselNode, VesselNodeKind, VesselsLine};
pub use view::{Phase, Rank, SetRule, View};
pub use window::{Window, WindowError};

/// A word that is none of those the tool knows, with the words that it does know.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("\"{given}\" is no {what}; use one of: {known}")]
pub struct UnknownWord {
    /// What was given.
    pub given: String,
    /// What kind of word was expected, for example "modality".
    pub what: &'static str,
    /// All words that are known, separated by commas.
    pub known: String,
}

/// Declares an enum of words with its JSON spelling, `Display`, `FromStr` and the list of all.
macro_rules! words {
    ($(#[$meta:meta])* $name:ident ($what:literal) { $($(#[$vmeta:meta])* $variant:ident = $text:literal),+ $(,)? }) => {
        $(#[$meta])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, serde::Serialize, serde::Deserialize)]
        pub enum $name { $($(#[$vmeta])* #[serde(rename = $text)] $variant),+ }
        impl $name {
            /// Every word of this kind, in the order of the glossary.
            pub const ALL: &'static [Self] = &[$(Self::$variant),+];
            /// The word as it is written in JSON, on the command line and in TOML.
            #[must_use]
            pub const fn word(self) -> &'static str { match self { $(Self::$variant => $text),+ } }
        }
        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result { f.pad(self.word()) }
        }
        impl std::str::FromStr for $name {
            type Err = $crate::UnknownWord;
            fn from_str(s: &str) -> Result<Self, Self::Err> {
                Self::ALL.iter().copied().find(|w| w.word() == s).ok_or_else(|| $crate::UnknownWord {
                    given: s.to_owned(), what: $what,
                    known: Self::ALL.iter().map(|w| w.word()).collect::<Vec<_>>().join(", "),
                })
            }
        }
    };
}
pub(crate) use words;
