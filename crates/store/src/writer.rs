//! The one writer: a task with one connection that commits together what waits together.
//!
//! Each operation runs in a savepoint of its own; one that fails is rolled back alone. All that waited (up to
//! [`GROUP`]) share one commit and so one sync of the log, and nobody hears of success before that.

use crate::audit::Chain;
use crate::{By, EventKind, FrameId, Hooks, Step, StoreError, VisitId};
use serde_json::Value;
use sqlx::Connection;
use sqlx::sqlite::SqliteConnection;
use std::fs::File;
use std::future::Future;
use std::path::PathBuf;
use std::pin::Pin;
use tokio::sync::{mpsc, oneshot, watch};

/// At most so many operations share one commit.
const GROUP: usize = 64;

/// A future in a box, for operations.
pub(crate) type BoxFuture<'a, T> = Pin<Box<dyn Future<Output = T> + Send + 'a>>;

/// What an operation writes with.
pub(crate) struct Tx {
    pub(crate) conn: SqliteConnection,
    chain: Chain,
    hooks: Hooks,
    database: PathBuf,
    last_event: i64,
}

/// What an event is about: kind, word, visit, frame.
pub(crate) type About<'a> = (EventKind, &'a str, Option<VisitId>, Option<FrameId>);

impl Tx {
    pub(crate) const fn new(
        conn: SqliteConnection,
        chain: Chain,
        hooks: Hooks,
        database: PathBuf,
        last_event: i64,
    ) -> Self {
        Self { conn, chain, hooks, database, last_event }
    }

    /// Writes the audit entry and the events of a fact whose rows are written.
    pub(crate) async fn record(
        &mut self,
        by: &By,
        kind: &str,
        details: Value,
        events: &[About<'_>],
    ) -> Result<(), StoreError> {
        self.step(Step::Rows)?;
        self.chain.append(&mut self.conn, by, kind, details).await?;
        for (event, what, visit, frame) in events {
            let done = sqlx::query(
                "INSERT INTO events (at_us, kind, what, visit_id, frame_id) VALUES (?, ?, ?, ?, ?)",
            )
            .bind(by.at_us)
            .bind(event.word())
            .bind(*what)
            .bind(visit.map(|v| v.0))
            .bind(frame.map(|f| f.0))
            .execute(&mut self.conn)
            .await?;
            self.last_event = done.last_insert_rowid();
        }
        self.step(Step::Audit)
    }

    fn step(&self, step: Step) -> Result<(), StoreError> {
        self.hooks.after(step).map_err(|e| StoreError::io(&self.database, "writing the database", &e))
    }

    async fn sql(&mut self, sql: &'static str) -> Result<(), StoreError> {
        sqlx::query(sql).execute(&mut self.conn).await?;
        Ok(())
    }
}

/// An operation that waits for the writer, its result type hidden.
trait Job: Send {
    /// Runs the operation and keeps its result; whether it succeeded.
    fn run<'a>(&'a mut self, tx: &'a mut Tx) -> BoxFuture<'a, bool>;
    /// Tells the caller: its own result where the commit succeeded, else the commit's error.
    fn settle(self: Box<Self>, commit: Result<(), StoreError>);
}

struct Waiting<F, T> {
    operation: Option<F>,
    result: Option<Result<T, StoreError>>,
    reply: oneshot::Sender<Result<T, StoreError>>,
}

impl<F, T> Job for Waiting<F, T>
where
    F: for<'a> FnOnce(&'a mut Tx) -> BoxFuture<'a, Result<T, StoreError>> + Send,
    T: Send,
{
    fn run<'a>(&'a mut self, tx: &'a mut Tx) -> BoxFuture<'a, bool> {
        Box::pin(async move {
            let result = match self.operation.take() {
                Some(operation) => operation(tx).await,
                None => Err(StoreError::Closed),
            };
            let good = result.is_ok();
            self.result = Some(result);
            good
        })
    }

    fn settle(self: Box<Self>, commit: Result<(), StoreError>) {
        let result = match (self.result, commit) {
            (Some(Err(e)), _) | (_, Err(e)) => Err(e),
            (Some(Ok(out)), Ok(())) => Ok(out),
            (None, Ok(())) => Err(StoreError::Closed),
        };
        // The caller may have gone away; what is written stays written.
        let _ = self.reply.send(result);
    }
}

