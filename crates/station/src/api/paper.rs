//! The imaging record of a visit as a paper.

use super::brief::Judged;
use super::error::ApiError;
use super::facts::visit_of;
use super::frame::appraisal;
use super::handover::files_of;
use super::orders::who;
use super::reading::kept_readings;
use super::stand::{Stand, stand};
use super::types::{self, Chart};
use super::visit::visit as shown;
use crate::Station;
use crate::background::MONTAGES;
use crate::picture::jpeg;
use crate::reading::read_frames;
use axum::extract::{Path, Query, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use jiff::Timestamp;
use jiff::tz::TimeZone;
use serde::Deserialize;
use serde_json::{Value, json};
use serrata_frame::Limits;
use serrata_report::{Kind, Outline, Paper, TEMPLATE, chart_svg, print};
use serrata_visit::{ViewState, named};
use serrata_words::{DyeLine, Eye, Verdict};
use std::collections::BTreeMap;

/// Most pictures on a paper: two rows of each eye and kind fit on a page (judgement).
const MOST_PICTURES: usize = 12;
/// Longest side of a picture on paper, pixels: 300 to the inch at a third of the width.
const PICTURE: u32 = 680;
/// The same of a montage.
const MONTAGE: u32 = 1400;

/// Who asks.
#[derive(Debug, Deserialize)]
pub struct Wish {
    who: String,
}

/// The imaging record as PDF/A: what was ordered and how each view was met, what could not be done and why, pictures, charts, dye
/// times, who did what. Reading is left to the reader.
#[utoipa::path(get, path = "/api/v1/visits/{id}/record.pdf", params(("id" = i64, Path), ("who" = String, Query)),
    responses((status = 200, description = "the paper", content_type = "application/pdf"),
        (status = 400, body = types::Error), (status = 404, body = types::Error)))]
pub async fn record(
    State(station): State<Station>,
    Path(id): Path<i64>,
    Query(wish): Query<Wish>,
) -> Result<Response, ApiError> {
    who(&wish.who)?;
    let pdf = printed(&station, id).await?;
    let headers = [
        (header::CONTENT_TYPE, "application/pdf".to_owned()),
        (header::CONTENT_DISPOSITION, format!("inline; filename=\"visit-{id}.pdf\"")),
        (header::CACHE_CONTROL, "no-store".to_owned()),
    ];
    Ok((headers, pdf).into_response())
}

