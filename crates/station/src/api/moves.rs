//! Frames on their way to another patient, and what is queried of a frame.

use super::error::ApiError;
use super::facts::Who;
use super::orders::who;
use super::types::Done;
use crate::Station;
use axum::Json;
use axum::extract::{Path, State};
use serde::{Deserialize, Serialize};
use serrata_store::{AskedMove, FrameId, VisitId};
use utoipa::ToSchema;

/// A move to be asked for.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct AskMove {
    /// Who asks.
    pub who: String,
    /// The other patient's visit.
    pub to_visit: i64,
    /// Why; not empty.
    pub reason: String,
}

/// A second person's decision.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct DecideMove {
    /// Who decides; another person than the one who asked.
    pub who: String,
    /// Whether the frame goes to the other patient.
    pub confirm: bool,
}

/// A move.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Move {
    /// Always `serrata.move/1`.
    pub schema: &'static str,
    /// The frame.
    pub frame_id: i64,
    /// Where it was.
    pub from_visit: i64,
    /// Where it should go.
    pub to_visit: i64,
    /// Who asked.
    pub asked_by: String,
    /// Why.
    pub reason: String,
    /// Where it went already: ask each for its recall.
    pub sent_to: Vec<String>,
}

/// Where a frame was sent.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SentTo {
    /// Who sent it.
    pub who: String,
    /// Whom it was sent to.
    pub recipient: String,
}

fn told(m: AskedMove) -> Move {
    Move {
        schema: "serrata.move/1",
        frame_id: m.frame_id.0,
        from_visit: m.from.0,
        to_visit: m.to.0,
        asked_by: m.asked_by,
        reason: m.reason,
        sent_to: m.sent_to,
    }
}

/// Asks for a frame to be moved to another patient; it is in quarantine until a second person decides.
#[utoipa::path(post, path = "/api/v1/frames/{id}/move", params(("id" = i64, Path)), request_body = AskMove,
    responses((status = 200, body = Move), (status = 400, body = super::types::Error)))]
pub async fn ask(
    State(station): State<Station>,
    Path(id): Path<i64>,
    Json(body): Json<AskMove>,
) -> Result<Json<Move>, ApiError> {
    let by = who(&body.who)?;
    let asked = station.store().ask_move(FrameId(id), VisitId(body.to_visit), &body.reason, &by).await?;
    Ok(Json(told(asked)))
}

/// A second person confirms or refuses the move.
#[utoipa::path(post, path = "/api/v1/frames/{id}/move/decide", params(("id" = i64, Path)), request_body = DecideMove,
    responses((status = 200, body = Move), (status = 400, body = super::types::Error)))]
pub async fn decide(
    State(station): State<Station>,
    Path(id): Path<i64>,
    Json(body): Json<DecideMove>,
) -> Result<Json<Move>, ApiError> {
    let decided = station.store().decide_move(FrameId(id), body.confirm, &who(&body.who)?).await?;
    Ok(Json(told(decided)))
}

/// Keeps that a frame was sent somewhere.
#[utoipa::path(post, path = "/api/v1/frames/{id}/sent", params(("id" = i64, Path)), request_body = SentTo,
    responses((status = 200, body = Done), (status = 400, body = super::types::Error)))]
pub async fn sent(
    State(station): State<Station>,
    Path(id): Path<i64>,
    Json(body): Json<SentTo>,
) -> Result<Json<Done>, ApiError> {
    station.store().note_sent(FrameId(id), &body.recipient, &who(&body.who)?).await?;
    Ok(Json(Done { ids: vec![id] }))
}

/// A person looked at what is queried of a frame, and trusts it.
#[utoipa::path(post, path = "/api/v1/frames/{id}/answer", params(("id" = i64, Path)), request_body = Who,
    responses((status = 200, body = Done), (status = 404, body = super::types::Error)))]
pub async fn answer(
    State(station): State<Station>,
    Path(id): Path<i64>,
    Json(body): Json<Who>,
) -> Result<Json<Done>, ApiError> {
    station.store().answer_query(FrameId(id), &who(&body.who)?).await?;
    Ok(Json(Done { ids: vec![id] }))
}
