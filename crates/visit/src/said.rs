//! What happened, in words: one fact as a line of the visit's record.

use crate::dose_said;
use serrata_words::{EyeState, Fact, Injection, MoveStep, NeedleNote, PersonState, ViewEnd};

/// A fact in words, without a full stop; the name of a patient never stands in it. `None` for a kind that is newer than this program.
///
/// ```
/// use serrata_visit::fact_said;
/// use serrata_words::Fact;
/// assert_eq!(fact_said(&Fact::Seated { chair: "Chair 2".to_owned() }).unwrap(), "seated at Chair 2");
/// assert_eq!(fact_said(&Fact::Remarked { text: "hearing aid left".to_owned() }).unwrap(), "note: hearing aid left");
/// ```
#[must_use]
pub fn fact_said(fact: &Fact) -> Option<String> {
    Some(match fact {
        Fact::IdentityTicked { identifiers } => format!("identifiers compared: {}", identifiers.join(", ")),
        Fact::Ordered { order, .. } => format!("order {}", order.number),
        Fact::OrderCancelled { number } => format!("order {number} cancelled"),
        Fact::OrderMerged { provisional, into } => format!("order {provisional} is order {}", into.number),
        Fact::FrameArrived { frame, .. } => format!("frame {frame} came in"),
        Fact::EyeCorrected { frame, eye } => {
            format!("frame {frame}: eye is {}", eye.map_or("not known", serrata_words::Eye::screen))
        }
        Fact::ModalityCorrected { frame, modality } => {
            format!("frame {frame}: kind is {}", modality.screen())
        }
        Fact::GazeCorrected { frame, gaze } => format!("frame {frame}: {}", gaze.screen()),
        Fact::OrderCorrected { frame, order } => {
            format!(
                "frame {frame}: {}",
                order.as_ref().map_or("for no order".to_owned(), |o| format!("for order {o}"))
            )
        }
        Fact::SetAside { frame } => format!("frame {frame} set aside"),
        Fact::TakenBack { frame } => format!("frame {frame} brought back"),
        Fact::Moved { frame, step } => match step {
            MoveStep::Asked { .. } => format!("frame {frame}: a move to another patient is asked for"),
            MoveStep::Confirmed => format!("frame {frame}: the move is confirmed"),
            MoveStep::Refused => format!("frame {frame}: the move is refused"),
        },
        Fact::ViewEnded { view, end, why } => {
            let end = match end {
                ViewEnd::NotObtainable => "not obtainable",
                ViewEnd::NotDone => "not done",
            };
            format!("{view}: {end}, {}", why.screen())
        }
        Fact::ViewReopened { view } => format!("{view}: open again"),
        Fact::Injected { injection } => format!("record of the needle: {}", injected(injection)),
        Fact::NeedleBegan { drug, .. } => format!("{drug}: injection began"),
        Fact::NeedleEnded { drug, .. } => format!("{drug}: injection ended"),
        Fact::RunStopped => "run stopped".to_owned(),
        Fact::RunResumed => "run goes on".to_owned(),
        Fact::RunModeChosen { mode } => format!("frames asked for: {}", mode.word().replace('_', " ")),
        Fact::RegionJudged { region } => format!("region ({}): {}", region.what, region.decision.word()),
        Fact::Noted { note } => format!("after the needle: {}", note_said(note)),
        Fact::Unwell => "patient unwell".to_owned(),
        Fact::WellAgain => "patient well again".to_owned(),
        Fact::ClinicianAsked { frame } => match frame {
            Some(frame) => format!("clinician to look now, at frame {frame}"),
            None => "clinician to look now".to_owned(),
        },
        Fact::ClinicianReached { whom } => format!("reached: {whom}"),
        Fact::Paused { .. } => "sent to wait".to_owned(),
        Fact::Seated { chair } => format!("seated at {chair}"),
        Fact::EyeNoted { eye, state } => format!("{}: {}", eye.screen(), or_nothing(&eye_noted(state))),
        Fact::PersonNoted { state } => format!("about the person: {}", or_nothing(&person_noted(state))),
        Fact::Answered { question, answer } => format!("{}: {answer}", question.replace('-', " ")),
        Fact::Ticked { item } => format!("ticked: {item}"),
        Fact::Remarked { text } => format!("note: {text}"),
        Fact::Undone { seq } => format!("line {seq} undone"),
        _ => return None,
    })
}

