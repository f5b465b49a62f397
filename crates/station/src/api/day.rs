//! The day: a board of open visits.

use super::brief::{birth_date, of_visit};
use super::error::ApiError;
use super::types::{Day, VisitBrief};
use super::visit::closures;
use crate::Station;
use axum::Json;
use axum::extract::State;
use serrata_store::{VisitQuery, VisitState};
use serrata_visit::{ViewState, status};
use serrata_words::Verdict;

/// Most visits on the board: more than a clinic has open at once.
const MOST: u32 = 60;

/// All open visits at a glance; those in a chair first, then as they were opened.
#[utoipa::path(get, path = "/api/v1/day", responses((status = 200, body = Day)))]
pub async fn day(State(station): State<Station>) -> Result<Json<Day>, ApiError> {
    let query = VisitQuery { closed: false, limit: MOST, ..VisitQuery::default() };
    let mut visits = Vec::new();
    for brief in station.store().list_visits(&query).await? {
        let visit = brief.visit;
        let (views, judged) = of_visit(&station, &visit).await?;
        let candidates: Vec<_> = judged.iter().map(super::brief::Judged::candidate).collect();
        let closed = closures(station.store().closed_views(visit.id).await?);
        let stands = status(&views, &candidates, &closed);
        let count = |f: &dyn Fn(ViewState) -> bool| stands.views.iter().filter(|v| f(v.state)).count();
        visits.push(VisitBrief {
            id: visit.id.0,
            patient_name: visit.person.name.reveal().replace('^', " ").trim().to_owned(),
            patient_id: visit.person.id.reveal().clone(),
            birth_date: visit.person.birth_date.as_ref().and_then(|b| birth_date(b.reveal())),
            order: visit.order.clone(),
            chair: visit.chair.clone(),
            opened_utc_us: visit.opened_us,
            state: if visit.state == VisitState::Open { "open" } else { "closed" }.to_owned(),
            views_due: count(&|s| s == ViewState::Due),
            views_met: count(&|s| matches!(s, ViewState::Met | ViewState::MetWithReservations)),
            frames: candidates.len(),
            frames_not_usable: candidates.iter().filter(|c| c.verdict == Some(Verdict::NotUsable)).count(),
            next_step: stands.next_step,
            completeness: stands.complete.word().to_owned(),
        });
    }
    visits.sort_by_key(|v| (v.chair.is_none(), v.opened_utc_us, v.id));
    let counts = station.store().counts().await?;
    Ok(Json(Day {
        schema: "serrata.day/1",
        now_utc_us: jiff::Timestamp::now().as_microsecond(),
        visits,
        unassigned: counts.unassigned,
        waiting: counts.waiting,
    }))
}
