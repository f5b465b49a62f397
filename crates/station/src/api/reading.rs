//! A dye run read: times, phases, curves, regions proposed, and what people made of those.

use super::error::ApiError;
use super::facts::visit_of;
use super::orders::who;
use super::stand::{Stand, stand};
use super::types;
use crate::background::{READINGS, State as Work};
use crate::dye::reading::{Kept, RunFrame, Wanted, kept, read};
use crate::dye::{Stroke, brushed};
use crate::{Station, area, geometry};
use axum::Json;
use axum::extract::{Path, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use serde::{Deserialize, Serialize};
use serrata_eye::{EyeAxis, Radius};
use serrata_store::Visit;
use serrata_words::round::six_digits;
use serrata_words::{DyeLine, DyeRegion, Eye, Fact, JudgedRegion, Modality, Region, RegionDecision};
use utoipa::ToSchema;

/// A reading and where it stands.
#[derive(Debug, Serialize, ToSchema)]
pub struct Reading {
    /// Always `serrata.reading/1`.
    pub schema: &'static str,
    /// `none` (nobody asked for it), `making`, `made`, `failed`.
    pub state: String,
    /// Frames read so far, and how many there are.
    pub progress: Option<[usize; 2]>,
    /// Why it failed, and what to do.
    pub problem: Option<String>,
    /// Whether frames, clocks or the axial length changed since it was made.
    pub outdated: bool,
    /// How many frames would go into it now.
    pub frames_now: usize,
    /// The reading (`serrata.dye/1`); its frames are named by their ids.
    #[schema(value_type = Option<Object>)]
    pub reading: Option<DyeLine>,
    /// Width and height of the reference frame, pixels.
    pub size: Option<[u32; 2]>,
    /// Regions: as proposed, and what people made of them.
    pub regions: Vec<ReadRegion>,
}

/// A region, as proposed and as a person sees it.
#[derive(Debug, Serialize, ToSchema)]
pub struct ReadRegion {
    /// Its place among the proposals; null where a person drew it.
    pub index: Option<usize>,
    /// `late brightening` or `dark, unfilled`.
    pub what: String,
    /// `proposed`, `accepted`, `corrected`, `refused`, `drawn`.
    pub status: String,
    /// Who looked at it.
    pub who: Option<String>,
    /// When, microseconds since 1970 UTC.
    pub at_utc_us: Option<i64>,
    /// Outline as proposed, pixels of the reference frame.
    #[schema(value_type = Option<Object>)]
    pub proposed: Option<Region>,
    /// Outline that holds: the person's, else the proposal's; null where it was refused.
    #[schema(value_type = Option<Object>)]
    pub outline: Option<Region>,
    /// Area of that outline, mm².
    pub area_mm2: Option<f64>,
    /// Its 95 % interval.
    pub area_interval_mm2: Option<[f64; 2]>,
    /// Mean score of the proposal.
    pub score: Option<f64>,
    /// What else a person should know of it.
    pub note: Option<String>,
}

/// What a person makes of a region.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct JudgeRegion {
    /// Who: an account or initials. Nothing is accepted without a name.
    pub who: String,
    /// Why, in words.
    #[serde(default)]
    pub reason: Option<String>,
    /// `accepted`, `corrected`, `refused`, `drawn`, or `withdrawn`, which takes back what was made of it before.
    pub decision: String,
    /// Its place among the proposals; left out where it is drawn anew.
    #[serde(default)]
    pub index: Option<usize>,
    /// `late brightening` or `dark, unfilled`, where it is drawn anew.
    #[serde(default)]
    pub what: Option<String>,
    /// The outline by points, pixels of the reference frame.
    #[serde(default)]
    #[schema(value_type = Option<Object>)]
    pub outline: Option<Region>,
    /// Strokes of a brush over the proposal, or over `outline`.
    #[serde(default)]
    #[schema(value_type = Vec<Object>)]
    pub strokes: Vec<Stroke>,
}

/// What a request is about.
struct About {
    visit: Visit,
    stand: Stand,
    wanted: Wanted,
    radius: Radius,
}

