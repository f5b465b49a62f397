//! The queue of deliveries: it survives every restart, and no file is in it twice for one destination.

use crate::rows::{json, to_json, word};
use crate::visits::given;
use crate::writer::Tx;
use crate::{
    By, Delivery, DeliveryCount, DeliveryKind, DeliveryState, DeliveryStep, EventKind, FrameId, NewDelivery,
    Store, StoreError, VisitId,
};
use serde_json::json;
use sqlx::Row;
use sqlx::sqlite::SqliteRow;

const COLUMNS: &str = "id, destination, visit_id, kind, sha256, name, instance_uid, frames, sent_as, state, tries, next_us, why, who, queued_us, done_us";

impl Store {
    /// Queues files of a visit for a destination. What is queued, on its way or there already stays as it is; what had failed or
    /// was taken out starts anew. How many wait now that did not before.
    ///
    /// # Errors
    /// [`StoreError::Refused`] without a destination; [`StoreError`] where the database fails.
    pub async fn queue_deliveries(
        &self,
        visit: VisitId,
        destination: &str,
        files: Vec<NewDelivery>,
        by: &By,
    ) -> Result<u64, StoreError> {
        let destination = given(destination, "No destination was named.")?;
        let by = by.clone();
        self.write(move |tx| Box::pin(async move { queue(tx, visit, &destination, &files, &by).await })).await
    }

    /// Numbers (SOP Instance UIDs) of what was made of a visit's pictures and is on its way to a destination or there.
    ///
    /// # Errors
    /// [`StoreError`] where the database fails.
    pub async fn derived_on_their_way(
        &self,
        visit: VisitId,
        destination: &str,
    ) -> Result<std::collections::BTreeMap<String, String>, StoreError> {
        let mut conn = self.reader().await?;
        let rows: Vec<(String, String)> = sqlx::query_as(
            "SELECT instance_uid, sha256 FROM deliveries WHERE visit_id = ? AND destination = ? AND kind = 'derived' \
             AND state NOT IN ('failed', 'withdrawn')",
        )
        .bind(visit.0)
        .bind(destination)
        .fetch_all(&mut *conn)
        .await?;
        Ok(rows.into_iter().collect())
    }

    /// What of a destination is to be done in one of these states, tried least first, at most `limit`.
    ///
    /// A delivery that has left the hand-over meanwhile (all its frames set aside, or one on its way to another patient or moved
    /// to one) is withdrawn first and does not come.
    ///
    /// # Errors
    /// [`StoreError`] where the database fails.
    pub async fn due_deliveries(
        &self,
        destination: &str,
        state: DeliveryState,
        now_us: i64,
        limit: u32,
    ) -> Result<Vec<Delivery>, StoreError> {
        if state == DeliveryState::Waiting {
            self.withdraw_what_left(destination, now_us).await?;
        }
        let mut conn = self.reader().await?;
        let rows = sqlx::query(sqlx::AssertSqlSafe(format!(
            "SELECT {COLUMNS} FROM deliveries WHERE destination = ? AND state = ? AND next_us <= ? ORDER BY tries, id LIMIT ?"
        )))
        .bind(destination)
        .bind(state.word())
        .bind(now_us)
        .bind(limit)
        .fetch_all(&mut *conn)
        .await?;
        rows.iter().map(delivery).collect()
    }

    /// When the next delivery of a destination is due; none where nothing is open.
    ///
    /// # Errors
    /// [`StoreError`] where the database fails.
    pub async fn next_delivery_us(&self, destination: &str) -> Result<Option<i64>, StoreError> {
        let mut conn = self.reader().await?;
        Ok(sqlx::query_scalar(
            "SELECT min(next_us) FROM deliveries WHERE destination = ? AND state IN ('waiting', 'stored', 'asked')",
        )
        .bind(destination)
        .fetch_one(&mut *conn)
        .await?)
    }

    /// Notes how deliveries went on. What is done counts as sent from then on. One that was done or withdrawn meanwhile is left as
    /// it is.
    ///
    /// # Errors
    /// [`StoreError`] where the database fails.
    pub async fn step_deliveries(&self, steps: Vec<(i64, DeliveryStep)>) -> Result<(), StoreError> {
        if steps.is_empty() {
            return Ok(());
        }
        let by = By::station();
        self.write(move |tx| {
            Box::pin(async move {
                for (id, step) in &steps {
                    take_step(tx, *id, step, &by).await?;
                }
                Ok(())
            })
        })
        .await
    }

