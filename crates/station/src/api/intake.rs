//! Pictures that are dropped on the page.

use super::error::ApiError;
use super::types::Received;
use crate::Station;
use axum::Json;
use axum::body::Bytes;
use axum::extract::{Query, State};
use serde::Deserialize;
use serrata_store::Source;

/// What the page says of a picture.
#[derive(Debug, Deserialize)]
pub struct Named {
    name: String,
}

/// Takes one picture: the body is the file.
#[utoipa::path(post, path = "/api/v1/files", params(("name" = String, Query)),
    request_body(content = Vec<u8>, content_type = "application/octet-stream"),
    responses((status = 200, body = Received), (status = 400, body = super::types::Error)))]
pub async fn files(
    State(station): State<Station>,
    Query(named): Query<Named>,
    body: Bytes,
) -> Result<Json<Received>, ApiError> {
    let name = named.name.rsplit(['/', '\\']).next().unwrap_or_default().trim().to_owned();
    if name.is_empty() {
        return Err(ApiError::bad("files", "the picture has no name", "Send it with ?name="));
    }
    let taken = crate::intake::take(&station, &name, Source::Upload, body.into()).await?;
    Ok(Json(Received { frames: taken.frame_ids.iter().map(|f| f.0).collect(), duplicate: taken.duplicate }))
}
