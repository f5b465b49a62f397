//! What happened in a visit: facts with author, time and reason. Facts are added, never changed.

use crate::{
    Drug, Eye, EyeState, Gaze, Injection, Modality, NeedleNote, Order, PersonState, Region, Route, View,
};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

/// Number of a frame in its store.
pub type FrameId = i64;

/// One fact. Their order is that of `seq`, given when the fact is kept: clocks jump, numbers do not.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Event {
    /// Place in the order of facts of this visit, unique.
    pub seq: u64,
    /// When, microseconds since 1970 UTC by the station's clock.
    pub at_us: i64,
    /// Who: an account, or "station".
    pub who: String,
    /// Why, in words, where asked.
    #[serde(default)]
    pub reason: Option<String>,
    /// What.
    pub fact: Fact,
}

/// What a frame counts as.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Assigned {
    /// Eye, or null where nobody knows.
    pub eye: Option<Eye>,
    /// Kind of picture.
    pub modality: Modality,
    /// Gaze.
    pub gaze: Gaze,
}

crate::words! {
    /// Which dye's frames are asked for; changed at any moment by hand.
    RunMode("frames of a run") {
        /// Both dyes in turn, the ICG frame first (common practice, no source).
        InTurn = "in_turn",
        /// Fluorescein alone.
        Fa = "fa",
        /// Indocyanine green alone.
        Icg = "icg",
    }
}

#[allow(clippy::derivable_impls)] // the words are declared by a macro
impl Default for RunMode {
    fn default() -> Self {
        Self::InTurn
    }
}

crate::words! {
    /// What a person made of a region that was proposed.
    RegionDecision("decision") {
        /// It is as proposed.
        Accepted = "accepted",
        /// It is there, with another outline.
        Corrected = "corrected",
        /// It is not there.
        Refused = "refused",
        /// Nothing was proposed; the person drew it.
        Drawn = "drawn",
        /// What the person made of it before is taken back; it stays in the record.
        Withdrawn = "withdrawn",
    }
}

crate::words! {
    /// How a person closed a view that has no picture.
    ViewEnd("end of a view") {
        /// It cannot be had.
        NotObtainable = "not_obtainable",
        /// It was not done.
        NotDone = "not_done",
    }
}

crate::words! {
    /// Why a view was closed without a picture.
    NotHad("reason") {
        /// The patient, or the guardian, said no.
        Declined = "declined",
        /// The patient was unwell.
        Unwell = "unwell",
        /// The clinician stopped it.
        StoppedByClinician = "stopped_by_clinician",
        /// The instrument failed.
        Instrument = "instrument",
        /// There was no time left.
        NoTime = "no_time",
        /// The pupil is too small.
        Pupil = "pupil",
        /// Clouded media, gas or oil hide it.
        Media = "media",
        /// Lids cannot be kept out of the way.
        Lids = "lids",
        /// The eye cannot hold or reach the gaze.
        Gaze = "gaze",
        /// The head cannot be brought to the instrument.
        Position = "position",
        /// Enough tries were spent.
        TriesSpent = "tries_spent",
        /// No dye was given.
        NoDye = "no_dye",
        /// Something else: the words are asked.
        Other = "other",
    }
}

impl NotHad {
    /// The reason as screens write it. Example: `NotHad::Unwell.screen()` is `"patient unwell"`.
    #[must_use]
    pub const fn screen(self) -> &'static str {
        match self {
            Self::Declined => "declined",
            Self::Unwell => "patient unwell",
            Self::StoppedByClinician => "stopped by the clinician",
            Self::Instrument => "instrument not working",
            Self::NoTime => "no time left",
            Self::Pupil => "pupil too small",
            Self::Media => "media, gas or oil in the way",
            Self::Lids => "lids in the way",
            Self::Gaze => "gaze not reached or not held",
            Self::Position => "cannot be positioned",
            Self::TriesSpent => "enough tries spent",
            Self::NoDye => "no dye was given",
            Self::Other => "other",
        }
    }
}

/// A step of moving a frame to another patient: two people, and a quarantine between them.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "step", rename_all = "snake_case")]
pub enum MoveStep {
    /// The first person asks; the frame is in quarantine from now on.
    Asked {
        /// The visit that it should go to.
        to_visit: String,
        /// Where it was already sent, each to be asked for a recall.
        sent_to: Vec<String>,
    },
    /// A second person confirms: it leaves this visit.
    Confirmed,
    /// Anybody refuses: it comes back from quarantine.
    Refused,
}

