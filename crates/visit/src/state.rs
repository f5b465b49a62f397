//! From facts to the state of a visit.

mod dye;

pub use dye::only_touched;

use crate::{Closure, ViewState, merge_views};
use serrata_words::{
    Assigned, Event, Eye, EyeState, Fact, FrameId, Injection, JudgedRegion, MoveStep, NeedleNote, Order,
    OrderState, PersonState, RunMode, View, ViewEnd, undone,
};
use std::collections::{BTreeMap, BTreeSet};

/// Where a frame is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Place {
    /// In this visit.
    Here,
    /// Asked to go to another visit; counts for nothing until a second person decides.
    Quarantine {
        /// The visit that it should go to.
        to_visit: String,
        /// Who asked.
        by: String,
        /// Where it was already sent: each is to be asked for a recall.
        sent_to: Vec<String>,
    },
    /// Moved to another visit.
    Away {
        /// That visit.
        to_visit: String,
        /// Where it had been sent: each is to be asked for a recall.
        sent_to: Vec<String>,
    },
}

/// A frame with what people made of it. The labels that it came with stay.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FrameFacts {
    /// What its labels said.
    pub labels: Assigned,
    /// What it counts as.
    pub counts_as: Assigned,
    /// When it was taken.
    pub taken_us: Option<i64>,
    /// Its order.
    pub order: Option<String>,
    /// Why it is set aside, where it is.
    pub set_aside: Option<String>,
    /// Where it is.
    pub place: Place,
}

/// A call for the clinician.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Call {
    /// The frame, where one gave rise to it.
    pub frame: Option<FrameId>,
    /// Who called, and when.
    pub asked: (String, i64),
    /// Who was reached, and when.
    pub reached: Option<(String, i64)>,
}

/// The state of a visit, made of its facts alone.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct VisitFacts {
    /// All frames that ever came in.
    pub frames: BTreeMap<FrameId, FrameFacts>,
    /// Orders with their views, as they came.
    pub orders: Vec<(Order, Vec<View>)>,
    /// Closed views.
    pub closures: Vec<Closure>,
    /// Injections in order of facts.
    pub injections: Vec<Injection>,
    /// Regions of dye runs that people looked at: what, who, when; the last word on a proposal counts.
    pub regions: Vec<(JudgedRegion, String, i64)>,
    /// Notes after the needle: what, who, when.
    pub needle_notes: Vec<(NeedleNote, String, i64)>,
    /// Whether the patient is unwell.
    pub unwell: bool,
    /// When the patient was unwell: from, and until, `i64::MAX` where it lasts.
    pub unwell_us: Vec<[i64; 2]>,
    /// Whether the run was stopped by hand.
    pub run_stopped: bool,
    /// Which dye's frames are asked for.
    pub run_mode: RunMode,
    /// Calls for the clinician.
    pub calls: Vec<Call>,
    /// The chair, where seated.
    pub chair: Option<String>,
    /// Until when it waits, where said.
    pub paused_until_us: Option<i64>,
    /// Who ticked the identifiers, which, and when.
    pub identity: Option<(Vec<String>, String, i64)>,
    /// State of the eyes.
    pub eyes: BTreeMap<Eye, EyeState>,
    /// State of the person.
    pub person: PersonState,
    /// Answers to cautions: question to answer, who, when.
    pub answers: BTreeMap<String, (String, String, i64)>,
    /// Ticked items: who, when.
    pub ticks: BTreeMap<String, (String, i64)>,
    /// Notes in words: what, who, when.
    pub remarks: Vec<(String, String, i64)>,
    /// Numbers of facts that were undone: they have no effect.
    pub undone: BTreeSet<u64>,
    /// Facts that had no effect, and why: shown to people, never dropped.
    pub without_effect: Vec<(u64, String)>,
}

impl VisitFacts {
    /// Replays facts. The order in which they are handed over does not matter, only their `seq`; a fact handed over
    /// twice counts once; a fact about a frame may be older than its arrival.
    #[must_use]
    pub fn replay(events: &[Event]) -> Self {
        let by_seq: BTreeMap<u64, &Event> = events.iter().rev().map(|e| (e.seq, e)).collect();
        let mut state = Self { undone: undone(events), ..Self::default() };
        for e in by_seq.values() {
            if let Fact::FrameArrived { frame, labels, taken_us, order } = &e.fact {
                state.frames.entry(*frame).or_insert_with(|| FrameFacts {
                    labels: *labels,
                    counts_as: *labels,
                    taken_us: *taken_us,
                    order: order.clone(),
                    set_aside: None,
                    place: Place::Here,
                });
            }
        }
        for e in by_seq.values().filter(|e| !state.undone.contains(&e.seq)).collect::<Vec<_>>() {
            if let Err(why) = state.apply(e) {
                state.without_effect.push((e.seq, why));
            }
        }
        state
    }

