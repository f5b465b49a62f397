//! The record around the needle: what is asked, what is held against a label, what is never said.
//!
//! Nothing is prefilled, nothing is proposed: strength comes from the vial in hand, the dose from the prescriber.

use serrata_words::{Concentration, DoseRule, Drug, Injection, Route};

/// Why no volume is said.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum NeedleError {
    /// Nobody read the strength.
    #[error("no mL without strength: read mg per mL from the vial in hand")]
    NoStrength,
    /// A strength, dose or weight that cannot be.
    #[error("strength, dose and weight are numbers above zero")]
    Number,
}

/// A dose as it is said: mg and mL together, with the strength.
///
/// # Errors
/// [`NeedleError`]: never mL without strength.
///
/// ```
/// use serrata_visit::dose_said;
/// use serrata_words::Concentration;
/// assert_eq!(dose_said(500.0, Some(Concentration(100.0))).unwrap(), "500 mg = 5.00 mL of 100 mg per mL");
/// assert!(dose_said(500.0, None).is_err());
/// ```
pub fn dose_said(mg: f64, strength: Option<Concentration>) -> Result<String, NeedleError> {
    let Concentration(c) = strength.ok_or(NeedleError::NoStrength)?;
    if !(c > 0.0 && c.is_finite() && mg > 0.0 && mg.is_finite()) {
        return Err(NeedleError::Number);
    }
    Ok(format!("{mg:.0} mg = {:.2} mL of {c} mg per mL", mg / c))
}

/// What the fluorescein label says in mg, for holding a prescription against: adults 500 mg flat; children 7.7 mg per
/// kg, at most 500 mg (drug label pages). The children's figure needs the rule for a child and a weight in kg that
/// somebody typed in; for an adult the weight is not looked at.
///
/// # Errors
/// [`NeedleError::Number`] where a child's weight is missing or no number above zero.
///
/// ```
/// use serrata_visit::fluorescein_label_mg;
/// use serrata_words::DoseRule;
/// assert_eq!(fluorescein_label_mg(DoseRule::Child, Some(20.0)), Ok(154.0));
/// assert_eq!(fluorescein_label_mg(DoseRule::Child, Some(65.0)), Ok(500.0)); // 500.5, capped
/// assert_eq!(fluorescein_label_mg(DoseRule::Adult, None), Ok(500.0));
/// ```
pub fn fluorescein_label_mg(rule: DoseRule, kilograms: Option<f64>) -> Result<f64, NeedleError> {
    match (rule, kilograms) {
        (DoseRule::Adult, _) => Ok(500.0),
        (DoseRule::Child, Some(kg)) if kg > 0.0 && kg.is_finite() => Ok((7.7 * kg).min(500.0)),
        (DoseRule::Child, _) => Err(NeedleError::Number),
    }
}

/// What is still missing in a record, or has to go back to the prescriber; one sentence each.
///
/// `today_mg` is what was given of the same dye today before this one, `child` whether the patient is a child,
/// `kilograms` the weight that somebody typed in, `now` the day as `YYYY-MM-DD`.
#[must_use]
pub fn needle_open(
    i: &Injection,
    today_mg: f64,
    child: bool,
    kilograms: Option<f64>,
    now: &str,
) -> Vec<String> {
    let mut said = Vec::new();
    let mut ask = |missing: bool, text: &str| {
        if missing {
            said.push(text.to_owned());
        }
    };
    ask(i.prescribed_by.trim().is_empty(), "Who prescribed it?");
    ask(i.given_by.trim().is_empty(), "Who gave it?");
    ask(i.mg.is_none(), "How many mg were prescribed? Nothing is filled in here.");
    ask(i.lot.trim().is_empty(), "Lot?");
    ask(i.expiry.trim().is_empty(), "Expiry?");
    let expired = i.expiry.len() >= 7 && now.get(..i.expiry.len()).is_some_and(|n| i.expiry.as_str() < n);
    ask(expired, "The vial has expired: stop, take another, tell the prescriber.");
    if i.route == Route::Vein {
        ask(i.strength.is_none(), "Strength as read from the vial in hand? No mL is said without it.");
        ask(i.site.trim().is_empty(), "Arm and site?");
        ask(
            !i.flow_checked,
            "Flow checked with saline, arm watched in the light before the room goes dark? If pain or swelling: stop the injection, call the clinician, local policy.",
        );
        ask(i.seconds.is_none(), "How long did it take?");
    }
    ask(
        i.start_error_us > 1_000_000,
        "The start is marked worse than ± 1 s: times of the transit carry that.",
    );
    ask(today_mg > 0.0, "A second injection is a new prescription, and never a remedy for missed frames.");
    if child {
        ask(
            i.rule != Some(DoseRule::Child),
            "The patient is a child: is the dose held against the children's rule?",
        );
        ask(
            i.second_person.as_ref().is_none_or(|p| p.trim().is_empty() || *p == i.given_by),
            "A second person checks weight and dose of a child.",
        );
        ask(kilograms.is_none(), "Weight in kilograms, as measured today?");
    } else {
        ask(
            i.rule == Some(DoseRule::Child),
            "7.7 mg per kg is the children's rule; this patient is not noted as a child.",
        );
    }
    if let (Drug::Fluorescein, Some(mg), Some(rule)) = (i.drug, i.mg, i.rule)
        && fluorescein_label_mg(rule, kilograms).is_ok_and(|label| mg + today_mg > label + 0.5)
    {
        said.push(format!(
            "{:.0} mg today is more than the label says: the prescriber decides.",
            mg + today_mg
        ));
    }
    if i.drug == Drug::Icg {
        let over = i.mg.zip(kilograms).is_some_and(|(mg, kg)| mg + today_mg > 2.0 * kg);
        if over {
            said.push(
                "Above 2 mg per kilogram in all: the label says below; the prescriber decides.".to_owned(),
            );
        }
        said.push("Dissolved only with the water supplied, and used within 6 hours?".to_owned());
    }
    said
}