/// The paper's bytes.
pub(super) async fn printed(station: &Station, id: i64) -> Result<Vec<u8>, ApiError> {
    let visit = visit_of(station, id).await?;
    let s = stand(station, &visit).await?;
    let page = shown(State(station.clone()), Path(id)).await?.0;
    let mut pictures = BTreeMap::new();
    let charts: Vec<Value> = page
        .charts
        .iter()
        .filter(|c| !c.frames.is_empty() || !c.due.is_empty())
        .map(|c| {
            let file = format!("chart-{}.svg", c.eye);
            pictures.insert(file.clone(), drawn(c).into_bytes());
            let sketch = c.frames.iter().any(|f| !f.calibrated);
            let note = if sketch {
                "Some outlines are sketches: the instrument's projection is not known."
            } else {
                ""
            };
            json!({"eye": eye(&c.eye), "file": file, "note": note})
        })
        .collect();
    let (shots, more) = shots(station, &s, &mut pictures).await?;
    let montages = montages(station, id, &mut pictures).await;
    let dye = dye(station, id, &mut pictures).await?;
    let now = Timestamp::now();
    let zone = TimeZone::system();
    let clock = |us: i64| at(us, &zone, "%H:%M");
    let taken: Vec<i64> = page.frames.iter().filter_map(|f| f.acquired_utc_us).collect();
    let from = taken.iter().copied().min().unwrap_or(page.opened_utc_us);
    let views: Vec<Value> = s
        .status
        .views
        .iter()
        .map(|v| {
            json!({
                "view": sentence(&named(&v.view)), "rank": if v.view.rank.word() == "must" { "must be there" } else { "wanted" },
                "state": words(v.state.word()), "frames": v.frames.len(), "why": v.why,
            })
        })
        .collect();
    let missing =
        s.status.views.iter().filter(|v| !matches!(v.state, ViewState::Met | ViewState::MetWithReservations));
    // What nobody closed and was only wanted is counted; all else stands by itself.
    let (told, more_open): (Vec<_>, Vec<_>) =
        missing.partition(|v| v.closure.is_some() || v.view.rank.word() == "must");
    let open: Vec<Value> = told
        .into_iter()
        .map(|v| {
            let closed = v.closure.as_ref();
            let state = if closed.is_some() { words(v.state.word()) } else { "not there yet".to_owned() };
            json!({
                "view": sentence(&named(&v.view)), "state": state,
                "why": closed.and_then(|c| c.why).map_or("", |w| w.screen()), "who": closed.map(|c| c.who.clone()),
            })
        })
        .collect();
    let t = &page.today;
    let answers = t.answers.iter().map(|a| {
        let said = a.answer.as_ref().map_or_else(
            || "Not answered".to_owned(),
            |x| format!("{x} ({})", a.who.clone().unwrap_or_default()),
        );
        format!("{said}: {}", a.question)
    });
    let mut sections = Vec::new();
    let mut section = |title: &str, lines: Vec<String>| {
        if !lines.is_empty() {
            sections.push(json!({"title": title, "lines": lines}));
        }
    };
    section("Cautions, asked before", answers.collect());
    section("About eye and person", t.notes.clone());
    let remarks = s.facts.remarks.iter().map(|(text, who, _)| format!("{text} ({who})"));
    section("Notes", remarks.collect());
    section("Record of the needle", t.needle.clone());
    section("Light on the eye", t.light.clone());
    let people: Vec<Value> = t
        .facts
        .iter()
        // A note that stands has its own section.
        .filter(|f| f.kind != "remarked" || f.undone)
        .map(|f| {
            let why = f.reason.as_ref().map(|r| format!(": {r}")).unwrap_or_default();
            let undone = if f.undone { ", undone later" } else { "" };
            // What happened at a time of its own stands at it, with when it was written beside it where that is later.
            let happened = f.happened_utc_us.unwrap_or(f.at_utc_us);
            let late = clock(happened) != clock(f.at_utc_us);
            let undone = if late { format!("{undone}, written {}", clock(f.at_utc_us)) } else { undone.to_owned() };
            json!({"when": clock(happened), "who": f.who, "what": format!("{}{undone}{why}", sentence(&f.text))})
        })
        .collect();
    let data = json!({
        "patient": {"name": page.patient_name, "number": page.patient_id, "born": page.birth_date},
        "visit": {
            "day": at(from, &zone, "%-d %B %Y"), "from": clock(from),
            "to": taken.iter().copied().max().filter(|last| clock(*last) != clock(from)).map(clock), "order": page.order,
        },
        "open": open, "more_open": more_open.len(), "complete": page.complete.sentence, "charts": charts, "views": views, "pictures": shots, "more_pictures": more,
        "montages": montages, "dye": dye, "sections": sections, "people": people,
        "made": at(now.as_microsecond(), &zone, "%-d %B %Y, %H:%M"), "version": env!("CARGO_PKG_VERSION"),
        "head": t.facts.last().map_or(0, |f| f.seq),
    });
    let made = made_of(now);
    let template = station.settings().paper_template.clone().unwrap_or_else(|| TEMPLATE.to_owned());
    let paper = move || print(&Paper { template: &template, data: &data, pictures, made });
    station
        .pixels(paper)
        .await
        .unwrap_or_else(|| {
            Err(serrata_report::ReportError::Template {
                detail: "setting it stopped in the middle".to_owned(),
            })
        })
        .map_err(|e| {
            ApiError::bad(
                format!("visit {id}"),
                e.to_string(),
                "Mend what the sentence says and print it again",
            )
        })
}

/// A chart as a drawing: rings, then what is due, then what was seen.
fn drawn(c: &Chart) -> String {
    let rings = c.rings.iter().map(|r| Outline { points: r.outline.clone(), kind: Kind::Ring });
    let due = c.due.iter().flat_map(|d| &d.outlines).map(|o| Outline { points: o.clone(), kind: Kind::Due });
    let seen = c.frames.iter().flat_map(|f| {
        let kind = if f.verdict == Verdict::Usable.word() { Kind::Usable } else { Kind::Other };
        f.outlines.iter().map(move |o| Outline { points: o.clone(), kind })
    });
    chart_svg(&rings.chain(due).chain(seen).collect::<Vec<_>>())
}

