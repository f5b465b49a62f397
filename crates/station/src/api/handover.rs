//! A visit as a package: one zip with everything that the reader needs.

use super::deidentified::{Wanted, deidentified};
use super::derived::derived;
use super::error::ApiError;
use super::facts::visit_of;
use super::frame::appraisal;
use super::orders::who;
use super::paper::printed;
use super::reading::kept_readings;
use super::stand::{Stand, stand};
use super::today::today;
use super::types;
use crate::Station;
use crate::background::MONTAGES;
use crate::handover::{Contents, Entry, copy, pack};
use axum::body::Body;
use axum::extract::{Path, Query, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;
use serde_json::json;
use serrata_store::Visit;
use serrata_words::{Eye, LeftOut};
use std::collections::BTreeMap;
use std::io::{Seek, SeekFrom};
use tokio::io::AsyncReadExt;

/// Which package is wanted.
#[derive(Debug, Deserialize)]
pub struct Wish {
    who: String,
    #[serde(default)]
    with_set_aside: bool,
    #[serde(default)]
    deidentify: bool,
    #[serde(default)]
    code: Option<String>,
    #[serde(default)]
    keep_characteristics: bool,
    #[serde(default)]
    keep_device: bool,
}

/// How much of a package is read at once, bytes.
const PIECE: usize = 1 << 18;

/// Everything of a visit that the reader needs, as a zip: originals untouched, results, what was ordered and met, who did what,
/// readings and montages that stand, and a manifest with hashes. With `deidentify`, copies that do not name the patient.
#[utoipa::path(get, path = "/api/v1/visits/{id}/package",
    params(("id" = i64, Path), ("who" = String, Query), ("with_set_aside" = Option<bool>, Query),
        ("deidentify" = Option<bool>, Query), ("code" = Option<String>, Query, description = "stands for the patient; made up where it is left out"),
        ("keep_characteristics" = Option<bool>, Query, description = "sex, age, size, weight"), ("keep_device" = Option<bool>, Query)),
    responses((status = 200, description = "the package", content_type = "application/zip"),
        (status = 400, body = types::Error), (status = 404, body = types::Error)))]
pub async fn package(
    State(station): State<Station>,
    Path(id): Path<i64>,
    Query(wish): Query<Wish>,
) -> Result<Response, ApiError> {
    let by = who(&wish.who)?;
    let visit = visit_of(&station, id).await?;
    let s = stand(&station, &visit).await?;
    let contents = contents(&station, &visit, &s, &wish, by.who.as_ref()).await?;
    if contents.originals.is_empty() {
        return Err(ApiError::bad(
            format!("visit {id}"),
            "there is no picture to hand over yet",
            "Take one first, or take one back that was set aside",
        ));
    }
    let (contents, copies) = if wish.deidentify {
        let wanted = Wanted {
            code: wish.code.clone(),
            keep_characteristics: wish.keep_characteristics,
            keep_device: wish.keep_device,
        };
        let made = deidentified(&station, &visit, &s, contents, wanted).await?;
        if made.contents.originals.is_empty() {
            let why = made.contents.left_out.first().map(|l| l.reason.clone()).unwrap_or_default();
            return Err(ApiError::bad(
                format!("visit {id}"),
                format!("no picture can leave without naming the patient: {why}"),
                "Hand over a package with originals, or mend what it says",
            ));
        }
        (made.contents, Some((made.how, made.originals)))
    } else {
        (contents, None)
    };
    let runtime = tokio::runtime::Handle::current();
    let folder = station.store().folder().to_path_buf();
    let at = station.clone();
    // Written beside the data and nameless, so that nothing stays of it, whatever happens.
    let made = tokio::task::spawn_blocking(move || {
        let mut file = tempfile::tempfile_in(folder)?;
        let kept = |sha: &str| runtime.block_on(at.store().read_original(sha)).map_err(|e| e.to_string());
        let original = |sha: &str| match &copies {
            None => kept(sha),
            Some((how, originals)) => {
                let of = originals.get(sha).ok_or_else(|| "no such copy".to_owned())?;
                copy(&kept(of)?, how).map(|(file, _)| file.into())
            }
        };
        pack(&contents, original, std::io::BufWriter::new(&mut file))?;
        let long = file.seek(SeekFrom::End(0))?;
        file.rewind()?;
        Ok::<_, std::io::Error>((file, long))
    });
    let failed = |e: &dyn std::fmt::Display| {
        ApiError::new(
            axum::http::StatusCode::INTERNAL_SERVER_ERROR,
            format!("visit {id}"),
            "package",
            format!("the package cannot be made: {e}"),
            "Look at the space on the disk and try again",
        )
    };
    let (file, long) = made.await.map_err(|e| failed(&e))?.map_err(|e| failed(&e))?;
    let pieces = futures_util::stream::unfold(tokio::fs::File::from_std(file), |mut file| async move {
        let mut piece = vec![0u8; PIECE];
        match file.read(&mut piece).await {
            Ok(0) => None,
            Ok(n) => {
                piece.truncate(n);
                Some((Ok(piece), file))
            }
            Err(e) => Some((Err(e), file)),
        }
    });
    let name = if wish.deidentify { "visit".to_owned() } else { format!("visit-{id}") };
    let headers = [
        (header::CONTENT_TYPE, "application/zip".to_owned()),
        (header::CONTENT_LENGTH, long.to_string()),
        (header::CONTENT_DISPOSITION, format!("attachment; filename=\"{name}.zip\"")),
        (header::CACHE_CONTROL, "no-store".to_owned()),
    ];
    Ok((headers, Body::from_stream(pieces)).into_response())
}

