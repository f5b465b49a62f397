//! Frames that fit no visit: they wait for a person, and are never guessed.

use super::brief::{Judged, Known, birth_date};
use super::error::ApiError;
use super::orders::pairs;
use super::types::{Candidate, Unassigned, UnassignedFrame};
use crate::Station;
use axum::Json;
use axum::extract::State;
use serrata_store::{KeptFrame, Person, VisitBrief};
use serrata_visit::differences;
use serrata_words::{BirthDate, Identity, Personal};

/// Most frames in one answer; the rest follows once these are assigned.
const MOST: u32 = 500;

/// Most open visits that a frame is compared with.
const OPEN: u32 = 200;

/// Open visits of the frame's study, of its patient, or of whom it differs in one field only.
fn beside(frame: &KeptFrame, open: &[VisitBrief]) -> Vec<Candidate> {
    let Some(person) = &frame.person else { return Vec::new() };
    let theirs = identity_of(person);
    open.iter()
        .filter_map(|v| {
            let found = differences(&theirs, &identity_of(&v.visit.person));
            let same_study = frame.study_uid.as_deref() == Some(v.visit.study_uid.as_str());
            let same_number = person.id == v.visit.person.id && !person.id.reveal().is_empty();
            (same_study || same_number || found.len() == 1).then(|| Candidate {
                visit_id: v.visit.id.0,
                same_study,
                differences: pairs(&found),
            })
        })
        .collect()
}

/// A person as two people compare it.
pub(super) fn identity_of(p: &Person) -> Identity {
    let name = p.name.reveal().split('=').next().unwrap_or_default();
    let mut parts = name.split('^').map(str::trim);
    Identity {
        patient_id: Personal::new(p.id.reveal().trim().to_owned()),
        issuer: None,
        family: Personal::new(parts.next().unwrap_or_default().to_owned()),
        given: Personal::new(parts.next().unwrap_or_default().to_owned()),
        born: Personal::new(p.birth_date.as_ref().and_then(|d| BirthDate::parse(d.reveal()))),
        sex: p.sex.as_ref().map(|s| s.reveal().clone()).filter(|s| !s.is_empty()),
    }
}

/// Frames that fit no visit, with the reason.
#[utoipa::path(get, path = "/api/v1/unassigned", responses((status = 200, body = Unassigned)))]
pub async fn unassigned(State(station): State<Station>) -> Result<Json<Unassigned>, ApiError> {
    let mut frames = Vec::new();
    let query = serrata_store::VisitQuery { closed: false, limit: OPEN, ..Default::default() };
    let open = station.store().list_visits(&query).await?;
    for kept in station.store().unassigned(MOST).await? {
        let why = kept.unassigned.clone().unwrap_or_else(|| "no visit was named".to_owned());
        let patient_id = kept.person.as_ref().map(|p| p.id.reveal().clone()).filter(|id| !id.is_empty());
        let name = kept.person.as_ref().map(|p| p.name.reveal().replace('^', " ").trim().to_owned());
        let born =
            kept.person.as_ref().and_then(|p| p.birth_date.as_ref()).and_then(|b| birth_date(b.reveal()));
        let seen = match kept.observation_id {
            Some(_) => station.store().observation(kept.id).await?,
            None => None,
        };
        let judged = Judged::new(&station, kept, seen.as_ref(), None, &[], &[], &Known::default())?;
        let beside = beside(&judged.kept, &open);
        frames.push(UnassignedFrame {
            brief: judged.brief(),
            why,
            patient_id,
            patient_name: name.filter(|n| !n.is_empty()),
            birth_date: born,
            beside,
        });
    }
    Ok(Json(Unassigned { schema: "serrata.unassigned/1", frames }))
}