fn or_nothing(said: &[String]) -> String {
    if said.is_empty() { "nothing noted".to_owned() } else { said.join(", ") }
}

fn injected(i: &Injection) -> String {
    match i.mg {
        Some(mg) => format!("{}, {}", i.drug, dose_said(mg, i.strength).unwrap_or_else(|e| e.to_string())),
        None => i.drug.to_string(),
    }
}

/// What was noted after the needle, in words. Example: `NeedleNote::Nausea` is `"nausea"`.
#[must_use]
pub fn note_said(note: &NeedleNote) -> String {
    match note {
        NeedleNote::Extravasation => "pain or swelling at the site".to_owned(),
        NeedleNote::Nausea => "nausea".to_owned(),
        NeedleNote::Vomiting => "vomiting".to_owned(),
        NeedleNote::Hives => "hives or itch".to_owned(),
        NeedleNote::Severe => "wheeze, swelling or collapse".to_owned(),
        NeedleNote::Other { text } => text.clone(),
        NeedleNote::ObservedUntil => "observed until now".to_owned(),
        NeedleNote::AccessOut => "staff said that the access may come out".to_owned(),
        _ => "something newer than this program".to_owned(),
    }
}

/// What was noted of an eye, as short words. Example: gas and a red eye give `["gas", "red eye"]`.
#[must_use]
pub fn eye_noted(e: &EyeState) -> Vec<String> {
    let flags = [
        (e.dilated == Some(true), "dilated"),
        (e.dilated == Some(false), "not dilated"),
        (e.small_pupil, "small pupil"),
        (e.drops_or_gel, "drops or gel"),
        (e.clouded_media, "clouded media"),
        (e.cornea, "cornea"),
        (e.gas, "gas"),
        (e.oil, "oil"),
        (e.lens_implant, "lens implant"),
        (e.no_lens, "no lens"),
        (e.lens_worn, "lens worn"),
        (e.measured_before_surgery, "length measured before surgery"),
        (e.no_touch, "lids not to be touched"),
        (e.red_eye, "red eye"),
        (e.ptosis, "drooping lid"),
        (e.nystagmus, "nystagmus"),
        (e.no_fixation, "cannot hold a target"),
        (e.spare, "fewer tries"),
        (e.light_sensitive, "light-sensitive retina"),
    ];
    let range = e.gaze_range_deg.map(|d| format!("turns {d}°"));
    chosen(&flags).into_iter().chain(range).chain(e.worked.iter().cloned()).collect()
}

/// What was noted of a person, as short words. Example: a child who is deaf gives `["child", "hard of hearing"]`.
#[must_use]
pub fn person_noted(p: &PersonState) -> Vec<String> {
    let flags = [
        (p.child, "child"),
        (p.infant, "infant"),
        (p.learning_disability, "learning disability"),
        (p.pain, "pain"),
        (p.photophobia, "light hurts"),
        (p.wheelchair, "wheelchair"),
        (p.tremor, "tremor"),
        (p.deaf, "hard of hearing"),
        (p.photosensitised, "sensitised to light"),
        (p.seizures, "seizures with flicker"),
    ];
    chosen(&flags).into_iter().chain(p.language.clone()).chain(p.worked.iter().cloned()).collect()
}

fn chosen(flags: &[(bool, &str)]) -> Vec<String> {
    flags.iter().filter(|(on, _)| *on).map(|(_, word)| (*word).to_owned()).collect()
}

#[cfg(test)]
mod tests {
    use super::{eye_noted, fact_said, person_noted};
    use serrata_words::{Eye, EyeState, Fact, PersonState};

    #[test]
    fn a_state_is_said_by_what_is_noted_of_it() {
        assert!(
            eye_noted(&EyeState::default()).is_empty() && person_noted(&PersonState::default()).is_empty()
        );
        let gas =
            EyeState { gas: true, dilated: Some(false), gaze_range_deg: Some(20), ..EyeState::default() };
        assert_eq!(eye_noted(&gas), ["not dilated", "gas", "turns 20°"]);
        let fact = Fact::EyeNoted { eye: Eye::R, state: Box::new(gas) };
        assert_eq!(fact_said(&fact).unwrap(), "Right eye (OD): not dilated, gas, turns 20°");
        let none = Fact::PersonNoted { state: Box::default() };
        assert_eq!(fact_said(&none).unwrap(), "about the person: nothing noted");
    }
}