async fn contents(
    station: &Station,
    visit: &Visit,
    s: &Stand,
    wish: &Wish,
    by: &str,
) -> Result<Contents, ApiError> {
    let mut out = Contents {
        who: by.to_owned(),
        visit_id: visit.id.0,
        made_utc_us: s.now_us,
        complete: s.status.sentence.clone(),
        ..Contents::default()
    };
    // A file leaves whole or not at all: one that holds a frame on its way to another patient stays.
    let held = |sha: &str| s.judged.iter().any(|j| j.kept.quarantined && j.kept.sha256 == sha);
    for j in &s.judged {
        let k = &j.kept;
        let why = match (&k.set_aside, held(&k.sha256)) {
            (_, true) => Some("its file waits for a second person on its way to another patient".to_owned()),
            (Some(reason), false) if !wish.with_set_aside => Some(format!("set aside: {reason}")),
            _ => None,
        };
        match why {
            Some(reason) => out.left_out.push(LeftOut { frame: k.id.0, name: k.name.clone(), reason }),
            None => match out.originals.iter_mut().find(|o| o.0 == k.sha256) {
                Some(o) => o.2.push(k.id.0),
                None => out.originals.push((k.sha256.clone(), k.name.clone(), vec![k.id.0])),
            },
        }
    }
    let sent = |id: i64| {
        s.judged.iter().any(|j| j.kept.id.0 == id && out.originals.iter().any(|o| o.0 == j.kept.sha256))
    };
    let along: Vec<bool> = out.left_out.iter().map(|l| sent(l.frame)).collect();
    for (l, along) in out.left_out.iter_mut().zip(along) {
        if along {
            l.reason.push_str("; its file goes along whole, for its other frames");
        }
    }
    let wrong = |e: serde_json::Error| {
        ApiError::bad(format!("visit {}", visit.id), e.to_string(), "Report it to the developers")
    };
    let mut put = |path: String, bytes: Vec<u8>| out.entries.push(Entry { path, bytes });
    let mut lines = Vec::new();
    for line in s.judged.iter().filter_map(|j| appraisal(station, j)) {
        serde_json::to_writer(&mut lines, &line).map_err(wrong)?;
        lines.push(b'\n');
    }
    put("appraisals.jsonl".to_owned(), lines);
    put("frames.csv".to_owned(), frames_table(s, None).into_bytes());
    put("record.csv".to_owned(), record_csv(s).into_bytes());
    put("completeness.json".to_owned(), serde_json::to_vec_pretty(&completeness(s)).map_err(wrong)?);
    let today = today(station, visit, s).await?;
    let day = json!({
        "schema": "serrata.visit_record/1",
        "visit_id": visit.id.0,
        "patient_name": visit.person.name.reveal(),
        "patient_id": visit.person.id.reveal(),
        "birth_date": visit.person.birth_date.as_ref().map(|b| b.reveal().clone()),
        "order": visit.order,
        "study_uids": study_uids(s),
        "today": today,
    });
    put("visit.json".to_owned(), serde_json::to_vec_pretty(&day).map_err(wrong)?);
    // A paper that cannot be set, for want of a font or by a clinic's own template, keeps no picture back.
    let paper = printed(station, visit.id.0).await;
    match &paper {
        Ok(pdf) => put("imaging-record.pdf".to_owned(), pdf.clone()),
        Err(e) => put("imaging-record-missing.txt".to_owned(), format!("{}\n", e.message()).into_bytes()),
    }
    for (name, file, bytes) in kept_readings(station, visit.id.0).await? {
        put(format!("dye-{name}/{file}"), bytes);
    }
    for eye in [Eye::R, Eye::L] {
        let folder = station.background().folder(MONTAGES, &format!("{}-{eye}", visit.id));
        for (file, bytes) in files_of(&folder) {
            put(format!("montage-{eye}/{file}"), bytes);
        }
    }
    out.entries.sort_by(|a, b| a.path.cmp(&b.path));
    out.objects = derived(station, visit, s, paper.as_deref().ok()).await?;
    Ok(out)
}

