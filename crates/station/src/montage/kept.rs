use super::{MontageError, Wanted, made, make};
use bytes::Bytes;
use serrata_assemble::Hooks;
use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

/// Where a montage stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum State {
    /// Nobody asked for it.
    None,
    /// It is being made: frames placed, and how many there are.
    Making {
        /// Frames placed so far.
        done: usize,
        /// Frames in all.
        of: usize,
    },
    /// It stands (see [`made`]).
    Made,
    /// It could not be made; one sentence.
    Failed(String),
}

#[derive(Debug, Default)]
struct Progress {
    done: AtomicUsize,
    of: AtomicUsize,
}

/// A montage that was begun and is to be run.
#[derive(Debug)]
pub struct Task(Arc<Progress>);

#[derive(Debug)]
enum Noted {
    Running(Arc<Progress>),
    Failed(String),
}

/// The montages that a server makes and keeps: one at a time, on threads of their own, so that no check of a frame waits.
#[derive(Debug)]
pub struct Montages {
    root: PathBuf,
    tasks: Mutex<HashMap<PathBuf, Noted>>,
    stop: AtomicBool,
    one: Mutex<()>,
    pool: rayon::ThreadPool,
}

impl Montages {
    /// Montages under a data folder, made on half of the `threads` for pixels.
    ///
    /// # Errors
    /// Where the system gives no threads.
    pub fn new(data: &Path, threads: usize) -> Result<Self, rayon::ThreadPoolBuildError> {
        let root = data.join("montages");
        // What a killed server left half made.
        for left in std::fs::read_dir(&root).into_iter().flatten().flatten() {
            if left.file_name().to_string_lossy().starts_with('.')
                && let Err(e) = std::fs::remove_dir_all(left.path())
            {
                tracing::warn!(folder = %left.path().display(), "cannot be removed: {e}");
            }
        }
        let pool = rayon::ThreadPoolBuilder::new().num_threads((threads / 2).max(1)).build()?;
        Ok(Self { root, tasks: Mutex::default(), stop: AtomicBool::new(false), one: Mutex::default(), pool })
    }

    /// Folder of a montage of that name, for example `7-R` or `7-R-with-3`.
    #[must_use]
    pub fn folder(&self, name: &str) -> PathBuf {
        self.root.join(name)
    }

    /// Where a montage stands.
    #[must_use]
    pub fn state(&self, folder: &Path) -> State {
        match self.tasks().get(folder) {
            Some(Noted::Running(p)) => {
                State::Making { done: p.done.load(Ordering::Relaxed), of: p.of.load(Ordering::Relaxed) }
            }
            Some(Noted::Failed(why)) => State::Failed(why.clone()),
            None if made(folder).is_some() => State::Made,
            None => State::None,
        }
    }

    /// Notes that a montage is being made; none where it is already.
    #[must_use]
    pub fn begin(&self, wanted: &Wanted) -> Option<Task> {
        let mut tasks = self.tasks();
        if matches!(tasks.get(&wanted.folder), Some(Noted::Running(_))) {
            return None;
        }
        let progress = Arc::new(Progress::default());
        progress.of.store(wanted.picks.len(), Ordering::Relaxed);
        tasks.insert(wanted.folder.clone(), Noted::Running(Arc::clone(&progress)));
        Some(Task(progress))
    }

    /// Makes a montage that was begun; what stands meanwhile stays. Blocks until it is done, so run it on a thread that
    /// may wait. A failure is told by [`Montages::state`].
    pub fn run(
        &self,
        wanted: &Wanted,
        Task(progress): Task,
        original: impl Fn(&str) -> Result<Bytes, String> + Send + Sync,
    ) {
        let _one = self.one.lock().unwrap_or_else(PoisonError::into_inner);
        let tell = |done: usize, of: usize| {
            progress.done.store(done, Ordering::Relaxed);
            progress.of.store(of, Ordering::Relaxed);
        };
        let hooks = Hooks { cancel: Some(&self.stop), progress: Some(&tell) };
        let work = std::panic::AssertUnwindSafe(|| self.pool.install(|| make(wanted, &original, &hooks)));
        let done = std::panic::catch_unwind(work);
        let mut tasks = self.tasks();
        match done {
            Ok(Ok(_)) => {
                tasks.remove(&wanted.folder);
            }
            Ok(Err(e)) => {
                tasks.insert(wanted.folder.clone(), Noted::Failed(sentence(&e)));
            }
            Err(_) => {
                let why = "The montage stopped in the middle; report the frames to the developers.";
                tasks.insert(wanted.folder.clone(), Noted::Failed(why.to_owned()));
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
fn sentence(e: &MontageError) -> String {
    let text = e.to_string();
    let mut letters = text.chars();
    let first = letters.next().map(|c| c.to_uppercase().to_string()).unwrap_or_default();
    format!("{first}{}.", letters.as_str())
}
