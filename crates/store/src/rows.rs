//! From rows to types.

use crate::{
    FileId, FrameId, KeptFrame, ObservationId, PatientId, Person, StoreError, StoredObservation, Visit,
    VisitId, VisitState,
};
use serde::Serialize;
use serde::de::DeserializeOwned;
use serrata_words::{Method, Personal};
use sqlx::Row;
use sqlx::sqlite::SqliteRow;
use std::borrow::Cow;

/// Reads a column of JSON.
pub(crate) fn json<T: DeserializeOwned>(text: &str) -> Result<T, StoreError> {
    serde_json::from_str(text)
        .map_err(|e| StoreError::Damaged(format!("a row holds JSON that cannot be read ({e})")))
}

/// Writes a column of JSON.
pub(crate) fn to_json(value: &impl Serialize) -> Result<String, StoreError> {
    serde_json::to_string(value).map_err(|e| {
        StoreError::refused(
            format!("a value cannot be written as JSON ({e})."),
            "Report this as a fault of the program.",
        )
    })
}

/// Reads a column that holds one word of an enum.
pub(crate) fn word<T: DeserializeOwned>(text: &str) -> Result<T, StoreError> {
    let value = serde_json::Value::String(text.to_owned());
    serde_json::from_value(value)
        .map_err(|_| StoreError::Damaged(format!("a row holds the unknown word \"{text}\"")))
}

/// A person out of the columns `hospital_id`, `person_name`, `birth_date`, `sex`.
fn person(row: &SqliteRow) -> Result<Option<Person>, StoreError> {
    let id: Option<String> = row.try_get("hospital_id")?;
    let name: Option<String> = row.try_get("person_name")?;
    if id.is_none() && name.is_none() {
        return Ok(None);
    }
    Ok(Some(Person {
        id: Personal::new(id.unwrap_or_default()),
        name: Personal::new(name.unwrap_or_default()),
        birth_date: row.try_get::<Option<String>, _>("birth_date")?.map(Personal::new),
        sex: row.try_get::<Option<String>, _>("sex")?.map(Personal::new),
    }))
}

/// Columns of a visit `v` with its patient `p`, for [`visit`].
macro_rules! visit_columns {
    () => {
        "v.id, v.study_uid, v.patient_id, v.order_name, v.protocol, v.chair, v.scheduled, v.opened_us, v.closed, v.right_eye, \
         v.left_eye, p.hospital_id, p.name AS person_name, p.birth_date, p.sex"
    };
}
pub(crate) use visit_columns;

pub(crate) fn visit(row: &SqliteRow) -> Result<Visit, StoreError> {
    let closed: bool = row.try_get("closed")?;
    Ok(Visit {
        id: VisitId(row.try_get("id")?),
        study_uid: row.try_get("study_uid")?,
        patient_id: PatientId(row.try_get("patient_id")?),
        person: person(row)?.unwrap_or_default(),
        order: row.try_get("order_name")?,
        protocol: json(row.try_get("protocol")?)?,
        chair: row.try_get("chair")?,
        scheduled: row.try_get("scheduled")?,
        opened_us: row.try_get("opened_us")?,
        state: if closed { VisitState::Closed } else { VisitState::Open },
        right_eye: json(row.try_get("right_eye")?)?,
        left_eye: json(row.try_get("left_eye")?)?,
    })
}

/// Columns of a frame `f` with its file `i`, for [`frame`].
macro_rules! frame_columns {
    () => {
        "f.id, f.file_id, f.idx, f.visit_id, f.unassigned, f.width, f.height, f.facts, f.corrections, f.state, \
         f.failure, f.set_aside, f.query, f.quarantined, f.observation_id, i.sha256, i.name, i.source, i.received_us, i.conflict, \
         i.study_uid, i.hospital_id, i.person_name, i.birth_date, i.sex"
    };
}
pub(crate) use frame_columns;

pub(crate) fn frame(row: &SqliteRow) -> Result<KeptFrame, StoreError> {
    Ok(KeptFrame {
        id: FrameId(row.try_get("id")?),
        file_id: FileId(row.try_get("file_id")?),
        index: row.try_get("idx")?,
        sha256: row.try_get("sha256")?,
        name: row.try_get("name")?,
        source: json(row.try_get("source")?)?,
        received_us: row.try_get("received_us")?,
        conflict: row.try_get("conflict")?,
        person: person(row)?,
        study_uid: row.try_get("study_uid")?,
        visit_id: row.try_get::<Option<i64>, _>("visit_id")?.map(VisitId),
        unassigned: row.try_get("unassigned")?,
        width: row.try_get("width")?,
        height: row.try_get("height")?,
        facts: json(row.try_get("facts")?)?,
        corrections: json(row.try_get("corrections")?)?,
        state: word(row.try_get("state")?)?,
        failure: row.try_get::<Option<&str>, _>("failure")?.map(json).transpose()?,
        set_aside: row.try_get("set_aside")?,
        query: row.try_get("query")?,
        quarantined: row.try_get("quarantined")?,
        observation_id: row.try_get::<Option<i64>, _>("observation_id")?.map(ObservationId),
    })
}

/// Columns of an observation `o`, for [`observation`].
macro_rules! observation_columns {
    () => {
        "o.id, o.frame_id, o.key, o.kind, o.method, o.revision, o.parameters, o.made_us, o.body"
    };
}
pub(crate) use observation_columns;

pub(crate) fn observation(row: &SqliteRow) -> Result<StoredObservation, StoreError> {
    Ok(StoredObservation {
        id: ObservationId(row.try_get("id")?),
        frame_id: FrameId(row.try_get("frame_id")?),
        key: row.try_get("key")?,
        kind: row.try_get("kind")?,
        method: method(row)?,
        parameters: json(row.try_get("parameters")?)?,
        made_us: row.try_get("made_us")?,
        body: json(row.try_get("body")?)?,
    })
}

/// A method out of the columns `method` and `revision`.
pub(crate) fn method(row: &SqliteRow) -> Result<Method, StoreError> {
    Ok(Method { name: Cow::Owned(row.try_get("method")?), revision: row.try_get("revision")? })
}
