//! Frames: read, assigned, set aside, corrected.

use crate::canonical::sha256_hex;
use crate::rows::{self, frame_columns, observation_columns, to_json};
use crate::visits::given;
use crate::work_items::{visit_of, want};
use crate::writer::Tx;
use crate::{
    By, Corrections, EventKind, FrameId, KeptFrame, NewWork, Store, StoreError, StoredObservation, VisitId,
};
use serde_json::json;
use serrata_words::Fact;
use sqlx::Row;

impl Store {
    /// Frames of a visit by their time of acquisition; those without one last, by arrival.
    ///
    /// # Errors
    /// [`StoreError`] where the database fails.
    pub async fn frames_of_visit(&self, id: VisitId) -> Result<Vec<KeptFrame>, StoreError> {
        let mut conn = self.reader().await?;
        let rows = sqlx::query(concat!(
            "SELECT ",
            frame_columns!(),
            " FROM frames f JOIN files i ON i.id = f.file_id WHERE f.visit_id = ? \
             ORDER BY f.acquired_us IS NULL, f.acquired_us, f.id"
        ))
        .bind(id.0)
        .fetch_all(&mut *conn)
        .await?;
        rows.iter().map(rows::frame).collect()
    }

    /// The observations that hold now for the frames of a visit, in one reading.
    ///
    /// # Errors
    /// [`StoreError`] where the database fails.
    pub async fn observations_of_visit(&self, id: VisitId) -> Result<Vec<StoredObservation>, StoreError> {
        let mut conn = self.reader().await?;
        let rows = sqlx::query(concat!(
            "SELECT ",
            observation_columns!(),
            " FROM frames f JOIN observations o ON o.id = f.observation_id WHERE f.visit_id = ? ORDER BY f.id"
        ))
        .bind(id.0)
        .fetch_all(&mut *conn)
        .await?;
        rows.iter().map(rows::observation).collect()
    }

    /// One frame, or `None`.
    ///
    /// # Errors
    /// [`StoreError`] where the database fails.
    pub async fn frame(&self, id: FrameId) -> Result<Option<KeptFrame>, StoreError> {
        let mut conn = self.reader().await?;
        let row = sqlx::query(concat!(
            "SELECT ",
            frame_columns!(),
            " FROM frames f JOIN files i ON i.id = f.file_id WHERE f.id = ?"
        ))
        .bind(id.0)
        .fetch_optional(&mut *conn)
        .await?;
        row.as_ref().map(rows::frame).transpose()
    }

    /// Frames without a visit, newest first, those set aside included.
    ///
    /// # Errors
    /// [`StoreError`] where the database fails.
    pub async fn unassigned(&self, limit: u32) -> Result<Vec<KeptFrame>, StoreError> {
        let mut conn = self.reader().await?;
        let rows = sqlx::query(concat!(
            "SELECT ",
            frame_columns!(),
            " FROM frames f JOIN files i ON i.id = f.file_id WHERE f.visit_id IS NULL ORDER BY f.id DESC LIMIT ?"
        ))
        .bind(limit)
        .fetch_all(&mut *conn)
        .await?;
        rows.iter().map(rows::frame).collect()
    }

    /// All observations of a frame, oldest first, also those of earlier methods and parameters.
    ///
    /// # Errors
    /// [`StoreError`] where the database fails.
    pub async fn observations_of(&self, id: FrameId) -> Result<Vec<StoredObservation>, StoreError> {
        let mut conn = self.reader().await?;
        let rows = sqlx::query(concat!(
            "SELECT ",
            observation_columns!(),
            " FROM observations o WHERE o.frame_id = ? ORDER BY o.id"
        ))
        .bind(id.0)
        .fetch_all(&mut *conn)
        .await?;
        rows.iter().map(rows::observation).collect()
    }

    /// The observation of a frame that holds now, or `None`.
    ///
    /// # Errors
    /// [`StoreError`] where the database fails.
    pub async fn observation(&self, id: FrameId) -> Result<Option<StoredObservation>, StoreError> {
        let mut conn = self.reader().await?;
        let row = sqlx::query(concat!(
            "SELECT ",
            observation_columns!(),
            " FROM frames f JOIN observations o ON o.id = f.observation_id WHERE f.id = ?"
        ))
        .bind(id.0)
        .fetch_optional(&mut *conn)
        .await?;
        row.as_ref().map(rows::observation).transpose()
    }

