//! The store.

use crate::folder::Folder;
use crate::writer::{BoxFuture, Tx, Writer};
use crate::{Hooks, StoreError};
use sqlx::pool::PoolConnection;
use sqlx::{Sqlite, SqlitePool};
use std::path::Path;
use std::sync::Arc;
use tokio::sync::watch;

/// A data folder, held open by this process alone. Cheap to clone; clones are the same store.
#[derive(Debug, Clone)]
pub struct Store(Arc<Inner>);

#[derive(Debug)]
pub(crate) struct Inner {
    pub(crate) folder: Folder,
    pub(crate) hooks: Hooks,
    pub(crate) writer: Writer,
    pub(crate) readers: SqlitePool,
    pub(crate) last: watch::Receiver<i64>,
}

impl Store {
    pub(crate) const fn from_inner(inner: Arc<Inner>) -> Self {
        Self(inner)
    }

    pub(crate) fn inner(&self) -> &Inner {
        &self.0
    }

    /// A connection for reading.
    pub(crate) async fn reader(&self) -> Result<PoolConnection<Sqlite>, StoreError> {
        Ok(self.0.readers.acquire().await?)
    }

    /// Runs an operation in the writer; the result comes after the commit.
    pub(crate) async fn write<F, T>(&self, operation: F) -> Result<T, StoreError>
    where
        F: for<'a> FnOnce(&'a mut Tx) -> BoxFuture<'a, Result<T, StoreError>> + Send + 'static,
        T: Send + 'static,
    {
        self.0.writer.run(operation).await
    }

    /// The data folder.
    #[must_use]
    pub fn folder(&self) -> &Path {
        &self.0.folder.root
    }

    /// Waits for writes under way, closes the database and lets go of the lock. Clones answer
    /// [`StoreError::Closed`] or [`StoreError::Database`] from then on.
    pub async fn close(&self) {
        self.0.readers.close().await;
        self.0.writer.close().await;
    }

    /// Tells the id of the last committed event whenever it grows: wakes workers and pages.
    #[must_use]
    pub fn changes(&self) -> watch::Receiver<i64> {
        self.0.last.clone()
    }
}
