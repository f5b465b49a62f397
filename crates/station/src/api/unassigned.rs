//! Frames that fit no visit: they wait for a person, and are never guessed.

use super::brief::Judged;
use super::error::ApiError;
use super::types::{Unassigned, UnassignedFrame};
use crate::Station;
use axum::Json;
use axum::extract::State;

/// Most frames in one answer; the rest follows once these are assigned.
const MOST: u32 = 500;

/// Frames that fit no visit, with the reason.
#[utoipa::path(get, path = "/api/v1/unassigned", responses((status = 200, body = Unassigned)))]
pub async fn unassigned(State(station): State<Station>) -> Result<Json<Unassigned>, ApiError> {
    let mut frames = Vec::new();
    for kept in station.store().unassigned(MOST).await? {
        let why = kept.unassigned.clone().unwrap_or_else(|| "no visit was named".to_owned());
        let patient_id = kept.person.as_ref().map(|p| p.id.reveal().clone()).filter(|id| !id.is_empty());
        let seen = match kept.observation_id {
            Some(_) => station.store().observation(kept.id).await?,
            None => None,
        };
        let judged = Judged::new(&station, kept, seen.as_ref(), None, &[], &[])?;
        frames.push(UnassignedFrame { brief: judged.brief(), why, patient_id });
    }
    Ok(Json(Unassigned { schema: "serrata.unassigned/1", frames }))
}
