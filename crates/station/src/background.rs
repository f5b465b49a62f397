//! Long work in the background: one piece at a time, on threads of its own, so that no check of a frame waits. What is made is a
//! folder that appears whole or not at all; what a killed server left half made is removed at the next start.

use serrata_assemble::Hooks;
use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

/// Where a piece of work stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum State {
    /// Nobody asked for it.
    None,
    /// It is being made: how far it is, and of how much.
    Making {
        /// Done so far.
        done: usize,
        /// In all.
        of: usize,
    },
    /// It stands.
    Made,
    /// It could not be made; one sentence.
    Failed(String),
}

#[derive(Debug, Default)]
struct Progress {
    done: AtomicUsize,
    of: AtomicUsize,
}

/// Work that was begun and is to be run.
#[derive(Debug)]
pub struct Task(Arc<Progress>);

#[derive(Debug)]
enum Noted {
    Running(Arc<Progress>),
    Failed(String),
}

/// The work that a server does and keeps.
#[derive(Debug)]
pub struct Background {
    data: PathBuf,
    tasks: Mutex<HashMap<PathBuf, Noted>>,
    stop: AtomicBool,
    one: Mutex<()>,
    pool: rayon::ThreadPool,
}

/// Folders of what is kept, beneath the data folder: made again from the originals, so no part of a backup.
pub const MONTAGES: &str = "montages";
/// The same of readings of dye runs.
pub const READINGS: &str = "readings";

impl Background {
    /// Work under a data folder, on half of the `threads` for pixels.
    ///
    /// # Errors
    /// Where the system gives no threads.
    pub fn new(data: &Path, threads: usize) -> Result<Self, rayon::ThreadPoolBuildError> {
        for root in [MONTAGES, READINGS].map(|kind| data.join(kind)) {
            for left in std::fs::read_dir(&root).into_iter().flatten().flatten() {
                if left.file_name().to_string_lossy().starts_with('.')
                    && let Err(e) = std::fs::remove_dir_all(left.path())
                {
                    tracing::warn!(folder = %left.path().display(), "cannot be removed: {e}");
                }
            }
        }
        let pool = rayon::ThreadPoolBuilder::new().num_threads((threads / 2).max(1)).build()?;
        Ok(Self {
            data: data.to_path_buf(),
            tasks: Mutex::default(),
            stop: AtomicBool::new(false),
            one: Mutex::default(),
            pool,
        })
    }

    /// Folder of a result, for example `7-R` of [`MONTAGES`].
    #[must_use]
    pub fn folder(&self, kind: &str, name: &str) -> PathBuf {
        self.data.join(kind).join(name)
    }

    /// Where the work of a folder stands; `made`: whether a result is in it.
    #[must_use]
    pub fn state(&self, folder: &Path, made: bool) -> State {
        match self.tasks().get(folder) {
            Some(Noted::Running(p)) => {
                State::Making { done: p.done.load(Ordering::Relaxed), of: p.of.load(Ordering::Relaxed) }
            }
            Some(Noted::Failed(why)) => State::Failed(why.clone()),
            None if made => State::Made,
            None => State::None,
        }
    }

    /// Notes that a folder is being made, of so many parts; none where it is already.
    #[must_use]
    pub fn begin(&self, folder: &Path, of: usize) -> Option<Task> {
        let mut tasks = self.tasks();
        if matches!(tasks.get(folder), Some(Noted::Running(_))) {
            return None;
        }
        let progress = Arc::new(Progress::default());
        progress.of.store(of, Ordering::Relaxed);
        tasks.insert(folder.to_path_buf(), Noted::Running(Arc::clone(&progress)));
        Some(Task(progress))
    }

    /// Does work that was begun; what stands meanwhile stays. Blocks until it is done, so run it on a thread that may wait. A
    /// failure, or a panic, is told by [`Background::state`].
    pub fn run<E: std::fmt::Display>(
        &self,
        folder: &Path,
        Task(progress): Task,
        work: impl FnOnce(&Hooks<'_>) -> Result<(), E> + Send,
    ) {
        let _one = self.one.lock().unwrap_or_else(PoisonError::into_inner);
        let tell = |done: usize, of: usize| {
            progress.done.store(done, Ordering::Relaxed);
            progress.of.store(of, Ordering::Relaxed);
        };
        let hooks = Hooks { cancel: Some(&self.stop), progress: Some(&tell) };
        let work = std::panic::AssertUnwindSafe(|| {
            self.pool.install(|| work(&hooks).map_err(|e| sentence(&e.to_string())))
        });
        let done = std::panic::catch_unwind(work);
        let mut tasks = self.tasks();
        match done {
            Ok(Ok(())) => {
                tasks.remove(folder);
            }
            Ok(Err(why)) => {
                tasks.insert(folder.to_path_buf(), Noted::Failed(why));
            }
            Err(_) => {
                let why = "The work stopped in the middle; report the frames to the developers.";
                tasks.insert(folder.to_path_buf(), Noted::Failed(why.to_owned()));
            }
        }
    }

    /// Tells what is being made to stop.
    pub fn stop(&self) {
        self.stop.store(true, Ordering::Relaxed);
    }

    fn tasks(&self) -> std::sync::MutexGuard<'_, HashMap<PathBuf, Noted>> {
        self.tasks.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// A sentence for the page: a capital, a full stop.
fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(|c| c.to_uppercase().to_string()).unwrap_or_default();
    format!("{first}{}.", letters.as_str())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_fails_or_panics_is_told_and_can_be_begun_again() {
        let place = tempfile::tempdir().unwrap();
        let work = Background::new(place.path(), 2).unwrap();
        let folder = work.folder(READINGS, "7-R-fa");
        assert_eq!(work.state(&folder, false), State::None);
        let task = work.begin(&folder, 3).unwrap();
        assert!(work.begin(&folder, 3).is_none(), "it is being made already");
        assert_eq!(work.state(&folder, true), State::Making { done: 0, of: 3 });
        work.run(&folder, task, |_| Err("the disk is full"));
        assert_eq!(work.state(&folder, false), State::Failed("The disk is full.".to_owned()));
        let task = work.begin(&folder, 1).unwrap();
        work.run(&folder, task, |_| -> Result<(), String> { panic!("a bug") });
        assert!(matches!(work.state(&folder, false), State::Failed(why) if why.contains("developers")));
        let task = work.begin(&folder, 1).unwrap();
        work.run(&folder, task, |_| Ok::<(), String>(()));
        assert_eq!(work.state(&folder, true), State::Made);
    }
}
