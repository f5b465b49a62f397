//! Visits: made, listed, closed.

use crate::canonical::sha256_hex;
use crate::matching::births_differ;
use crate::rows::{self, to_json, visit_columns, word};
use crate::writer::Tx;
use crate::{
    By, ClosedView, EventKind, FrameId, NewVisit, PatientId, Person, Store, StoreError, ViewEnd, Visit,
    VisitBrief, VisitId, VisitQuery,
};
use serde_json::{Value, json};
use serrata_words::{Eye, EyeState};
use sqlx::Row;
use sqlx::sqlite::SqliteConnection;

impl Store {
    /// Opens a visit. Unassigned frames that name this study and this patient come to it.
    ///
    /// # Errors
    /// [`StoreError::Refused`] where there is a visit with this study already, the patient has no id, or is known
    /// with another date of birth.
    pub async fn create_visit(&self, visit: NewVisit, by: &By) -> Result<VisitId, StoreError> {
        let by = by.clone();
        self.write(move |tx| Box::pin(async move { create(tx, &visit, &by).await })).await
    }

    /// Lists visits: open ones first, then closed ones, each newest first, with the numbers of their frames. Quick
    /// however many are stored, as it reads only what it gives.
    ///
    /// # Errors
    /// [`StoreError`] where the database fails.
    pub async fn list_visits(&self, query: &VisitQuery) -> Result<Vec<VisitBrief>, StoreError> {
        let mut conn = self.reader().await?;
        let after: Option<(bool, i64, i64)> = match query.after {
            None => None,
            Some(id) => sqlx::query("SELECT closed, opened_us, id FROM visits WHERE id = ?")
                .bind(id.0)
                .fetch_optional(&mut *conn)
                .await?
                .map(|r| Ok::<_, sqlx::Error>((r.try_get("closed")?, r.try_get("opened_us")?, id.0)))
                .transpose()?,
        };
        let mut list = Vec::new();
        for closed in [false, true] {
            let start = match after {
                Some((done, ..)) if done && !closed => continue,
                Some((done, opened, id)) if done == closed => (opened, id),
                _ => (i64::MAX, i64::MAX),
            };
            if closed && !query.closed {
                break;
            }
            let since = if closed { query.closed_since_us.unwrap_or(i64::MIN) } else { i64::MIN };
            let left = i64::from(query.limit) - i64::try_from(list.len()).unwrap_or(i64::MAX);
            list.extend(page(&mut conn, closed, start, since, left.max(0)).await?);
        }
        Ok(list)
    }

    /// One visit, or `None`.
    ///
    /// # Errors
    /// [`StoreError`] where the database fails.
    pub async fn visit(&self, id: VisitId) -> Result<Option<Visit>, StoreError> {
        let mut conn = self.reader().await?;
        let row = sqlx::query(concat!(
            "SELECT ",
            visit_columns!(),
            " FROM visits v JOIN patients p ON p.id = v.patient_id WHERE v.id = ?"
        ))
        .bind(id.0)
        .fetch_optional(&mut *conn)
        .await?;
        row.as_ref().map(rows::visit).transpose()
    }

    /// Closes a visit. Frames that still come for its study are kept in it.
    ///
    /// # Errors
    /// [`StoreError::NoVisit`] where there is none.
    pub async fn close_visit(&self, id: VisitId, by: &By) -> Result<(), StoreError> {
        self.set_closed(id, true, by).await
    }

    /// Opens a closed visit again.
    ///
    /// # Errors
    /// [`StoreError::NoVisit`] where there is none.
    pub async fn reopen_visit(&self, id: VisitId, by: &By) -> Result<(), StoreError> {
        self.set_closed(id, false, by).await
    }

    async fn set_closed(&self, id: VisitId, closed: bool, by: &By) -> Result<(), StoreError> {
        let by = by.clone();
        self.write(move |tx| {
            Box::pin(async move {
                let query = sqlx::query("UPDATE visits SET closed = ? WHERE id = ?").bind(closed).bind(id.0);
                let done = query.execute(&mut tx.conn).await?;
                let (kind, what) =
                    if closed { ("visit.closed", "closed") } else { ("visit.reopened", "reopened") };
                changed(tx, done.rows_affected(), id, &by, kind, what, json!({})).await
            })
        })
        .await
    }

