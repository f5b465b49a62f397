//! One visit: the pair of charts, what is due, and the answer to: are the pictures complete?

use super::brief::{Judged, birth_date, of_visit};
use super::error::ApiError;
use super::types::{CompleteAnswer, Done, NewVisit, ViewLine, Visit};
use crate::Station;
use crate::charts::{Placed, chart};
use axum::Json;
use axum::extract::{Path, State};
use serrata_store::{By, ClosedView, Person, ViewEnd, VisitId, VisitState};
use serrata_visit::{Closure, Protocol, ViewState, cautions, status};
use serrata_words::{Eye, Personal};

/// One visit with its charts.
#[utoipa::path(get, path = "/api/v1/visits/{id}", params(("id" = i64, Path)),
    responses((status = 200, body = Visit), (status = 404, body = super::types::Error)))]
pub async fn visit(State(station): State<Station>, Path(id): Path<i64>) -> Result<Json<Visit>, ApiError> {
    let visit = station
        .store()
        .visit(VisitId(id))
        .await?
        .ok_or_else(|| ApiError::not_found(format!("visit {id}"), "there is no such visit"))?;
    let (views, judged) = of_visit(&station, &visit).await?;
    let candidates: Vec<_> = judged.iter().map(Judged::candidate).collect();
    let closed = closures(station.store().closed_views(visit.id).await?);
    let stands = status(&views, &candidates, &closed);
    let placed: Vec<Placed<'_>> = judged.iter().filter_map(|j| placed(&station, j)).collect();
    let charts = [Eye::R, Eye::L].map(|e| chart(e, &placed, &stands.views)).to_vec();
    Ok(Json(Visit {
        schema: "serrata.visit/1",
        id: visit.id.0,
        patient_name: visit.person.name.reveal().replace('^', " ").trim().to_owned(),
        patient_id: visit.person.id.reveal().clone(),
        birth_date: visit.person.birth_date.as_ref().and_then(|b| birth_date(b.reveal())),
        order: visit.order.clone(),
        chair: visit.chair.clone(),
        opened_utc_us: visit.opened_us,
        state: if visit.state == VisitState::Open { "open" } else { "closed" }.to_owned(),
        next_step: stands.next_step.clone(),
        complete: CompleteAnswer {
            state: stands.complete.word().to_owned(),
            sentence: stands.sentence.clone(),
        },
        views: stands
            .views
            .iter()
            .map(|v| ViewLine {
                name: v.view.name.clone(),
                eye: v.view.eye.map(|e| e.word().to_owned()),
                modality: v.view.modality.word().to_owned(),
                gaze: v.view.gaze.word().to_owned(),
                rank: v.view.rank.word().to_owned(),
                state: v.state.word().to_owned(),
                frames: v.frames.clone(),
            })
            .collect(),
        frames: judged.iter().rev().map(Judged::brief).collect(),
        charts,
        cautions: cautions(&views).into_iter().map(str::to_owned).collect(),
    }))
}

/// A checked frame for the charts; frames set aside do not lie on them.
fn placed<'a>(station: &'a Station, j: &'a Judged) -> Option<Placed<'a>> {
    let observation = j.observation.as_ref()?;
    if j.kept.set_aside.is_some() {
        return None;
    }
    Some(Placed {
        id: j.kept.id.0,
        eye: j.eye?,
        modality: j.view.modality.word(),
        gaze: j.view.gaze,
        verdict: j.judgement.as_ref()?.verdict,
        observation,
        facts: &j.kept.facts,
        instrument: station.instrument_of(j.kept.facts.instrument.as_deref()),
    })
}

/// Views that a person closed, as completeness knows them.
pub fn closures(closed: Vec<ClosedView>) -> Vec<Closure> {
    closed
        .into_iter()
        .map(|c| Closure {
            view: c.view,
            why: None,
            who: String::new(),
            state: match c.end {
                ViewEnd::NotObtainable => ViewState::NotObtainable,
                ViewEnd::NotDone => ViewState::NotDone,
            },
        })
        .collect()
}

/// Opens a visit that is typed in.
#[utoipa::path(post, path = "/api/v1/visits", request_body = NewVisit,
    responses((status = 200, body = Done), (status = 400, body = super::types::Error)))]
pub async fn new_visit(
    State(station): State<Station>,
    Json(new): Json<NewVisit>,
) -> Result<Json<Done>, ApiError> {
    if new.patient_id.trim().is_empty() || new.patient_name.trim().is_empty() {
        return Err(ApiError::bad("visit", "a visit needs the patient's number and name", "Type in both"));
    }
    let birth = match new.birth_date.as_deref().map(|b| (b, birth_date(b))) {
        None => None,
        Some((b, Some(_))) => Some(Personal::new(b.replace('-', ""))),
        Some((_, None)) => {
            return Err(ApiError::bad("visit", "the date of birth is no date", "Write it as year-month-day"));
        }
    };
    let shipped = Protocol::shipped()
        .map_err(|e| ApiError::bad("protocol", e.to_string(), "Mend the protocol's file"))?;
    let known: Vec<&str> = shipped.iter().map(|p| p.name.as_str()).collect();
    let protocol = shipped.iter().find(|p| p.name == new.protocol).ok_or_else(|| {
        ApiError::bad(
            "visit",
            format!("there is no protocol \"{}\"", new.protocol),
            &format!("Use one of: {}", known.join(", ")),
        )
    })?;
    let plan = protocol
        .plan(&serrata_visit::Ask::default())
        .map_err(|e| ApiError::bad("visit", e.to_string(), "Import an order that answers it"))?;
    let id = station
        .store()
        .create_visit(
            serrata_store::NewVisit {
                study_uid: new.study_uid,
                person: Person {
                    id: Personal::new(new.patient_id.trim().to_owned()),
                    name: Personal::new(new.patient_name.trim().to_owned()),
                    birth_date: birth,
                    sex: None,
                },
                order: protocol.title.clone(),
                protocol: serde_json::to_value(plan)
                    .map_err(|e| ApiError::bad("protocol", e.to_string(), "Mend the protocol's file"))?,
                chair: new.chair,
                opened_us: jiff::Timestamp::now().as_microsecond(),
            },
            &By::person("page"),
        )
        .await?;
    Ok(Json(Done { ids: vec![id.0] }))
}
