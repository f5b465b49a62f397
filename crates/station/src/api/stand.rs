//! How a visit stands: its frames judged, its facts replayed, and what is due at this moment.

use super::brief::{Judged, of_visit, views_of};
use super::error::ApiError;
use super::visit::{closures, placed};
use crate::Station;
use crate::footprints::footprint;
use serrata_eye::GAZE_DEG;
use serrata_store::Visit;
use serrata_visit::{
    Candidate, ClockTie, Dye, Joint, Piece, Scene, Status, ViewState, ViewStatus, VisitFacts, clock_tie,
    joint, status_at, view_region,
};
use serrata_words::{Event, Modality, OrderState, PersonState, Stamp, View};
use std::collections::BTreeMap;

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
    /// The person's state today, else as it was carried from the last visit.
    pub person: PersonState,
    /// The best frame of each eye, kind and gaze at the last visit.
    pub last: Vec<Judged>,
    /// Its injections as clocks: what a person marked, else what the frames' headers say.
    pub dyes: Vec<Dye>,
    /// How the clocks of its instruments are tied to the station's.
    pub ties: Vec<(String, ClockTie)>,
    /// When it was looked at, microseconds since 1970 UTC.
    pub now_us: i64,
}

/// Looks at a visit as it is now. Frames in quarantine count for nothing.
///
/// # Errors
/// Where the store fails.
pub async fn stand(station: &Station, visit: &Visit) -> Result<Stand, ApiError> {
    let (known, judged) = of_visit(station, visit).await?;
    let events = station.store().facts(visit.id).await?;
    let facts = VisitFacts::replay(&events);
    let views = views(visit, &facts);
    let ties = ties(&judged);
    let ours = |s: &Stamp| ours(&ties, s);
    let candidates: Vec<_> = judged
        .iter()
        .filter(|j| !j.kept.quarantined)
        .map(|j| Candidate { taken_us: j.kept.facts.acquired.as_ref().map(ours), ..j.candidate() })
        .collect();
    let mut closed = closures(station.store().closed_views(visit.id).await?);
    closed.extend(
        facts
            .closures
            .iter()
            .filter(|c| !closed.iter().any(|k| k.view == c.view))
            .cloned()
            .collect::<Vec<_>>(),
    );
    let headers: Vec<(Modality, Stamp)> = judged
        .iter()
        .filter(|j| !j.kept.quarantined && j.kept.set_aside.is_none())
        .filter_map(|j| Some((j.view.modality, j.kept.facts.contrast_start.clone()?)))
        .map(|(m, s)| (m, Stamp { utc_us: ours(&s), ..s }))
        .collect();
    let dyes = facts.dyes_with(&headers);
    let now_us = jiff::Timestamp::now().as_microsecond();
    let scene = Scene {
        now_us: Some(now_us),
        dyes: &dyes,
        unwell: facts.unwell,
        unwell_us: &facts.unwell_us,
        ..Scene::default()
    };
    let mut status = status_at(&views, &candidates, &closed, &scene);
    let joint = together(station, &status, &judged).await;
    if !joint.is_empty() {
        status = status_at(&views, &candidates, &closed, &Scene { joint: &joint, ..scene });
    }
    Ok(Stand {
        judged,
        events,
        facts,
        status,
        views,
        person: known.person,
        last: known.last,
        dyes,
        ties,
        now_us,
    })
}

impl Stand {
    /// A time by the station's clock, microseconds since 1970.
    #[must_use]
    pub fn ours(&self, said: &Stamp) -> i64 {
        ours(&self.ties, said)
    }
}

fn ours(ties: &[(String, ClockTie)], said: &Stamp) -> i64 {
    let tie = ties.iter().find(|(name, _)| *name == said.clock);
    said.utc_us.saturating_add(tie.map_or(0, |(_, t)| t.offset_us))
}

/// The clocks that the frames of a visit were dated by, tied to ours by when those frames came.
fn ties(judged: &[Judged]) -> Vec<(String, ClockTie)> {
    let mut clocks: BTreeMap<&str, Vec<(&Stamp, i64)>> = BTreeMap::new();
    for j in judged {
        if let Some(taken) = &j.kept.facts.acquired {
            clocks.entry(&taken.clock).or_default().push((taken, j.kept.received_us));
        }
    }
    let tie = |frames: &[(&Stamp, i64)]| {
        let granularity = frames.iter().map(|(taken, _)| taken.granularity_us).max().unwrap_or(0);
        let times: Vec<(i64, i64)> = frames.iter().map(|(taken, came)| (taken.utc_us, *came)).collect();
        clock_tie(&times, granularity)
    };
    clocks.iter().filter_map(|(name, frames)| Some(((*name).to_owned(), tie(frames)?))).collect()
}

/// Views that frames show together where none shows them alone.
async fn together(station: &Station, status: &Status, judged: &[Judged]) -> Vec<Joint> {
    let mut all = Vec::new();
    let alone = |v: &&ViewStatus| v.view.jointly && v.state != ViewState::Met && v.frames.len() > 1;
    for v in status.views.iter().filter(alone) {
        let rules = station.rules();
        let mut made = Vec::new();
        for j in judged.iter().filter(|j| v.frames.contains(&j.kept.id.0)) {
            let Some((frame, judgement)) = placed(station, j).zip(j.judgement.as_ref()) else { continue };
            if let Some((footprint, lie)) = footprint(station, &frame).await {
                made.push((j.kept.id.0, footprint, lie.field_deg, judgement));
            }
        }
        let Some(field) = made.iter().map(|m| m.2).reduce(f64::max) else { continue };
        let region = view_region(v.view.gaze, rules.look.wanted_deg.min(field), GAZE_DEG);
        let pieces: Vec<Piece<'_>> = made
            .iter()
            .map(|(id, footprint, _, judgement)| Piece { id: *id, footprint, judgement })
            .collect();
        all.extend(joint(&v.view, &region, &pieces, rules));
    }
    all
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
