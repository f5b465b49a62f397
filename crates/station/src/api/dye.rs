//! The dye run as it is at this moment: its clocks are computed from stored times, so a restart changes nothing.

use super::error::ApiError;
use super::facts::visit_of;
use super::stand::stand;
use super::unassigned::identity_of;
use crate::Station;
use axum::Json;
use axum::extract::{Path, State};
use serde::Serialize;
use serrata_visit::{needle_open, run_now, short_identity};
use serrata_words::Drug;
use utoipa::ToSchema;

/// A dye run at a moment.
#[derive(Debug, Serialize, ToSchema)]
pub struct DyeRun {
    /// Always `serrata.dye_run/1`.
    pub schema: &'static str,
    /// The visit.
    pub visit_id: i64,
    /// Who it is, shortly.
    pub who: String,
    /// The station's clock, microseconds since 1970 UTC.
    pub now_utc_us: i64,
    /// What to do, one sentence.
    pub sentence: String,
    /// What is worth a tone; the same word while the same frame is due, so that it sounds once. Null: nothing is.
    pub tone: Option<String>,
    /// Whether the patient is unwell: nothing is asked, nothing sounds.
    pub unwell: bool,
    /// Whether the run was stopped by hand.
    pub stopped: bool,
    /// `in_turn`, `fa` or `icg`: whose frames are asked for.
    pub mode: String,
    /// One clock an injection.
    pub clocks: Vec<DyeClock>,
    /// Frames with a time, those that are asked for first.
    pub frames: Vec<DyeDue>,
    /// What the record of the needle still lacks, one sentence each.
    pub record_open: Vec<String>,
    /// The records of the needle as they stand, oldest first: objects with the keys of the `injection` that `injected` takes.
    #[schema(value_type = Vec<Object>)]
    pub records: Vec<serrata_words::Injection>,
    /// How the instruments' clocks are tied to the station's.
    pub instrument_clocks: Vec<InstrumentClock>,
}

/// The clock of one injection.
#[derive(Debug, Serialize, ToSchema)]
pub struct DyeClock {
    /// `fa` or `icg`.
    pub modality: String,
    /// Start of the injection, microseconds since 1970 UTC.
    pub start_utc_us: i64,
    /// Within what the start may be wrong, seconds.
    pub start_error_s: f64,
    /// Seconds since then.
    pub elapsed_s: f64,
    /// By mouth: the windows of the needle do not hold.
    pub by_mouth: bool,
    /// Whether a later injection of the same dye took its place.
    pub superseded: bool,
    /// `person` where a person marked it, `header` where the frames' headers say so.
    pub marked_by: &'static str,
    /// How long the injection took, seconds, where its end was marked.
    pub took_s: Option<f64>,
}

/// A frame of the run.
#[derive(Debug, Serialize, ToSchema)]
pub struct DyeDue {
    /// Name of its view.
    pub view: String,
    /// The view as people say it.
    pub what: String,
    /// `R`, `L` or null.
    pub eye: Option<String>,
    /// `fa` or `icg`.
    pub modality: String,
    /// Whether it is required.
    pub required: bool,
    /// `now`, `soon`, `later`, `missed`, `done`, `closed`, `silent`.
    pub state: String,
    /// From when, microseconds since 1970 UTC.
    pub from_utc_us: Option<i64>,
    /// Until when.
    pub to_utc_us: Option<i64>,
    /// How many frames count for it.
    pub taken: usize,
    /// Why it is there only with reservations, such as its true minute.
    pub why: Vec<String>,
}

/// How an instrument's clock is tied to the station's, by when its frames arrive.
#[derive(Debug, Serialize, ToSchema)]
pub struct InstrumentClock {
    /// The instrument, as its frames name it.
    pub name: String,
    /// What was added to its times, seconds; 0 where nothing speaks against two clocks that agree.
    pub offset_s: f64,
    /// Within what that may be wrong, seconds.
    pub error_s: f64,
}

/// Clocks, frames due now, soon, missed, and one sentence.
#[utoipa::path(get, path = "/api/v1/visits/{id}/dye", params(("id" = i64, Path)),
    responses((status = 200, body = DyeRun), (status = 404, body = super::types::Error)))]
pub async fn dye_run(State(station): State<Station>, Path(id): Path<i64>) -> Result<Json<DyeRun>, ApiError> {
    let visit = visit_of(&station, id).await?;
    let s = stand(&station, &visit).await?;
    let now = s.now_us;
    let run = run_now(&s.status, &s.dyes, s.facts.run_mode, s.facts.run_stopped, s.facts.unwell, now);
    let marked = s.facts.injections.len();
    #[allow(clippy::cast_precision_loss)] // microseconds of some hours
    let seconds = |us: i64| us as f64 / 1e6;
    let clocks = run.clocks.iter().enumerate().map(|(k, c)| DyeClock {
        modality: c.dye.modality.word().to_owned(),
        start_utc_us: c.dye.start_us,
        start_error_s: seconds(c.dye.error_us),
        elapsed_s: seconds(c.elapsed_us),
        by_mouth: c.dye.by_mouth,
        superseded: c.superseded,
        marked_by: if k < marked { "person" } else { "header" },
        took_s: s.facts.injections.get(k).and_then(|i| i.seconds),
    });
    let frames = run.frames.iter().map(|f| DyeDue {
        view: f.view.clone(),
        what: f.what.clone(),
        eye: f.eye.map(|e| e.word().to_owned()),
        modality: f.modality.word().to_owned(),
        required: f.required,
        state: f.state.word().to_owned(),
        from_utc_us: f.from_us,
        to_utc_us: f.to_us,
        taken: f.taken,
        why: f.why.clone(),
    });
    let clocks: Vec<DyeClock> = clocks.collect();
    let frames: Vec<DyeDue> = frames.collect();
    Ok(Json(DyeRun {
        schema: "serrata.dye_run/1",
        visit_id: id,
        who: short_identity(&identity_of(&visit.person)),
        now_utc_us: now,
        sentence: run.sentence,
        tone: run.tone,
        unwell: s.facts.unwell,
        stopped: s.facts.run_stopped,
        mode: s.facts.run_mode.word().to_owned(),
        clocks,
        frames,
        record_open: record_open(&s.facts, &s.person),
        records: s.facts.injections.clone(),
        instrument_clocks: s
            .ties
            .iter()
            .map(|(name, t)| InstrumentClock {
                name: name.clone(),
                offset_s: seconds(t.offset_us),
                error_s: seconds(t.error_us),
            })
            .collect(),
    }))
}

/// What the records of the needle still lack; the same sentence of two dyes once.
fn record_open(facts: &serrata_visit::VisitFacts, person: &serrata_words::PersonState) -> Vec<String> {
    let today = super::round::day();
    let mut said: Vec<String> = Vec::new();
    let mut given: Vec<(Drug, f64)> = Vec::new();
    for i in &facts.injections {
        let before = given.iter().filter(|(d, _)| *d == i.drug).map(|(_, mg)| mg).sum();
        for line in needle_open(i, before, person.child, None, &today) {
            if !said.contains(&line) {
                said.push(line);
            }
        }
        given.push((i.drug, i.mg.unwrap_or(0.0)));
    }
    said
}
