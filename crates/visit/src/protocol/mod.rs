//! Protocols: a clinic's list of views that an order stands for, in TOML.

mod check;
mod follow_up;
mod plan;
mod shipped;
mod wanted;

pub use check::{ProtocolError, ProtocolFault};
pub use follow_up::EarlierFrame;
pub use plan::{Ask, Plan, Question};
pub use wanted::{EyeWanted, GazeWanted, Wanted};

use serde::Deserialize;

/// A list of wanted pictures in order of rank: the first is the one to take if there is only one more.
///
/// What an order stands for is its [`Plan`], made by [`Protocol::plan`] once the questions that the protocol leaves
/// open (which eye is the transit eye, which options) are answered.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Protocol {
    /// Short name for files and commands, for example "first-look".
    pub name: String,
    /// Name on screens.
    pub title: String,
    /// Where the list comes from, or "common practice, no source".
    pub source: String,
    /// Sentences for the person who photographs, for example what comes first.
    #[serde(default)]
    pub notes: Vec<String>,
    /// Options that an order may name, each with what it means.
    #[serde(default)]
    pub options: std::collections::BTreeMap<String, String>,
    /// Names of the wanted pictures that make up the short form, for a person of whom only one shot can be had:
    /// these are musts in this order, all others wanted.
    #[serde(default)]
    pub one_shot: Vec<String>,
    /// Whether the marked frames of an earlier visit are repeated.
    #[serde(default)]
    pub repeats_earlier: bool,
    /// The pictures, most important first.
    #[serde(rename = "view")]
    pub wanted: Vec<Wanted>,
}

impl Protocol {
    /// Reads and checks a protocol. All faults are named at once.
    ///
    /// # Errors
    /// [`ProtocolError`], each fault with its line and reason.
    ///
    /// ```
    /// let p = serrata_visit::Protocol::from_toml(r#"
    ///   name = "one"
    ///   title = "One picture"
    ///   source = "invented"
    ///   one_shot = ["colour ahead"]
    ///   [[view]]
    ///   name = "colour ahead"
    ///   eye = "both"
    ///   modality = "colour"
    ///   gaze = "primary"
    ///   rank = "must"
    /// "#)?;
    /// assert_eq!(p.plan(&serrata_visit::Ask::default())?.views.len(), 2);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn from_toml(text: &str) -> Result<Self, ProtocolError> {
        check::read(text)
    }
}