/// A region of a dye run as a person sees it. Outlines are in pixels of the reference frame.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct JudgedRegion {
    /// Whose frames.
    pub eye: Eye,
    /// Of which dye.
    pub modality: Modality,
    /// The reference frame.
    pub frame: FrameId,
    /// `late brightening` or `dark, unfilled`.
    pub what: String,
    /// What the person made of it.
    pub decision: RegionDecision,
    /// The method that proposed it, with its revision; none where nothing was proposed.
    pub method: Option<String>,
    /// The outline as it was proposed; none where nothing was.
    pub proposed: Option<Region>,
    /// The outline that holds now, or the drawn one that is taken back; none where it was refused.
    pub outline: Option<Region>,
}

/// What happened.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
#[non_exhaustive]
pub enum Fact {
    /// Two identifiers were said and compared.
    IdentityTicked {
        /// Which ones, for example "family name" and "day of birth".
        identifiers: Vec<String>,
    },
    /// An order joined the visit, with the views that it stands for.
    Ordered {
        /// The order.
        order: Box<Order>,
        /// Its views.
        views: Vec<View>,
    },
    /// An order was taken back by whoever asked.
    OrderCancelled {
        /// Its number.
        number: String,
    },
    /// A person saw a provisional order beside one of the worklist and merged the two.
    OrderMerged {
        /// The provisional number.
        provisional: String,
        /// The order that it is.
        into: Box<Order>,
    },
    /// A frame came in.
    FrameArrived {
        /// Its number.
        frame: FrameId,
        /// What its labels say.
        labels: Assigned,
        /// When it was taken, microseconds since 1970 UTC, where known.
        taken_us: Option<i64>,
        /// The order it came for, where it says so.
        order: Option<String>,
    },
    /// A person corrected the eye.
    EyeCorrected {
        /// The frame.
        frame: FrameId,
        /// The eye that it is; null: nobody knows.
        eye: Option<Eye>,
    },
    /// A person corrected the kind.
    ModalityCorrected {
        /// The frame.
        frame: FrameId,
        /// The kind that it is.
        modality: Modality,
    },
    /// A person corrected the gaze.
    GazeCorrected {
        /// The frame.
        frame: FrameId,
        /// The gaze that it is.
        gaze: Gaze,
    },
    /// A person said which order it belongs to.
    OrderCorrected {
        /// The frame.
        frame: FrameId,
        /// The order's number; null: none.
        order: Option<String>,
    },
    /// Taken out of the hand-over; nothing is deleted.
    SetAside {
        /// The frame.
        frame: FrameId,
    },
    /// Back in the hand-over.
    TakenBack {
        /// The frame.
        frame: FrameId,
    },
    /// A step of moving it to another patient.
    Moved {
        /// The frame.
        frame: FrameId,
        /// The step.
        #[serde(flatten)]
        step: MoveStep,
    },
    /// A view was closed without a picture.
    ViewEnded {
        /// Name of the view.
        view: String,
        /// How.
        end: ViewEnd,
        /// Why.
        why: NotHad,
    },
    /// The closing was taken back.
    ViewReopened {
        /// Name of the view.
        view: String,
    },
    /// Dye was given.
    Injected {
        /// The record.
        injection: Box<Injection>,
    },
    /// The needle's start was marked by a touch: the clock of that dye starts here. The record is filled in later.
    NeedleBegan {
        /// The dye.
        drug: Drug,
        /// The way in.
        route: Route,
        /// Start, microseconds since 1970 UTC.
        start_us: i64,
        /// How far off it may be, in microseconds.
        start_error_us: i64,
    },
    /// The injection's end was marked by a touch.
    NeedleEnded {
        /// The dye.
        drug: Drug,
        /// End, microseconds since 1970 UTC.
        end_us: i64,
    },
    /// The run of frames was stopped by hand: nothing is asked until it is taken up again.
    RunStopped,
    /// It was taken up again; the clocks never stood still.
    RunResumed,
    /// Which dye's frames are asked for from now on.
    RunModeChosen {
        /// Both in turn or one alone.
        mode: RunMode,
    },
    /// A person looked at a region of a dye run. What was proposed and what the person drew are both kept.
    RegionJudged {
        /// The region.
        region: Box<JudgedRegion>,
    },
    /// Something was noted after the needle.
    Noted {
        /// What.
        #[serde(flatten)]
        note: NeedleNote,
    },
    /// The patient is unwell: every due-list and sound is silent.
    Unwell,
    /// The patient is well again.
    WellAgain,
    /// A clinician should look now. No disease is named.
    ClinicianAsked {
        /// The frame that gave rise to it, or null.
        frame: Option<FrameId>,
    },
    /// Somebody was reached.
    ClinicianReached {
        /// Who.
        whom: String,
    },
    /// Sent on: to wait, to another instrument, to another day.
    Paused {
        /// Until when, microseconds since 1970 UTC, where said.
        until_us: Option<i64>,
    },
    /// Seated at an instrument.
    Seated {
        /// The chair.
        chair: String,
    },
    /// The eye's state was noted.
    EyeNoted {
        /// Which eye.
        eye: Eye,
        /// Its state.
        state: Box<EyeState>,
    },
    /// The person's state was noted.
    PersonNoted {
        /// It.
        state: Box<PersonState>,
    },
    /// A caution's question was answered. An answer is kept, never a clearance.
    Answered {
        /// Id of the question.
        question: String,
        /// The answer in words.
        answer: String,
    },
    /// Something on a list was ticked.
    Ticked {
        /// Id of the item.
        item: String,
    },
    /// A note in words for whoever comes after.
    Remarked {
        /// The words.
        text: String,
    },
    /// Something that was said was a mistake: the fact of that number has no effect any more. Both stay.
    Undone {
        /// The number of the fact.
        seq: u64,
    },
}