    /// Puts off all that waits for a destination: it cannot be talked to.
    ///
    /// # Errors
    /// [`StoreError`] where the database fails.
    pub async fn put_off_deliveries(
        &self,
        destination: &str,
        why: &str,
        next_us: i64,
    ) -> Result<(), StoreError> {
        let (destination, why) = (destination.to_owned(), why.to_owned());
        self.write(move |tx| {
            Box::pin(async move {
                sqlx::query(
                    "UPDATE deliveries SET why = ?, next_us = max(next_us, ?) WHERE destination = ? AND state IN ('waiting', 'stored', 'asked')",
                )
                .bind(&why)
                .bind(next_us)
                .bind(&destination)
                .execute(&mut tx.conn)
                .await?;
                let details = json!({ "destination": destination, "why": why });
                tx.record(&By::station(), "delivery.put_off", details, &[(EventKind::Visit, "sending", None, None)]).await
            })
        })
        .await
    }

    /// Takes what the other side said to a question: which instances it answers for, and which it does not, each with a sentence
    /// and whether to send it again. Whether the question was ours.
    ///
    /// # Errors
    /// [`StoreError`] where the database fails.
    pub async fn answered_deliveries(
        &self,
        transaction: &str,
        committed: Vec<String>,
        failed: Vec<(String, String, bool)>,
        again_us: i64,
    ) -> Result<bool, StoreError> {
        let transaction = transaction.to_owned();
        let by = By::station();
        self.write(move |tx| {
            Box::pin(async move {
                let rows = sqlx::query(
                    "SELECT id, instance_uid FROM deliveries WHERE transaction_uid = ? AND state = 'asked'",
                )
                .bind(&transaction)
                .fetch_all(&mut tx.conn)
                .await?;
                let there: std::collections::HashSet<&str> = committed.iter().map(String::as_str).collect();
                let not: std::collections::HashMap<&str, (&str, bool)> =
                    failed.iter().map(|(uid, why, again)| (uid.as_str(), (why.as_str(), *again))).collect();
                let known = !rows.is_empty();
                for row in rows {
                    let (id, uid): (i64, String) = (row.try_get("id")?, row.try_get("instance_uid")?);
                    let step = match (there.contains(uid.as_str()), not.get(uid.as_str())) {
                        (_, Some((why, true))) => DeliveryStep::Later {
                            state: DeliveryState::Waiting,
                            why: (*why).to_owned(),
                            next_us: again_us,
                        },
                        (_, Some((why, false))) => DeliveryStep::Failed { why: (*why).to_owned() },
                        (true, None) => {
                            DeliveryStep::Done { how: "it answers for it (storage commitment)".to_owned() }
                        }
                        (false, None) => continue,
                    };
                    take_step(tx, id, &step, &by).await?;
                }
                Ok(known)
            })
        })
        .await
    }

    /// A person has a failed or withdrawn delivery tried again, or one that waits tried at once.
    ///
    /// # Errors
    /// [`StoreError::Refused`] where there is no such delivery, or it is done.
    pub async fn retry_delivery(&self, id: i64, by: &By) -> Result<(), StoreError> {
        self.turn_delivery(id, DeliveryState::Waiting, "delivery.again", None, by).await
    }

    /// A person takes a delivery out of the queue. Nothing is deleted.
    ///
    /// # Errors
    /// [`StoreError::Refused`] without a reason, where there is no such delivery, or it is done.
    pub async fn withdraw_delivery(&self, id: i64, reason: &str, by: &By) -> Result<(), StoreError> {
        let reason = given(reason, "A delivery is taken out only with a reason.")?;
        self.turn_delivery(id, DeliveryState::Withdrawn, "delivery.withdrawn", Some(reason), by).await
    }

    async fn turn_delivery(
        &self,
        id: i64,
        to: DeliveryState,
        kind: &'static str,
        why: Option<String>,
        by: &By,
    ) -> Result<(), StoreError> {
        let by = by.clone();
        self.write(move |tx| {
            Box::pin(async move {
                // Asked for again: what was stored and asked is asked again, all else is sent again.
                let visit: Option<i64> = sqlx::query_scalar(
                    "UPDATE deliveries SET state = CASE WHEN ?1 = 'waiting' AND state IN ('stored', 'asked') THEN 'stored' ELSE ?1 END, \
                     tries = 0, next_us = ?2, why = ?3 WHERE id = ?4 AND state <> 'done' RETURNING visit_id",
                )
                .bind(to.word())
                .bind(by.at_us)
                .bind(&why)
                .bind(id)
                .fetch_optional(&mut tx.conn)
                .await?;
                let Some(visit) = visit else {
                    return Err(StoreError::refused(
                        "There is no such delivery that is still open.",
                        "Reload the list.",
                    ));
                };
                let visit = VisitId(visit);
                let details = json!({ "delivery_id": id, "visit_id": visit });
                tx.record(&by, kind, details, &[(EventKind::Visit, "sending", Some(visit), None)]).await
            })
        })
        .await
    }

