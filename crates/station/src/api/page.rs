//! The page, embedded in the binary.

use axum::http::{StatusCode, Uri, header};
use axum::response::{IntoResponse, Response};
use rust_embed::RustEmbed;

#[derive(RustEmbed)]
#[folder = "../../web/dist"]
struct Files;

/// A file of the page; any other address gets the page itself, which finds its own way.
pub async fn page(uri: Uri) -> Response {
    let path = uri.path().trim_start_matches('/');
    let found =
        Files::get(path).map(|f| (path, f)).or_else(|| Files::get("index.html").map(|f| ("index.html", f)));
    let Some((name, file)) = found else {
        return (StatusCode::NOT_FOUND, "the page was not built into this program; run `make build`")
            .into_response();
    };
    let kind = mime_guess::from_path(name).first_or_octet_stream().to_string();
    // Vite names its assets by their content.
    let keep = if name.starts_with("assets/") { "public, max-age=31536000, immutable" } else { "no-cache" };
    ([(header::CONTENT_TYPE, kind), (header::CACHE_CONTROL, keep.to_owned())], file.data).into_response()
}
