//! Are the pictures complete? Speaks of pictures only: leaving after dye is a record made by staff.

use serde::{Deserialize, Serialize};
use serrata_words::{Eye, Gaze, Modality, Next, Rank, Verdict, View};

/// A frame as the visit sees it: what it counts as, after corrections by a person.
#[derive(Debug, Clone, PartialEq)]
pub struct Candidate {
    /// The frame's id.
    pub id: i64,
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
}

crate::states! {
    /// How a view stands.
    ViewState {
        /// No frame meets it yet.
        Due = "due",
        /// A usable frame meets it.
        Met = "met",
        /// Only frames with reservations meet it.
        MetWithReservations = "met_with_reservations",
        /// A person closed it: cannot be had.
        NotObtainable = "not_obtainable",
        /// A person closed it: was not done.
        NotDone = "not_done",
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
    /// Frames that match it and are not set aside, best first.
    pub frames: Vec<i64>,
    /// How many tries were not usable.
    pub failed_tries: usize,
}

/// A view that a person closed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Closure {
    /// Name of the view.
    pub view: String,
    /// [`ViewState::NotObtainable`] or [`ViewState::NotDone`].
    pub state: ViewState,
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

/// Whether a frame is a picture of a view: same kind and gaze, and the same eye. A frame whose eye nobody knows
/// matches nothing.
#[must_use]
pub fn matches(view: &View, frame: &Candidate) -> bool {
    view.modality == frame.modality
        && view.gaze == frame.gaze
        && view.eye.is_none_or(|e| frame.eye == Some(e))
}

/// Answers which views are met, and by which frames.
#[must_use]
pub fn status(views: &[View], frames: &[Candidate], closed: &[Closure]) -> Status {
    let views: Vec<ViewStatus> = views.iter().map(|v| view_status(v, frames, closed)).collect();
    let due: Vec<&ViewStatus> = views.iter().filter(|v| v.state == ViewState::Due).collect();
    let must_due = due.iter().filter(|v| v.view.rank == Rank::Must).count();
    let as_ordered = |v: &ViewStatus| v.state == ViewState::Met;
    let complete = if !due.is_empty() {
        Complete::NotYet
    } else if views.iter().all(as_ordered) {
        Complete::Complete
    } else {
        Complete::AsFarAsPossible
    };
    let sentence = match complete {
        Complete::Complete => "The pictures are complete.".to_owned(),
        Complete::AsFarAsPossible => {
            let rest: Vec<String> = views.iter().filter(|v| !as_ordered(v)).map(said_of).collect();
            format!("The pictures are complete as far as possible: {}.", rest.join("; "))
        }
        Complete::NotYet => {
            let list: Vec<String> = due.iter().map(|v| named(&v.view)).collect();
            let wanted = if must_due == 0 { " (wanted, not required)" } else { "" };
            format!("Not yet: {}{wanted}.", list.join("; "))
        }
    };
    let first = due.iter().find(|v| v.view.rank == Rank::Must).or(due.first());
    let next_step = first.map(|v| match v.failed_tries {
        0 => named(&v.view),
        1 => format!("{}, a second try", named(&v.view)),
        n => format!("{}, after {n} tries that were not usable", named(&v.view)),
    });
    Status { views, complete, sentence, next_step }
}

fn view_status(view: &View, frames: &[Candidate], closed: &[Closure]) -> ViewStatus {
    let mut of_view: Vec<&Candidate> = frames.iter().filter(|f| !f.set_aside && matches(view, f)).collect();
    of_view.sort_by_key(|f| (f.verdict.is_none(), f.verdict, f.id));
    let best = of_view.first().and_then(|f| f.verdict);
    let state = match (best, closed.iter().find(|c| c.view == view.name)) {
        (Some(Verdict::Usable), _) => ViewState::Met,
        (Some(Verdict::Limited), _) => ViewState::MetWithReservations,
        (_, Some(c)) => c.state,
        _ => ViewState::Due,
    };
    ViewStatus {
        view: view.clone(),
        state,
        failed_tries: of_view.iter().filter(|f| f.verdict == Some(Verdict::NotUsable)).count(),
        frames: of_view.iter().map(|f| f.id).collect(),
    }
}

/// A view as people say it. Example: `Right eye (OD), colour, straight ahead`.
#[must_use]
pub fn named(view: &View) -> String {
    let eye = view.eye.map_or("Either eye", Eye::screen);
    let kind = match view.modality {
        Modality::Colour => "colour",
        Modality::Infrared => "infrared",
        Modality::Red => "red channel",
        Modality::Green => "green channel",
        Modality::Faf => "autofluorescence (FAF)",
        Modality::Fa => "fluorescein (FA)",
        Modality::Icg => "indocyanine green (ICG)",
    };
    format!("{eye}, {kind}, {}", view.gaze.screen())
}

fn said_of(v: &ViewStatus) -> String {
    let what = match v.state {
        ViewState::MetWithReservations => "with reservations",
        ViewState::NotObtainable => "not obtainable",
        ViewState::NotDone => "not done",
        ViewState::Met => "met",
        ViewState::Due => "due",
    };
    format!("{} {what}", named(&v.view))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Protocol;
    use proptest::prelude::*;

    fn views() -> Vec<View> {
        Protocol::shipped().unwrap().remove(0).views
    }

    fn frame(id: i64, eye: Eye, modality: Modality, verdict: Option<Verdict>) -> Candidate {
        Candidate { id, eye: Some(eye), modality, gaze: Gaze::Primary, verdict, next: None, set_aside: false }
    }

    #[test]
    fn a_day_from_nothing_to_complete() {
        let v = views();
        let s = status(&v, &[], &[]);
        assert_eq!(s.complete, Complete::NotYet);
        assert_eq!(s.next_step.as_deref(), Some("Right eye (OD), colour, straight ahead"));
        let mut frames = vec![frame(1, Eye::R, Modality::Colour, Some(Verdict::NotUsable))];
        assert_eq!(
            status(&v, &frames, &[]).next_step.as_deref(),
            Some("Right eye (OD), colour, straight ahead, a second try")
        );
        for (i, view) in v.iter().enumerate() {
            frames.push(frame(10 + i as i64, view.eye.unwrap(), view.modality, Some(Verdict::Usable)));
        }
        let s = status(&v, &frames, &[]);
        assert_eq!((s.complete, s.sentence.as_str()), (Complete::Complete, "The pictures are complete."));
        assert_eq!(s.views[0].frames, [10, 1], "the better frame comes first");
    }

    #[test]
    fn a_closed_view_ends_without_a_picture_and_a_later_picture_still_counts() {
        let v = views();
        let closed: Vec<Closure> =
            v.iter().map(|v| Closure { view: v.name.clone(), state: ViewState::NotObtainable }).collect();
        let s = status(&v, &[], &closed);
        assert_eq!(s.complete, Complete::AsFarAsPossible);
        assert!(s.sentence.contains("not obtainable"));
        let s = status(&v, &[frame(1, Eye::R, Modality::Colour, Some(Verdict::Usable))], &closed);
        assert_eq!(s.views[0].state, ViewState::Met);
    }

    proptest! {
        #[test]
        fn another_frame_never_makes_a_view_worse(
            picks in prop::collection::vec((any::<bool>(), 0usize..3, prop::option::of(0usize..3), any::<bool>()), 0..12)
        ) {
            let v = views();
            let mut frames = Vec::new();
            let mut last: Vec<ViewState> = status(&v, &frames, &[]).views.iter().map(|v| v.state).collect();
            for (i, (right, m, q, aside)) in picks.into_iter().enumerate() {
                let mut f = frame(
                    i as i64,
                    if right { Eye::R } else { Eye::L },
                    [Modality::Colour, Modality::Faf, Modality::Fa][m],
                    q.map(|q| Verdict::ALL[q]),
                );
                f.set_aside = aside;
                frames.push(f);
                let now: Vec<ViewState> = status(&v, &frames, &[]).views.iter().map(|v| v.state).collect();
                for (a, b) in last.iter().zip(&now) {
                    let worth = |s: &ViewState| match s { ViewState::Met => 2, ViewState::MetWithReservations => 1, _ => 0 };
                    prop_assert!(worth(b) >= worth(a));
                }
                last = now;
            }
        }
    }
}