async fn about(station: &Station, id: i64, eye: &str, dye: &str) -> Result<About, ApiError> {
    let eye: Eye =
        eye.parse().map_err(|_| ApiError::bad(eye, "an eye is R or L", "Write R or L in the address"))?;
    let modality = dye.parse::<Modality>().ok().filter(|m| m.is_dye()).ok_or_else(|| {
        ApiError::bad(dye, "a dye is fa or icg", "Write fa or icg at the end of the address")
    })?;
    let visit = visit_of(station, id).await?;
    let s = stand(station, &visit).await?;
    let start = s.dyes.iter().filter(|d| d.modality == modality).max_by_key(|d| d.start_us);
    let of_eye = |j: &&super::brief::Judged| {
        j.eye == Some(eye)
            && j.view.modality == modality
            && j.kept.set_aside.is_none()
            && !j.kept.quarantined
            && j.observation.is_some()
    };
    let axial = s
        .judged
        .iter()
        .filter(|j| j.eye == Some(eye))
        .find_map(|j| j.kept.facts.axial_length_mm.as_ref().map(|a| (a.0, &j.kept.facts)));
    let radius = match axial {
        Some((_, facts)) => geometry::radius(facts, &geometry::Given::default())
            .map_err(|e| ApiError::bad(format!("visit {id}"), e.to_string(), "Correct the axial length"))?,
        None => Radius::population(),
    };
    let frames = s.judged.iter().filter(of_eye).map(|j| {
        let taken = j.kept.facts.acquired.as_ref().map(|t| s.ours(t));
        #[allow(clippy::cast_precision_loss)] // microseconds of some hours
        let seconds = taken.zip(start).map(|(t, d)| t.saturating_sub(d.start_us) as f64 / 1e6);
        RunFrame {
            id: j.kept.id.0,
            original: (j.kept.sha256.clone(), j.kept.index as usize),
            seconds,
            instrument: station.instrument_of(j.kept.facts.instrument.as_deref()).cloned(),
        }
    });
    let wanted = Wanted {
        folder: station.background().folder(READINGS, &format!("{id}-{eye}-{modality}")),
        eye,
        modality,
        frames: frames.collect(),
        axial_length_mm: axial.map(|a| a.0),
    };
    Ok(About { visit, stand: s, wanted, radius })
}

fn told(station: &Station, about: &About) -> Reading {
    let made = kept(&about.wanted.folder);
    let mut out = Reading {
        schema: "serrata.reading/1",
        state: String::new(),
        progress: None,
        problem: None,
        outdated: false,
        frames_now: about.wanted.frames.len(),
        reading: None,
        size: None,
        regions: Vec::new(),
    };
    let state = match station.background().state(&about.wanted.folder, made.is_some()) {
        Work::None => "none",
        Work::Making { done, of } => {
            out.progress = Some([done, of]);
            "making"
        }
        Work::Failed(why) => {
            out.problem = Some(why);
            "failed"
        }
        Work::Made => "made",
    };
    state.clone_into(&mut out.state);
    if let Some(made) = made {
        out.outdated = about.wanted.key().is_ok_and(|k| k != made.key);
        out.regions = regions(station, about, &made);
        out.size = Some(made.size);
        out.reading = Some(made.line);
    }
    out
}

/// The word of a region without "proposed", which is its status.
fn word(what: &str) -> String {
    what.trim_end_matches(", proposed").to_owned()
}

fn outline_of(r: &DyeRegion) -> Region {
    Region { polygons: r.polygons.clone(), holes: r.holes.clone() }
}

/// Whether two outlines are one: numbers that were written and read again may differ in their last digit.
fn same(a: &Region, b: &Region) -> bool {
    let rings = |r: &Region| r.polygons.iter().chain(&r.holes).cloned().collect::<Vec<_>>();
    let (a, b) = (rings(a), rings(b));
    a.len() == b.len()
        && a.iter().zip(&b).all(|(a, b)| {
            a.len() == b.len()
                && a.iter().flatten().zip(b.iter().flatten()).all(|(a, b)| (a - b).abs() < 1e-6)
        })
}

