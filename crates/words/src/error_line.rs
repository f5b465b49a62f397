//! Contract `serrata.error/1`: one input that failed.

use serde::{Deserialize, Serialize};

/// One failed input, as a line of JSON; its sentence goes to standard error as well.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ErrorLine {
    /// Always `serrata.error/1`.
    pub schema: String,
    /// The input.
    pub path: String,
    /// A short stable word, for example `truncated`.
    pub code: String,
    /// What is wrong, one sentence without the path.
    pub message: String,
    /// What to do, one sentence.
    pub remedy: String,
}

impl ErrorLine {
    /// The contract's name.
    pub const SCHEMA: &'static str = "serrata.error/1";

    /// A line for one failed input.
    pub fn new(
        path: impl Into<String>,
        code: impl Into<String>,
        message: impl Into<String>,
        remedy: impl Into<String>,
    ) -> Self {
        Self {
            schema: Self::SCHEMA.to_owned(),
            path: path.into(),
            code: code.into(),
            message: message.into(),
            remedy: remedy.into(),
        }
    }

    /// The sentence for people. Example: `a.jpg: the file is empty. Copy it again from the camera.`
    #[must_use]
    pub fn sentence(&self) -> String {
        let stop = |s: &str| if s.ends_with(['.', '?', '!']) { s.to_owned() } else { format!("{s}.") };
        format!("{}: {} {}", self.path, stop(&self.message), stop(&self.remedy))
    }
}
