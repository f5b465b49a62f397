//! Objects made of pictures, kept while they are on their way: files in `derived/` named by their SHA-256.

use crate::canonical::sha256_hex;
use crate::original::{Original, blocking, keep};
use crate::{Delivery, DeliveryKind, Store, StoreError};
use bytes::Bytes;
use std::fs;
use std::io;
use std::time::Duration;

/// How long a file that no delivery names stays: longer than it takes to queue what was just made.
const SPARED: Duration = Duration::from_secs(3600);

impl Store {
    /// Keeps an object until its deliveries are done. The same bytes again change nothing.
    ///
    /// # Errors
    /// As [`Store::put_original`].
    pub async fn put_derived(&self, bytes: Bytes) -> Result<Original, StoreError> {
        let (folder, hooks) = (self.inner().folder.clone(), self.inner().hooks.clone());
        blocking(move || {
            let dir = folder.derived();
            fs::create_dir_all(&dir).map_err(|e| StoreError::io(&dir, "making the folder", &e))?;
            let sha256 = sha256_hex(&bytes);
            let place = folder.derived_file(&sha256)?;
            keep(&folder, &hooks, &bytes, sha256, &place)
        })
        .await
    }

    /// The file that a delivery is of.
    ///
    /// # Errors
    /// As [`Store::read_original`].
    pub async fn read_delivery(&self, delivery: &Delivery) -> Result<Bytes, StoreError> {
        if delivery.kind == DeliveryKind::Original {
            return self.read_original(&delivery.sha256).await;
        }
        let path = self.inner().folder.derived_file(&delivery.sha256)?;
        let sha256 = delivery.sha256.clone();
        blocking(move || match fs::read(&path) {
            Ok(bytes) => Ok(bytes.into()),
            Err(e) if e.kind() == io::ErrorKind::NotFound => Err(StoreError::NoOriginal(sha256)),
            Err(e) => Err(StoreError::io(&path, "reading an object", &e)),
        })
        .await
    }

    /// Removes objects that no open delivery names any more; how many. They can be made again.
    ///
    /// # Errors
    /// [`StoreError`] where the database or the disk fails.
    pub async fn sweep_derived(&self) -> Result<u64, StoreError> {
        let dir = self.inner().folder.derived();
        let mut conn = self.reader().await?;
        let wanted: Vec<String> = sqlx::query_scalar(
            "SELECT sha256 FROM deliveries WHERE kind = 'derived' AND state NOT IN ('done', 'withdrawn')",
        )
        .fetch_all(&mut *conn)
        .await?;
        drop(conn);
        blocking(move || {
            let io = |e| StoreError::io(&dir, "sweeping the folder", &e);
            let entries = match fs::read_dir(&dir) {
                Err(e) if e.kind() == io::ErrorKind::NotFound => return Ok(0),
                other => other.map_err(io)?,
            };
            let mut gone = 0;
            for entry in entries {
                let entry = entry.map_err(io)?;
                let named = entry.file_name().to_str().is_some_and(|n| wanted.iter().any(|w| w == n));
                let age = entry.metadata().and_then(|m| m.modified()).ok().and_then(|t| t.elapsed().ok());
                if !named && age.is_some_and(|a| a > SPARED) {
                    fs::remove_file(entry.path()).map_err(io)?;
                    gone += 1;
                }
            }
            Ok(gone)
        })
        .await
    }
}
