//! Verdicts.

use crate::FindingKind;
use serde::{Deserialize, Serialize};

crate::words! {
    /// Quality of a frame for its view. Ordered from best to worst.
    Verdict("verdict") {
        /// Readable.
        Usable = "usable",
        /// Readable with reservations.
        Limited = "limited",
        /// Not readable for this view.
        NotUsable = "not_usable",
    }
}

impl Verdict {
    /// The result as screens write it. Example: `Verdict::Limited.screen()` is `"usable with reservations"`.
    #[must_use]
    pub const fn screen(self) -> &'static str {
        match self {
            Self::Usable => "usable",
            Self::Limited => "usable with reservations",
            Self::NotUsable => "not usable",
        }
    }
}

crate::words! {
    /// What to do next; told apart from quality.
    Next("next step") {
        /// Keep the frame.
        Keep = "keep",
        /// Another try is likely to help.
        TryAgain = "try_again",
        /// Another try cannot help.
        Stop = "stop",
    }
}

/// Why a verdict is what it is.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Reason {
    /// The rule that was not met, for example "obstructed".
    pub rule: String,
    /// The finding behind it, where there is one.
    pub finding: Option<FindingKind>,
    /// Whether the rule was a must (`not_usable`) or a should (`limited`).
    pub must: bool,
    /// One sentence for people.
    pub text: String,
}

/// An observation judged for a view.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Judgement {
    /// Quality for the view.
    pub verdict: Verdict,
    /// What to do.
    pub next: Next,
    /// Why, gravest first; empty where everything is met.
    pub reasons: Vec<Reason>,
    /// What to do in the chair, one sentence each, most useful first.
    pub advice: Vec<String>,
}