    /// Gives a frame to a visit, because a person said so; also out of another visit.
    ///
    /// # Errors
    /// [`StoreError::NoFrame`], [`StoreError::NoVisit`].
    pub async fn assign_frame(&self, id: FrameId, visit: VisitId, by: &By) -> Result<(), StoreError> {
        let by = by.clone();
        self.write(move |tx| {
            Box::pin(async move {
                let from = visit_of(tx, id).await?;
                let done = sqlx::query(
                    "UPDATE frames SET visit_id = ?1, unassigned = NULL \
                     WHERE id = ?2 AND EXISTS (SELECT 1 FROM visits WHERE id = ?1)",
                )
                .bind(visit.0)
                .bind(id.0)
                .execute(&mut tx.conn)
                .await?;
                if done.rows_affected() == 0 {
                    return Err(StoreError::NoVisit(visit));
                }
                let details = json!({ "frame_id": id, "visit_id": visit, "from_visit_id": from });
                let mut events = vec![(EventKind::Frame, "assigned", Some(visit), Some(id))];
                if from.is_some() && from != Some(visit) {
                    // The visit that it left has changed as well.
                    events.push((EventKind::Visit, "assigned", from, None));
                }
                tx.record(&by, "frame.assigned", details, &events).await
            })
        })
        .await
    }

    /// Sets a frame aside with a reason: out of the hand-over, never deleted. Where it belongs to a visit, that is one
    /// of the visit's facts.
    ///
    /// # Errors
    /// [`StoreError::NoFrame`], or [`StoreError::Refused`] without a reason.
    pub async fn set_aside(&self, id: FrameId, reason: &str, by: &By) -> Result<(), StoreError> {
        let reason = given(reason, "A frame is set aside only with a reason.")?;
        self.aside(id, true, Some(reason), by).await
    }

    /// Brings a frame back that was set aside; a reason may be given.
    ///
    /// # Errors
    /// [`StoreError::NoFrame`].
    pub async fn bring_back(&self, id: FrameId, reason: Option<&str>, by: &By) -> Result<(), StoreError> {
        self.aside(id, false, reason.map(str::to_owned), by).await
    }

    async fn aside(
        &self,
        id: FrameId,
        away: bool,
        reason: Option<String>,
        by: &By,
    ) -> Result<(), StoreError> {
        let by = by.clone();
        self.write(move |tx| {
            Box::pin(async move {
                let visit = visit_of(tx, id).await?;
                let kept = reason.as_ref().filter(|_| away);
                let query = sqlx::query("UPDATE frames SET set_aside = ? WHERE id = ?").bind(kept).bind(id.0);
                query.execute(&mut tx.conn).await?;
                let (kind, what, fact) = if away {
                    ("frame.set_aside", "set_aside", Fact::SetAside { frame: id.0 })
                } else {
                    ("frame.brought_back", "brought_back", Fact::TakenBack { frame: id.0 })
                };
                tell(tx, visit, &[fact], reason.as_deref(), &by).await?;
                let hash = reason.as_ref().map(|r| sha256_hex(r.as_bytes()));
                let details = json!({ "frame_id": id, "reason_sha256": hash });
                tx.record(&by, kind, details, &[(EventKind::Frame, what, visit, Some(id))]).await
            })
        })
        .await
    }