    /// Deliveries of a visit, or of all visits that are neither done nor withdrawn, oldest first, at most `limit`.
    ///
    /// # Errors
    /// [`StoreError`] where the database fails.
    pub async fn deliveries(&self, visit: Option<VisitId>, limit: u32) -> Result<Vec<Delivery>, StoreError> {
        let mut conn = self.reader().await?;
        let which = match visit {
            Some(_) => "visit_id = ?1",
            // What needs a person stands on top.
            None => "?1 IS NULL AND state NOT IN ('done', 'withdrawn')",
        };
        let rows = sqlx::query(sqlx::AssertSqlSafe(format!(
            "SELECT {COLUMNS} FROM deliveries WHERE {which} ORDER BY state <> 'failed', id LIMIT ?2"
        )))
        .bind(visit.map(|v| v.0))
        .bind(limit)
        .fetch_all(&mut *conn)
        .await?;
        rows.iter().map(delivery).collect()
    }

    /// How many deliveries stand where.
    ///
    /// # Errors
    /// [`StoreError`] where the database fails.
    pub async fn delivery_counts(&self) -> Result<Vec<DeliveryCount>, StoreError> {
        let mut conn = self.reader().await?;
        let rows = sqlx::query(
            "SELECT destination, state, count(*) AS many FROM deliveries GROUP BY destination, state ORDER BY 1, 2",
        )
        .fetch_all(&mut *conn)
        .await?;
        rows.iter()
            .map(|row| {
                Ok(DeliveryCount {
                    destination: row.try_get("destination")?,
                    state: word(row.try_get("state")?)?,
                    many: row.try_get::<i64, _>("many")?.unsigned_abs(),
                })
            })
            .collect()
    }

    async fn withdraw_what_left(&self, destination: &str, now_us: i64) -> Result<(), StoreError> {
        // A file leaves whole or not at all: one frame on its way to another patient keeps it here, and so it does with what is said
        // about such a frame.
        const LEFT: &str = "FROM deliveries d WHERE d.destination = ?1 AND d.state = 'waiting' AND d.next_us <= ?2 AND CASE d.kind \
             WHEN 'derived' THEN EXISTS (SELECT 1 FROM json_each(d.frames) j JOIN frames f ON f.id = j.value \
             WHERE f.quarantined = 1 OR f.visit_id IS NOT d.visit_id) ELSE ( \
             EXISTS (SELECT 1 FROM files i JOIN frames f ON f.file_id = i.id WHERE i.sha256 = d.sha256 \
             AND (f.quarantined = 1 OR f.visit_id IS NOT d.visit_id)) \
             OR NOT EXISTS (SELECT 1 FROM files i JOIN frames f ON f.file_id = i.id WHERE i.sha256 = d.sha256 \
             AND f.set_aside IS NULL)) END";
        let ids: Vec<i64> = {
            let mut conn = self.reader().await?;
            sqlx::query_scalar(sqlx::AssertSqlSafe(format!("SELECT d.id {LEFT}")))
                .bind(destination)
                .bind(now_us)
                .fetch_all(&mut *conn)
                .await?
        };
        for id in ids {
            let why = "its frames were set aside, or one of them goes to another patient".to_owned();
            self.turn_delivery(id, DeliveryState::Withdrawn, "delivery.withdrawn", Some(why), &By::station())
                .await?;
        }
        Ok(())
    }
}

async fn queue(
    tx: &mut Tx,
    visit: VisitId,
    destination: &str,
    files: &[NewDelivery],
    by: &By,
) -> Result<u64, StoreError> {
    let mut fresh = 0;
    // What is said anew of a visit takes the place of what was said before and has not left.
    let derived: Vec<&str> =
        files.iter().filter(|f| f.kind == DeliveryKind::Derived).map(|f| f.sha256.as_str()).collect();
    if !derived.is_empty() {
        sqlx::query(
            "UPDATE deliveries SET state = 'withdrawn', why = 'a newer one takes its place', next_us = ?4 \
             WHERE destination = ?1 AND visit_id = ?2 AND kind = 'derived' AND state IN ('waiting', 'failed') \
             AND sha256 NOT IN (SELECT value FROM json_each(?3))",
        )
        .bind(destination)
        .bind(visit.0)
        .bind(to_json(&derived)?)
        .bind(by.at_us)
        .execute(&mut tx.conn)
        .await?;
    }
    for f in files {
        let done = sqlx::query(
            "INSERT INTO deliveries (destination, visit_id, sha256, name, instance_uid, frames, state, next_us, who, queued_us, kind) \
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, 'waiting', ?7, ?8, ?7, ?9) \
             ON CONFLICT (destination, sha256) DO UPDATE SET state = 'waiting', visit_id = ?2, frames = ?6, tries = 0, next_us = ?7, \
             why = NULL, who = ?8, queued_us = ?7 WHERE state IN ('failed', 'withdrawn')",
        )
        .bind(destination)
        .bind(visit.0)
        .bind(&f.sha256)
        .bind(&f.name)
        .bind(&f.instance_uid)
        .bind(to_json(&f.frames)?)
        .bind(by.at_us)
        .bind(by.who.as_ref())
        .bind(f.kind.word())
        .execute(&mut tx.conn)
        .await?;
        fresh += done.rows_affected();
    }
    if fresh > 0 {
        let details = json!({ "visit_id": visit, "destination": destination, "files": fresh });
        tx.record(by, "delivery.queued", details, &[(EventKind::Visit, "sending", Some(visit), None)])
            .await?;
    }
    Ok(fresh)
}