impl Fact {
    /// Whether a person may undo it by [`Fact::Undone`]. What has an opposite of its own (unwell, a closed view, a frame set aside, a
    /// chair) is taken back by that, and a needle that went in stays.
    ///
    /// ```
    /// use serrata_words::Fact;
    /// assert!(Fact::Remarked { text: "left hearing aid".to_owned() }.can_be_undone());
    /// assert!(!Fact::Unwell.can_be_undone());
    /// ```
    #[must_use]
    pub const fn can_be_undone(&self) -> bool {
        matches!(
            self,
            Self::IdentityTicked { .. }
                | Self::Injected { .. }
                | Self::Noted { .. }
                | Self::ClinicianAsked { .. }
                | Self::ClinicianReached { .. }
                | Self::EyeNoted { .. }
                | Self::PersonNoted { .. }
                | Self::Answered { .. }
                | Self::Ticked { .. }
                | Self::Remarked { .. }
                | Self::Undone { .. }
        )
    }
}

/// The numbers of the facts that have no effect, since a later one undid them. An undoing that was itself undone undoes nothing; one of
/// a fact that is not there, is later, or cannot be undone, does nothing.
///
/// Example: facts 1 (an answer), 2 (undoes 1) and 3 (undoes 2) give {2}.
#[must_use]
pub fn undone(events: &[Event]) -> BTreeSet<u64> {
    let by_seq: BTreeMap<u64, &Event> = events.iter().map(|e| (e.seq, e)).collect();
    let mut gone = BTreeSet::new();
    for e in by_seq.values().rev() {
        let Fact::Undone { seq } = e.fact else { continue };
        let known = by_seq.get(&seq).is_some_and(|old| old.fact.can_be_undone());
        if known && seq < e.seq && !gone.contains(&e.seq) {
            gone.insert(seq);
        }
    }
    gone
}

#[cfg(test)]
mod tests {
    use super::{Event, Fact, undone};

    fn event(seq: u64, fact: Fact) -> Event {
        Event { seq, at_us: 0, who: "mt".to_owned(), reason: None, fact }
    }

    #[test]
    fn an_undoing_can_be_undone_and_what_has_an_opposite_cannot() {
        let note = |seq| event(seq, Fact::Remarked { text: "a".to_owned() });
        let undo = |seq, of| event(seq, Fact::Undone { seq: of });
        assert_eq!(undone(&[note(1), undo(2, 1)]).into_iter().collect::<Vec<_>>(), [1]);
        assert_eq!(undone(&[note(1), undo(2, 1), undo(3, 2)]).into_iter().collect::<Vec<_>>(), [2]);
        let thrice = [note(1), undo(2, 1), undo(3, 2), undo(4, 3)];
        assert_eq!(undone(&thrice).into_iter().collect::<Vec<_>>(), [1, 3]);
        assert!(undone(&[event(1, Fact::Unwell), undo(2, 1), undo(3, 9), undo(4, 4)]).is_empty());
        // The order in which they are handed over does not matter.
        assert_eq!(undone(&[undo(2, 1), note(1)]).into_iter().collect::<Vec<_>>(), [1]);
    }
}
