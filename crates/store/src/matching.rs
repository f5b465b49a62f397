//! How a frame finds its visit: by study **and** patient, or not at all.

use crate::writer::Tx;
use crate::{Incoming, StoreError, VisitId};
use sqlx::Row;

/// The visit that was found, or a sentence why none was.
pub(crate) type Found = Result<VisitId, String>;

/// Finds the visit of an arriving file: the one that a person chose, else the one with the same Study Instance UID
/// **and** the same patient id, whose birth date does not speak against it. Nothing is ever guessed.
///
/// Example: a file with a known study and another patient's id stays unassigned, as the header or the order may
/// name the wrong patient.
///
/// # Errors
/// [`StoreError::NoVisit`] where the visit that a person chose is not there.
pub(crate) async fn find_visit(tx: &mut Tx, incoming: &Incoming) -> Result<Found, StoreError> {
    if let Some(id) = incoming.visit {
        let there: Option<i64> = sqlx::query_scalar("SELECT id FROM visits WHERE id = ?")
            .bind(id.0)
            .fetch_optional(&mut tx.conn)
            .await?;
        return there.map(|_| Ok(id)).ok_or(StoreError::NoVisit(id));
    }
    let study = incoming.study_uid.as_deref().map(str::trim).filter(|s| !s.is_empty());
    let patient = incoming.person.as_ref().map(|p| p.id.reveal().trim()).filter(|s| !s.is_empty());
    let (study, patient) = match (study, patient) {
        (Some(study), Some(patient)) => (study, patient),
        (Some(_), None) => return Ok(Err("The file names no patient.".to_owned())),
        (None, Some(_)) => return Ok(Err("The file names no study.".to_owned())),
        (None, None) => return Ok(Err("The file names neither patient nor study.".to_owned())),
    };
    let row = sqlx::query(
        "SELECT v.id, p.hospital_id, p.name, p.birth_date FROM visits v JOIN patients p ON p.id = v.patient_id \
         WHERE v.id = (SELECT id FROM visits WHERE study_uid = ?1 \
         UNION ALL SELECT visit_id FROM visit_studies WHERE study_uid = ?1 LIMIT 1)",
    )
    .bind(study)
    .fetch_optional(&mut tx.conn)
    .await?;
    let Some(row) = row else {
        return Ok(Err("No visit has the file's study.".to_owned()));
    };
    if row.try_get::<&str, _>("hospital_id")? != patient {
        return Ok(Err("The file names another patient than the visit of its study.".to_owned()));
    }
    let theirs = incoming.person.as_ref().and_then(|p| p.birth_date.as_ref()).map(|d| d.reveal().as_str());
    if births_differ(theirs, row.try_get("birth_date")?) {
        return Ok(Err("The file names another date of birth than the visit's patient has.".to_owned()));
    }
    let named = incoming.person.as_ref().map(|p| p.name.reveal().as_str()).unwrap_or_default();
    if names_differ(named, row.try_get("name")?) {
        return Ok(Err("The file names the patient otherwise than the visit does.".to_owned()));
    }
    Ok(Ok(VisitId(row.try_get("id")?)))
}

/// Whether two names have no part in common: titles, order and second names may differ, not everything.
pub(crate) fn names_differ(a: &str, b: &str) -> bool {
    let parts = |name: &str| -> Vec<String> {
        name.split(|c: char| !c.is_alphanumeric()).filter(|p| !p.is_empty()).map(str::to_lowercase).collect()
    };
    let (a, b) = (parts(a), parts(b));
    !a.is_empty() && !b.is_empty() && !a.iter().any(|p| b.contains(p))
}

/// What a person should look at: another open visit than this one sits at the frame's instrument.
pub(crate) async fn query_of(
    tx: &mut Tx,
    visit: VisitId,
    instrument: Option<&str>,
) -> Result<Option<String>, StoreError> {
    let Some(instrument) = instrument else { return Ok(None) };
    let other: Option<i64> = sqlx::query_scalar(
        "SELECT v.id FROM chairs c JOIN visits v ON v.chair = c.name AND v.closed = 0 WHERE c.instrument = ?",
    )
    .bind(instrument)
    .fetch_optional(&mut tx.conn)
    .await?;
    Ok(other.filter(|id| *id != visit.0).map(|_| {
        "Another patient sat at this frame's instrument when it came: compare the two before it is trusted."
            .to_owned()
    }))
}

/// Whether two dates of birth speak against each other: both are known and differ.
pub(crate) fn births_differ(a: Option<&str>, b: Option<&str>) -> bool {
    let known = |s: Option<&str>| s.map(|s| s.trim().replace('-', "")).filter(|s| !s.is_empty());
    matches!((known(a), known(b)), (Some(a), Some(b)) if a != b)
}
