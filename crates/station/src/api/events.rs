//! Live events: rows with ids that only grow, so that a browser resumes where it was.

use super::error::ApiError;
use super::types::Event;
use crate::Station;
use axum::extract::State;
use axum::http::HeaderMap;
use axum::response::sse::{self, KeepAlive, Sse};
use serrata_store::{EventId, EventKind};
use std::collections::VecDeque;
use std::convert::Infallible;
use std::time::Duration;
use tokio_stream::Stream;

/// Most events read at once.
const BATCH: u32 = 200;

/// How long to wait at most before the store is asked again.
const ASK: Duration = Duration::from_secs(10);

/// Events after the one that the browser saw last (`Last-Event-ID`), or from now on.
#[utoipa::path(get, path = "/api/v1/events",
    responses((status = 200, description = "events of kind `change` with an Event as data", content_type = "text/event-stream")))]
pub async fn events(
    State(station): State<Station>,
    headers: HeaderMap,
) -> Result<Sse<impl Stream<Item = Result<sse::Event, Infallible>>>, ApiError> {
    let seen = headers.get("last-event-id").and_then(|v| v.to_str().ok()).and_then(|v| v.parse::<i64>().ok());
    let after = match seen {
        Some(id) => id,
        None => station.store().last_event_id().await?.0,
    };
    let changes = station.store().changes();
    let start = (station, changes, after, VecDeque::new());
    let stream =
        futures_util::stream::unfold(start, |(station, mut changes, mut after, mut queue)| async move {
            loop {
                if let Some(event) = queue.pop_front() {
                    return Some((Ok(event), (station, changes, after, queue)));
                }
                match station.store().events_since(EventId(after), BATCH).await {
                    Ok(found) if !found.is_empty() => {
                        for e in found {
                            after = e.id.0;
                            queue.extend(told(&e));
                        }
                        continue;
                    }
                    Ok(_) => {}
                    Err(e) => tracing::warn!(error = %e, "events cannot be read"),
                }
                // Either way the store is asked again; an error of the watch means that it is closing.
                if let Ok(Err(_)) = tokio::time::timeout(ASK, changes.changed()).await {
                    return None;
                }
            }
        });
    Ok(Sse::new(stream).keep_alive(KeepAlive::new().interval(Duration::from_secs(15))))
}

fn told(e: &serrata_store::Event) -> Option<sse::Event> {
    let data = Event {
        id: e.id.0,
        kind: match e.kind {
            EventKind::Frame => "frame",
            EventKind::Visit => "visit",
            EventKind::Intake => "intake",
        }
        .to_owned(),
        visit_id: e.visit_id.map(|v| v.0),
        frame_id: e.frame_id.map(|f| f.0),
    };
    sse::Event::default().id(e.id.0.to_string()).event("change").json_data(data).ok()
}
