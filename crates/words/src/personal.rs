//! Names and birth dates that must not leak into logs, file names or URLs.

use serde::{Deserialize, Serialize};

/// A value about a person. It has no `Display`, its `Debug` hides it, and it serializes only where a contract
/// asks for it; reading it is a visible call.
///
/// ```
/// use serrata_words::Personal;
/// let name = Personal::new("Ada Invented".to_owned());
/// assert_eq!(format!("{name:?}"), "Personal(hidden)");
/// assert_eq!(name.reveal(), "Ada Invented");
/// ```
#[derive(Clone, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Personal<T>(T);

impl<T> Personal<T> {
    /// Wraps a value.
    pub const fn new(value: T) -> Self {
        Self(value)
    }

    /// The value itself: for the screen of a signed-in person, the database and DICOM, never for logs.
    pub const fn reveal(&self) -> &T {
        &self.0
    }
}

impl<T> std::fmt::Debug for Personal<T> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Personal(hidden)")
    }
}
