use serde::{Deserialize, Serialize};
use serrata_words::{Eye, FrameId, Gaze, Modality, Next, NotHad, Verdict, View};

/// A frame as the visit sees it: what it counts as, after corrections by a person.
#[derive(Debug, Clone, PartialEq)]
pub struct Candidate {
    /// The frame's id.
    pub id: FrameId,
    /// Eye: corrected by a person, else labelled, else seen by the anatomy.
    pub eye: Option<Eye>,
    /// Kind of picture.
    pub modality: Modality,
    /// Gaze.
    pub gaze: Gaze,
    /// Quality, or none where it is still to be checked or could not be read.
    pub verdict: Option<Verdict>,
    /// What to do next, where judged.
    pub next: Option<Next>,
    /// Whether a person took it out of the hand-over.
    pub set_aside: bool,
    /// When it was taken, microseconds since 1970 UTC by the visit's clock, where known.
    pub taken_us: Option<i64>,
    /// Whether its reach stays below what is wanted (a reach reason of the judgement).
    pub reach_short: bool,
}

impl Candidate {
    /// A frame that is still to be checked.
    #[must_use]
    pub const fn new(id: FrameId, eye: Option<Eye>, modality: Modality, gaze: Gaze) -> Self {
        Self {
            id,
            eye,
            modality,
            gaze,
            verdict: None,
            next: None,
            set_aside: false,
            taken_us: None,
            reach_short: false,
        }
    }
}

/// An injection as a clock.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Dye {
    /// Which dye, by the kind of picture that shows it: fluorescein or ICG.
    pub modality: Modality,
    /// Start of the injection, microseconds since 1970 UTC.
    pub start_us: i64,
    /// How far off the start may be, in microseconds.
    pub error_us: i64,
    /// Whether it was taken by mouth: the windows are those of the needle, and judge nothing then.
    pub by_mouth: bool,
}

/// Several frames that show a view together.
#[derive(Debug, Clone, PartialEq)]
pub struct Joint {
    /// Name of the view.
    pub view: String,
    /// The frames.
    pub frames: Vec<FrameId>,
    /// Share of the view's own area that they show together, 0 to 1.
    pub covered: f64,
    /// Quality of the set.
    pub verdict: Verdict,
}

/// The moment at which a visit is looked at.
#[derive(Debug, Clone, Copy, Default)]
pub struct Scene<'a> {
    /// Now, microseconds since 1970 UTC; none where no clock matters.
    pub now_us: Option<i64>,
    /// Injections so far.
    pub dyes: &'a [Dye],
    /// Frames that show a view together.
    pub joint: &'a [Joint],
    /// Whether the patient is unwell: nothing is due, nothing sounds.
    pub unwell: bool,
    /// When the patient was unwell: from, and until, `i64::MAX` where it lasts. What could not be taken then is closed for it,
    /// blameless.
    pub unwell_us: &'a [[i64; 2]],
}

crate::states! {
    /// How a view stands.
    ViewState {
        /// No frame meets it yet.
        Due = "due",
        /// Its time is still to come.
        Later = "later",
        /// Its time has passed and nothing is there; a late frame still beats none.
        Overdue = "overdue",
        /// The patient is unwell: nothing is asked.
        Silent = "silent",
        /// Not wanted, since the ahead frame reaches far enough or is still to come.
        NotWanted = "not_wanted",
        /// A usable frame, or set, meets it.
        Met = "met",
        /// Only frames with reservations meet it.
        MetWithReservations = "met_with_reservations",
        /// A person closed it: cannot be had.
        NotObtainable = "not_obtainable",
        /// A person closed it: was not done.
        NotDone = "not_done",
    }
}

impl ViewState {
    /// Whether something is still to be done: due, later, overdue, or silent for now.
    #[must_use]
    pub const fn open(self) -> bool {
        matches!(self, Self::Due | Self::Later | Self::Overdue | Self::Silent)
    }
}

crate::states! {
    /// The answer for a whole visit.
    Complete {
        /// Something is still due.
        NotYet = "not_yet",
        /// Everything is there or closed with a reason.
        AsFarAsPossible = "as_far_as_possible",
        /// Everything is there.
        Complete = "complete",
    }
}

/// A view with its state and the frames that stand for it, best first.
#[derive(Debug, Clone, PartialEq)]
pub struct ViewStatus {
    /// The view.
    pub view: View,
    /// Its state.
    pub state: ViewState,
    /// Frames that count for it and are not set aside, best first.
    pub frames: Vec<FrameId>,
    /// How many tries were not usable.
    pub failed_tries: usize,
    /// Tries spent; a transit has none, it is judged as a set.
    pub tries: usize,
    /// Why it is met only so far, one sentence each: time, gaps of a set, frames together.
    pub why: Vec<String>,
    /// Who closed it and why, where somebody did.
    pub closure: Option<Closure>,
}

/// A view that a person closed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Closure {
    /// Name of the view.
    pub view: String,
    /// [`ViewState::NotObtainable`] or [`ViewState::NotDone`].
    pub state: ViewState,
    /// Why, where a reason was coded.
    pub why: Option<NotHad>,
    /// Who.
    pub who: String,
}

/// How a visit stands.
#[derive(Debug, Clone, PartialEq)]
pub struct Status {
    /// All views in order of rank.
    pub views: Vec<ViewStatus>,
    /// The answer.
    pub complete: Complete,
    /// The answer as a sentence, for example "Not yet: 1 picture is due, …".
    pub sentence: String,
    /// What to do next, one sentence; none where nothing is due.
    pub next_step: Option<String>,
}