/// Proposals with the last word of a person on each, then what people drew.
fn regions(station: &Station, about: &About, made: &Kept) -> Vec<ReadRegion> {
    let judged: Vec<_> = about
        .stand
        .facts
        .regions
        .iter()
        .filter(|(r, ..)| r.eye == about.wanted.eye && r.modality == about.wanted.modality)
        .collect();
    let mut out: Vec<ReadRegion> = Vec::new();
    for (index, r) in made.line.regions.iter().enumerate() {
        let proposed = outline_of(r);
        let last =
            judged.iter().rev().find(|(j, ..)| j.proposed.as_ref().is_some_and(|p| same(p, &proposed)));
        let mut one = ReadRegion {
            index: Some(index),
            what: word(&r.what),
            status: "proposed".to_owned(),
            who: None,
            at_utc_us: None,
            outline: Some(proposed.clone()),
            proposed: Some(proposed),
            area_mm2: r.area_mm2,
            area_interval_mm2: r.area_interval_mm2,
            score: Some(r.score),
            note: r.note.clone(),
        };
        if let Some((j, who, at)) = last.filter(|(j, ..)| j.decision != RegionDecision::Withdrawn) {
            one.status = j.decision.word().to_owned();
            (one.who, one.at_utc_us, one.outline) = (Some(who.clone()), Some(*at), j.outline.clone());
            if j.decision == RegionDecision::Corrected {
                (one.area_mm2, one.area_interval_mm2) = measured(station, about, made, j.outline.as_ref());
            }
        }
        out.push(one);
    }
    for (at_fact, (j, who, at)) in judged.iter().enumerate() {
        if j.decision != RegionDecision::Drawn || taken_back(&judged[at_fact..], j) {
            continue;
        }
        let (area_mm2, area_interval_mm2) = measured(station, about, made, j.outline.as_ref());
        out.push(ReadRegion {
            index: None,
            what: j.what.clone(),
            status: j.decision.word().to_owned(),
            who: Some(who.clone()),
            at_utc_us: Some(*at),
            proposed: None,
            outline: j.outline.clone(),
            area_mm2,
            area_interval_mm2,
            score: None,
            note: None,
        });
    }
    out
}

/// Whether a later word takes back what a person drew.
fn taken_back(later: &[&(JudgedRegion, String, i64)], drawn: &JudgedRegion) -> bool {
    later.iter().any(|(j, ..)| {
        j.decision == RegionDecision::Withdrawn
            && j.proposed.is_none()
            && j.outline.as_ref().zip(drawn.outline.as_ref()).is_some_and(|(a, b)| same(a, b))
    })
}

/// Area of an outline in the reference frame with its interval, where a projection is known.
fn measured(
    station: &Station,
    about: &About,
    made: &Kept,
    outline: Option<&Region>,
) -> (Option<f64>, Option<[f64; 2]>) {
    let found = || {
        let id: i64 = made.line.reference.as_ref()?.parse().ok()?;
        let j = about.stand.judged.iter().find(|j| j.kept.id.0 == id)?;
        let instrument = station.instrument_of(j.kept.facts.instrument.as_deref());
        let picture = area::projection(&j.kept.facts, instrument, made.size[0], made.size[1])?;
        let axis = EyeAxis::of(j.view.gaze, Some(about.wanted.eye));
        area::area_of(outline?, &picture, about.radius, axis).ok()
    };
    let m = found();
    (m.as_ref().map(|m| six_digits(m.value)), m.map(|m| m.interval.map(six_digits)))
}

/// Where the reading of an eye's dye run stands, and what it says.
#[utoipa::path(get, path = "/api/v1/visits/{id}/reading/{eye}/{dye}",
    params(("id" = i64, Path), ("eye" = String, Path), ("dye" = String, Path)),
    responses((status = 200, body = Reading), (status = 404, body = types::Error)))]
pub async fn reading(
    State(station): State<Station>,
    Path((id, eye, dye)): Path<(i64, String, String)>,
) -> Result<Json<Reading>, ApiError> {
    let about = about(&station, id, &eye, &dye).await?;
    Ok(Json(told(&station, &about)))
}

/// Reads an eye's dye run anew, in the background.
#[utoipa::path(post, path = "/api/v1/visits/{id}/reading/{eye}/{dye}",
    params(("id" = i64, Path), ("eye" = String, Path), ("dye" = String, Path)),
    responses((status = 200, body = Reading), (status = 400, body = types::Error)))]
pub async fn read_run(
    State(station): State<Station>,
    Path((id, eye, dye)): Path<(i64, String, String)>,
) -> Result<Json<Reading>, ApiError> {
    let about = about(&station, id, &eye, &dye).await?;
    if about.wanted.frames.is_empty() {
        return Err(ApiError::bad(
            format!("visit {id}"),
            format!("there is no frame of this dye of the {} yet", about.wanted.eye.screen()),
            "Take frames of the run first",
        ));
    }
    let (at, wanted) = (station.clone(), about.wanted.clone());
    let runtime = tokio::runtime::Handle::current();
    if let Some(task) = station.background().begin(&wanted.folder, wanted.frames.len()) {
        std::thread::spawn(move || {
            let original =
                |sha: &str| runtime.block_on(at.store().read_original(sha)).map_err(|e| e.to_string());
            at.background().run(&wanted.folder, task, |hooks| read(&wanted, original, hooks));
        });
    }
    Ok(Json(told(&station, &about)))
}

