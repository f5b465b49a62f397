//! A place to break things on purpose: tests stop the store between any two steps.

use std::io;
use std::sync::Arc;

/// A step of writing; the hook is called right after it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Step {
    /// The temporary file is written, not synced.
    TempWritten,
    /// The temporary file is synced.
    TempSynced,
    /// The original is in its place, the folder not synced.
    Renamed,
    /// The folder is synced: the original is safe.
    FolderSynced,
    /// The rows are written, not committed.
    Rows,
    /// The audit entry and the event are written, not committed.
    Audit,
    /// The transaction is committed; the caller has not heard of it.
    Committed,
}

impl Step {
    /// All steps in their order.
    pub const ALL: [Self; 7] = [
        Self::TempWritten,
        Self::TempSynced,
        Self::Renamed,
        Self::FolderSynced,
        Self::Rows,
        Self::Audit,
        Self::Committed,
    ];
}

type Hook = Arc<dyn Fn(Step) -> io::Result<()> + Send + Sync>;

/// Called after each [`Step`]; an error ends the operation there, as if the process had died. Does nothing unless
/// made with [`Hooks::new`].
#[derive(Clone, Default)]
pub struct Hooks(Option<Hook>);

impl Hooks {
    /// Hooks that call `f` after each step.
    pub fn new(f: impl Fn(Step) -> io::Result<()> + Send + Sync + 'static) -> Self {
        Self(Some(Arc::new(f)))
    }

    pub(crate) fn after(&self, step: Step) -> io::Result<()> {
        self.0.as_ref().map_or(Ok(()), |f| f(step))
    }
}

impl std::fmt::Debug for Hooks {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(if self.0.is_some() { "Hooks(set)" } else { "Hooks(none)" })
    }
}
