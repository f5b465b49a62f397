//! The day: a board of open visits.

use super::brief::birth_date;
use super::error::ApiError;
use super::stand::{Stand, stand};
use super::types::{AlarmLine, Day, VisitBrief};
use super::unassigned::identity_of;
use crate::Station;
use axum::Json;
use axum::extract::State;
use serrata_store::{VisitQuery, VisitState};
use serrata_visit::{OpenVisit, ViewState};
use serrata_words::Verdict;

/// Most visits on the board: more than a clinic has open at once.
const MOST: u32 = 60;

/// All open visits at a glance; those in a chair first, then as they were opened.
#[utoipa::path(get, path = "/api/v1/day", responses((status = 200, body = Day)))]
pub async fn day(State(station): State<Station>) -> Result<Json<Day>, ApiError> {
    let query = VisitQuery { closed: false, limit: MOST, ..VisitQuery::default() };
    let (mut visits, mut open) = (Vec::new(), Vec::new());
    for brief in station.store().list_visits(&query).await? {
        let visit = brief.visit;
        let stand = stand(&station, &visit).await?;
        let candidates: Vec<_> = stand.judged.iter().map(super::brief::Judged::candidate).collect();
        let stands = &stand.status;
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
            views_due: count(&|s| matches!(s, ViewState::Due | ViewState::Overdue)),
            views_met: count(&|s| matches!(s, ViewState::Met | ViewState::MetWithReservations)),
            frames: candidates.len(),
            frames_not_usable: candidates.iter().filter(|c| c.verdict == Some(Verdict::NotUsable)).count(),
            next_step: stands.next_step.clone(),
            completeness: stands.complete.word().to_owned(),
            scheduled: visit.scheduled.clone(),
            unwell: stand.facts.unwell,
            paused_until_utc_us: stand.facts.paused_until_us,
            calls_open: stand.facts.calls.iter().filter(|c| c.reached.is_none()).count(),
        });
        open.push((visit, stand));
    }
    let alarms = due_at(&open);
    visits.sort_by_key(|v| (v.chair.is_none(), v.opened_utc_us, v.id));
    let counts = station.store().counts().await?;
    Ok(Json(Day {
        schema: "serrata.day/1",
        now_utc_us: jiff::Timestamp::now().as_microsecond(),
        visits,
        unassigned: counts.unassigned,
        waiting: counts.waiting,
        alarms,
    }))
}

/// What is due at a time over all open visits.
fn due_at(open: &[(serrata_store::Visit, Stand)]) -> Vec<AlarmLine> {
    let known: Vec<_> =
        open.iter().map(|(v, s)| (v.id.0.to_string(), identity_of(&v.person), v, s)).collect();
    let visits: Vec<OpenVisit<'_>> = known
        .iter()
        .map(|(id, identity, v, s)| OpenVisit {
            id,
            identity,
            status: &s.status,
            dyes: &s.dyes,
            chair: v.chair.as_deref(),
            paused_until_us: s.facts.paused_until_us,
            unwell: s.facts.unwell,
            run_stopped: s.facts.run_stopped,
            run_mode: s.facts.run_mode,
        })
        .collect();
    serrata_visit::alarms(&visits, jiff::Timestamp::now().as_microsecond())
        .into_iter()
        .map(|a| AlarmLine {
            visit_id: a.visit.parse().unwrap_or_default(),
            who: a.who,
            chair: a.chair,
            what: a.what,
            from_utc_us: a.from_us,
            to_utc_us: a.to_us,
            now: a.now,
            sounds: a.sounds,
            sentence: a.sentence,
            clash: a.clash,
        })
        .collect()
}