    fn apply(&mut self, e: &Event) -> Result<(), String> {
        match &e.fact {
            Fact::FrameArrived { .. } => {}
            Fact::EyeCorrected { .. }
            | Fact::ModalityCorrected { .. }
            | Fact::GazeCorrected { .. }
            | Fact::OrderCorrected { .. }
            | Fact::SetAside { .. }
            | Fact::TakenBack { .. }
            | Fact::Moved { .. } => return self.of_frame(e),
            Fact::Ordered { .. } | Fact::OrderCancelled { .. } | Fact::OrderMerged { .. } => {
                return self.of_order(&e.fact);
            }
            Fact::ViewEnded { view, end, why } => {
                self.closures.retain(|c| c.view != *view);
                let state = match end {
                    ViewEnd::NotObtainable => ViewState::NotObtainable,
                    ViewEnd::NotDone => ViewState::NotDone,
                };
                self.closures.push(Closure {
                    view: view.clone(),
                    state,
                    why: Some(*why),
                    who: e.who.clone(),
                });
            }
            Fact::ViewReopened { view } => self.closures.retain(|c| c.view != *view),
            Fact::Injected { .. }
            | Fact::NeedleBegan { .. }
            | Fact::NeedleEnded { .. }
            | Fact::RunStopped
            | Fact::RunResumed
            | Fact::RunModeChosen { .. } => return self.of_dye(&e.fact),
            Fact::RegionJudged { region } => self.regions.push(((**region).clone(), e.who.clone(), e.at_us)),
            Fact::Noted { note } => self.needle_notes.push((note.clone(), e.who.clone(), e.at_us)),
            Fact::Unwell if !self.unwell => {
                self.unwell = true;
                self.unwell_us.push([e.at_us, i64::MAX]);
            }
            Fact::Unwell => {}
            Fact::WellAgain => {
                self.unwell = false;
                if let Some(span) = self.unwell_us.last_mut().filter(|s| s[1] == i64::MAX) {
                    span[1] = e.at_us;
                }
            }
            Fact::ClinicianAsked { frame } => {
                self.calls.push(Call { frame: *frame, asked: (e.who.clone(), e.at_us), reached: None });
            }
            Fact::ClinicianReached { whom } => {
                let open = self.calls.iter_mut().find(|c| c.reached.is_none());
                open.ok_or("nobody had called for the clinician")?.reached = Some((whom.clone(), e.at_us));
            }
            Fact::Paused { until_us } => (self.chair, self.paused_until_us) = (None, *until_us),
            Fact::Seated { chair } => (self.chair, self.paused_until_us) = (Some(chair.clone()), None),
            Fact::IdentityTicked { identifiers } => {
                if identifiers_said(identifiers) < 2 {
                    return Err("two different identifiers are compared, not one".to_owned());
                }
                self.identity = Some((identifiers.clone(), e.who.clone(), e.at_us));
            }
            Fact::EyeNoted { eye, state } => _ = self.eyes.insert(*eye, (**state).clone()),
            Fact::PersonNoted { state } => self.person = (**state).clone(),
            Fact::Answered { question, answer } => {
                self.answers.insert(question.clone(), (answer.clone(), e.who.clone(), e.at_us));
            }
            Fact::Ticked { item } => _ = self.ticks.insert(item.clone(), (e.who.clone(), e.at_us)),
            Fact::Remarked { text } => self.remarks.push((text.clone(), e.who.clone(), e.at_us)),
            // Its effect is that another fact has none.
            Fact::Undone { seq } if self.undone.contains(seq) => {}
            Fact::Undone { .. } => return Err("there is nothing that it could undo".to_owned()),
            _ => return Err("this fact is newer than this program".to_owned()),
        }
        Ok(())
    }

    fn of_frame(&mut self, e: &Event) -> Result<(), String> {
        let id = match &e.fact {
            Fact::EyeCorrected { frame, .. }
            | Fact::ModalityCorrected { frame, .. }
            | Fact::GazeCorrected { frame, .. }
            | Fact::OrderCorrected { frame, .. }
            | Fact::SetAside { frame }
            | Fact::TakenBack { frame }
            | Fact::Moved { frame, .. } => *frame,
            _ => return Ok(()),
        };
        let f = self.frames.get_mut(&id).ok_or_else(|| format!("frame {id} has not come in"))?;
        if matches!(f.place, Place::Away { .. }) {
            return Err(format!("frame {id} was moved to another visit; say it there"));
        }
        match &e.fact {
            Fact::EyeCorrected { eye, .. } => f.counts_as.eye = *eye,
            Fact::ModalityCorrected { modality, .. } => f.counts_as.modality = *modality,
            Fact::GazeCorrected { gaze, .. } => f.counts_as.gaze = *gaze,
            Fact::OrderCorrected { order, .. } => f.order.clone_from(order),
            Fact::SetAside { .. } => f.set_aside = Some(e.reason.clone().unwrap_or_default()),
            Fact::TakenBack { .. } => f.set_aside = None,
            Fact::Moved { step, .. } => return moved(f, step, &e.who),
            _ => {}
        }
        Ok(())
    }

