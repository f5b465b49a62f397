//! Refusals by the web server itself (a body that is no JSON, a number that is none, a verb that an address does not know) in the same
//! contract as all other errors; and their place in the API's description.

use super::error::ApiError;
use axum::extract::Request;
use axum::http::{StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use utoipa::openapi::response::ResponseBuilder;
use utoipa::openapi::{Content, Ref};

/// Longest text of the server that is read, bytes.
const LONGEST: usize = 16 * 1024;

/// Puts refusals that are bare text, or nothing, into `serrata.error/1`.
pub async fn refusals(request: Request, next: Next) -> Response {
    let path = request.uri().path().to_owned();
    let response = next.run(request).await;
    let status = response.status();
    let kind = response.headers().get(header::CONTENT_TYPE).and_then(|v| v.to_str().ok()).unwrap_or_default();
    if !(status.is_client_error() || status.is_server_error())
        || !(kind.is_empty() || kind.starts_with("text/"))
    {
        return response;
    }
    let allow = response.headers().get(header::ALLOW).cloned();
    let said = axum::body::to_bytes(response.into_body(), LONGEST).await.unwrap_or_default();
    let said = String::from_utf8_lossy(&said).trim().to_owned();
    let (code, usual, remedy) = match status {
        StatusCode::METHOD_NOT_ALLOWED => (
            "bad_method",
            "this address does not take that method",
            "Use a method that the API's description names",
        ),
        StatusCode::PAYLOAD_TOO_LARGE => {
            ("too_large", "the request is too large", "Send fewer or smaller files at a time")
        }
        s if s.is_server_error() => {
            ("failed", "the server failed", "Try again; if it stays, look at its log and restart it")
        }
        _ => ("bad_request", "the request is not understood", "Send what the API's description names"),
    };
    let message = if said.is_empty() { usual.to_owned() } else { said };
    let mut answer = ApiError::new(status, path, code, message, remedy).into_response();
    if let Some(allow) = allow {
        answer.headers_mut().insert(header::ALLOW, allow);
    }
    answer
}

/// Every operation may be refused: what its own list does not name is an error of one form.
pub struct Refused;

impl utoipa::Modify for Refused {
    fn modify(&self, openapi: &mut utoipa::openapi::OpenApi) {
        for item in openapi.paths.paths.values_mut() {
            let all = [&mut item.get, &mut item.post, &mut item.put, &mut item.delete, &mut item.patch];
            for operation in all.into_iter().flatten() {
                let error = Content::new(Some(Ref::from_schema_name("Error")));
                let answer =
                    ResponseBuilder::new().description("why not").content("application/json", error).build();
                operation.responses.responses.entry("default".to_owned()).or_insert_with(|| answer.into());
            }
        }
    }
}
