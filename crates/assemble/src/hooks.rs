use std::sync::atomic::{AtomicBool, Ordering};

/// What a long task asks and tells: whether to stop, and how far it is.
#[derive(Default)]
pub struct Hooks<'a> {
    /// Set to stop early.
    pub cancel: Option<&'a AtomicBool>,
    /// Called with done and all.
    pub progress: Option<&'a (dyn Fn(usize, usize) + Sync)>,
}

impl Hooks<'_> {
    /// Whether to stop.
    #[must_use]
    pub fn cancelled(&self) -> bool {
        self.cancel.is_some_and(|c| c.load(Ordering::Relaxed))
    }

    pub(crate) fn progress(&self, done: usize, all: usize) {
        if let Some(p) = self.progress {
            p(done, all);
        }
    }
}
