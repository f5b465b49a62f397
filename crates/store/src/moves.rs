//! Moving a frame to another patient: one person asks, a second one confirms, and it is in quarantine between.

use crate::canonical::sha256_hex;
use crate::visits::given;
use crate::work_items::visit_of;
use crate::writer::Tx;
use crate::{By, EventKind, FrameId, Store, StoreError, VisitId};
use serde_json::json;
use sqlx::Row;
use sqlx::sqlite::{SqliteConnection, SqliteRow};

/// A move that waits for its second person.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AskedMove {
    /// The frame.
    pub frame_id: FrameId,
    /// Where it is.
    pub from: VisitId,
    /// Where it should go.
    pub to: VisitId,
    /// Who asked.
    pub asked_by: String,
    /// Why.
    pub reason: String,
    /// Where it was sent already: each is to be asked for its recall.
    pub sent_to: Vec<String>,
}

impl Store {
    /// Asks for a frame to be moved to another patient's visit. From now on it is in quarantine: it meets no view
    /// and leaves in no hand-over.
    ///
    /// # Errors
    /// [`StoreError::Refused`] without a reason, for a frame that belongs to no visit or is being moved already;
    /// [`StoreError::NoFrame`], [`StoreError::NoVisit`].
    pub async fn ask_move(
        &self,
        frame: FrameId,
        to: VisitId,
        reason: &str,
        by: &By,
    ) -> Result<AskedMove, StoreError> {
        let reason = given(reason, "A frame is moved only with a reason.")?;
        let by = by.clone();
        self.write(move |tx| Box::pin(async move { ask(tx, frame, to, &reason, &by).await })).await
    }

    /// A second person confirms or refuses a move.
    ///
    /// # Errors
    /// [`StoreError::Refused`] where no move was asked for, or the same person asked and confirms.
    pub async fn decide_move(&self, frame: FrameId, confirm: bool, by: &By) -> Result<AskedMove, StoreError> {
        let by = by.clone();
        self.write(move |tx| Box::pin(async move { decide(tx, frame, confirm, &by).await })).await
    }

    /// Moves that wait for their second person, oldest first.
    ///
    /// # Errors
    /// [`StoreError`] where the database fails.
    pub async fn asked_moves(&self) -> Result<Vec<AskedMove>, StoreError> {
        let mut conn = self.reader().await?;
        let rows = sqlx::query(
            "SELECT frame_id, from_visit, to_visit, asked_by, reason FROM moves WHERE state = 'asked' ORDER BY id",
        )
        .fetch_all(&mut *conn)
        .await?;
        let mut moves = Vec::with_capacity(rows.len());
        for row in &rows {
            moves.push(asked(&mut conn, row).await?);
        }
        Ok(moves)
    }

    /// Keeps that a frame was sent somewhere, so that a later move can name whom to ask for its recall.
    ///
    /// # Errors
    /// [`StoreError::NoFrame`], or [`StoreError::Refused`] without a recipient.
    pub async fn note_sent(&self, frame: FrameId, recipient: &str, by: &By) -> Result<(), StoreError> {
        let recipient = given(recipient, "Nobody was named whom the frame was sent to.")?;
        let by = by.clone();
        self.write(move |tx| {
            Box::pin(async move {
                let visit = visit_of(tx, frame).await?;
                sqlx::query("INSERT INTO sent (frame_id, recipient, at_us) VALUES (?, ?, ?)")
                    .bind(frame.0)
                    .bind(&recipient)
                    .bind(by.at_us)
                    .execute(&mut tx.conn)
                    .await?;
                let details = json!({ "frame_id": frame, "recipient": recipient });
                tx.record(&by, "frame.sent", details, &[(EventKind::Frame, "sent", visit, Some(frame))]).await
            })
        })
        .await
    }

    /// Frames of a visit that were sent nowhere yet and are in the hand-over.
    ///
    /// # Errors
    /// [`StoreError`] where the database fails.
    pub async fn unsent(&self, visit: VisitId) -> Result<u64, StoreError> {
        let mut conn = self.reader().await?;
        let n: i64 = sqlx::query_scalar(
            "SELECT count(*) FROM frames f WHERE f.visit_id = ? AND f.set_aside IS NULL AND f.quarantined = 0 \
             AND NOT EXISTS (SELECT 1 FROM sent s WHERE s.frame_id = f.id)",
        )
        .bind(visit.0)
        .fetch_one(&mut *conn)
        .await?;
        Ok(n.unsigned_abs())
    }
}

