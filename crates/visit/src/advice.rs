//! Advice: one sentence that says what to do for the next try.

use serrata_words::{EyeState, Finding, FindingKind, Side};

/// What to do about a finding in the chair, or none where another try cannot mend it.
///
/// Touching the lids is proposed only in guarded words and only where the eye's state allows it.
///
/// ```
/// use serrata_words::{EyeState, Finding, FindingKind};
/// let f = Finding::new(FindingKind::Blink, 1.0, 0.2);
/// let advice = serrata_visit::advice_for(&f, &EyeState::default()).unwrap();
/// assert!(advice.contains("blink"));
/// ```
#[must_use]
pub fn advice_for(finding: &Finding, eye: &EyeState) -> Option<String> {
    let text = match finding.kind {
        FindingKind::Blink => {
            "Let the patient blink a few times, then both eyes wide open, and take it again."
        }
        FindingKind::Lid => return Some(lid(finding.side, eye)),
        FindingKind::Lash => "Ask for both eyes wide open and the chin a little up; move back slightly.",
        FindingKind::TooClose => "Move back a little, until lids and lashes leave the picture.",
        FindingKind::TooFar => "Move a little nearer, until the shadow of the iris leaves the picture.",
        FindingKind::OffCentre => return Some(centre(finding.side)),
        FindingKind::IrisShadow => "Re-centre on the pupil and move a little nearer.",
        FindingKind::Motion => "Let the patient rest, ask to look steadily at the target, and take it again.",
        FindingKind::Blur => {
            "Let the patient blink, check the distance, clean the front surface, and take it again."
        }
        FindingKind::Haze => {
            "Let the patient blink, clean the front surface and re-centre. If haze stays: stop, note it, and say today if it is new."
        }
        FindingKind::Underexposed => "Re-centre on the pupil and raise the gain.",
        FindingKind::Overexposed => "Lower the gain and take it again.",
        FindingKind::Reflex => "Re-centre slightly, so that the reflection leaves the picture.",
        FindingKind::Smear | FindingKind::Dust => {
            "Clean the front surface as the clinic's own instruction says."
        }
        FindingKind::WrongEye => "Check which eye was in front, and correct the label.",
        FindingKind::WrongModality => "Check which kind of picture was taken, and correct the label.",
        FindingKind::NoRetina => {
            "Check that this is the right file; if it is, align on the pupil and take it again."
        }
        FindingKind::Floater => return None,
    };
    Some(text.to_owned())
}

fn lid(side: Option<Side>, eye: &EyeState) -> String {
    let which = match side {
        Some(Side::Top) => "upper lid",
        Some(Side::Bottom) => "lower lid",
        _ => "lid",
    };
    let first = format!("Ask for both eyes wide open, a blink, then a look slightly away from the {which}.");
    if eye.no_touch || eye.gas || eye.oil {
        return format!("{first} Nobody touches the lids of this eye.");
    }
    format!(
        "{first} If that failed: the {which} may be held by trained, gloved staff with a new applicator, on the orbital rim, \
         without pressure on the eye; not after recent surgery or injection, with a bleb, ulcer, red or discharging eye, \
         shingles, or against a refusal."
    )
}

fn centre(side: Option<Side>) -> String {
    side.map_or_else(
        || "Re-centre on the pupil and take it again.".to_owned(),
        |s| format!("The {s} of the picture is lost: re-centre on the pupil and take it again."),
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn lids_are_touched_only_where_the_eye_allows_it(k in 0..FindingKind::ALL.len(), s in prop::option::of(0..4usize)) {
            let mut f = Finding::new(FindingKind::ALL[k], 1.0, 0.5);
            f.side = s.map(|s| Side::ALL[s]);
            let guarded = EyeState { no_touch: true, ..EyeState::default() };
            let text = advice_for(&f, &guarded).unwrap_or_default();
            prop_assert!(!text.contains("held by"), "{}", text);
        }
    }

    #[test]
    fn haze_is_never_called_harmless() {
        let f = Finding::new(FindingKind::Haze, 1.0, 0.5);
        assert!(advice_for(&f, &EyeState::default()).unwrap().contains("say today if it is new"));
    }
}