/// Curves of a reading as CSV, or the pictures of its phases as PNG: side by side, stretched alike.
#[utoipa::path(get, path = "/api/v1/visits/{id}/reading/{eye}/{dye}/{file}",
    params(("id" = i64, Path), ("eye" = String, Path), ("dye" = String, Path),
        ("file" = String, Path, description = "`curves.csv` or `phases.png`")),
    responses((status = 200, description = "the file"), (status = 404, body = types::Error)))]
pub async fn reading_file(
    State(station): State<Station>,
    Path((id, eye, dye, file)): Path<(i64, String, String, String)>,
) -> Result<Response, ApiError> {
    let about = about(&station, id, &eye, &dye).await?;
    let (name, kind) = match file.as_str() {
        "curves.csv" => ("curves.csv".to_owned(), "text/csv; charset=utf-8"),
        "phases.png" => (format!("phases-{}.png", about.wanted.modality), "image/png"),
        _ => return Err(ApiError::not_found(file, "a reading has curves.csv and phases.png")),
    };
    let bytes = tokio::fs::read(about.wanted.folder.join(name))
        .await
        .map_err(|_| ApiError::not_found(format!("visit {}", about.visit.id), "its run has not been read"))?;
    Ok(([(header::CONTENT_TYPE, kind), (header::CACHE_CONTROL, "no-store")], bytes).into_response())
}

/// Keeps what a person makes of a region: both outlines stay.
#[utoipa::path(post, path = "/api/v1/visits/{id}/reading/{eye}/{dye}/regions",
    params(("id" = i64, Path), ("eye" = String, Path), ("dye" = String, Path)), request_body = JudgeRegion,
    responses((status = 200, body = Reading), (status = 400, body = types::Error), (status = 404, body = types::Error)))]
pub async fn judge_region(
    State(station): State<Station>,
    Path((id, eye, dye)): Path<(i64, String, String)>,
    Json(body): Json<JudgeRegion>,
) -> Result<Json<Reading>, ApiError> {
    let by = who(&body.who)?;
    let before = about(&station, id, &eye, &dye).await?;
    let made = kept(&before.wanted.folder)
        .ok_or_else(|| ApiError::not_found(format!("visit {id}"), "its run has not been read"))?;
    let now = regions(&station, &before, &made);
    let region = judged(&body, &before, &made, &now)?;
    let reason = body.reason.map(|r| r.trim().to_owned()).filter(|r| !r.is_empty());
    let fact = Fact::RegionJudged { region: Box::new(region) };
    station.store().add_fact(before.visit.id, fact, reason, &by).await?;
    let after = about(&station, id, &eye, &dye).await?;
    Ok(Json(told(&station, &after)))
}

