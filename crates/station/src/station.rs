//! The station: store, threads and profiles behind one handle that services share.

use crate::background::Background;
use crate::footprints::Footprints;
use crate::instruments;
use serrata_store::Store;
use serrata_visit::Rules;
use serrata_words::Instrument;
use std::sync::Arc;
use tokio::sync::Notify;

/// What all services of one server share. Cloning is cheap.
#[derive(Clone)]
pub struct Station {
    inner: Arc<Inner>,
}

struct Inner {
    store: Store,
    pool: rayon::ThreadPool,
    rules: Rules,
    instruments: Vec<Instrument>,
    work: Notify,
    settings: Settings,
    footprints: Footprints,
    background: Background,
    sending: Notify,
}

/// What a clinic says of its own house.
#[derive(Debug, Clone, Default)]
pub struct Settings {
    /// Where its worklist is, if it has one.
    pub worklist: Option<serrata_dicom::WorklistServer>,
    /// Its own lines, for example on wiping.
    pub lines: serrata_visit::ClinicLines,
    /// Our own AE title.
    pub ae_title: String,
    /// The clinic's own template of the imaging record, if it has one.
    pub paper_template: Option<String>,
    /// Where pictures are sent.
    pub destinations: Vec<crate::sending::Destination>,
}

impl Station {
    /// A station on an open store, with `threads` for pixels (0: all cores).
    ///
    /// # Errors
    /// Where the system gives no threads.
    pub fn new(store: Store, threads: usize) -> Result<Self, rayon::ThreadPoolBuildError> {
        Self::with(store, threads, Settings::default())
    }

    /// The same with what the clinic says of its own house.
    ///
    /// # Errors
    /// Where the system gives no threads.
    pub fn with(
        store: Store,
        threads: usize,
        settings: Settings,
    ) -> Result<Self, rayon::ThreadPoolBuildError> {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build()?;
        let background = Background::new(store.folder(), pool.current_num_threads())?;
        Ok(Self {
            inner: Arc::new(Inner {
                store,
                pool,
                rules: Rules::default(),
                instruments: instruments::shipped(),
                work: Notify::new(),
                settings,
                footprints: Footprints::default(),
                background,
                sending: Notify::new(),
            }),
        })
    }

    /// The store.
    #[must_use]
    pub fn store(&self) -> &Store {
        &self.inner.store
    }

    /// What the clinic says of its own house.
    #[must_use]
    pub fn settings(&self) -> &Settings {
        &self.inner.settings
    }

    /// The rules of judging.
    #[must_use]
    pub fn rules(&self) -> &Rules {
        &self.inner.rules
    }

    /// The profile that a frame's header names. Its sweep holds for pictures of any size, its projection only for
    /// those of the size that it says (see [`crate::area::projection`]).
    #[must_use]
    pub fn instrument_of(&self, named: Option<&str>) -> Option<&Instrument> {
        self.inner.instruments.iter().find(|i| Some(i.name.as_str()) == named)
    }

    /// Footprints that were made.
    pub(crate) fn footprints(&self) -> &Footprints {
        &self.inner.footprints
    }

    /// Montages and readings of dye runs that are made and kept.
    pub(crate) fn background(&self) -> &Background {
        &self.inner.background
    }

    /// Woken where something is to be sent.
    pub(crate) fn sending(&self) -> &Notify {
        &self.inner.sending
    }

    /// Tells the workers that something is to be done.
    pub fn wake(&self) {
        self.inner.work.notify_one();
    }

    /// Waits until there is something to be done.
    pub(crate) async fn woken(&self) {
        self.inner.work.notified().await;
    }

    /// Runs pixel work on the pool, away from the tasks that answer requests. None where the work panicked: the
    /// message is on standard error, and the caller reports the input as failed.
    pub(crate) async fn pixels<T: Send + 'static>(
        &self,
        f: impl FnOnce() -> T + Send + 'static,
    ) -> Option<T> {
        let (send, receive) = tokio::sync::oneshot::channel();
        self.inner.pool.spawn(move || {
            let done = std::panic::catch_unwind(std::panic::AssertUnwindSafe(f));
            let _ = send.send(done.ok()); // nobody waits any more: the server is stopping
        });
        receive.await.ok().flatten()
    }
}
