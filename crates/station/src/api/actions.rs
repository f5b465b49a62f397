//! What a person does to frames and views. Every action is in the audit trail.

use super::error::ApiError;
use super::types::{Assign, BringBack, CloseView, Correct, Done, ForOrder, SetAside};
use crate::Station;
use crate::work::observe_work;
use axum::Json;
use axum::extract::{Path, State};
use serrata_store::{By, FrameId, ViewEnd, VisitId};
use serrata_words::Fact;
use std::str::FromStr;

/// Who acts: there are no accounts on the loopback, so the name is as it was written.
fn person(who: Option<&str>) -> By {
    By::person(who.map(str::trim).filter(|w| !w.is_empty()).unwrap_or("page"))
}

/// Gives a frame that fits no visit to one.
#[utoipa::path(post, path = "/api/v1/frames/{id}/assign", params(("id" = i64, Path)), request_body = Assign,
    responses((status = 200, body = Done), (status = 400, body = super::types::Error)))]
pub async fn assign(
    State(station): State<Station>,
    Path(id): Path<i64>,
    Json(body): Json<Assign>,
) -> Result<Json<Done>, ApiError> {
    station.store().assign_frame(FrameId(id), VisitId(body.visit_id), &person(body.who.as_deref())).await?;
    Ok(Json(Done { ids: vec![id] }))
}

/// Takes a frame out of the hand-over. Nothing is deleted.
#[utoipa::path(post, path = "/api/v1/frames/{id}/set-aside", params(("id" = i64, Path)), request_body = SetAside,
    responses((status = 200, body = Done), (status = 400, body = super::types::Error)))]
pub async fn set_aside(
    State(station): State<Station>,
    Path(id): Path<i64>,
    Json(body): Json<SetAside>,
) -> Result<Json<Done>, ApiError> {
    let reason = reason(&body.reason, format!("frame {id}"))?;
    station.store().set_aside(FrameId(id), reason, &person(body.who.as_deref())).await?;
    Ok(Json(Done { ids: vec![id] }))
}

/// Takes a frame back into the hand-over.
#[utoipa::path(post, path = "/api/v1/frames/{id}/bring-back", params(("id" = i64, Path)), request_body = BringBack,
    responses((status = 200, body = Done), (status = 400, body = super::types::Error)))]
pub async fn bring_back(
    State(station): State<Station>,
    Path(id): Path<i64>,
    body: Option<Json<BringBack>>,
) -> Result<Json<Done>, ApiError> {
    let body = body.map(|b| b.0).unwrap_or_default();
    let by = person(body.who.as_deref());
    station.store().bring_back(FrameId(id), body.reason.as_deref(), &by).await?;
    Ok(Json(Done { ids: vec![id] }))
}

/// Corrects the labels of a frame; null takes a correction back. A new kind has the pixels looked at again.
#[utoipa::path(post, path = "/api/v1/frames/{id}/correct", params(("id" = i64, Path)), request_body = Correct,
    responses((status = 200, body = Done), (status = 400, body = super::types::Error)))]
pub async fn correct(
    State(station): State<Station>,
    Path(id): Path<i64>,
    Json(body): Json<Correct>,
) -> Result<Json<Done>, ApiError> {
    let why = reason(&body.reason, format!("frame {id}"))?;
    let corrections = serrata_store::Corrections {
        eye: word(body.eye.as_deref(), id)?,
        modality: word(body.modality.as_deref(), id)?,
        gaze: word(body.gaze.as_deref(), id)?,
    };
    let kept = station
        .store()
        .frame(FrameId(id))
        .await?
        .ok_or_else(|| ApiError::not_found(format!("frame {id}"), "there is no such frame"))?;
    let again = (corrections.modality != kept.corrections.modality)
        .then(|| observe_work(&kept.facts, corrections.modality));
    station.store().correct_frame(FrameId(id), corrections, again, why, &person(body.who.as_deref())).await?;
    station.wake();
    Ok(Json(Done { ids: vec![id] }))
}

/// Says which order of its visit a frame is for.
#[utoipa::path(post, path = "/api/v1/frames/{id}/order", params(("id" = i64, Path)), request_body = ForOrder,
    responses((status = 200, body = Done), (status = 400, body = super::types::Error)))]
pub async fn for_order(
    State(station): State<Station>,
    Path(id): Path<i64>,
    Json(body): Json<ForOrder>,
) -> Result<Json<Done>, ApiError> {
    let why = reason(&body.reason, format!("frame {id}"))?;
    let frame = station
        .store()
        .frame(FrameId(id))
        .await?
        .ok_or_else(|| ApiError::not_found(format!("frame {id}"), "there is no such frame"))?;
    let bad = |message: String, remedy: &str| ApiError::bad(format!("frame {id}"), message, remedy);
    let visit = frame.visit_id.ok_or_else(|| {
        bad("the frame belongs to no visit, so to none of its orders".to_owned(), "Give it to a visit first")
    })?;
    if let Some(number) = &body.order {
        let orders = station.store().orders_of(visit).await?;
        if !orders.iter().any(|o| o.order.number == *number) {
            let known: Vec<&str> = orders.iter().map(|o| o.order.number.as_str()).collect();
            let known = if known.is_empty() { "none".to_owned() } else { known.join(", ") };
            return Err(bad(
                format!("its visit has no order {number}"),
                &format!("Use one of its orders: {known}"),
            ));
        }
    }
    let fact = Fact::OrderCorrected { frame: id, order: body.order };
    let by = person(body.who.as_deref());
    station.store().add_fact(visit, fact, Some(why.to_owned()), &by).await?;
    Ok(Json(Done { ids: vec![id] }))
}

/// Closes a view that cannot be had or was not done, with the reason.
#[utoipa::path(post, path = "/api/v1/visits/{id}/views/{view}/close",
    params(("id" = i64, Path), ("view" = String, Path)), request_body = CloseView,
    responses((status = 200, body = Done), (status = 400, body = super::types::Error)))]
pub async fn close_view(
    State(station): State<Station>,
    Path((id, view)): Path<(i64, String)>,
    Json(body): Json<CloseView>,
) -> Result<Json<Done>, ApiError> {
    let end = match body.state.as_str() {
        "not_obtainable" => ViewEnd::NotObtainable,
        "not_done" => ViewEnd::NotDone,
        other => {
            return Err(ApiError::bad(
                format!("view {view}"),
                format!("\"{other}\" is no end of a view"),
                "Use not_obtainable or not_done",
            ));
        }
    };
    let visit = station
        .store()
        .visit(VisitId(id))
        .await?
        .ok_or_else(|| ApiError::not_found(format!("visit {id}"), "there is no such visit"))?;
    if !super::brief::views_of(&visit).iter().any(|v| v.name == view) {
        return Err(ApiError::not_found(format!("view {view}"), "this visit has no such view"));
    }
    let reason = reason(&body.reason, format!("view {view}"))?;
    station.store().close_view(VisitId(id), &view, end, reason, &person(body.who.as_deref())).await?;
    Ok(Json(Done { ids: vec![id] }))
}

fn reason(text: &str, path: String) -> Result<&str, ApiError> {
    let text = text.trim();
    if text.is_empty() {
        return Err(ApiError::bad(path, "a reason is needed", "Say in a few words why"));
    }
    Ok(text)
}

fn word<T: FromStr<Err = serrata_words::UnknownWord>>(
    text: Option<&str>,
    id: i64,
) -> Result<Option<T>, ApiError> {
    text.map(|t| {
        t.parse::<T>()
            .map_err(|e| ApiError::bad(format!("frame {id}"), e.to_string(), "Use one of those words"))
    })
    .transpose()
}
