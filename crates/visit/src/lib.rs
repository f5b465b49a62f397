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
mod clock;
mod completeness;
mod covered;
mod day;
mod dye_run;
mod eye_effects;
mod identity;
mod judge;
mod light;
mod lists;
mod look_next;
mod needle;
mod orders_csv;
mod pole;
mod protocol;
mod region;
mod rules;
mod said;
mod state;
mod turned;

pub use advice::advice_for;
pub use cautions::{Caution, cautions, chair_notes, halts, questions, stops};
pub use clock::{ClockTie, clock_tie};
pub use completeness::{
    Candidate, Closure, Complete, Dye, Joint, Scene, SetFrame, Status, ViewState, ViewStatus, elapsed_ms,
    judge_set, matches, merge_views, named, status, status_at, time_reasons,
};
pub use day::{Alarm, OpenVisit, alarms, chair_query, short_identity};
pub use dye_run::{RunClock, RunFrame, RunNow, RunState, run_now};
pub use eye_effects::{Millimetres, carried, carried_person, for_judging, gaze_range_deg, millimetres};
pub use identity::{Belongs, Difference, VisitKey, belongs, contradictions, differences};
pub use judge::{Before, Try, judge};
pub use light::{
    ASSUMPTIONS, FrameLight, GROUP1_A_UW_CM2, GROUP1_R_W_CM2, LightRecord, NoFigure, SourceLimit, c_a, c_b,
    cap_area_cm2, frame_light, gamma_mrad, laser_limit, light_record, t1_s, t2_s, weight_a, weight_r,
};
pub use lists::{ClinicLines, Item, Leftovers, PrintedRow, closing, opening, printed, wiping_line};
pub use look_next::{Look, LookQuery, Seen, look_next};
pub use needle::{NeedleError, dose_said, fluorescein_label_mg, needle_open, needle_standing};
pub use orders_csv::{BadRow, COLUMNS, OrdersError, OrdersRead, read_orders};
pub use protocol::{
    Ask, EarlierFrame, EyeWanted, GazeWanted, Plan, Protocol, ProtocolError, ProtocolFault, Question, Wanted,
};
pub use region::{Piece, joint, view_region, wanted_region};
pub use rules::{EyeRule, FindingRule, Limits, LookRule, ReachRule, Rules, RulesError, TryRule, TurnedRule};
pub use said::{eye_noted, fact_said, note_said, person_noted};
pub use state::{Call, FrameFacts, Place, VisitFacts, identifiers_said, only_touched};

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
