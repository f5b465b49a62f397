//! Who a frame, an order or a visit is about, compared and never guessed.

use serrata_words::{Identity, Order, OrderState};

/// A field in which two identities differ, to be shown side by side.
#[derive(Clone, PartialEq, Eq)]
pub struct Difference {
    /// The field, for example "day of birth".
    pub field: &'static str,
    /// What is here.
    pub here: String,
    /// What is there.
    pub there: String,
}

impl std::fmt::Debug for Difference {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Difference({}, hidden)", self.field) // names never reach a log
    }
}

/// All fields in which two identities differ. What one of them does not say is no difference; capitals and spaces
/// around a name are none either. Days of birth are said with the month in letters.
#[must_use]
pub fn differences(here: &Identity, there: &Identity) -> Vec<Difference> {
    let mut out = Vec::new();
    let mut text = |field, a: &str, b: &str| {
        let fold = |s: &str| s.split_whitespace().collect::<Vec<_>>().join(" ").to_lowercase();
        if !a.trim().is_empty() && !b.trim().is_empty() && fold(a) != fold(b) {
            out.push(Difference { field, here: a.trim().to_owned(), there: b.trim().to_owned() });
        }
    };
    text("patient's number", here.patient_id.reveal(), there.patient_id.reveal());
    text("issuer of the number", here.issuer.as_deref().unwrap_or(""), there.issuer.as_deref().unwrap_or(""));
    text("family name", here.family.reveal(), there.family.reveal());
    text("given names", here.given.reveal(), there.given.reveal());
    text("sex", here.sex.as_deref().unwrap_or(""), there.sex.as_deref().unwrap_or(""));
    if let (Some(a), Some(b)) = (here.born.reveal(), there.born.reveal())
        && a != b
    {
        out.push(Difference { field: "day of birth", here: a.screen(), there: b.screen() });
    }
    out
}

/// A visit as a frame looks for it.
#[derive(Debug, Clone)]
pub struct VisitKey {
    /// The visit.
    pub id: String,
    /// Study UIDs that belong to it.
    pub studies: Vec<String>,
    /// For whom.
    pub identity: Identity,
}

/// Where a frame belongs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Belongs {
    /// To this visit.
    Visit(String),
    /// A person has to decide.
    Waits {
        /// Why, one sentence.
        why: String,
        /// The visit that is nearest, where there is one to show beside it.
        beside: Option<String>,
        /// Fields that differ from it.
        differences: Vec<Difference>,
    },
}

/// Decides by Study UID and patient where a frame belongs; every mismatch waits for a person.
#[must_use]
pub fn belongs(study: Option<&str>, who: &Identity, visits: &[VisitKey]) -> Belongs {
    let waits = |why: &str, v: Option<&VisitKey>| Belongs::Waits {
        why: why.to_owned(),
        beside: v.map(|v| v.id.clone()),
        differences: v.map(|v| differences(who, &v.identity)).unwrap_or_default(),
    };
    let number = |v: &&VisitKey| {
        !who.patient_id.reveal().trim().is_empty()
            && v.identity.patient_id.reveal().trim() == who.patient_id.reveal().trim()
    };
    let by_study: Vec<&VisitKey> =
        visits.iter().filter(|v| study.is_some_and(|s| v.studies.iter().any(|t| t == s))).collect();
    match (study, by_study.as_slice()) {
        (Some(_), [v]) if number(v) && differences(who, &v.identity).is_empty() => {
            Belongs::Visit(v.id.clone())
        }
        (Some(_), [v]) => waits("its study is known, but the patient in it is not the same", Some(v)),
        (Some(_), [_, ..]) => waits("its study belongs to more than one visit", by_study.first().copied()),
        (_, []) => {
            let same: Vec<&VisitKey> = visits.iter().filter(number).collect();
            match (study, same.as_slice()) {
                (None, [v]) if differences(who, &v.identity).is_empty() => Belongs::Visit(v.id.clone()),
                (_, [v]) if !differences(who, &v.identity).is_empty() => {
                    waits("the patient's number is known, but something else differs", Some(v))
                }
                (Some(_), [v]) => waits("the patient is known, but the study is not", Some(v)),
                (_, []) => {
                    let near = visits.iter().find(|v| differences(who, &v.identity).len() == 1);
                    waits("no open visit is of this patient", near)
                }
                (_, more) => waits("more than one visit is of this patient", more.first().copied()),
            }
        }
        (None, _) => waits("it names no study", None),
    }
}

