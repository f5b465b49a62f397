//! Errors of the API: one sentence with a remedy, in the same contract as on the command line.

use axum::Json;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use serrata_words::ErrorLine;

/// A failed request.
#[derive(Debug)]
pub struct ApiError {
    status: StatusCode,
    line: Box<ErrorLine>,
}

impl ApiError {
    /// Something that is not there.
    pub fn not_found(path: impl Into<String>, what: &str) -> Self {
        Self::new(StatusCode::NOT_FOUND, path, "not_found", what, "Go back to the day and open it from there")
    }

    /// A request that makes no sense.
    pub fn bad(path: impl Into<String>, message: impl Into<String>, remedy: &str) -> Self {
        Self::new(StatusCode::BAD_REQUEST, path, "bad_request", message, remedy)
    }

    /// What it says to people, one sentence.
    pub fn message(&self) -> &str {
        &self.line.message
    }

    /// Any other failure.
    pub fn new(
        status: StatusCode,
        path: impl Into<String>,
        code: &str,
        message: impl Into<String>,
        remedy: &str,
    ) -> Self {
        Self { status, line: Box::new(ErrorLine::new(path, code, message, remedy)) }
    }
}

impl From<serrata_store::StoreError> for ApiError {
    fn from(e: serrata_store::StoreError) -> Self {
        use serrata_store::StoreError as E;
        let (status, message, remedy) = match &e {
            E::NoVisit(_) | E::NoFrame(_) => {
                (StatusCode::NOT_FOUND, "it is not there any more".to_owned(), "Reload the page".to_owned())
            }
            E::Refused { message, remedy } => (StatusCode::BAD_REQUEST, message.clone(), remedy.clone()),
            _ => {
                tracing::error!(error = %e, "the store failed");
                let remedy = "Try again; if it stays, look at the disk and restart the server".to_owned();
                (StatusCode::INTERNAL_SERVER_ERROR, e.to_string(), remedy)
            }
        };
        Self::new(status, "store", e.code(), message, &remedy)
    }
}

impl IntoResponse for ApiError {
    fn into_response(self) -> Response {
        (self.status, Json(*self.line)).into_response()
    }
}
