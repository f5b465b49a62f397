//! Methods and their revisions.

use serde::{Deserialize, Serialize};
use std::borrow::Cow;

/// A method with its revision: the same input, method and revision give the same result.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Method {
    /// Its name, for example "observe".
    pub name: Cow<'static, str>,
    /// Its revision; a change of output needs a new one.
    pub revision: u32,
}

impl Method {
    /// A method by name and revision.
    #[must_use]
    pub const fn new(name: &'static str, revision: u32) -> Self {
        Self { name: Cow::Borrowed(name), revision }
    }
}