    /// Sets a frame's eye, kind or gaze right; `corrections` replaces earlier ones as a whole. `again` is the work that
    /// follows (the check as another kind, say); where its result is kept already, it holds at once. What changes is
    /// among the facts of the frame's visit, with author, time and reason.
    ///
    /// # Errors
    /// [`StoreError::NoFrame`], or [`StoreError::Refused`] without a reason.
    pub async fn correct_frame(
        &self,
        id: FrameId,
        corrections: Corrections,
        again: Option<NewWork>,
        reason: &str,
        by: &By,
    ) -> Result<(), StoreError> {
        let by = by.clone();
        let reason = given(reason, "A label is corrected only with a reason.")?;
        let before = self.frame(id).await?.ok_or(StoreError::NoFrame(id))?;
        self.write(move |tx| {
            Box::pin(async move {
                let visit = visit_of(tx, id).await?;
                let facts = changes(&before, &corrections);
                tell(tx, visit, &facts, Some(&reason), &by).await?;
                let text = to_json(&corrections)?;
                let query =
                    sqlx::query("UPDATE frames SET corrections = ? WHERE id = ?").bind(text).bind(id.0);
                query.execute(&mut tx.conn).await?;
                if let Some(work) = &again {
                    want_for(tx, id, work).await?;
                }
                let details = json!({ "frame_id": id, "corrections": corrections });
                let event = (EventKind::Frame, "corrected", visit, Some(id));
                tx.record(&by, "frame.corrected", details, &[event]).await
            })
        })
        .await
    }

    /// A person looked at what was queried of a frame, and it may be trusted.
    ///
    /// # Errors
    /// [`StoreError::NoFrame`].
    pub async fn answer_query(&self, id: FrameId, by: &By) -> Result<(), StoreError> {
        let by = by.clone();
        self.write(move |tx| {
            Box::pin(async move {
                let visit = visit_of(tx, id).await?;
                sqlx::query("UPDATE frames SET query = NULL WHERE id = ?")
                    .bind(id.0)
                    .execute(&mut tx.conn)
                    .await?;
                let event = (EventKind::Frame, "answered", visit, Some(id));
                tx.record(&by, "frame.query_answered", json!({ "frame_id": id }), &[event]).await
            })
        })
        .await
    }

    /// Asks for work on a frame again, for example by a new revision of its method or after it was given up.
    ///
    /// # Errors
    /// [`StoreError::NoFrame`].
    pub async fn ask_again(&self, id: FrameId, work: NewWork, by: &By) -> Result<(), StoreError> {
        let by = by.clone();
        self.write(move |tx| {
            Box::pin(async move {
                let visit = visit_of(tx, id).await?;
                want_for(tx, id, &work).await?;
                let details = json!({ "frame_id": id, "kind": work.kind, "method": work.method });
                let event = (EventKind::Frame, "asked_again", visit, Some(id));
                tx.record(&by, "frame.asked_again", details, &[event]).await
            })
        })
        .await
    }
}

/// Adds facts to a frame's visit, where it has one.
async fn tell(
    tx: &mut Tx,
    visit: Option<VisitId>,
    facts: &[Fact],
    reason: Option<&str>,
    by: &By,
) -> Result<(), StoreError> {
    if let Some(visit) = visit {
        for fact in facts {
            crate::facts::add(tx, visit, fact, reason, by).await?;
        }
    }
    Ok(())
}

/// What new corrections change; one that is taken back changes a label to what it was.
fn changes(before: &KeptFrame, now: &Corrections) -> Vec<Fact> {
    let (then, frame) = (&before.corrections, before.id.0);
    let mut facts = Vec::new();
    if now.eye != then.eye {
        facts.push(Fact::EyeCorrected { frame, eye: now.eye.or(before.facts.eye) });
    }
    if let Some(modality) = now.modality.or(before.facts.modality).filter(|_| now.modality != then.modality) {
        facts.push(Fact::ModalityCorrected { frame, modality });
    }
    if let Some(gaze) = now.gaze.or(before.facts.gaze).filter(|_| now.gaze != then.gaze) {
        facts.push(Fact::GazeCorrected { frame, gaze });
    }
    facts
}

/// Work that a frame wants, with the frame's own bytes as input.
async fn want_for(tx: &mut Tx, id: FrameId, work: &NewWork) -> Result<(), StoreError> {
    let row =
        sqlx::query("SELECT i.sha256, f.idx FROM frames f JOIN files i ON i.id = f.file_id WHERE f.id = ?")
            .bind(id.0)
            .fetch_one(&mut tx.conn)
            .await?;
    let (sha256, index): (String, u32) = (row.try_get("sha256")?, row.try_get("idx")?);
    want(tx, id, &sha256, index, work).await
}