/// Orders that contradict each other, one sentence each: the same number for two patients or two protocols, the same
/// protocol with two transit eyes, one that stands beside its own cancelling.
#[must_use]
pub fn contradictions(orders: &[Order]) -> Vec<String> {
    let mut said = Vec::new();
    for (i, a) in orders.iter().enumerate() {
        for b in &orders[i + 1..] {
            if a.number == b.number {
                let fields: Vec<&str> =
                    differences(&a.identity, &b.identity).iter().map(|d| d.field).collect();
                if !fields.is_empty() {
                    said.push(format!(
                        "Order {} comes twice, and differs in: {}.",
                        a.number,
                        fields.join(", ")
                    ));
                } else if a.state != b.state {
                    said.push(format!("Order {} is both open and cancelled.", a.number));
                } else if a.protocol != b.protocol {
                    said.push(format!("Order {} comes twice, with two protocols.", a.number));
                }
            }
            let one_patient =
                a.identity.patient_id == b.identity.patient_id && !a.identity.patient_id.reveal().is_empty();
            let both_open = a.state == OrderState::Open && b.state == OrderState::Open;
            if one_patient && both_open && a.transit.zip(b.transit).is_some_and(|(x, y)| x != y) {
                said.push(format!(
                    "Orders {} and {} name different transit eyes: ask the clinician.",
                    a.number, b.number
                ));
            }
        }
    }
    said
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use serrata_words::{BirthDate, Personal};

    fn who(number: &str, family: &str, born: &str) -> Identity {
        Identity {
            patient_id: Personal::new(number.into()),
            family: Personal::new(family.into()),
            given: Personal::new("Ada".into()),
            born: Personal::new(BirthDate::parse(born)),
            ..Identity::default()
        }
    }

    fn visit(id: &str, study: &str, i: Identity) -> VisitKey {
        VisitKey { id: id.into(), studies: vec![study.into()], identity: i }
    }

    #[test]
    fn one_field_differences_are_shown_side_by_side_with_the_month_in_letters() {
        let visits = [visit("v", "1.2", who("INV-1", "Lovage", "1961-02-03"))];
        let b = belongs(Some("1.2"), &who("INV-1", "Lovage", "1961-03-02"), &visits);
        let Belongs::Waits { differences, beside, .. } = b else { panic!("{b:?}") };
        assert_eq!(beside.as_deref(), Some("v"));
        assert_eq!(
            (differences[0].here.as_str(), differences[0].there.as_str()),
            ("2 Mar 1961", "3 Feb 1961")
        );
        assert!(!format!("{differences:?}").contains("1961"));
    }

    #[test]
    fn study_and_patient_together_decide() {
        let visits = [visit("v", "1.2", who("INV-1", "Lovage", "1961-02-03"))];
        assert_eq!(
            belongs(Some("1.2"), &who("INV-1", "LOVAGE ", "1961-02-03"), &visits),
            Belongs::Visit("v".into())
        );
        assert!(matches!(
            belongs(Some("9"), &who("INV-1", "Lovage", "1961-02-03"), &visits),
            Belongs::Waits { .. }
        ));
        assert!(matches!(belongs(Some("1.2"), &Identity::default(), &visits), Belongs::Waits { .. }));
        assert_eq!(belongs(None, &who("INV-1", "Lovage", "1961-02-03"), &visits), Belongs::Visit("v".into()));
    }

    proptest! {
        #[test]
        fn a_frame_never_goes_to_a_visit_of_another_number(n in 0u8..4, m in 0u8..4, study in prop::option::of(0u8..3)) {
            let visits: Vec<VisitKey> = (0..3).map(|i| visit(&i.to_string(), &i.to_string(), who(&format!("INV-{}", (i + m) % 4), "X", "1961-02-03"))).collect();
            let f = who(&format!("INV-{n}"), "X", "1961-02-03");
            if let Belongs::Visit(v) = belongs(study.map(|s| s.to_string()).as_deref(), &f, &visits) {
                let v = visits.iter().find(|k| k.id == v).unwrap();
                prop_assert_eq!(v.identity.patient_id.reveal(), f.patient_id.reveal());
            }
        }
    }
}