/// Pictures of the hand-over, the best of each view first, and how many more there are.
async fn shots(
    station: &Station,
    s: &Stand,
    pictures: &mut BTreeMap<String, Vec<u8>>,
) -> Result<(Vec<Value>, usize), ApiError> {
    let mut order: Vec<i64> = Vec::new();
    for id in s.status.views.iter().filter_map(|v| v.frames.first()) {
        if !order.contains(id) {
            order.push(*id);
        }
    }
    let kept: Vec<_> = s
        .judged
        .iter()
        .filter(|j| j.kept.set_aside.is_none() && !j.kept.quarantined && j.observation.is_some())
        .collect();
    // What meets no view is shown where it can be read; of a dye run the phases are shown.
    let worth = |j: &&&Judged| {
        j.judgement.as_ref().is_some_and(|v| v.verdict != Verdict::NotUsable) && !j.view.modality.is_dye()
    };
    let rest: Vec<i64> =
        kept.iter().filter(worth).map(|j| j.kept.id.0).filter(|id| !order.contains(id)).collect();
    order.extend(rest);
    let chosen: Vec<_> =
        order.iter().filter_map(|id| kept.iter().find(|j| j.kept.id.0 == *id)).take(MOST_PICTURES).collect();
    let mut out = Vec::new();
    for j in &chosen {
        let bytes = station.store().read_original(&j.kept.sha256).await?;
        let index = j.kept.index as usize;
        let made = station
            .pixels(move || {
                let frames = read_frames(&bytes, &Limits::default()).ok()?;
                jpeg(frames.get(index)?, PICTURE).ok()
            })
            .await
            .flatten();
        let Some(small) = made else { continue };
        let file = format!("picture-{}.jpg", out.len() + 1);
        pictures.insert(file.clone(), small);
        let b = j.brief();
        let verdict = b.verdict.as_deref().map_or_else(|| "not checked".to_owned(), words);
        let area = appraisal(station, j).filter(|a| a.verdict != Verdict::NotUsable).and_then(|a| {
            let seen = &a.visible_retina;
            let (mm2, [low, high], radius) = (seen.area_mm2?, seen.area_interval_mm2?, seen.radius_mm?);
            let source = seen.radius_source.as_deref().map(|w| format!(", {}", words(w))).unwrap_or_default();
            Some(format!(
                "; {mm2:.0} mm² of retina seen ({low:.0} to {high:.0}; radius {radius:.2} mm{source})"
            ))
        });
        let caption = format!(
            "{}, {}{}: {verdict}{}",
            b.eye.as_deref().map_or("Either eye", eye),
            b.modality.as_deref().map_or_else(String::new, words),
            b.acquired_utc_us
                .map(|us| format!(", {}", at(us, &TimeZone::system(), "%H:%M:%S")))
                .unwrap_or_default(),
            area.unwrap_or_default()
        );
        out.push(json!({"file": file, "caption": caption}));
    }
    Ok((out, kept.len() - chosen.len()))
}

/// Montages that stand, one of each kind.
async fn montages(station: &Station, id: i64, pictures: &mut BTreeMap<String, Vec<u8>>) -> Vec<Value> {
    let mut out = Vec::new();
    for side in [Eye::R, Eye::L] {
        let folder = station.background().folder(MONTAGES, &format!("{id}-{side}"));
        for (name, bytes) in files_of(&folder) {
            let kind = name.strip_prefix("mosaic-").and_then(|n| n.strip_suffix(".png"));
            let Some(kind) = kind.filter(|k| !k.contains('-')).map(str::to_owned) else { continue };
            let made = station
                .pixels(move || {
                    let frames = read_frames(&bytes, &Limits::default()).ok()?;
                    jpeg(frames.first()?, MONTAGE).ok()
                })
                .await
                .flatten();
            let Some(small) = made else { continue };
            let file = format!("montage-{side}-{kind}.jpg");
            pictures.insert(file.clone(), small);
            out.push(json!({"file": file, "caption": format!("{}, {}: frames put together", side.screen(), words(&kind))}));
        }
    }
    out
}

