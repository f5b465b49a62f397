//! Work items: asked for, leased, finished, given up.

use crate::canonical::{canonical_json, sha256_hex};
use crate::rows::{json, method, to_json};
use crate::writer::Tx;
use crate::{
    By, EventKind, FailOutcome, Failure, FileId, FrameId, NewWork, ObservationId, Store, StoreError, VisitId,
    WorkId, WorkItem, work_key,
};
use sqlx::Row;

/// Tries before a work item is given up.
const TRIES: u32 = 3;

/// Notes on a frame which work it wants now, and makes the work item unless its result is there. Work that was given
/// up before starts anew.
pub(crate) async fn want(
    tx: &mut Tx,
    frame: FrameId,
    sha256: &str,
    index: u32,
    work: &NewWork,
) -> Result<(), StoreError> {
    let key = work_key(&work.kind, &work.method, &[(sha256, index)], &work.parameters);
    let made: Option<i64> = sqlx::query_scalar("SELECT id FROM observations WHERE key = ?")
        .bind(&key)
        .fetch_optional(&mut tx.conn)
        .await?;
    sqlx::query(
        "UPDATE frames SET wanted_key = ?1, failure = NULL, state = CASE WHEN ?2 IS NULL THEN 'waiting' ELSE 'checked' END, \
         observation_id = coalesce(?2, observation_id) WHERE id = ?3",
    )
    .bind(&key)
    .bind(made)
    .bind(frame.0)
    .execute(&mut tx.conn)
    .await?;
    if made.is_none() {
        sqlx::query(
            "INSERT INTO work (key, kind, method, revision, parameters, frame_id, state) \
             VALUES (?, ?, ?, ?, ?, ?, 'ready') \
             ON CONFLICT (key) DO UPDATE SET state = 'ready', attempts = 0, failure = NULL WHERE state = 'dead'",
        )
        .bind(&key)
        .bind(&work.kind)
        .bind(work.method.name.as_ref())
        .bind(work.method.revision)
        .bind(canonical_json(&work.parameters))
        .bind(frame.0)
        .execute(&mut tx.conn)
        .await?;
    }
    Ok(())
}

impl Store {
    /// Leases the work item that waits longest, until `now_us + lease_us`, or `None` where nothing waits. One whose
    /// lease has run out is leased again; after three tries it is given up and its frame's state is failed.
    ///
    /// # Errors
    /// [`StoreError`] where the database fails.
    pub async fn lease_work(&self, now_us: i64, lease_us: i64) -> Result<Option<WorkItem>, StoreError> {
        // A look first, so that an idle worker writes nothing.
        let waits: i64 = {
            let mut conn = self.reader().await?;
            sqlx::query_scalar(
                "SELECT EXISTS (SELECT 1 FROM work WHERE state = 'ready') \
                 OR EXISTS (SELECT 1 FROM work WHERE state = 'leased' AND lease_until_us <= ?)",
            )
            .bind(now_us)
            .fetch_one(&mut *conn)
            .await?
        };
        if waits == 0 {
            return Ok(None);
        }
        let until = now_us.saturating_add(lease_us);
        self.write(move |tx| Box::pin(async move { lease(tx, now_us, until).await })).await
    }

    /// Keeps the result of a work item: observation, frame, audit entry and event in one transaction. A second result
    /// for the same key changes nothing and gives the first one's id.
    ///
    /// # Errors
    /// [`StoreError`] where the item is unknown or the database fails.
    pub async fn finish_work(
        &self,
        item: &WorkItem,
        body: serde_json::Value,
        by: &By,
    ) -> Result<ObservationId, StoreError> {
        let (item, by) = (item.clone(), by.clone());
        self.write(move |tx| Box::pin(async move { finish(tx, &item, &body, &by).await })).await
    }