    /// Says where the patient sits; `None`: nowhere.
    ///
    /// # Errors
    /// [`StoreError::NoVisit`] where there is none.
    pub async fn seat_visit(&self, id: VisitId, chair: Option<String>, by: &By) -> Result<(), StoreError> {
        let by = by.clone();
        self.write(move |tx| {
            Box::pin(async move {
                let query = sqlx::query("UPDATE visits SET chair = ? WHERE id = ?").bind(&chair).bind(id.0);
                let done = query.execute(&mut tx.conn).await?;
                changed(
                    tx,
                    done.rows_affected(),
                    id,
                    &by,
                    "visit.seated",
                    "seated",
                    json!({ "chair": chair }),
                )
                .await
            })
        })
        .await
    }

    /// Says which views a visit stands for, once a person has answered what the order left open.
    ///
    /// # Errors
    /// [`StoreError::NoVisit`] where there is none.
    pub async fn set_protocol(&self, id: VisitId, protocol: Value, by: &By) -> Result<(), StoreError> {
        let by = by.clone();
        self.write(move |tx| {
            Box::pin(async move {
                let done = sqlx::query("UPDATE visits SET protocol = ? WHERE id = ?")
                    .bind(to_json(&protocol)?)
                    .bind(id.0)
                    .execute(&mut tx.conn)
                    .await?;
                let hash = sha256_hex(crate::canonical_json(&protocol).as_bytes());
                let details = json!({ "protocol_sha256": hash });
                changed(tx, done.rows_affected(), id, &by, "visit.protocol", "ordered", details).await
            })
        })
        .await
    }

    /// Closes a view of a visit with a reason; closing it again replaces end and reason.
    ///
    /// # Errors
    /// [`StoreError::NoVisit`] where there is none, [`StoreError::Refused`] without a reason.
    pub async fn close_view(
        &self,
        id: VisitId,
        view: &str,
        end: ViewEnd,
        reason: &str,
        by: &By,
    ) -> Result<(), StoreError> {
        let reason = given(reason, "A view is closed only with a reason.")?;
        let (view, by) = (view.to_owned(), by.clone());
        self.write(move |tx| {
            Box::pin(async move {
                // No row comes of a visit that is not there.
                let done = sqlx::query(
                    "INSERT INTO closed_views (visit_id, view, ending, reason, closed_us) \
                     SELECT id, ?, ?, ?, ? FROM visits WHERE id = ? \
                     ON CONFLICT (visit_id, view) DO UPDATE SET ending = excluded.ending, \
                     reason = excluded.reason, closed_us = excluded.closed_us",
                )
                .bind(&view)
                .bind(end.word())
                .bind(&reason)
                .bind(by.at_us)
                .bind(id.0)
                .execute(&mut tx.conn)
                .await?;
                let details =
                    json!({ "view": view, "end": end.word(), "reason_sha256": sha256_hex(reason.as_bytes()) });
                changed(tx, done.rows_affected(), id, &by, "view.closed", "view_closed", details).await
            })
        })
        .await
    }

    /// Makes a closed view due again; nothing happens where it is due.
    ///
    /// # Errors
    /// [`StoreError`] where the database fails.
    pub async fn reopen_view(&self, id: VisitId, view: &str, by: &By) -> Result<(), StoreError> {
        let (view, by) = (view.to_owned(), by.clone());
        self.write(move |tx| {
            Box::pin(async move {
                let done = sqlx::query("DELETE FROM closed_views WHERE visit_id = ? AND view = ?")
                    .bind(id.0)
                    .bind(&view)
                    .execute(&mut tx.conn)
                    .await?;
                if done.rows_affected() == 0 {
                    return Ok(());
                }
                changed(tx, 1, id, &by, "view.reopened", "view_reopened", json!({ "view": view })).await
            })
        })
        .await
    }

    /// Views of a visit that a person closed, oldest first.
    ///
    /// # Errors
    /// [`StoreError`] where the database fails.
    pub async fn closed_views(&self, id: VisitId) -> Result<Vec<ClosedView>, StoreError> {
        let mut conn = self.reader().await?;
        let rows = sqlx::query(
            "SELECT view, ending, reason, closed_us FROM closed_views WHERE visit_id = ? ORDER BY closed_us, view",
        )
        .bind(id.0)
        .fetch_all(&mut *conn)
        .await?;
        rows.iter()
            .map(|row| {
                Ok(ClosedView {
                    visit_id: id,
                    view: row.try_get("view")?,
                    end: word(row.try_get("ending")?)?,
                    reason: row.try_get("reason")?,
                    closed_us: row.try_get("closed_us")?,
                })
            })
            .collect()
    }
}