/// Dye runs that were read: times, phases, what a named person accepted.
async fn dye(
    station: &Station,
    id: i64,
    pictures: &mut BTreeMap<String, Vec<u8>>,
) -> Result<Vec<Value>, ApiError> {
    let mut runs: BTreeMap<String, BTreeMap<String, Vec<u8>>> = BTreeMap::new();
    for (run, file, bytes) in kept_readings(station, id).await? {
        runs.entry(run).or_default().insert(file, bytes);
    }
    let mut out = Vec::new();
    for (run, files) in runs {
        let Some((side, kind)) = run.split_once('-') else { continue };
        let told = files.get("reading.json").and_then(|b| serde_json::from_slice::<Value>(b).ok());
        let Some(line) = told.and_then(|v| serde_json::from_value::<DyeLine>(v["line"].clone()).ok()) else {
            continue;
        };
        let times = [
            ("Arm to retina", line.arm_to_retina),
            ("Arterio-venous passage", line.arteriovenous_passage),
            ("Mean retinal circulation", line.mean_circulation),
        ];
        let times: Vec<Value> = times
            .into_iter()
            .filter_map(|(name, t)| {
                let t = t?;
                Some(json!({
                    "name": name, "value": format!("{:.1} s", t.seconds), "interval": format!("{:.1} to {:.1} s (95 %)", t.interval[0], t.interval[1]),
                }))
            })
            .collect();
        let phases = files.get(&format!("phases-{kind}.png")).map(|bytes| {
            let file = format!("phases-{run}.png");
            pictures.insert(file.clone(), bytes.clone());
            file
        });
        let regions: Value =
            files.get("regions.json").and_then(|b| serde_json::from_slice(b).ok()).unwrap_or_default();
        let all: Vec<&Value> = regions["regions"].as_array().into_iter().flatten().collect();
        let mut regions: Vec<String> =
            all.iter().filter(|r| r["status"] != "proposed").filter_map(|r| region(r)).collect();
        regions.extend(["late brightening", "dark, unfilled"].iter().filter_map(|what| proposed(&all, what)));
        out.push(json!({
            "title": format!("{}, {}", eye(side), words(kind)), "times": times, "problem": line.problem, "phases": phases, "regions": regions,
        }));
    }
    Ok(out)
}

/// Places of one kind that nobody has judged, in one line.
fn proposed(all: &[&Value], what: &str) -> Option<String> {
    let of: Vec<&&Value> = all.iter().filter(|r| r["status"] == "proposed" && r["what"] == what).collect();
    let places = match of.len() {
        0 => return None,
        1 => "1 place is".to_owned(),
        n => format!("{n} places are"),
    };
    let areas: Vec<f64> = of.iter().filter_map(|r| r["area_mm2"].as_f64()).collect();
    let sum = if areas.len() == of.len() {
        format!(", {:.1} mm² in all", areas.iter().sum::<f64>())
    } else {
        String::new()
    };
    Some(format!("{}: {places} proposed{sum}; nobody has judged them", sentence(what)))
}

/// A region that was not refused, as a line.
fn region(r: &Value) -> Option<String> {
    let status = r["status"].as_str().filter(|s| *s != "refused")?;
    let by = r["who"].as_str().map(|w| format!(" by {w}")).unwrap_or_default();
    let area = match (r["area_mm2"].as_f64(), &r["area_interval_mm2"]) {
        (Some(mm2), i) => format!(
            "{mm2:.2} mm² ({:.2} to {:.2})",
            i[0].as_f64().unwrap_or(mm2),
            i[1].as_f64().unwrap_or(mm2)
        ),
        (None, _) => "no mm²: no projection known".to_owned(),
    };
    Some(format!("{}, {status}{by}: {area}", sentence(r["what"].as_str()?)))
}

/// A stable word as people read it.
fn words(word: &str) -> String {
    match word {
        "fa" => "fluorescein".to_owned(),
        "icg" => "ICG".to_owned(),
        "faf" => "autofluorescence".to_owned(),
        "limited" => "usable with reservations".to_owned(),
        other => other.replace('_', " "),
    }
}

fn eye(word: &str) -> &'static str {
    match word {
        "R" => "Right eye (OD)",
        "L" => "Left eye (OS)",
        _ => "Either eye",
    }
}

/// With a capital letter.
fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map(|c| c.to_uppercase().chain(letters).collect()).unwrap_or_default()
}

fn at(us: i64, zone: &TimeZone, form: &str) -> String {
    Timestamp::from_microsecond(us)
        .map(|t| t.to_zoned_datetime(zone.clone()).strftime(form).to_string())
        .unwrap_or_default()
}

#[allow(clippy::cast_sign_loss)] // a clock of our time
fn made_of(now: Timestamp) -> [u16; 6] {
    let t = now.to_zoned_datetime(TimeZone::UTC);
    [t.year() as u16, t.month() as u16, t.day() as u16, t.hour() as u16, t.minute() as u16, t.second() as u16]
}