enum Message {
    Job(Box<dyn Job>),
    Close(oneshot::Sender<()>),
}

/// Hands operations to the writer.
#[derive(Clone)]
pub(crate) struct Writer {
    queue: mpsc::Sender<Message>,
}

impl std::fmt::Debug for Writer {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Writer")
    }
}

impl Writer {
    /// Starts the writer. It holds `lock` until it has ended.
    pub(crate) fn start(tx: Tx, changed: watch::Sender<i64>, lock: File) -> Self {
        let (queue, waiting) = mpsc::channel(GROUP * 4);
        tokio::spawn(serve(tx, waiting, changed, lock));
        Self { queue }
    }

    /// Runs an operation; the result comes after the commit.
    pub(crate) async fn run<F, T>(&self, operation: F) -> Result<T, StoreError>
    where
        F: for<'a> FnOnce(&'a mut Tx) -> BoxFuture<'a, Result<T, StoreError>> + Send + 'static,
        T: Send + 'static,
    {
        let (reply, answer) = oneshot::channel();
        let job = Waiting { operation: Some(operation), result: None, reply };
        self.queue.send(Message::Job(Box::new(job))).await.map_err(|_| StoreError::Closed)?;
        answer.await.unwrap_or(Err(StoreError::Closed))
    }

    /// Ends the writer after what waits.
    pub(crate) async fn close(&self) {
        let (reply, answer) = oneshot::channel();
        if self.queue.send(Message::Close(reply)).await.is_ok() {
            let _ = answer.await; // an error means that it has ended already
        }
    }
}

async fn serve(mut tx: Tx, mut waiting: mpsc::Receiver<Message>, changed: watch::Sender<i64>, lock: File) {
    let mut closing = Vec::new();
    let mut messages = Vec::with_capacity(GROUP);
    while waiting.recv_many(&mut messages, GROUP).await > 0 {
        let mut jobs = Vec::with_capacity(messages.len());
        for message in messages.drain(..) {
            match message {
                Message::Job(job) => jobs.push(job),
                Message::Close(reply) => {
                    waiting.close();
                    closing.push(reply);
                }
            }
        }
        if !jobs.is_empty() {
            let commit = group(&mut tx, &mut jobs).await;
            if commit.is_ok() {
                changed.send_replace(tx.last_event);
            }
            for job in jobs {
                job.settle(commit.clone());
            }
        }
    }
    if let Err(e) = tx.conn.close().await {
        tracing::warn!("closing the database failed: {e}");
    }
    drop(lock);
    for reply in closing {
        let _ = reply.send(()); // who asked may have gone away
    }
}

/// Runs jobs in one transaction. An error means that nothing of them may be told as success.
async fn group(tx: &mut Tx, jobs: &mut [Box<dyn Job>]) -> Result<(), StoreError> {
    let before = (tx.chain.clone(), tx.last_event);
    let result = group_inner(tx, jobs).await;
    if result.is_err() {
        // Not in a transaction any more where SQLite rolled back by itself.
        let _ = tx.sql("ROLLBACK").await;
        (tx.chain, tx.last_event) = before;
        return result;
    }
    tx.step(Step::Committed)
}

async fn group_inner(tx: &mut Tx, jobs: &mut [Box<dyn Job>]) -> Result<(), StoreError> {
    tx.sql("BEGIN IMMEDIATE").await?;
    for job in jobs {
        let before = (tx.chain.clone(), tx.last_event);
        tx.sql("SAVEPOINT one").await?;
        if !job.run(tx).await {
            tx.sql("ROLLBACK TO one").await?;
            (tx.chain, tx.last_event) = before;
        }
        tx.sql("RELEASE one").await?;
    }
    tx.sql("COMMIT").await
}