fn judged(
    body: &JudgeRegion,
    about: &About,
    made: &Kept,
    now: &[ReadRegion],
) -> Result<JudgedRegion, ApiError> {
    let bad = |what: &str, remedy: &str| ApiError::bad("region", what, remedy);
    let decision: RegionDecision = body
        .decision
        .parse()
        .map_err(|_| bad("no such decision", "Write accepted, corrected, refused, drawn or withdrawn"))?;
    let proposal = match (decision, body.index) {
        (RegionDecision::Drawn, _) | (RegionDecision::Withdrawn, None) => None,
        (_, Some(i)) => Some(
            made.line
                .regions
                .get(i)
                .ok_or_else(|| bad("there is no such proposal", "Name one of the reading"))?,
        ),
        (_, None) => return Err(bad("no proposal is named", "Give its index, or draw it anew")),
    };
    let proposed = proposal.map(outline_of);
    let start = body.outline.clone().or_else(|| proposed.clone()).unwrap_or_default();
    let rings = start.polygons.iter().chain(&start.holes);
    for ring in rings {
        serrata_eye::check_points(ring, made.size[0], made.size[1])
            .and_then(|()| serrata_eye::check_ring(ring))
            .map_err(|e| {
                bad(&format!("the outline cannot be used: {e}"), "Draw it again within the picture")
            })?;
    }
    let wild = |s: &Stroke| {
        !(s.radius > 0.0 && s.radius <= f64::from(made.size[0].max(made.size[1])))
            || s.points.iter().flatten().any(|v| !v.is_finite())
    };
    if body.strokes.iter().any(wild) {
        return Err(bad("a stroke has no radius or leaves the numbers", "Paint it again"));
    }
    let drawn = if body.strokes.is_empty() { start } else { brushed(&start, &body.strokes, made.size) };
    let outline = match decision {
        RegionDecision::Refused => None,
        RegionDecision::Accepted => proposed.clone(),
        RegionDecision::Withdrawn if proposal.is_some() => None,
        RegionDecision::Withdrawn => {
            let known =
                |r: &ReadRegion| r.index.is_none() && r.outline.as_ref().is_some_and(|o| same(o, &drawn));
            if !now.iter().any(known) {
                return Err(bad("nobody drew such an outline", "Give the outline of one that was drawn"));
            }
            Some(drawn)
        }
        RegionDecision::Corrected | RegionDecision::Drawn => {
            if drawn.polygons.is_empty() {
                return Err(bad("nothing is left of the outline", "Refuse it, or draw it again"));
            }
            Some(drawn)
        }
    };
    let what = match proposal {
        Some(p) => word(&p.what),
        None if decision == RegionDecision::Withdrawn => now
            .iter()
            .find(|r| {
                r.index.is_none() && r.outline.as_ref().zip(outline.as_ref()).is_some_and(|(a, b)| same(a, b))
            })
            .map(|r| r.what.clone())
            .unwrap_or_default(),
        None => body
            .what
            .as_deref()
            .filter(|w| ["late brightening", "dark, unfilled"].contains(w))
            .ok_or_else(|| bad("it is not said what it is", "Write late brightening, or dark, unfilled"))?
            .to_owned(),
    };
    let frame = made.line.reference.as_ref().and_then(|r| r.parse().ok());
    Ok(JudgedRegion {
        eye: about.wanted.eye,
        modality: about.wanted.modality,
        frame: frame.ok_or_else(|| bad("the reading names no reference", "Read the run again"))?,
        what,
        decision,
        method: proposal.map(|_| format!("{} {}", made.line.method.name, made.line.method.revision)),
        proposed,
        outline,
    })
}

/// The readings of a visit that stand, for its hand-over: name such as `R-fa`, file, bytes. What people made of the regions is beside
/// what was proposed.
pub(super) async fn kept_readings(
    station: &Station,
    id: i64,
) -> Result<Vec<(String, String, Vec<u8>)>, ApiError> {
    let mut out = Vec::new();
    for eye in [Eye::R, Eye::L] {
        for dye in [Modality::Fa, Modality::Icg] {
            let about = about(station, id, eye.word(), dye.word()).await?;
            if kept(&about.wanted.folder).is_none() {
                continue;
            }
            let name = format!("{eye}-{dye}");
            for (file, bytes) in super::handover::files_of(&about.wanted.folder) {
                out.push((name.clone(), file, bytes));
            }
            let told = told(station, &about);
            let regions = serde_json::json!({
                "schema": "serrata.dye_regions/1", "outdated": told.outdated, "reference_pixels": told.size,
                "regions": told.regions,
            });
            out.push((name, "regions.json".to_owned(), regions.to_string().into_bytes()));
        }
    }
    Ok(out)
}

/// A run that was read and whose frames and clocks are still those that it was read from.
pub(super) struct ReadRun {
    /// Whose.
    pub eye: Eye,
    /// What was read.
    pub line: DyeLine,
    /// Radius that areas stand on, mm.
    pub radius_mm: f64,
    /// Where that is from, in a word.
    pub radius_source: String,
    regions: Vec<ReadRegion>,
}

impl ReadRun {
    /// The regions that a named person accepted, corrected or drew: each with who, and the outline that holds.
    pub fn decided(&self) -> impl Iterator<Item = (&ReadRegion, &str, &Region)> {
        self.regions.iter().filter_map(|r| Some((r, r.who.as_deref()?, r.outline.as_ref()?)))
    }
}

/// The runs of a visit that were read, without those that something changed under since.
pub(super) async fn read_runs(station: &Station, id: i64) -> Result<Vec<ReadRun>, ApiError> {
    let mut out = Vec::new();
    for eye in [Eye::R, Eye::L] {
        for dye in [Modality::Fa, Modality::Icg] {
            let about = about(station, id, eye.word(), dye.word()).await?;
            let Some(made) = kept(&about.wanted.folder) else { continue };
            if about.wanted.key().is_ok_and(|k| k != made.key) {
                continue;
            }
            let regions = regions(station, &about, &made);
            let Radius { mm, source } = about.radius;
            out.push(ReadRun {
                eye,
                line: made.line,
                radius_mm: mm,
                radius_source: source.word().to_owned(),
                regions,
            });
        }
    }
    Ok(out)
}