/// A reason that says something.
pub(crate) fn given(reason: &str, message: &str) -> Result<String, StoreError> {
    let reason = reason.trim();
    if reason.is_empty() {
        return Err(StoreError::refused(message, "Say why."));
    }
    Ok(reason.to_owned())
}

/// Records a change of a visit; none is an unknown visit.
pub(crate) async fn changed(
    tx: &mut Tx,
    rows: u64,
    id: VisitId,
    by: &By,
    kind: &str,
    what: &str,
    mut details: Value,
) -> Result<(), StoreError> {
    if rows == 0 {
        return Err(StoreError::NoVisit(id));
    }
    details["visit_id"] = json!(id);
    tx.record(by, kind, details, &[(EventKind::Visit, what, Some(id), None)]).await
}

pub(crate) async fn create(tx: &mut Tx, visit: &NewVisit, by: &By) -> Result<VisitId, StoreError> {
    let patient_id = patient(tx, &visit.person).await?;
    let study_uid = match visit.study_uid.as_deref().map(str::trim).filter(|s| !s.is_empty()) {
        Some(uid) => uid.to_owned(),
        None => format!("2.25.{}", uuid::Uuid::new_v4().as_u128()),
    };
    let (right, left) = carried(tx, patient_id).await?;
    let inserted = sqlx::query(
        "INSERT INTO visits (study_uid, patient_id, order_name, protocol, chair, opened_us, right_eye, left_eye) \
         VALUES (?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (study_uid) DO NOTHING",
    )
    .bind(&study_uid)
    .bind(patient_id.0)
    .bind(&visit.order)
    .bind(to_json(&visit.protocol)?)
    .bind(&visit.chair)
    .bind(visit.opened_us)
    .bind(to_json(&right)?)
    .bind(to_json(&left)?)
    .execute(&mut tx.conn)
    .await?;
    if inserted.rows_affected() == 0 {
        return Err(StoreError::refused("There is a visit with this study already.", "Use that visit."));
    }
    let id = VisitId(inserted.last_insert_rowid());
    let came = adopt(tx, id, &study_uid, &visit.person).await?;
    let details = json!({
        "visit_id": id, "patient_id": patient_id, "study_uid": study_uid, "order": visit.order, "frame_ids": came,
        "protocol_sha256": sha256_hex(crate::canonical_json(&visit.protocol).as_bytes()),
    });
    let mut events = vec![(EventKind::Visit, "opened", Some(id), None)];
    events.extend(came.iter().map(|f| (EventKind::Frame, "assigned", Some(id), Some(*f))));
    tx.record(by, "visit.opened", details, &events).await?;
    Ok(id)
}

/// What was known of the patient's eyes at the last visit, without what only held on that day.
async fn carried(tx: &mut Tx, patient: PatientId) -> Result<(EyeState, EyeState), StoreError> {
    let row = sqlx::query(
        "SELECT right_eye, left_eye FROM visits WHERE patient_id = ? AND merged_into IS NULL \
         ORDER BY opened_us DESC, id DESC LIMIT 1",
    )
    .bind(patient.0)
    .fetch_optional(&mut tx.conn)
    .await?;
    let Some(row) = row else { return Ok((EyeState::default(), EyeState::default())) };
    let of = |column: &str| rows::json(row.try_get(column)?).map(lasting);
    Ok((of("right_eye")?, of("left_eye")?))
}

/// What of an eye's state does not only hold for a day.
fn lasting(then: EyeState) -> EyeState {
    EyeState { dilated: None, small_pupil: false, drops_or_gel: false, red_eye: false, ..then }
}

/// What a visit began with of an eye, from the visit before it.
pub(crate) async fn carried_to(tx: &mut Tx, id: VisitId, eye: Eye) -> Result<EyeState, StoreError> {
    let row = sqlx::query(
        "SELECT v.right_eye, v.left_eye FROM visits v JOIN visits n ON n.patient_id = v.patient_id \
         WHERE n.id = ? AND v.merged_into IS NULL AND (v.opened_us, v.id) < (n.opened_us, n.id) \
         ORDER BY v.opened_us DESC, v.id DESC LIMIT 1",
    )
    .bind(id.0)
    .fetch_optional(&mut tx.conn)
    .await?;
    let Some(row) = row else { return Ok(EyeState::default()) };
    let column = if eye == Eye::R { "right_eye" } else { "left_eye" };
    Ok(lasting(rows::json(row.try_get(column)?)?))
}