    /// Tells that a work item failed. It is tried three times in all where trying again can help
    /// ([`Failure::again`]); then it is dead and its frame's state is failed, with the sentences of `failure`.
    ///
    /// # Errors
    /// [`StoreError`] where the database fails.
    pub async fn fail_work(
        &self,
        item: &WorkItem,
        failure: Failure,
        by: &By,
    ) -> Result<FailOutcome, StoreError> {
        let (item, by) = (item.clone(), by.clone());
        self.write(move |tx| Box::pin(async move { fail(tx, &item, &failure, &by).await })).await
    }
}

async fn lease(tx: &mut Tx, now_us: i64, until_us: i64) -> Result<Option<WorkItem>, StoreError> {
    let run_out = sqlx::query("SELECT id, attempts FROM work WHERE state = 'leased' AND lease_until_us <= ?")
        .bind(now_us)
        .fetch_all(&mut tx.conn)
        .await?;
    for row in run_out {
        let (id, attempts): (i64, u32) = (row.try_get("id")?, row.try_get("attempts")?);
        if attempts < TRIES {
            sqlx::query("UPDATE work SET state = 'ready', lease_until_us = NULL WHERE id = ?")
                .bind(id)
                .execute(&mut tx.conn)
                .await?;
        } else {
            let failure = Failure {
                message: "The check was started three times and never came to an end.".to_owned(),
                remedy: "Look at the picture in another viewer, and ask for the check again.".to_owned(),
                again: false,
            };
            give_up(tx, WorkId(id), &failure, &By::station().at(now_us)).await?;
        }
    }
    let row = sqlx::query(
        "UPDATE work SET state = 'leased', attempts = attempts + 1, lease_until_us = ? \
         WHERE id = (SELECT id FROM work WHERE state = 'ready' ORDER BY attempts, id LIMIT 1) RETURNING id",
    )
    .bind(until_us)
    .fetch_optional(&mut tx.conn)
    .await?;
    match row {
        Some(row) => item(tx, WorkId(row.try_get("id")?)).await.map(Some),
        None => Ok(None),
    }
}

async fn item(tx: &mut Tx, id: WorkId) -> Result<WorkItem, StoreError> {
    let row = sqlx::query(
        "SELECT w.id, w.key, w.kind, w.method, w.revision, w.parameters, w.frame_id, w.attempts, w.lease_until_us, \
         f.file_id, f.idx, f.facts, f.corrections, i.sha256, i.name \
         FROM work w JOIN frames f ON f.id = w.frame_id JOIN files i ON i.id = f.file_id WHERE w.id = ?",
    )
    .bind(id.0)
    .fetch_one(&mut tx.conn)
    .await?;
    Ok(WorkItem {
        id,
        key: row.try_get("key")?,
        kind: row.try_get("kind")?,
        method: method(&row)?,
        parameters: json(row.try_get("parameters")?)?,
        frame_id: FrameId(row.try_get("frame_id")?),
        file_id: FileId(row.try_get("file_id")?),
        sha256: row.try_get("sha256")?,
        name: row.try_get("name")?,
        index: row.try_get("idx")?,
        facts: json(row.try_get("facts")?)?,
        corrections: json(row.try_get("corrections")?)?,
        attempts: row.try_get("attempts")?,
        lease_until_us: row.try_get("lease_until_us")?,
    })
}

