//! The record around the needle. Kept, never proposed: no field has a default dose, strength or weight.

use serde::{Deserialize, Serialize};

crate::words! {
    /// A dye.
    Drug("dye") {
        /// Fluorescein.
        Fluorescein = "fluorescein",
        /// Indocyanine green.
        Icg = "icg",
    }
}

crate::words! {
    /// How the dye gets in.
    Route("route") {
        /// Into a vein.
        Vein = "vein",
        /// By mouth: other windows.
        Mouth = "mouth",
    }
}

crate::words! {
    /// Whose label rule a dose is held against.
    DoseRule("dose rule") {
        /// The adults' rule: a flat dose.
        Adult = "adult",
        /// The children's rule: by weight, with a maximum.
        Child = "child",
    }
}

/// Strength of a vial in mg per mL, as somebody read it from the vial in hand.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Concentration(pub f64);

/// An injection as it was given.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Injection {
    /// The dye.
    pub drug: Drug,
    /// The way in.
    pub route: Route,
    /// Who prescribed it.
    pub prescribed_by: String,
    /// Who gave it.
    pub given_by: String,
    /// Arm and site, for example "left forearm".
    pub site: String,
    /// Whether flow was checked with saline.
    pub flow_checked: bool,
    /// Strength as read from the vial in hand.
    pub strength: Option<Concentration>,
    /// Lot.
    pub lot: String,
    /// Expiry as printed, `YYYY-MM` or `YYYY-MM-DD`.
    pub expiry: String,
    /// Dose in mg as prescribed.
    pub mg: Option<f64>,
    /// Which rule it was held against.
    pub rule: Option<DoseRule>,
    /// A child's second person who checked weight and dose.
    pub second_person: Option<String>,
    /// How long it took, in seconds.
    pub seconds: Option<f64>,
    /// Start, microseconds since 1970 UTC; the clock of the dye run.
    pub start_us: i64,
    /// How far off the start may be, in microseconds: a marked start within 1 s is asked for.
    pub start_error_us: i64,
}

/// Something noted after the needle.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "note", rename_all = "snake_case")]
#[non_exhaustive]
pub enum NeedleNote {
    /// Pain or swelling at the site.
    Extravasation,
    /// Nausea.
    Nausea,
    /// Vomiting.
    Vomiting,
    /// Hives or itch.
    Hives,
    /// Wheeze, swelling, collapse.
    Severe,
    /// Anything else, in words.
    Other {
        /// The words.
        text: String,
    },
    /// Staff observed until now.
    ObservedUntil,
    /// Staff said that the access may come out.
    AccessOut,
}
