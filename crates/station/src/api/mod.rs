//! The HTTP API `/api/v1` and the page. Every handler asks the store and the pure crates; none holds SQL.

mod actions;
pub mod appraisal_schema;
mod brief;
mod day;
mod deidentified;
mod derived;
mod drawn;
mod dye;
mod error;
mod events;
mod facts;
mod frame;
mod guard;
mod handover;
mod intake;
mod montage;
mod moves;
pub mod order_types;
mod orders;
mod page;
mod paper;
mod reading;
mod refusals;
mod round;
mod sending;
mod stand;
mod today;
pub mod types;
mod unassigned;
mod visit;

use crate::Station;
use axum::extract::DefaultBodyLimit;
use axum::routing::{get, post};
use axum::{Json, Router};
use refusals::Refused;
use utoipa::OpenApi;

/// Largest picture that the page may send, in bytes: a 16-bit colour frame of 8k × 8k.
const LARGEST_BODY: usize = 512 * 1024 * 1024;

/// The description of the API, as committed in `openapi.json`.
#[derive(OpenApi)]
#[openapi(
    info(title = "Serrata", description = "Checks of retinal pictures. Advises; licensed staff decide."),
    paths(
        day::day,
        visit::visit,
        visit::new_visit,
        dye::dye_run,
        frame::frame,
        frame::picture,
        frame::measure_frame,
        unassigned::unassigned,
        actions::assign,
        actions::set_aside,
        actions::bring_back,
        actions::correct,
        actions::for_order,
        actions::close_view,
        orders::orders,
        orders::typed,
        orders::table,
        orders::worklist,
        orders::take_worklist,
        orders::beside,
        orders::merge,
        facts::add,
        facts::close,
        facts::reopen,
        montage::montage,
        montage::make_montage,
        montage::montage_picture,
        montage::transfer_points,
        montage::measure_montage,
        montage::growth,
        reading::reading,
        reading::read_run,
        reading::reading_file,
        reading::judge_region,
        handover::package,
        paper::record,
        sending::sending,
        sending::visit_sending,
        sending::send,
        sending::send_again,
        sending::withdraw,
        moves::ask,
        moves::decide,
        moves::sent,
        moves::answer,
        round::opening,
        round::closing,
        round::tick,
        round::printed,
        round::chairs,
        round::set_chair,
        visit::set_protocol,
        intake::files,
        events::events,
        health,
        description
    ),
    components(schemas(types::Error, types::Event)),
    modifiers(&Refused)
)]
pub struct Description;

/// All routes.
pub fn router(station: Station) -> Router {
    let api = Router::new()
        .route("/day", get(day::day))
        .route("/visits", post(visit::new_visit))
        .route("/visits/{id}", get(visit::visit))
        .route("/visits/{id}/views/{view}/close", post(actions::close_view))
        .route("/frames/{id}", get(frame::frame))
        .route("/frames/{id}/picture", get(frame::picture))
        .route("/frames/{id}/measure", post(frame::measure_frame))
        .route("/frames/{id}/assign", post(actions::assign))
        .route("/frames/{id}/set-aside", post(actions::set_aside))
        .route("/frames/{id}/bring-back", post(actions::bring_back))
        .route("/frames/{id}/correct", post(actions::correct))
        .route("/frames/{id}/order", post(actions::for_order))
        .route("/visits/{id}/dye", get(dye::dye_run))
        .route("/visits/{id}/reading/{eye}/{dye}", get(reading::reading).post(reading::read_run))
        .route("/visits/{id}/reading/{eye}/{dye}/regions", post(reading::judge_region))
        .route("/visits/{id}/reading/{eye}/{dye}/{file}", get(reading::reading_file))
        .route("/visits/{id}/package", get(handover::package))
        .route("/visits/{id}/record.pdf", get(paper::record))
        .route("/visits/{id}/send", post(sending::send))
        .route("/visits/{id}/sending", get(sending::visit_sending))
        .route("/sending", get(sending::sending))
        .route("/sending/{id}/again", post(sending::send_again))
        .route("/sending/{id}/withdraw", post(sending::withdraw))
        .route("/visits/{id}/facts", post(facts::add))
        .route("/visits/{id}/close", post(facts::close))
        .route("/visits/{id}/reopen", post(facts::reopen))
        .route("/visits/{id}/protocol", post(visit::set_protocol))
        .route("/visits/{id}/montage/{eye}", get(montage::montage).post(montage::make_montage))
        .route("/visits/{id}/montage/{eye}/picture", get(montage::montage_picture))
        .route("/visits/{id}/montage/{eye}/transfer", post(montage::transfer_points))
        .route("/visits/{id}/montage/{eye}/measure", post(montage::measure_montage))
        .route("/visits/{id}/montage/{eye}/growth", post(montage::growth))
        .route("/frames/{id}/move", post(moves::ask))
        .route("/frames/{id}/move/decide", post(moves::decide))
        .route("/frames/{id}/sent", post(moves::sent))
        .route("/frames/{id}/answer", post(moves::answer))
        .route("/orders", get(orders::orders).post(orders::typed))
        .route("/orders/table", post(orders::table))
        .route("/orders/{number}/beside/{other}", get(orders::beside))
        .route("/orders/{number}/merge", post(orders::merge))
        .route("/worklist", get(orders::worklist).post(orders::take_worklist))
        .route("/day/opening", get(round::opening))
        .route("/day/closing", get(round::closing))
        .route("/day/tick", post(round::tick))
        .route("/day/list", get(round::printed))
        .route("/chairs", get(round::chairs).post(round::set_chair))
        .route("/unassigned", get(unassigned::unassigned))
        .route("/files", post(intake::files))
        .route("/events", get(events::events))
        .route("/health", get(health))
        .route("/openapi.json", get(description))
        .fallback(unknown)
        .layer(DefaultBodyLimit::max(LARGEST_BODY))
        .layer(axum::middleware::from_fn(refusals::refusals));
    Router::new()
        .nest("/api/v1", api)
        .fallback(page::page)
        .layer(axum::middleware::from_fn(guard::guard))
        .with_state(station)
}

async fn unknown(uri: axum::http::Uri) -> error::ApiError {
    error::ApiError::not_found(uri.path(), "there is no such address in the API")
}

/// Whether the server is there.
#[utoipa::path(get, path = "/api/v1/health", responses((status = 200, body = types::Health)))]
async fn health(
    axum::extract::State(station): axum::extract::State<Station>,
) -> Result<Json<types::Health>, error::ApiError> {
    let counts = station.store().counts().await?;
    Ok(Json(types::Health {
        schema: "serrata.health/1",
        version: env!("CARGO_PKG_VERSION"),
        waiting: counts.waiting,
    }))
}

/// This description.
#[utoipa::path(get, path = "/api/v1/openapi.json", responses((status = 200, description = "OpenAPI 3.1")))]
async fn description() -> Json<utoipa::openapi::OpenApi> {
    Json(Description::openapi())
}
