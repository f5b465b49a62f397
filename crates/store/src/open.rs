//! Opening a data folder.

use crate::audit::Chain;
use crate::folder::Folder;
use crate::schema::{MIGRATIONS, migrate, version};
use crate::store::Inner;
use crate::writer::{Tx, Writer};
use crate::{By, Hooks, OpenError, Store};
use sqlx::sqlite::{
    SqliteConnectOptions, SqliteConnection, SqliteJournalMode, SqlitePoolOptions, SqliteSynchronous,
};
use sqlx::{ConnectOptions, Connection};
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::watch;

/// Connections for reading: more than the cores of a station, so that one slow reader does not hold up a page.
const READERS: u32 = 8;

impl Store {
    /// Opens a data folder and makes what is missing. Sweeps temporary files, gives work back that a dead process
    /// had leased, and starts an audit chain of its own. Needs a tokio runtime.
    ///
    /// # Errors
    /// One sentence that names the folder: it is in use, was written by a newer version, or cannot be used.
    pub async fn open(dir: impl AsRef<Path>) -> Result<Self, OpenError> {
        Self::open_with(dir, Hooks::default()).await
    }

    /// Opens a data folder with [`Hooks`] between the steps of writing, for tests.
    ///
    /// # Errors
    /// As [`Store::open`].
    pub async fn open_with(dir: impl AsRef<Path>, hooks: Hooks) -> Result<Self, OpenError> {
        let folder = Folder::new(dir.as_ref());
        let lock = folder.prepare()?;
        let database = folder.database();
        let sql = |e| OpenError::sql(&database, &e);
        let mut conn = options(&database).connect().await.map_err(sql)?;
        if let Some(copy) = migrate(&mut conn, &folder.root, &database, MIGRATIONS).await? {
            tracing::info!("upgraded the database; the one from before is {}", copy.display());
        }
        let (chain, last_event) = begin(&mut conn).await.map_err(sql)?;
        let readers = SqlitePoolOptions::new()
            .max_connections(READERS)
            .acquire_timeout(Duration::from_secs(30))
            .connect_with(options(&database).read_only(true))
            .await
            .map_err(sql)?;
        let (changed, last) = watch::channel(last_event);
        let tx = Tx::new(conn, chain, hooks.clone(), database.clone(), last_event);
        let writer = Writer::start(tx, changed, lock);
        Ok(Self::from_inner(Arc::new(Inner { folder, hooks, writer, readers, last })))
    }
}

/// How every connection of a live store is opened.
fn options(database: &Path) -> SqliteConnectOptions {
    SqliteConnectOptions::new()
        .filename(database)
        .create_if_missing(true)
        .journal_mode(SqliteJournalMode::Wal)
        .synchronous(SqliteSynchronous::Full)
        .foreign_keys(true)
        .busy_timeout(Duration::from_secs(10))
        .disable_statement_logging()
}

/// Opens the database of a data folder or a backup for reading alone, also while another process writes it.
pub(crate) async fn read_only(dir: &Path) -> Result<SqliteConnection, OpenError> {
    let file = Folder::new(dir).database();
    if let Err(e) = std::fs::File::open(&file) {
        return Err(OpenError::Unusable {
            path: file,
            what: format!("there is no readable database ({e})"),
            remedy: "Give a data folder or a backup of one.".to_owned(),
        });
    }
    let plain = SqliteConnectOptions::new()
        .filename(&file)
        .read_only(true)
        .foreign_keys(true)
        .busy_timeout(Duration::from_secs(10))
        .disable_statement_logging();
    let mut conn = plain.clone().connect().await.map_err(|e| OpenError::sql(&file, &e))?;
    let known = MIGRATIONS.len();
    let first = version(&mut conn, dir, &file, known).await;
    let log = dir.join("serrata.sqlite-wal");
    if matches!(first, Err(OpenError::Unusable { .. })) && !log.exists() {
        // A folder that cannot be written, such as a copy on a read-only disk: SQLite may not make its own files
        // there and need not, as nobody else can write there either.
        conn = plain.immutable(true).connect().await.map_err(|e| OpenError::sql(&file, &e))?;
        version(&mut conn, dir, &file, known).await?;
        return Ok(conn);
    }
    first?;
    Ok(conn)
}

/// Starts this process's audit chain and ends the leases of a dead process.
async fn begin(conn: &mut SqliteConnection) -> Result<(Chain, i64), sqlx::Error> {
    let mut tx = conn.begin_with("BEGIN IMMEDIATE").await?;
    let chain = Chain::start(&mut tx, &By::station()).await?;
    // Whoever had leased work is dead, as the lock is ours: the next lease sees these as run out.
    sqlx::query("UPDATE work SET lease_until_us = 0 WHERE state = 'leased'").execute(&mut *tx).await?;
    let last = sqlx::query_scalar("SELECT coalesce(max(id), 0) FROM events").fetch_one(&mut *tx).await?;
    tx.commit().await?;
    Ok((chain, last))
}
