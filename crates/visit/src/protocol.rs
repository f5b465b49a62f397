//! Protocols: a clinic's list of views that an order stands for, in TOML.

use serde::{Deserialize, Serialize};
use serrata_words::View;

/// A list of views in order of rank: the first is the one to take if there is only one more.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Protocol {
    /// Short name for files and commands, for example "first-look".
    pub name: String,
    /// Name on screens.
    pub title: String,
    /// Where the list comes from, or "common practice, no source".
    pub source: String,
    /// The views, most important first.
    #[serde(rename = "view")]
    pub views: Vec<View>,
}

/// Why a protocol cannot be used.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum ProtocolError {
    /// The text is no protocol; the message names line and reason.
    #[error("the protocol cannot be read: {0}")]
    Text(String),
    /// No views.
    #[error("the protocol \"{0}\" lists no views; add at least one [[view]]")]
    Empty(String),
    /// A view without an eye.
    #[error("view \"{0}\" names no eye; write eye = \"R\" or eye = \"L\"")]
    NoEye(String),
    /// Two views of one name.
    #[error("two views are called \"{0}\"; give each its own name")]
    Twice(String),
}

impl Protocol {
    /// Reads and checks a protocol.
    ///
    /// # Errors
    /// [`ProtocolError`] with line and reason.
    ///
    /// ```
    /// let p = serrata_visit::Protocol::from_toml(r#"
    ///   name = "one"
    ///   title = "One picture"
    ///   source = "invented"
    ///   [[view]]
    ///   name = "colour R"
    ///   eye = "R"
    ///   modality = "colour"
    ///   gaze = "primary"
    ///   rank = "must"
    /// "#)?;
    /// assert_eq!(p.views.len(), 1);
    /// # Ok::<(), serrata_visit::ProtocolError>(())
    /// ```
    pub fn from_toml(text: &str) -> Result<Self, ProtocolError> {
        let p: Self =
            toml::from_str(text).map_err(|e| ProtocolError::Text(e.to_string().trim().to_owned()))?;
        if p.views.is_empty() {
            return Err(ProtocolError::Empty(p.name));
        }
        for (i, v) in p.views.iter().enumerate() {
            if v.eye.is_none() {
                return Err(ProtocolError::NoEye(v.name.clone()));
            }
            if p.views[..i].iter().any(|w| w.name == v.name) {
                return Err(ProtocolError::Twice(v.name.clone()));
            }
        }
        Ok(p)
    }

    /// The protocols that come with Serrata, by name.
    ///
    /// # Errors
    /// Never in a released build: a test reads them all.
    pub fn shipped() -> Result<Vec<Self>, ProtocolError> {
        [
            include_str!("../../../protocols/first-look.toml"),
            include_str!("../../../protocols/diabetes.toml"),
            include_str!("../../../protocols/macular-faf.toml"),
            include_str!("../../../protocols/five-gazes.toml"),
        ]
        .into_iter()
        .map(Self::from_toml)
        .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shipped_protocols_read() {
        let all = Protocol::shipped().unwrap();
        assert_eq!(
            all.iter().map(|p| p.name.as_str()).collect::<Vec<_>>(),
            ["first-look", "diabetes", "macular-faf", "five-gazes"]
        );
    }

    #[test]
    fn errors_name_the_line_and_the_reason() {
        let broken = "name = \"x\"\ntitle = \"X\"\nsource = \"s\"\n[[view]]\nname = \"v\"\neye = \"Q\"\n";
        let text = Protocol::from_toml(broken).unwrap_err().to_string();
        assert!(text.contains("line 6") && text.contains('Q'), "{text}");
        let twice = "name='x'\ntitle='X'\nsource='s'\n".to_owned()
            + &"[[view]]\nname='v'\neye='R'\nmodality='faf'\ngaze='up'\nrank='must'\n".repeat(2);
        assert_eq!(Protocol::from_toml(&twice), Err(ProtocolError::Twice("v".into())));
    }
}
