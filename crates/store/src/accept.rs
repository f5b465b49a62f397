//! Arrival of a file.

use crate::matching::{Found, find_visit, query_of};
use crate::rows::to_json;
use crate::work_items::want;
use crate::writer::Tx;
use crate::{
    Accepted, By, EventKind, FileId, FrameId, FrameState, Incoming, NewFrame, Original, Store, StoreError,
    VisitId,
};
use serde_json::json;
use sqlx::Row;

impl Store {
    /// Keeps an arriving file: the original first, then its rows, work, audit entry and event in one transaction.
    /// When this answers, all of it is synced; arrivals that wait together share one sync of the database.
    ///
    /// The same bytes again are a success and change nothing ([`Accepted::duplicate`]). The same SOP Instance UID
    /// with other bytes is kept beside the earlier file and both are flagged ([`Accepted::conflict`]). Frames come
    /// to the visit with their study **and** patient; what fits nowhere is unassigned with a written reason.
    ///
    /// # Errors
    /// [`StoreError`] in one sentence; then nothing of the file is shown anywhere, and it can be sent again.
    pub async fn accept(&self, incoming: Incoming, by: &By) -> Result<Accepted, StoreError> {
        let original = self.put_original(incoming.bytes.clone()).await?;
        let by = by.clone();
        self.write(move |tx| Box::pin(async move { index(tx, &incoming, &original, &by).await })).await
    }
}

async fn index(
    tx: &mut Tx,
    incoming: &Incoming,
    original: &Original,
    by: &By,
) -> Result<Accepted, StoreError> {
    if let Some(known) = known(tx, original).await? {
        let details =
            json!({"file_id": known.file_id.0, "sha256": known.sha256, "source": incoming.source.kind()});
        tx.record(by, "file.came_again", details, &[]).await?;
        return Ok(known);
    }
    let found = find_visit(tx, incoming).await?;
    let conflict = flag_conflict(tx, incoming).await?;
    let file_id = insert_file(tx, incoming, original, conflict).await?;
    let mut frame_ids = Vec::with_capacity(incoming.frames.len());
    for frame in &incoming.frames {
        frame_ids.push(insert_frame(tx, file_id, &original.sha256, frame, &found).await?);
    }
    let visit_id = found.as_ref().ok().copied();
    let accepted = Accepted {
        file_id,
        sha256: original.sha256.clone(),
        frame_ids,
        duplicate: false,
        conflict,
        visit_id,
        unassigned: found.err(),
    };
    let details = json!({
        "file_id": file_id.0, "sha256": original.sha256, "size": original.size, "source": incoming.source.kind(),
        "conflict": conflict, "visit_id": visit_id, "frame_ids": accepted.frame_ids,
    });
    let mut events = vec![(EventKind::Intake, "accepted", visit_id, None)];
    events.extend(accepted.frame_ids.iter().map(|id| (EventKind::Frame, "accepted", visit_id, Some(*id))));
    tx.record(by, "file.accepted", details, &events).await?;
    Ok(accepted)
}

/// The answer for bytes that are here already.
async fn known(tx: &mut Tx, original: &Original) -> Result<Option<Accepted>, StoreError> {
    let Some(file) = sqlx::query("SELECT id, conflict FROM files WHERE sha256 = ?")
        .bind(&original.sha256)
        .fetch_optional(&mut tx.conn)
        .await?
    else {
        return Ok(None);
    };
    let file_id = FileId(file.try_get("id")?);
    let rows = sqlx::query("SELECT id, visit_id, unassigned FROM frames WHERE file_id = ? ORDER BY idx")
        .bind(file_id.0)
        .fetch_all(&mut tx.conn)
        .await?;
    let mut accepted = Accepted {
        file_id,
        sha256: original.sha256.clone(),
        frame_ids: Vec::with_capacity(rows.len()),
        duplicate: true,
        conflict: file.try_get("conflict")?,
        visit_id: None,
        unassigned: None,
    };
    for row in &rows {
        accepted.frame_ids.push(FrameId(row.try_get("id")?));
        accepted.visit_id = row.try_get::<Option<i64>, _>("visit_id")?.map(VisitId);
        accepted.unassigned = row.try_get("unassigned")?;
    }
    Ok(Some(accepted))
}

/// Flags files with the same SOP Instance UID (their bytes differ, else they were known); whether there are any.
async fn flag_conflict(tx: &mut Tx, incoming: &Incoming) -> Result<bool, StoreError> {
    let Some(uid) = incoming.instance_uid.as_deref().filter(|u| !u.is_empty()) else {
        return Ok(false);
    };
    let done = sqlx::query("UPDATE files SET conflict = 1 WHERE instance_uid = ?")
        .bind(uid)
        .execute(&mut tx.conn)
        .await?;
    Ok(done.rows_affected() > 0)
}

async fn insert_file(
    tx: &mut Tx,
    incoming: &Incoming,
    original: &Original,
    conflict: bool,
) -> Result<FileId, StoreError> {
    let person = incoming.person.as_ref();
    let size = i64::try_from(original.size).unwrap_or(i64::MAX);
    let done = sqlx::query(
        "INSERT INTO files (sha256, size, name, source, received_us, class_uid, instance_uid, study_uid, \
         hospital_id, person_name, birth_date, sex, conflict) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
    )
    .bind(&original.sha256)
    .bind(size)
    .bind(&incoming.name)
    .bind(to_json(&incoming.source)?)
    .bind(incoming.received_us)
    .bind(&incoming.class_uid)
    .bind(&incoming.instance_uid)
    .bind(incoming.study_uid.as_deref().map(str::trim))
    .bind(person.map(|p| p.id.reveal().trim()))
    .bind(person.map(|p| p.name.reveal()))
    .bind(person.and_then(|p| p.birth_date.as_ref()).map(|d| d.reveal()))
    .bind(person.and_then(|p| p.sex.as_ref()).map(|s| s.reveal()))
    .bind(conflict)
    .execute(&mut tx.conn)
    .await?;
    Ok(FileId(done.last_insert_rowid()))
}

async fn insert_frame(
    tx: &mut Tx,
    file_id: FileId,
    sha256: &str,
    frame: &NewFrame,
    found: &Found,
) -> Result<FrameId, StoreError> {
    let query = match found {
        Ok(visit) => query_of(tx, *visit, frame.facts.instrument.as_deref()).await?,
        Err(_) => None,
    };
    let done = sqlx::query(
        "INSERT INTO frames (file_id, idx, visit_id, unassigned, width, height, facts, acquired_us, state, query) \
         VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
    )
    .bind(file_id.0)
    .bind(frame.index)
    .bind(found.as_ref().ok().map(|v| v.0))
    .bind(found.as_ref().err())
    .bind(frame.width)
    .bind(frame.height)
    .bind(to_json(&frame.facts)?)
    .bind(frame.facts.acquired.as_ref().map(|s| s.utc_us))
    .bind(FrameState::Waiting.word())
    .bind(query)
    .execute(&mut tx.conn)
    .await?;
    let id = FrameId(done.last_insert_rowid());
    if let Some(work) = &frame.work {
        want(tx, id, sha256, frame.index, work).await?;
    }
    Ok(id)
}
