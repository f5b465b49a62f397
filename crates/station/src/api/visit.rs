//! One visit: the pair of charts, what is due, and the answer to: are the pictures complete?

use super::brief::{Judged, birth_date, of_last};
use super::error::ApiError;
use super::stand::stand;
use super::types::{CompleteAnswer, Done, NewVisit, ViewLine, Visit};
use crate::Station;
use crate::charts::{Placed, chart};
use crate::look::look;
use axum::Json;
use axum::extract::{Path, State};
use serrata_store::{By, ClosedView, Person, ViewEnd, VisitId, VisitState};
use serrata_visit::{Closure, Protocol, ViewState, cautions};
use serrata_words::{Eye, Personal, Verdict};

/// One visit with its charts.
#[utoipa::path(get, path = "/api/v1/visits/{id}", params(("id" = i64, Path)),
    responses((status = 200, body = Visit), (status = 404, body = super::types::Error)))]
pub async fn visit(State(station): State<Station>, Path(id): Path<i64>) -> Result<Json<Visit>, ApiError> {
    let visit = station
        .store()
        .visit(VisitId(id))
        .await?
        .ok_or_else(|| ApiError::not_found(format!("visit {id}"), "there is no such visit"))?;
    let whole = stand(&station, &visit).await?;
    let today = super::today::today(&station, &visit, &whole).await?;
    let (views, judged, stands) = (whole.views, whole.judged, whole.status);
    let before: Vec<Placed<'_>> = whole.last.iter().filter_map(|j| placed(&station, j)).collect();
    let placed: Vec<Placed<'_>> = judged.iter().filter_map(|j| placed(&station, j)).collect();
    let asks = visit.state == VisitState::Open && !whole.facts.unwell;
    let mut charts = Vec::new();
    for (eye, state) in [(Eye::R, &visit.right_eye), (Eye::L, &visit.left_eye)] {
        let next = if asks { look(&station, eye, &placed, &stands.views, state).await } else { None };
        charts.push(chart(eye, &placed, &before, &stands.views, next));
    }
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
                why: v.why.iter().cloned().chain(v.closure.as_ref().and_then(closed_because)).collect(),
                tries: v.tries,
                last_frame: of_last(&whole.last, v.view.eye, v.view.modality, v.view.gaze)
                    .filter(|j| j.judgement.as_ref().is_some_and(|j| j.verdict != Verdict::NotUsable))
                    .map(|j| j.kept.id.0),
            })
            .collect(),
        frames: judged.iter().rev().map(Judged::brief).collect(),
        charts,
        today,
        cautions: cautions(&views).into_iter().map(str::to_owned).collect(),
    }))
}

/// Why a person closed a view, and who.
fn closed_because(c: &Closure) -> Option<String> {
    let why = c.why?.screen();
    Some(if c.who.is_empty() { why.to_owned() } else { format!("{why} ({})", c.who) })
}

/// A checked frame for the charts; frames set aside do not lie on them.
pub fn placed<'a>(station: &'a Station, j: &'a Judged) -> Option<Placed<'a>> {
    let observation = j.observation.as_ref()?;
    if j.kept.set_aside.is_some() || j.kept.quarantined {
        return None;
    }
    Some(Placed {
        id: j.kept.id.0,
        observation_id: j.kept.observation_id.map(|o| o.0),
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

/// Which views a visit stands for, where its order left that open.
#[derive(Debug, Clone, serde::Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ChooseProtocol {
    /// Who chooses.
    pub who: String,
    /// Name of a protocol.
    pub protocol: String,
    /// "R", "L"; both where none is named.
    #[serde(default)]
    pub eyes: Vec<String>,
    /// The transit eye, as the clinician named it.
    #[serde(default)]
    pub transit: Option<String>,
    /// Options of the protocol.
    #[serde(default)]
    pub options: Vec<String>,
    /// The short form, for a person of whom only one shot can be had.
    #[serde(default)]
    pub one_shot: bool,
}

/// Says which views a visit stands for, once a person has answered what its order left open.
#[utoipa::path(post, path = "/api/v1/visits/{id}/protocol", params(("id" = i64, Path)),
    request_body = ChooseProtocol,
    responses((status = 200, body = Done), (status = 400, body = super::types::Error)))]
pub async fn set_protocol(
    State(station): State<Station>,
    Path(id): Path<i64>,
    Json(body): Json<ChooseProtocol>,
) -> Result<Json<Done>, ApiError> {
    let by = super::orders::who(&body.who)?;
    let bad = |m: String| ApiError::bad(format!("visit {id}"), m, "Choose again");
    let eye = |e: &String| e.parse::<Eye>().map_err(|e| bad(e.to_string()));
    let ask = serrata_visit::Ask {
        eyes: body.eyes.iter().map(eye).collect::<Result<_, _>>()?,
        transit: body.transit.as_ref().map(eye).transpose()?,
        options: body.options,
        one_shot: body.one_shot,
        ..serrata_visit::Ask::default()
    };
    let protocols = super::orders::protocols()?;
    let protocol = protocols
        .iter()
        .find(|p| p.name == body.protocol)
        .ok_or_else(|| bad(format!("there is no protocol \"{}\"", body.protocol)))?;
    let plan = protocol.plan(&ask).map_err(|e| bad(e.to_string()))?;
    let json = serde_json::to_value(plan).map_err(|e| bad(e.to_string()))?;
    station.store().set_protocol(VisitId(id), json, &by).await?;
    Ok(Json(Done { ids: vec![id] }))
}
