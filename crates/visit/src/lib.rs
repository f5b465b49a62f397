//! The clinic's side of a picture: orders, protocols, judging an observation for a view, and what is still due.
//!
//! * [`judge`]: what an observation means for a view, by rules that a clinic can read and change;
//! * [`Protocol`]: the views that an order stands for;
//! * [`status`]: which views are met, and whether the pictures are complete;
//! * [`cautions`]: questions to ask before.
//!
//! Nothing here looks at pixels or at a clock.

mod advice;
mod cautions;
mod completeness;
mod judge;
mod protocol;
mod rules;

pub use advice::advice_for;
pub use cautions::cautions;
pub use completeness::{
    Candidate, Closure, Complete, Dye, Joint, Scene, SetFrame, Status, ViewState, ViewStatus, elapsed_ms, judge_set,
    matches, merge_views, named, status, status_at, time_reasons,
};
pub use judge::{Try, judge};
pub use protocol::{
    Ask, EarlierFrame, EyeWanted, GazeWanted, Plan, Protocol, ProtocolError, ProtocolFault, Question, Wanted,
};
pub use rules::{EyeRule, FindingRule, Limits, ReachRule, Rules, RulesError, TryRule};

/// Declares a set of states with their JSON spelling.
macro_rules! states {
    ($(#[$meta:meta])* $name:ident { $($(#[$vmeta:meta])* $variant:ident = $text:literal),+ $(,)? }) => {
        $(#[$meta])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
        pub enum $name { $($(#[$vmeta])* #[serde(rename = $text)] $variant),+ }
        impl $name {
            /// The state as it is written in JSON.
            #[must_use]
            pub const fn word(self) -> &'static str { match self { $(Self::$variant => $text),+ } }
        }
    };
}
pub(crate) use states;