/// The patient's row: the known one of this patient id, else a new one.
pub(crate) async fn patient(tx: &mut Tx, person: &Person) -> Result<PatientId, StoreError> {
    let id = person.id.reveal().trim();
    if id.is_empty() {
        return Err(StoreError::refused("The patient has no patient id.", "Give the hospital's patient id."));
    }
    let birth = person.birth_date.as_ref().map(|d| d.reveal().as_str());
    let known = sqlx::query("SELECT id, birth_date FROM patients WHERE hospital_id = ?")
        .bind(id)
        .fetch_optional(&mut tx.conn)
        .await?;
    if let Some(row) = known {
        if births_differ(birth, row.try_get("birth_date")?) {
            return Err(StoreError::refused(
                "This patient id is known with another date of birth.",
                "Check patient id and date of birth against the order.",
            ));
        }
        return Ok(PatientId(row.try_get("id")?));
    }
    let done = sqlx::query("INSERT INTO patients (hospital_id, name, birth_date, sex) VALUES (?, ?, ?, ?)")
        .bind(id)
        .bind(person.name.reveal())
        .bind(birth)
        .bind(person.sex.as_ref().map(|s| s.reveal()))
        .execute(&mut tx.conn)
        .await?;
    Ok(PatientId(done.last_insert_rowid()))
}

/// Gives a new visit the unassigned frames that name its study and its patient, by the rule of arrival.
pub(crate) async fn adopt(
    tx: &mut Tx,
    id: VisitId,
    study_uid: &str,
    person: &Person,
) -> Result<Vec<FrameId>, StoreError> {
    let rows = sqlx::query(
        "SELECT f.id, i.birth_date FROM frames f JOIN files i ON i.id = f.file_id \
         WHERE i.study_uid = ? AND i.hospital_id = ? AND f.visit_id IS NULL ORDER BY f.id",
    )
    .bind(study_uid)
    .bind(person.id.reveal().trim())
    .fetch_all(&mut tx.conn)
    .await?;
    let mut came = Vec::new();
    for row in rows {
        let birth = person.birth_date.as_ref().map(|d| d.reveal().as_str());
        if births_differ(birth, row.try_get("birth_date")?) {
            continue;
        }
        let frame: i64 = row.try_get("id")?;
        sqlx::query("UPDATE frames SET visit_id = ?, unassigned = NULL WHERE id = ?")
            .bind(id.0)
            .bind(frame)
            .execute(&mut tx.conn)
            .await?;
        came.push(FrameId(frame));
    }
    Ok(came)
}

/// One page of open or of closed visits, from after `start` (time and id) downwards.
async fn page(
    conn: &mut SqliteConnection,
    closed: bool,
    start: (i64, i64),
    since_us: i64,
    limit: i64,
) -> Result<Vec<VisitBrief>, StoreError> {
    let rows = sqlx::query(concat!(
        "WITH v AS MATERIALIZED (SELECT * FROM visits WHERE closed = ? AND (opened_us, id) < (?, ?) AND opened_us >= ? \
         ORDER BY opened_us DESC, id DESC LIMIT ?) SELECT ",
        visit_columns!(),
        ", count(f.id) AS frames, coalesce(sum(f.state = 'waiting'), 0) AS waiting, \
         coalesce(sum(f.state = 'failed'), 0) AS failed, count(f.set_aside) AS aside \
         FROM v JOIN patients p ON p.id = v.patient_id LEFT JOIN frames f ON f.visit_id = v.id \
         GROUP BY v.id ORDER BY v.opened_us DESC, v.id DESC"
    ))
    .bind(closed)
    .bind(start.0)
    .bind(start.1)
    .bind(since_us)
    .bind(limit)
    .fetch_all(conn)
    .await?;
    rows.iter()
        .map(|row| {
            Ok(VisitBrief {
                visit: rows::visit(row)?,
                frames: row.try_get("frames")?,
                waiting: row.try_get("waiting")?,
                failed: row.try_get("failed")?,
                set_aside: row.try_get("aside")?,
            })
        })
        .collect()
}