/// An object as a file of a package.
pub(super) fn json_entry(path: &str, value: &serde_json::Value) -> Result<Entry, ApiError> {
    let bytes = serde_json::to_vec_pretty(value)
        .map_err(|e| ApiError::bad(path, e.to_string(), "Report it to the developers"))?;
    Ok(Entry { path: path.to_owned(), bytes })
}

/// The files of a folder that stands, by name; none where there is no such folder.
pub(super) fn files_of(folder: &std::path::Path) -> Vec<(String, Vec<u8>)> {
    let mut all: Vec<(String, Vec<u8>)> = std::fs::read_dir(folder)
        .into_iter()
        .flatten()
        .flatten()
        .filter_map(|e| Some((e.file_name().into_string().ok()?, std::fs::read(e.path()).ok()?)))
        .collect();
    all.sort_by(|a, b| a.0.cmp(&b.0));
    all
}

fn study_uids(s: &Stand) -> Vec<String> {
    let mut all: Vec<String> = s.judged.iter().filter_map(|j| j.kept.facts.study_uid.clone()).collect();
    all.sort();
    all.dedup();
    all
}

/// A time as text, UTC, to the microsecond; empty where nobody knows.
fn time(us: Option<i64>) -> String {
    us.and_then(|us| jiff::Timestamp::from_microsecond(us).ok()).map(|t| t.to_string()).unwrap_or_default()
}

/// A line of cells, in quotes where needed.
fn line(cells: &[String]) -> String {
    let cell = |c: &String| {
        if c.contains([',', '"', '\n', '\r']) { format!("\"{}\"", c.replace('"', "\"\"")) } else { c.clone() }
    };
    cells.iter().map(cell).collect::<Vec<_>>().join(",") + "\r\n"
}

/// By SHA-256 of an original: that of its copy, and where that lies.
type Places<'a> = BTreeMap<&'a str, (&'a str, &'a str)>;

/// One line a picture. Of copies: their names and hashes, times moved by so many days, no words of a person.
pub(super) fn frames_table(s: &Stand, copies: Option<(&Places<'_>, i64)>) -> String {
    let head =
        ["frame", "name", "sha256", "eye", "kind", "gaze", "taken", "result", "next", "why", "set aside"];
    let mut out = line(&head.map(str::to_owned));
    for j in &s.judged {
        let b = j.brief();
        let (sha, name, taken, aside) = match copies {
            None => {
                (j.kept.sha256.as_str(), b.name.as_str(), b.acquired_utc_us, b.set_aside.unwrap_or_default())
            }
            Some((places, days)) => {
                let Some((copied, path)) = places.get(j.kept.sha256.as_str()) else { continue };
                let taken = b.acquired_utc_us.map(|us| us.saturating_add(days * DAY_US));
                (*copied, *path, taken, if b.set_aside.is_some() { "yes".to_owned() } else { String::new() })
            }
        };
        out += &line(&[
            b.id.to_string(),
            name.to_owned(),
            sha.to_owned(),
            b.eye.unwrap_or_default(),
            b.modality.unwrap_or_default(),
            b.gaze.clone(),
            time(taken),
            b.verdict.unwrap_or_default(),
            b.next.unwrap_or_default(),
            b.leading.unwrap_or_default(),
            aside,
        ]);
    }
    out
}

const DAY_US: i64 = 86_400_000_000;

fn record_csv(s: &Stand) -> String {
    let mut out = line(&["number", "when", "who", "what", "reason"].map(str::to_owned));
    for e in &s.events {
        let kind = serde_json::to_value(&e.fact).ok();
        let kind = kind.as_ref().and_then(|v| v["kind"].as_str()).unwrap_or_default().to_owned();
        out += &line(&[
            e.seq.to_string(),
            time(Some(e.at_us)),
            e.who.clone(),
            kind,
            e.reason.clone().unwrap_or_default(),
        ]);
    }
    out
}

fn completeness(s: &Stand) -> serde_json::Value {
    let views: Vec<_> = s
        .status
        .views
        .iter()
        .map(|v| {
            json!({
                "name": v.view.name, "eye": v.view.eye.map(|e| e.word()), "kind": v.view.modality.word(),
                "gaze": v.view.gaze.word(), "rank": v.view.rank.word(), "state": v.state.word(),
                "frames": v.frames, "tries": v.tries, "why": v.why,
                "closed": v.closure.as_ref().map(|c| json!({
                    "reason": c.why.map(|w| w.screen()), "who": c.who,
                })),
            })
        })
        .collect();
    json!({
        "schema": "serrata.completeness/1", "state": s.status.complete.word(), "sentence": s.status.sentence,
        "speaks_of": "pictures only: when the patient may leave, staff decide", "views": views,
    })
}