async fn finish(
    tx: &mut Tx,
    item: &WorkItem,
    body: &serde_json::Value,
    by: &By,
) -> Result<ObservationId, StoreError> {
    let text = canonical_json(body);
    let inserted = sqlx::query(
        "INSERT INTO observations (frame_id, key, kind, method, revision, parameters, made_us, body) \
         VALUES (?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (key) DO NOTHING",
    )
    .bind(item.frame_id.0)
    .bind(&item.key)
    .bind(&item.kind)
    .bind(item.method.name.as_ref())
    .bind(item.method.revision)
    .bind(canonical_json(&item.parameters))
    .bind(by.at_us)
    .bind(&text)
    .execute(&mut tx.conn)
    .await?;
    let id: i64 = sqlx::query_scalar("SELECT id FROM observations WHERE key = ?")
        .bind(&item.key)
        .fetch_one(&mut tx.conn)
        .await?;
    sqlx::query("UPDATE work SET state = 'done', lease_until_us = NULL, failure = NULL WHERE id = ?")
        .bind(item.id.0)
        .execute(&mut tx.conn)
        .await?;
    if inserted.rows_affected() == 0 {
        return Ok(ObservationId(id));
    }
    sqlx::query(
        "UPDATE frames SET observation_id = ?, state = 'checked', failure = NULL WHERE id = ? AND wanted_key = ?",
    )
    .bind(id)
    .bind(item.frame_id.0)
    .bind(&item.key)
    .execute(&mut tx.conn)
    .await?;
    let visit = visit_of(tx, item.frame_id).await?;
    let details = serde_json::json!({
        "frame_id": item.frame_id, "work_id": item.id, "key": item.key, "observation_id": id,
        "observation_sha256": sha256_hex(text.as_bytes()),
    });
    let event = (EventKind::Frame, "checked", visit, Some(item.frame_id));
    tx.record(by, "frame.checked", details, &[event]).await?;
    Ok(ObservationId(id))
}

async fn fail(tx: &mut Tx, item: &WorkItem, failure: &Failure, by: &By) -> Result<FailOutcome, StoreError> {
    let row = sqlx::query("SELECT state, attempts FROM work WHERE id = ?")
        .bind(item.id.0)
        .fetch_optional(&mut tx.conn)
        .await?;
    let Some(row) = row else {
        return Ok(FailOutcome::AlreadyEnded);
    };
    let state: &str = row.try_get("state")?;
    // A worker that was too slow has lost its lease: what its successor does counts.
    if state != "leased" || row.try_get::<u32, _>("attempts")? != item.attempts {
        return Ok(FailOutcome::AlreadyEnded);
    }
    if failure.again && item.attempts < TRIES {
        sqlx::query("UPDATE work SET state = 'ready', lease_until_us = NULL, failure = ? WHERE id = ?")
            .bind(to_json(failure)?)
            .bind(item.id.0)
            .execute(&mut tx.conn)
            .await?;
        return Ok(FailOutcome::WillRetry);
    }
    give_up(tx, item.id, failure, by).await?;
    Ok(FailOutcome::Dead)
}

/// Ends a work item for good and tells so on its frame.
async fn give_up(tx: &mut Tx, id: WorkId, failure: &Failure, by: &By) -> Result<(), StoreError> {
    let text = to_json(failure)?;
    let row = sqlx::query(
        "UPDATE work SET state = 'dead', lease_until_us = NULL, failure = ? WHERE id = ? \
         RETURNING key, frame_id, attempts",
    )
    .bind(&text)
    .bind(id.0)
    .fetch_one(&mut tx.conn)
    .await?;
    let (key, attempts): (String, u32) = (row.try_get("key")?, row.try_get("attempts")?);
    let frame = FrameId(row.try_get("frame_id")?);
    sqlx::query("UPDATE frames SET state = 'failed', failure = ? WHERE id = ? AND wanted_key = ?")
        .bind(&text)
        .bind(frame.0)
        .bind(&key)
        .execute(&mut tx.conn)
        .await?;
    let visit = visit_of(tx, frame).await?;
    let details = serde_json::json!({
        "frame_id": frame, "work_id": id, "key": key, "attempts": attempts,
        "failure_sha256": sha256_hex(text.as_bytes()),
    });
    tx.record(by, "frame.failed", details, &[(EventKind::Frame, "failed", visit, Some(frame))]).await
}

/// The visit of a frame.
pub(crate) async fn visit_of(tx: &mut Tx, frame: FrameId) -> Result<Option<VisitId>, StoreError> {
    let visit: Option<Option<i64>> = sqlx::query_scalar("SELECT visit_id FROM frames WHERE id = ?")
        .bind(frame.0)
        .fetch_optional(&mut tx.conn)
        .await?;
    visit.map(|v| v.map(VisitId)).ok_or(StoreError::NoFrame(frame))
}
