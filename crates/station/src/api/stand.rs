//! How a visit stands: its frames judged, its facts replayed, and what is due at this moment.

use super::brief::{Judged, of_visit, views_of};
use super::error::ApiError;
use super::visit::closures;
use crate::Station;
use serrata_store::Visit;
use serrata_visit::{Scene, Status, VisitFacts, status_at};
use serrata_words::{Event, OrderState, View};

/// A visit looked at now.
pub struct Stand {
    /// Its frames in the order in which they were taken.
    pub judged: Vec<Judged>,
    /// Its facts as they were kept.
    pub events: Vec<Event>,
    /// Its facts replayed.
    pub facts: VisitFacts,
    /// What is met and due.
    pub status: Status,
    /// Its views.
    pub views: Vec<View>,
}

/// Looks at a visit as it is now. Frames in quarantine count for nothing.
///
/// # Errors
/// Where the store fails.
pub async fn stand(station: &Station, visit: &Visit) -> Result<Stand, ApiError> {
    let (_, judged) = of_visit(station, visit).await?;
    let events = station.store().facts(visit.id).await?;
    let facts = VisitFacts::replay(&events);
    let views = views(visit, &facts);
    let candidates: Vec<_> = judged.iter().filter(|j| !j.kept.quarantined).map(Judged::candidate).collect();
    let mut closed = closures(station.store().closed_views(visit.id).await?);
    closed.extend(
        facts
            .closures
            .iter()
            .filter(|c| !closed.iter().any(|k| k.view == c.view))
            .cloned()
            .collect::<Vec<_>>(),
    );
    let dyes = facts.dyes();
    let scene = Scene {
        now_us: Some(jiff::Timestamp::now().as_microsecond()),
        dyes: &dyes,
        unwell: facts.unwell,
        ..Scene::default()
    };
    let status = status_at(&views, &candidates, &closed, &scene);
    Ok(Stand { judged, events, facts, status, views })
}

/// The views of a visit: those of its orders that stand. A cancelled order asks for nothing.
fn views(visit: &Visit, facts: &VisitFacts) -> Vec<View> {
    let standing = |o: &serrata_words::Order| o.state == OrderState::Open;
    if !facts.orders.is_empty() && !facts.orders.iter().any(|(o, _)| standing(o)) {
        return Vec::new();
    }
    if facts.orders.iter().any(|(o, v)| standing(o) && !v.is_empty()) {
        facts.views()
    } else {
        views_of(visit)
    }
}