async fn asked(conn: &mut SqliteConnection, row: &SqliteRow) -> Result<AskedMove, StoreError> {
    let frame: i64 = row.try_get("frame_id")?;
    let sent_to =
        // What was on its way may be there, proven or not; so may what was said about the frame.
        sqlx::query_scalar(
            "SELECT recipient FROM sent WHERE frame_id = ?1 \
             UNION SELECT d.destination FROM frames f JOIN files i ON i.id = f.file_id JOIN deliveries d ON d.sha256 = i.sha256 \
             WHERE f.id = ?1 AND (d.sent_as IS NOT NULL OR d.tries > 0) \
             UNION SELECT d.destination FROM deliveries d, json_each(d.frames) j WHERE d.kind = 'derived' AND j.value = ?1 \
             AND (d.sent_as IS NOT NULL OR d.tries > 0) ORDER BY 1",
        )
            .bind(frame)
            .fetch_all(conn)
            .await?;
    Ok(AskedMove {
        frame_id: FrameId(frame),
        from: VisitId(row.try_get("from_visit")?),
        to: VisitId(row.try_get("to_visit")?),
        asked_by: row.try_get("asked_by")?,
        reason: row.try_get("reason")?,
        sent_to,
    })
}

async fn ask(
    tx: &mut Tx,
    frame: FrameId,
    to: VisitId,
    reason: &str,
    by: &By,
) -> Result<AskedMove, StoreError> {
    let Some(from) = visit_of(tx, frame).await? else {
        return Err(StoreError::refused("This frame belongs to no visit.", "Assign it instead."));
    };
    if from == to {
        return Err(StoreError::refused("The frame is in this visit already.", "Name the other visit."));
    }
    let there: Option<i64> = sqlx::query_scalar("SELECT id FROM visits WHERE id = ?")
        .bind(to.0)
        .fetch_optional(&mut tx.conn)
        .await?;
    if there.is_none() {
        return Err(StoreError::NoVisit(to));
    }
    let row = sqlx::query(
        "INSERT INTO moves (frame_id, from_visit, to_visit, asked_by, asked_us, reason, state) \
         VALUES (?, ?, ?, ?, ?, ?, 'asked') ON CONFLICT DO NOTHING \
         RETURNING frame_id, from_visit, to_visit, asked_by, reason",
    )
    .bind(frame.0)
    .bind(from.0)
    .bind(to.0)
    .bind(by.who.as_ref())
    .bind(by.at_us)
    .bind(reason)
    .fetch_optional(&mut tx.conn)
    .await?
    .ok_or_else(|| {
        StoreError::refused("This frame is being moved already.", "Have that move confirmed or refused.")
    })?;
    quarantine(tx, frame, true).await?;
    let asked = asked(&mut tx.conn, &row).await?;
    let details = json!({
        "frame_id": frame, "visit_id": from, "to_visit_id": to, "sent_to": asked.sent_to,
        "reason_sha256": sha256_hex(reason.as_bytes()),
    });
    tx.record(by, "frame.move_asked", details, &[(EventKind::Frame, "quarantined", Some(from), Some(frame))])
        .await?;
    Ok(asked)
}

async fn decide(tx: &mut Tx, frame: FrameId, confirm: bool, by: &By) -> Result<AskedMove, StoreError> {
    let row = sqlx::query(
        "SELECT id, frame_id, from_visit, to_visit, asked_by, reason FROM moves WHERE frame_id = ? AND state = 'asked'",
    )
    .bind(frame.0)
    .fetch_optional(&mut tx.conn)
    .await?
    .ok_or_else(|| StoreError::refused("No move of this frame was asked for.", "Ask for it first."))?;
    let asked = asked(&mut tx.conn, &row).await?;
    if confirm && asked.asked_by == by.who.as_ref() {
        return Err(StoreError::refused(
            "A frame goes to another patient only when a second person confirms.",
            "Have a colleague confirm it.",
        ));
    }
    sqlx::query("UPDATE moves SET state = ?, decided_by = ?, decided_us = ? WHERE id = ?")
        .bind(if confirm { "confirmed" } else { "refused" })
        .bind(by.who.as_ref())
        .bind(by.at_us)
        .bind(row.try_get::<i64, _>("id")?)
        .execute(&mut tx.conn)
        .await?;
    quarantine(tx, frame, false).await?;
    let (kind, what) =
        if confirm { ("frame.moved", "moved") } else { ("frame.move_refused", "move_refused") };
    let mut events = vec![(EventKind::Frame, what, Some(asked.from), Some(frame))];
    if confirm {
        sqlx::query("UPDATE frames SET visit_id = ?, unassigned = NULL, query = NULL WHERE id = ?")
            .bind(asked.to.0)
            .bind(frame.0)
            .execute(&mut tx.conn)
            .await?;
        events.push((EventKind::Frame, what, Some(asked.to), Some(frame)));
    }
    let details = json!({
        "frame_id": frame, "from_visit_id": asked.from, "visit_id": if confirm { asked.to } else { asked.from },
        "sent_to": asked.sent_to,
    });
    tx.record(by, kind, details, &events).await?;
    Ok(asked)
}

async fn quarantine(tx: &mut Tx, frame: FrameId, on: bool) -> Result<(), StoreError> {
    sqlx::query("UPDATE frames SET quarantined = ? WHERE id = ?")
        .bind(on)
        .bind(frame.0)
        .execute(&mut tx.conn)
        .await?;
    Ok(())
}