/// What is shown after the needle: total of the day, and that staff decide when the access comes out.
#[must_use]
pub fn needle_standing(total_mg: f64, access_out: bool) -> Vec<String> {
    let mut said = Vec::new();
    if total_mg > 0.0 {
        said.push(format!("Given today: {total_mg:.0} mg in all."));
    }
    if !access_out {
        said.push("The access stays in until staff say so.".to_owned());
    }
    said
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn record() -> Injection {
        Injection {
            drug: Drug::Fluorescein,
            route: Route::Vein,
            prescribed_by: "Dr Invented".into(),
            given_by: "ada".into(),
            site: "left forearm".into(),
            flow_checked: true,
            strength: Some(Concentration(100.0)),
            lot: "L1".into(),
            expiry: "2027-01".into(),
            mg: Some(500.0),
            rule: Some(DoseRule::Adult),
            second_person: None,
            seconds: Some(8.0),
            start_us: 0,
            start_error_us: 500_000,
        }
    }

    #[test]
    fn a_full_record_asks_nothing_more() {
        assert_eq!(needle_open(&record(), 0.0, false, None, "2026-11-25"), Vec::<String>::new());
    }

    #[test]
    fn the_childrens_rule_is_for_children_only() {
        let mut i = record();
        i.rule = Some(DoseRule::Child);
        assert!(
            needle_open(&i, 0.0, false, Some(70.0), "2026-11-25")
                .iter()
                .any(|s| s.contains("not noted as a child"))
        );
        let child = needle_open(&i, 0.0, true, Some(20.0), "2026-11-25");
        assert!(
            child.iter().any(|s| s.contains("second person"))
                && child.iter().any(|s| s.contains("prescriber decides")),
            "{child:?}"
        );
    }

    #[test]
    fn the_label_doses() {
        for (kg, mg) in [(20.0, 154.0), (64.9, 499.73), (65.0, 500.0)] {
            assert!((fluorescein_label_mg(DoseRule::Child, Some(kg)).unwrap() - mg).abs() < 1e-9);
        }
        assert_eq!(
            dose_said(154.0, Some(Concentration(100.0))).unwrap(),
            "154 mg = 1.54 mL of 100 mg per mL"
        );
        assert!(fluorescein_label_mg(DoseRule::Child, None).is_err());
    }

    #[test]
    fn expired_and_second_injections_go_back_to_the_prescriber() {
        let mut i = record();
        i.expiry = "2026-10".into();
        let said = needle_open(&i, 500.0, false, None, "2026-11-25").join(" ");
        for part in ["expired", "new prescription", "1000 mg today"] {
            assert!(said.contains(part), "{part}: {said}");
        }
        i.expiry = "2026-11".into();
        assert!(
            !needle_open(&i, 0.0, false, None, "2026-11-25").join(" ").contains("expired"),
            "good to the end of its month"
        );
    }

    proptest! {
        #[test]
        fn millilitres_are_never_said_without_strength(mg in prop::num::f64::ANY, c in prop::option::of(prop::num::f64::ANY)) {
            match dose_said(mg, c.map(Concentration)) {
                Ok(t) => prop_assert!(c.is_some() && t.contains("mg per mL") && t.contains("mg =")),
                Err(e) => prop_assert!(c.is_none() == (e == NeedleError::NoStrength)),
            }
        }

        #[test]
        fn nothing_says_cleared(empty in any::<bool>(), child in any::<bool>(), today in 0f64..900.0) {
            let mut i = record();
            if empty { i.strength = None; i.mg = None; i.lot.clear(); }
            let said = needle_open(&i, today, child, None, "2026-11-25").join(" ").to_lowercase();
            for word in ["cleared", "safe", "may leave", "fit for", " ok"] {
                prop_assert!(!said.contains(word), "{}", said);
            }
        }
    }
}
