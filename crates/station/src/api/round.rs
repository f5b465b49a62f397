//! Opening and closing of the day, its printed list, and the chairs.

use super::error::ApiError;
use super::orders::who;
use super::stand::stand;
use super::types::Done;
use crate::Station;
use axum::Json;
use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use serde::{Deserialize, Serialize};
use serrata_store::VisitQuery;
use serrata_visit::{Item, Leftovers};
use utoipa::ToSchema;

/// Most open visits that are looked at.
const MOST: u32 = 500;

/// A list of the day with its ticks.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Round {
    /// Always `serrata.round/1`.
    pub schema: &'static str,
    /// The day, YYYY-MM-DD by the station's clock.
    pub day: String,
    /// What is left over, one sentence each; empty at opening.
    pub left: Vec<String>,
    /// The items.
    pub items: Vec<RoundItem>,
}

/// An item to tick.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct RoundItem {
    /// Id.
    pub id: String,
    /// What to do.
    pub text: String,
    /// Who ticked it, each with the chair where one was named.
    pub ticked: Vec<String>,
}

/// A tick.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Tick {
    /// Who ticks.
    pub who: String,
    /// Id of the item.
    pub item: String,
    /// The chair that it is about.
    #[serde(default)]
    pub chair: Option<String>,
}

/// A chair.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ChairLine {
    /// Its name.
    pub name: String,
    /// Profile name of the instrument that stands there.
    #[serde(default)]
    pub instrument: Option<String>,
}

/// Today by the station's clock, `YYYY-MM-DD`.
pub(super) fn day() -> String {
    jiff::ZonedDateTime::now().date().to_string()
}

async fn with_ticks(station: &Station, left: Vec<String>, items: Vec<Item>) -> Result<Json<Round>, ApiError> {
    let day = day();
    let ticks = station.store().day_ticks(&day).await?;
    let items = items
        .into_iter()
        .map(|i| RoundItem {
            ticked: ticks
                .iter()
                .filter(|t| t.item == i.id)
                .map(|t| t.chair.as_ref().map_or_else(|| t.who.clone(), |c| format!("{} ({c})", t.who)))
                .collect(),
            id: i.id.to_owned(),
            text: i.text,
        })
        .collect();
    Ok(Json(Round { schema: "serrata.round/1", day, left, items }))
}

/// The list at opening.
#[utoipa::path(get, path = "/api/v1/day/opening", responses((status = 200, body = Round)))]
pub async fn opening(State(station): State<Station>) -> Result<Json<Round>, ApiError> {
    let chairs = station.store().chairs().await?;
    let names: Vec<&str> = chairs.iter().map(|c| c.instrument.as_deref().unwrap_or(&c.name)).collect();
    let items = serrata_visit::opening(&names, &station.settings().lines);
    with_ticks(&station, Vec::new(), items).await
}

/// What is left over at the end of the day, and the list at closing.
#[utoipa::path(get, path = "/api/v1/day/closing", responses((status = 200, body = Round)))]
pub async fn closing(State(station): State<Station>) -> Result<Json<Round>, ApiError> {
    let store = station.store();
    let mut left = Leftovers {
        unassigned: usize::try_from(store.counts().await?.unassigned).unwrap_or(usize::MAX),
        quarantined: store.asked_moves().await?.len(),
        ..Leftovers::default()
    };
    let today = jiff::ZonedDateTime::now().start_of_day().map_or(0, |d| d.timestamp().as_microsecond());
    let query = VisitQuery { closed: true, closed_since_us: Some(today), limit: MOST, after: None };
    for brief in store.list_visits(&query).await? {
        left.open_visits += usize::from(brief.visit.state == serrata_store::VisitState::Open);
        left.unsent += usize::try_from(store.unsent(brief.visit.id).await?).unwrap_or(usize::MAX);
        let facts = stand(&station, &brief.visit).await?.facts;
        left.unanswered += facts.calls.iter().filter(|c| c.reached.is_none()).count();
    }
    let waits = |k: &serrata_store::KeptOrder| k.order.provisional && k.merged_into.is_none();
    left.provisional = store.open_orders(MOST).await?.iter().filter(|k| waits(k)).count();
    let (said, items) = serrata_visit::closing(left);
    with_ticks(&station, said, items).await
}

/// Ticks an item of the day's lists.
#[utoipa::path(post, path = "/api/v1/day/tick", request_body = Tick,
    responses((status = 200, body = Done), (status = 400, body = super::types::Error)))]
pub async fn tick(State(station): State<Station>, Json(body): Json<Tick>) -> Result<Json<Done>, ApiError> {
    let by = who(&body.who)?;
    let lines = &station.settings().lines;
    let known = serrata_visit::opening(&[""], lines)
        .into_iter()
        .chain(serrata_visit::closing(Leftovers::default()).1);
    if !known.into_iter().any(|i| i.id == body.item) {
        return Err(ApiError::bad(
            "tick",
            format!("there is no item \"{}\"", body.item),
            "Use an id of the day's lists",
        ));
    }
    station.store().tick_day(&day(), &body.item, body.chair, &by).await?;
    Ok(Json(Done { ids: vec![] }))
}

/// The list of the day as plain text, to be printed for an outage.
#[utoipa::path(get, path = "/api/v1/day/list",
    responses((status = 200, description = "the list", content_type = "text/plain")))]
pub async fn printed(State(station): State<Station>) -> Result<Response, ApiError> {
    let query = VisitQuery { closed: false, limit: MOST, ..VisitQuery::default() };
    let mut rows = Vec::new();
    for brief in station.store().list_visits(&query).await? {
        let s = stand(&station, &brief.visit).await?;
        let orders = station.store().orders_of(brief.visit.id).await?;
        if let Some(k) = orders.into_iter().rfind(|k| k.merged_into.is_none()) {
            rows.push((k.order, s.views));
        }
    }
    let mut text = format!("List of the day {} - for an outage; write on it, type it in later\n", day());
    for row in serrata_visit::printed(&rows) {
        text.push_str(&format!(
            "\n{}  {}  born {}  number {}\n  {}\n",
            row.when, row.name, row.born, row.number, row.ordered
        ));
        for picture in row.pictures {
            text.push_str(&format!("  {picture}\n"));
        }
        text.push_str("  identifiers 1 ______  2 ______   chair ______   by ______\n");
    }
    Ok(([(header::CONTENT_TYPE, "text/plain; charset=utf-8")], text).into_response())
}

/// The chairs.
#[utoipa::path(get, path = "/api/v1/chairs", responses((status = 200, body = Vec<ChairLine>)))]
pub async fn chairs(State(station): State<Station>) -> Result<Json<Vec<ChairLine>>, ApiError> {
    let all = station.store().chairs().await?;
    Ok(Json(all.into_iter().map(|c| ChairLine { name: c.name, instrument: c.instrument }).collect()))
}

/// Names a chair, or says which instrument stands there.
#[utoipa::path(post, path = "/api/v1/chairs", request_body = ChairLine,
    responses((status = 200, body = Done), (status = 400, body = super::types::Error)))]
pub async fn set_chair(
    State(station): State<Station>,
    Json(body): Json<ChairLine>,
) -> Result<Json<Done>, ApiError> {
    let chair = serrata_store::Chair { name: body.name, instrument: body.instrument };
    station.store().set_chair(chair, &serrata_store::By::person("page")).await?;
    Ok(Json(Done { ids: vec![] }))
}