async fn take_step(tx: &mut Tx, id: i64, step: &DeliveryStep, by: &By) -> Result<(), StoreError> {
    // state, why, next, transaction; what stays as it was is none.
    let (state, why, next, transaction, tried) = match step {
        DeliveryStep::Stored { .. } => (DeliveryState::Stored, None, by.at_us, None, false),
        DeliveryStep::Asked { transaction, again_us } => (
            DeliveryState::Asked,
            Some("it was asked to answer for it and has not yet".to_owned()),
            *again_us,
            Some(transaction.as_str()),
            false,
        ),
        DeliveryStep::Done { how } => (DeliveryState::Done, Some(how.clone()), by.at_us, None, false),
        DeliveryStep::Later { state, why, next_us } => (*state, Some(why.clone()), *next_us, None, true),
        DeliveryStep::Failed { why } => (DeliveryState::Failed, Some(why.clone()), by.at_us, None, true),
    };
    let sent_as = match step {
        DeliveryStep::Stored { sent_as } => Some(to_json(sent_as)?),
        _ => None,
    };
    let row = sqlx::query(
        "UPDATE deliveries SET tries = CASE WHEN ?5 THEN tries + 1 WHEN state = ?1 THEN tries ELSE 0 END, state = ?1, why = ?2, \
         next_us = ?3, transaction_uid = coalesce(?4, transaction_uid), sent_as = coalesce(?8, sent_as), done_us = CASE WHEN ?1 = 'done' THEN ?6 END \
         WHERE id = ?7 AND state NOT IN ('done', 'withdrawn') RETURNING visit_id, destination, kind, frames, sha256",
    )
    .bind(state.word())
    .bind(&why)
    .bind(next)
    .bind(transaction)
    .bind(tried)
    .bind(by.at_us)
    .bind(id)
    .bind(&sent_as)
    .fetch_optional(&mut tx.conn)
    .await?;
    let Some(row) = row else {
        // Taken out while it was in flight: it is remembered that the other side has it.
        sqlx::query("UPDATE deliveries SET sent_as = coalesce(?, sent_as) WHERE id = ?")
            .bind(&sent_as)
            .bind(id)
            .execute(&mut tx.conn)
            .await?;
        return Ok(());
    };
    let visit = VisitId(row.try_get("visit_id")?);
    let (destination, sha256): (String, String) = (row.try_get("destination")?, row.try_get("sha256")?);
    let mut events = vec![(EventKind::Visit, "sending", Some(visit), None)];
    let kind: DeliveryKind = word(row.try_get("kind")?)?;
    if state == DeliveryState::Done && kind == DeliveryKind::Original {
        let frames: Vec<FrameId> = json(row.try_get("frames")?)?;
        for frame in frames {
            sqlx::query("INSERT INTO sent (frame_id, recipient, at_us) VALUES (?, ?, ?)")
                .bind(frame.0)
                .bind(&destination)
                .bind(by.at_us)
                .execute(&mut tx.conn)
                .await?;
            events.push((EventKind::Frame, "sent", Some(visit), Some(frame)));
        }
    }
    let details = json!({
        "delivery_id": id, "visit_id": visit, "destination": destination, "sha256": sha256, "state": state.word(), "why": why,
    });
    tx.record(by, "delivery.step", details, &events).await
}

fn delivery(row: &SqliteRow) -> Result<Delivery, StoreError> {
    Ok(Delivery {
        id: row.try_get("id")?,
        destination: row.try_get("destination")?,
        visit_id: VisitId(row.try_get("visit_id")?),
        kind: word(row.try_get("kind")?)?,
        sha256: row.try_get("sha256")?,
        name: row.try_get("name")?,
        instance_uid: row.try_get("instance_uid")?,
        frames: json(row.try_get("frames")?)?,
        sent_as: row.try_get::<Option<&str>, _>("sent_as")?.map(json).transpose()?,
        state: word(row.try_get("state")?)?,
        tries: row.try_get("tries")?,
        next_us: row.try_get("next_us")?,
        why: row.try_get("why")?,
        who: row.try_get("who")?,
        queued_us: row.try_get("queued_us")?,
        done_us: row.try_get("done_us")?,
    })
}
