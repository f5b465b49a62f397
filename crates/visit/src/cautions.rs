//! Cautions: questions whose answers staff keep. Never a clearance.

use serrata_words::{EyeState, Modality, PersonState, View};

/// A question to ask before.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Caution {
    /// Id under which its answer is kept.
    pub id: &'static str,
    /// The question with what follows from a yes.
    pub text: &'static str,
    /// What a yes means, where it stops until somebody else decided.
    pub stop: Option<&'static str>,
    /// What a yes asks for, where it does not stop.
    pub then: Option<&'static str>,
    /// Whether it is told until it is answered.
    pub must: bool,
}

const STOP: &str = "Stop. Tell the prescriber before anything is drawn up.";
const LIGHT: &str = "Stop. The clinician decides before any picture: light-sensitive, or seizures.";

const ALWAYS: [Caution; 2] = [
    Caution {
        id: "identity",
        text: "Two identifiers said by the patient and compared, before the first frame?",
        stop: None,
        then: None,
        must: false,
    },
    Caution {
        id: "light",
        text: "Light-sensitive, photosensitising drugs, photodynamic therapy lately, or seizures with flicker? Then the clinician decides first.",
        stop: Some(LIGHT),
        then: None,
        must: false,
    },
];

const DROPS: Caution = Caution {
    id: "drops",
    text: "Before drops: narrow angle, iris-fixed lens, head injury under observation, undilated pictures ordered? Then ask first.",
    stop: None,
    then: Some("Before drops: somebody who may decide is asked first."),
    must: false,
};

const DYE: [Caution; 8] = [
    Caution {
        id: "dye-allergy",
        text: "Ever hives, swelling, wheeze or collapse after a dye? Then stop, and tell the prescriber before anything is drawn up.",
        stop: Some(STOP),
        then: None,
        must: true,
    },
    Caution {
        id: "dye-nausea",
        text: "Ever nausea or vomiting after a dye? Note it.",
        stop: None,
        then: Some("Nausea after a dye before: have what is needed at hand."),
        must: false,
    },
    Caution {
        id: "dye-health",
        text: "Asthma or allergies, heart disease, recent stroke or infarct, kidney or liver disease? Tell the prescriber.",
        stop: None,
        then: Some("Tell the prescriber of asthma, allergies or illness."),
        must: false,
    },
    Caution {
        id: "dye-beta-blocker",
        text: "Beta-blockers, also as eye drops? Tell the prescriber.",
        stop: None,
        then: Some("Tell the prescriber of the beta-blocker."),
        must: false,
    },
    Caution {
        id: "dye-arm",
        text: "An arm with a fistula or after node surgery? Note which; the other arm is for the needle.",
        stop: None,
        then: Some("One arm is not for the needle: see which."),
        must: false,
    },
    Caution {
        id: "dye-faint",
        text: "Fasting, or fainted at a needle before? Note it.",
        stop: None,
        then: Some("Fasting, or fainted at a needle before: ask staff how to sit or lie for it."),
        must: false,
    },
    Caution {
        id: "dye-pregnant",
        text: "Pregnant (only if clearly needed) or nursing (dye is in the milk up to 4 days)? Tell the prescriber.",
        stop: None,
        then: Some("Tell the prescriber: pregnant or nursing."),
        must: false,
    },
    Caution {
        id: "dye-consent",
        text: "Consent as the clinic asks for it?",
        stop: None,
        then: None,
        must: false,
    },
];

const ICG: [Caution; 2] = [
    Caution {
        id: "icg-allergy",
        text: "Ever a reaction to indocyanine green with hives, swelling, wheeze or collapse? Then stop, and tell the prescriber before anything is drawn up.",
        stop: Some(STOP),
        then: None,
        must: true,
    },
    Caution {
        id: "icg-iodide",
        text: "Allergic to iodide? To shellfish? Two questions, two answers; tell the prescriber.",
        stop: None,
        then: Some("Tell the prescriber of the allergy to iodide or shellfish."),
        must: false,
    },
];

const FAF: Caution = Caution {
    id: "faf-order",
    text: "Autofluorescence comes before dye, drops and gel.",
    stop: None,
    then: None,
    must: false,
};

/// The questions before the views of a visit, in the order in which they come up. Common practice and drug labels;
/// the clinic's own protocol comes first.
#[must_use]
pub fn questions(views: &[View]) -> Vec<Caution> {
    let mut asked = ALWAYS.to_vec();
    asked.push(DROPS);
    if views.iter().any(|v| v.modality.is_dye()) {
        asked.extend(DYE);
    }
    if views.iter().any(|v| v.modality == Modality::Icg) {
        asked.extend(ICG);
    }
    if views.iter().any(|v| v.modality == Modality::Faf) {
        asked.push(FAF);
    }
    asked
}

/// The questions as sentences.
///
/// ```
/// use serrata_words::{Gaze, Modality, View};
/// let q = serrata_visit::cautions(&[View::default_of(Modality::Fa, Gaze::Primary)]);
/// assert!(q.iter().any(|q| q.contains("prescriber")));
/// ```
#[must_use]
pub fn cautions(views: &[View]) -> Vec<&'static str> {
    questions(views).into_iter().map(|c| c.text).collect()
}