    fn of_order(&mut self, fact: &Fact) -> Result<(), String> {
        match fact {
            Fact::Ordered { order, views } => {
                if let Some((old, _)) = self.orders.iter().find(|(o, _)| o.number == order.number) {
                    return Err(format!("order {} is in this visit already", old.number));
                }
                self.orders.push(((**order).clone(), views.clone()));
            }
            Fact::OrderCancelled { number } => {
                let order = self.orders.iter_mut().find(|(o, _)| o.number == *number);
                order.ok_or_else(|| format!("order {number} is not in this visit"))?.0.state =
                    OrderState::Cancelled;
            }
            Fact::OrderMerged { provisional, into } => {
                let at = self.orders.iter().position(|(o, _)| o.number == *provisional && o.provisional);
                let at = at.ok_or_else(|| format!("{provisional} is no provisional order of this visit"))?;
                if self.orders.iter().any(|(o, _)| o.number == into.number) {
                    self.orders.remove(at);
                } else {
                    self.orders[at].0 = (**into).clone();
                }
                for f in self.frames.values_mut().filter(|f| f.order.as_ref() == Some(provisional)) {
                    f.order = Some(into.number.clone());
                }
            }
            _ => {}
        }
        Ok(())
    }

    /// The views of all orders that stand, a picture that two ask for once.
    #[must_use]
    pub fn views(&self) -> Vec<View> {
        let open = self.orders.iter().filter(|(o, _)| o.state == OrderState::Open);
        merge_views(&open.map(|(_, v)| v.clone()).collect::<Vec<_>>())
    }

    /// The frames that count: here, and not set aside.
    pub fn counting(&self) -> impl Iterator<Item = (FrameId, &FrameFacts)> {
        self.frames
            .iter()
            .filter(|(_, f)| f.place == Place::Here && f.set_aside.is_none())
            .map(|(id, f)| (*id, f))
    }

    /// What stands against closing the visit, one sentence each. It says nothing of whether the patient may leave.
    #[must_use]
    pub fn against_closing(&self) -> Vec<String> {
        let mut said = Vec::new();
        let calls = self.calls.iter().filter(|c| c.reached.is_none()).count();
        if calls > 0 {
            said.push(format!(
                "\"Clinician to look now\" is unanswered ({calls}): write down who was reached, and when."
            ));
        }
        let held = self.frames.values().filter(|f| matches!(f.place, Place::Quarantine { .. })).count();
        if held > 0 {
            said.push(format!("{held} frames wait for a second person to confirm or refuse their move."));
        }
        for (o, _) in self.orders.iter().filter(|(o, _)| o.provisional && o.state == OrderState::Open) {
            said.push(format!(
                "Order {} is provisional: merge it with the worklist's, seeing both.",
                o.number
            ));
        }
        if self.identity.is_none() && !self.frames.is_empty() {
            said.push("Nobody ticked the two identifiers.".to_owned());
        }
        said
    }
}

/// How many identifiers these are: one said twice is one, and so are the parts of a name.
///
/// ```
/// use serrata_visit::identifiers_said;
/// assert_eq!(identifiers_said(&["family name".into(), "given name".into(), " ".into()]), 1);
/// assert_eq!(identifiers_said(&["name".into(), "date of birth".into()]), 2);
/// ```
#[must_use]
pub fn identifiers_said(identifiers: &[String]) -> usize {
    let whole = |i: &String| {
        let said = i.trim().to_lowercase();
        if said.contains("name") { "name".to_owned() } else { said }
    };
    identifiers.iter().map(whole).filter(|i| !i.is_empty()).collect::<BTreeSet<_>>().len()
}

/// A step of a move: two people, never one.
fn moved(f: &mut FrameFacts, step: &MoveStep, who: &str) -> Result<(), String> {
    match (step, f.place.clone()) {
        (MoveStep::Asked { to_visit, sent_to }, Place::Here) => {
            f.place = Place::Quarantine {
                to_visit: to_visit.clone(),
                by: who.to_owned(),
                sent_to: sent_to.clone(),
            };
            Ok(())
        }
        (MoveStep::Asked { .. }, _) => Err("its move was asked before".to_owned()),
        (MoveStep::Confirmed, Place::Quarantine { by, .. }) if by == who => {
            Err("a second person has to confirm, not the one who asked".to_owned())
        }
        (MoveStep::Confirmed, Place::Quarantine { to_visit, sent_to, .. }) => {
            f.place = Place::Away { to_visit, sent_to };
            Ok(())
        }
        (MoveStep::Refused, Place::Quarantine { .. }) => {
            f.place = Place::Here;
            Ok(())
        }
        _ => Err("nobody asked for its move".to_owned()),
    }
}

#[cfg(test)]
mod tests;
