//! What the state of the eye changes.

use serrata_words::{EyeState, PersonState};

/// Whether millimetres may be given for an eye.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Millimetres {
    /// As the instrument allows.
    Given,
    /// With a wider interval, and the reason said.
    Wider(&'static str),
    /// None, and why.
    None(&'static str),
}

/// Whether mm may be given: gas and a missing lens forbid them, oil and a worn lens widen them, and surgery since the
/// axial length was measured asks for a new one (practice §1.4).
#[must_use]
pub const fn millimetres(eye: &EyeState) -> Millimetres {
    if eye.gas {
        Millimetres::None("gas in the eye changes its magnification")
    } else if eye.no_lens {
        Millimetres::None("an eye without a lens has another magnification")
    } else if eye.measured_before_surgery {
        Millimetres::None("a new axial length is needed first: lens surgery, gas or oil came since")
    } else if eye.oil {
        Millimetres::Wider("oil in the eye")
    } else if eye.lens_worn {
        Millimetres::Wider("a contact lens is worn")
    } else {
        Millimetres::Given
    }
}

/// The eye's state with the person's counted in: fewer tries for whoever is to be spared.
#[must_use]
pub fn for_judging(eye: &EyeState, person: &PersonState) -> EyeState {
    let spare = eye.spare
        || eye.light_sensitive
        || person.child
        || person.infant
        || person.learning_disability
        || person.pain
        || person.photophobia;
    EyeState { spare, ..eye.clone() }
}

/// How far this eye can be turned, degrees: what was noted, else the instrument's, less where the eye trembles or does
/// not fixate (no proposals then).
#[must_use]
pub fn gaze_range_deg(eye: &EyeState, instrument_deg: f64) -> f64 {
    if eye.no_fixation {
        return 0.0;
    }
    eye.gaze_range_deg.map_or(instrument_deg, |own| f64::from(own).min(instrument_deg))
}

/// What is carried to the next visit: what lasts, and what worked. Today's drops, pupil, redness and recent surgery
/// are asked anew.
#[must_use]
pub fn carried(eye: &EyeState) -> EyeState {
    EyeState {
        dilated: None,
        small_pupil: false,
        drops_or_gel: false,
        lens_worn: false,
        no_touch: false,
        red_eye: false,
        ..eye.clone()
    }
}

/// What is carried of the person: not today's pain.
#[must_use]
pub fn carried_person(person: &PersonState) -> PersonState {
    PersonState { pain: false, photosensitised: false, ..person.clone() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn gas_forbids_mm_and_oil_widens_them() {
        let eye = |f: fn(&mut EyeState)| {
            let mut e = EyeState::default();
            f(&mut e);
            millimetres(&e)
        };
        assert_eq!(eye(|_| ()), Millimetres::Given);
        assert!(matches!(eye(|e| e.gas = true), Millimetres::None(_)));
        assert!(matches!(eye(|e| e.no_lens = true), Millimetres::None(_)));
        assert!(matches!(eye(|e| e.oil = true), Millimetres::Wider(_)));
        assert!(matches!(
            eye(|e| {
                e.oil = true;
                e.measured_before_surgery = true;
            }),
            Millimetres::None(_)
        ));
    }

    #[test]
    fn what_lasts_is_carried_and_today_is_asked_anew() {
        let today = EyeState {
            dilated: Some(true),
            oil: true,
            ptosis: true,
            no_touch: true,
            red_eye: true,
            worked: vec!["chin a little up".into()],
            ..EyeState::default()
        };
        let next = carried(&today);
        assert!(next.oil && next.ptosis && !next.no_touch && !next.red_eye && next.dilated.is_none());
        assert_eq!(next.worked, today.worked);
    }

    #[test]
    fn a_child_is_spared_and_an_eye_without_fixation_is_sent_nowhere() {
        let person = PersonState { child: true, ..PersonState::default() };
        assert!(for_judging(&EyeState::default(), &person).spare);
        assert!(gaze_range_deg(&EyeState { no_fixation: true, ..EyeState::default() }, 30.0) < 1e-9);
        assert!(
            (gaze_range_deg(&EyeState { gaze_range_deg: Some(15), ..EyeState::default() }, 30.0) - 15.0)
                .abs()
                < 1e-9
        );
    }
}