/// What the answers mean now: a yes to an allergic reaction stops; a question before dye that nobody answered is
/// told; what else a yes asks for. An empty list says nothing but that nothing here stops; it clears nobody.
///
/// `answered` holds the id and whether the answer was yes.
#[must_use]
pub fn stops(views: &[View], answered: &[(&str, bool)]) -> Vec<String> {
    let mut said = halts(views, answered);
    let asked = questions(views);
    let unanswered = asked.iter().filter(|q| q.must && last(answered, q.id).is_none());
    said.extend(unanswered.map(|q| format!("Not answered yet: {}", q.text)));
    said.extend(
        asked.iter().filter(|q| last(answered, q.id) == Some(true)).filter_map(|q| q.then).map(str::to_owned),
    );
    said
}

/// Of those, what stops until somebody else decided: to be seen before all else.
#[must_use]
pub fn halts(views: &[View], answered: &[(&str, bool)]) -> Vec<String> {
    let mut said: Vec<String> = questions(views)
        .iter()
        .filter(|q| last(answered, q.id) == Some(true))
        .filter_map(|q| q.stop)
        .map(str::to_owned)
        .collect();
    said.dedup();
    said
}

/// The last answer to a question: whether it was yes.
fn last(answered: &[(&str, bool)], id: &str) -> Option<bool> {
    answered.iter().rev().find(|(a, _)| *a == id).map(|(_, yes)| *yes)
}

/// Sentences for the chair out of the state of eye and person.
#[must_use]
pub fn chair_notes(eyes: &[&EyeState], person: &PersonState) -> Vec<String> {
    let mut said = Vec::new();
    let mut note = |on: bool, text: &str| {
        if on {
            said.push(text.to_owned());
        }
    };
    note(person.seizures, "Seizures with flicker: the clinician decides, and no bursts.");
    note(person.photosensitised, "Sensitised to light: the clinician decides before any picture.");
    note(person.child, "A child: the guardian's consent, and the child's own \"no\" ends it.");
    note(person.learning_disability, "Time and one instruction at a time; the person's own \"no\" ends it.");
    note(person.deaf, "Hard of hearing: show, do not say; agree on a touch before the lights go down.");
    note(person.wheelchair, "Wheelchair: make room at the chin rest first.");
    note(person.tremor, "Tremor: both hands on the rest, shorter stretches.");
    note(person.photophobia, "Light hurts: rest between shots, and say before each.");
    note(
        eyes.iter().any(|e| e.light_sensitive),
        "Light-sensitive retina: blue light sparingly, one try, lowest power.",
    );
    note(
        eyes.iter().any(|e| e.red_eye),
        "Red eye: the clinic's own line for red eyes; hands between the eyes.",
    );
    let mm = |f: fn(&EyeState) -> bool| eyes.iter().any(|e| f(e));
    note(
        eyes.iter().any(|e| e.gas),
        "Gas in the eye: how the head is held is the surgeon's word; no mm, and the picture is changed by it.",
    );
    note(
        mm(|e| e.no_lens || e.measured_before_surgery),
        "No mm for an eye without its lens, or measured before its surgery.",
    );
    note(mm(|e| e.oil || e.lens_worn), "Oil or a worn lens: mm are less sure, their interval is wider.");
    note(eyes.iter().any(|e| e.no_fixation), "No fixation: a light or a voice guides the gaze.");
    if let Some(l) = person.language.as_ref().filter(|l| !l.trim().is_empty()) {
        said.push(format!("Instructions in {}.", l.trim()));
    }
    let mut worked: Vec<&String> = person.worked.iter().chain(eyes.iter().flat_map(|e| &e.worked)).collect();
    worked.dedup();
    said.extend(worked.into_iter().map(|w| format!("Worked last time: {w}")));
    said
}

#[cfg(test)]
mod tests {
    use super::*;
    use serrata_words::Gaze;

    fn dye() -> Vec<View> {
        [Modality::Faf, Modality::Fa, Modality::Icg].map(|m| View::default_of(m, Gaze::Primary)).to_vec()
    }

    #[test]
    fn the_questions_that_people_read() {
        insta::assert_snapshot!(cautions(&dye()).join("\n"));
    }

    #[test]
    fn an_earlier_allergic_reaction_stops_and_nausea_does_not() {
        assert_eq!(stops(&dye(), &[("dye-allergy", true), ("icg-allergy", false)]), [STOP]);
        let nausea = [("dye-allergy", false), ("icg-allergy", false), ("dye-nausea", true)];
        assert!(halts(&dye(), &nausea).is_empty());
        assert_eq!(stops(&dye(), &nausea).len(), 1, "a yes is never without an answer on the screen");
        assert_eq!(halts(&dye(), &[("light", true)]), [LIGHT]);
        assert_eq!(stops(&dye(), &[]).len(), 2, "unanswered is told");
        assert!(stops(&[View::default_of(Modality::Colour, Gaze::Primary)], &[]).is_empty());
    }

    #[test]
    fn nothing_ever_says_cleared() {
        let person = PersonState { child: true, seizures: true, deaf: true, ..PersonState::default() };
        let all = cautions(&dye()).join(" ")
            + &stops(&dye(), &[]).join(" ")
            + &chair_notes(&[&EyeState::default()], &person).join(" ");
        for word in ["cleared", "safe", "may leave", "harmless", "48.6"] {
            assert!(!all.to_lowercase().contains(word), "{word}");
        }
    }
}
