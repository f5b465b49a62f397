//! Guards of every request: this server speaks to this machine's own browser only.

use super::error::ApiError;
use axum::extract::Request;
use axum::http::{HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

/// The page may load its own files only, and nobody may frame it.
const POLICY: &str = "default-src 'self'; img-src 'self' data: blob:; style-src 'self' 'unsafe-inline'; \
                      frame-ancestors 'none'; base-uri 'none'; form-action 'self'";

/// Refuses requests that came by another name (DNS rebinding) or from another page, and sets headers of safety.
pub async fn guard(request: Request, next: Next) -> Response {
    if let Some(e) = refusal(&request) {
        return e.into_response();
    }
    let mut response = next.run(request).await;
    let headers = response.headers_mut();
    headers.insert(header::CONTENT_SECURITY_POLICY, HeaderValue::from_static(POLICY));
    headers.insert(header::X_CONTENT_TYPE_OPTIONS, HeaderValue::from_static("nosniff"));
    headers.insert(header::REFERRER_POLICY, HeaderValue::from_static("no-referrer"));
    headers.entry(header::CACHE_CONTROL).or_insert(HeaderValue::from_static("no-store"));
    response
}

/// Why a request is refused, if it is.
fn refusal(request: &Request) -> Option<ApiError> {
    let text = |name: header::HeaderName| request.headers().get(name).and_then(|v| v.to_str().ok());
    let host = text(header::HOST);
    let changes = !matches!(*request.method(), Method::GET | Method::HEAD);
    let message = if !host.is_some_and(is_this_machine) {
        "the request names another machine"
    } else if changes && text(header::ORIGIN).is_some_and(|o| o.strip_prefix("http://") != host) {
        "the request comes from another page"
    } else {
        return None;
    };
    Some(ApiError::new(
        StatusCode::FORBIDDEN,
        request.uri().path(),
        "forbidden",
        message,
        "Open the page at the address that the server printed",
    ))
}

/// Whether a Host header means the loopback, with any port.
fn is_this_machine(host: &str) -> bool {
    let name = match host.rsplit_once(':') {
        Some((name, port)) if port.bytes().all(|b| b.is_ascii_digit()) => name,
        _ => host,
    };
    let name = name.trim_start_matches('[').trim_end_matches(']');
    name.eq_ignore_ascii_case("localhost") || name.parse::<std::net::IpAddr>().is_ok_and(|a| a.is_loopback())
}

#[cfg(test)]
mod tests {
    use super::is_this_machine;

    #[test]
    fn only_the_loopback_is_this_machine() {
        for yes in ["127.0.0.1:8080", "localhost", "LOCALHOST:1", "[::1]:80", "127.8.9.1"] {
            assert!(is_this_machine(yes), "{yes}");
        }
        for no in ["evil.example", "evil.example:80", "10.0.0.1", "127.0.0.1.evil.example", ""] {
            assert!(!is_this_machine(no), "{no}");
        }
    }
}
