//! A package whose pictures and papers do not name the patient.

use super::error::ApiError;
use super::handover::{frames_table, json_entry};
use super::stand::Stand;
use crate::Station;
use crate::handover::{Contents, Entry, copy, house_secret};
use serde_json::{Value, json};
use serrata_dicom::{Change, Deidentify};
use serrata_store::Visit;
use serrata_words::LeftOut;
use sha2::{Digest, Sha256};
use std::collections::{BTreeMap, BTreeSet};

/// Shortest value that papers are searched for, characters: shorter ones stand everywhere by chance (judgement).
const SHORTEST: usize = 4;

/// Shortest name of a file that papers are searched for, characters (judgement).
const NAME: usize = 6;

/// What stays although the profile would take it out, and what stands for the patient.
#[derive(Debug, Clone, Default)]
pub(super) struct Wanted {
    pub code: Option<String>,
    pub keep_characteristics: bool,
    pub keep_device: bool,
}

/// Contents made of copies, and how to make each again: SHA-256 of the copy to that of its original.
pub(super) struct Copies {
    pub contents: Contents,
    pub how: Deidentify,
    pub originals: BTreeMap<String, String>,
}

/// Turns a package's contents into those of a package that does not name the patient.
///
/// Every picture is copied once here, to see whether it can be, and once more when it is written: nothing is held in memory.
pub(super) async fn deidentified(
    station: &Station,
    visit: &Visit,
    s: &Stand,
    full: Contents,
    wanted: Wanted,
) -> Result<Copies, ApiError> {
    let bad = |what: String| {
        ApiError::bad(format!("visit {}", visit.id), what, "Look at the data folder and try again")
    };
    let secret = house_secret(station.store().folder()).map_err(|e| bad(e.to_string()))?;
    let patient_id = visit.person.id.reveal().clone();
    let code = match wanted.code.map(|c| c.trim().to_owned()).filter(|c| !c.is_empty()) {
        Some(c) if c.len() > 40 || !c.chars().all(|c| c.is_ascii_alphanumeric() || "-_.".contains(c)) => {
            return Err(ApiError::bad(
                "code",
                "a code has at most 40 letters, digits, dots and dashes",
                "Write the reading centre's code for this patient",
            ));
        }
        Some(c) => c,
        None => secret.code(&patient_id),
    };
    let how = Deidentify {
        secret,
        patient_id,
        code,
        keep_characteristics: wanted.keep_characteristics,
        keep_device: wanted.keep_device,
    };
    let mut out = Contents {
        who: String::new(),
        complete: full.complete.clone(),
        made_utc_us: full.made_utc_us,
        deidentified: true,
        ..Contents::default()
    };
    // Reasons are people's own words: only that something was left out is told.
    out.left_out = full
        .left_out
        .iter()
        .map(|l| LeftOut { frame: l.frame, name: String::new(), reason: first_words(&l.reason) })
        .collect();
    let (mut originals, mut changes, mut hidden) =
        (BTreeMap::new(), Vec::new(), naming(station, visit, s).await?);
    let mut kept_back = false;
    for (sha, name, frames) in &full.originals {
        // A file's name may be a person's; a short one, or a number, is nobody's.
        let stem = name.rsplit_once('.').map_or(name.as_str(), |(stem, _)| stem).to_lowercase();
        if stem.chars().count() >= NAME && stem.chars().any(char::is_alphabetic) {
            hidden.insert(stem);
        }
        let bytes = station.store().read_original(sha).await?;
        let how = how.clone();
        let made = station.pixels(move || copy(&bytes, &how)).await;
        match made.unwrap_or_else(|| Err("making its copy stopped in the middle".to_owned())) {
            Ok((file, changed)) => {
                let copied = hex::encode(Sha256::digest(&file));
                originals.insert(copied.clone(), sha.clone());
                out.originals.push((copied, String::new(), frames.clone()));
                changes.push(changed);
            }
            Err(reason) => {
                kept_back = true;
                out.left_out.extend(frames.iter().map(|f| LeftOut {
                    frame: *f,
                    name: String::new(),
                    reason: reason.clone(),
                }));
            }
        }
    }
    let paths = out.original_paths();
    let place: BTreeMap<&str, (&str, &str)> = out
        .originals
        .iter()
        .zip(&paths)
        .filter_map(|((copied, ..), path)| {
            Some((originals.get(copied)?.as_str(), (copied.as_str(), path.as_str())))
        })
        .collect();
    let days = how.secret.days(&how.patient_id);
    let (mut entries, mut drawn) = (Vec::new(), Vec::new());
    for e in &full.entries {
        // What is drawn of all pictures may show one that has to stay.
        if kept_back && e.path.ends_with(".png") {
            drawn.push(&e.path);
            continue;
        }
        let bytes = match e.path.as_str() {
            "appraisals.jsonl" => appraisals(&e.bytes, &place),
            "frames.csv" => frames_table(s, Some((&place, days))).into_bytes(),
            // Who did what names staff and patient; it stays in the house.
            "record.csv" | "visit.json" | "imaging-record.pdf" | "imaging-record-missing.txt" => continue,
            path if path.ends_with(".json") => nobody(&e.bytes),
            _ => e.bytes.clone(),
        };
        entries.push(Entry { path: e.path.clone(), bytes });
    }
    let values: Vec<&String> = hidden.iter().filter(|v| v.len() >= SHORTEST).collect();
    let names = |e: &Entry| {
        let text = String::from_utf8_lossy(&e.bytes).to_lowercase();
        !e.path.ends_with(".png") && values.iter().any(|v| text.contains(v.as_str()))
    };
    let (named, clean): (Vec<Entry>, Vec<Entry>) = entries.into_iter().partition(names);
    let files: Vec<Value> = paths
        .iter()
        .zip(&changes)
        .map(|(path, c)| json!({"path": path, "changes": c.iter().map(change).collect::<Vec<_>>()}))
        .collect();
    let words =
        named.iter().map(|e| json!({"path": e.path, "reason": "it holds words that name the patient"}));
    let pictures =
        drawn.iter().map(|path| json!({"path": path, "reason": "it may show a picture that was kept back"}));
    let left_out: Vec<Value> = words.chain(pictures).collect();
    let told = json!({
        "schema": "serrata.deidentified/1",
        "profile": "DICOM PS3.15 2024b Annex E, Basic Application Level Confidentiality Profile",
        "options": options(&how),
        "code": how.code,
        "files": files,
        "left_out": left_out,
        "not_taken_out": "the pattern of the vessels, which is that of one person",
    });
    out.entries = clean;
    out.entries.push(json_entry("changes.json", &told)?);
    out.entries.sort_by(|a, b| a.path.cmp(&b.path));
    Ok(Copies { contents: out, how, originals })
}

fn change(c: &Change) -> Value {
    json!({"tag": c.tag, "name": c.name, "what": c.what})
}

fn options(how: &Deidentify) -> Vec<&'static str> {
    let mut out = vec!["Retain Longitudinal Temporal Information with Modified Dates"];
    if how.keep_characteristics {
        out.push("Retain Patient Characteristics");
    }
    if how.keep_device {
        out.push("Retain Device Identity");
    }
    out
}

/// The words before a colon: what comes after it is a person's own text.
fn first_words(reason: &str) -> String {
    reason.split(':').next().unwrap_or_default().to_owned()
}

/// Values by which the patient, or the day, could be found: in lower case.
async fn naming(station: &Station, visit: &Visit, s: &Stand) -> Result<BTreeSet<String>, ApiError> {
    let mut out = BTreeSet::new();
    let mut add = |text: &str| {
        out.extend(text.split(['^', '=', ' ', ',']).map(str::to_lowercase));
        out.insert(text.to_lowercase());
    };
    add(visit.person.name.reveal());
    add(visit.person.id.reveal());
    if let Some(born) = &visit.person.birth_date {
        add(born.reveal());
        add(&born.reveal().replace('-', ""));
    }
    for order in station.store().orders_of(visit.id).await? {
        add(&order.order.number);
    }
    for k in s.judged.iter().map(|j| &j.kept) {
        add(&k.sha256);
        k.facts.study_uid.iter().chain(&k.facts.instance_uid).for_each(|uid| add(uid));
    }
    add(&visit.study_uid);
    Ok(out)
}

/// Appraisals of the pictures that are in the package, by the copies' names and hashes.
fn appraisals(lines: &[u8], place: &BTreeMap<&str, (&str, &str)>) -> Vec<u8> {
    let mut out = Vec::new();
    for line in lines.split(|b| *b == b'\n') {
        let Ok(mut value) = serde_json::from_slice::<Value>(line) else { continue };
        let Some((copied, path)) = value["sha256"].as_str().and_then(|sha| place.get(sha)) else { continue };
        value["path"] = json!(path);
        value["sha256"] = json!(copied);
        out.extend_from_slice(value.to_string().as_bytes());
        out.push(b'\n');
    }
    out
}

/// The same without who and when: a person's name, a day.
fn nobody(bytes: &[u8]) -> Vec<u8> {
    fn without(value: &mut Value) {
        match value {
            Value::Object(map) => {
                for key in ["who", "by", "at_utc_us", "path", "sha256", "key"] {
                    map.remove(key);
                }
                map.values_mut().for_each(without);
            }
            Value::Array(all) => all.iter_mut().for_each(without),
            _ => {}
        }
    }
    let Ok(mut value) = serde_json::from_slice::<Value>(bytes) else { return Vec::new() };
    without(&mut value);
    value.to_string().into_bytes()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn who_and_when_go_from_papers_at_any_depth() {
        let text = br#"{"a":[{"who":"RK","b":1}],"closed":{"reason":"declined","who":"RK"},"at_utc_us":5}"#;
        assert_eq!(
            String::from_utf8(nobody(text)).unwrap(),
            r#"{"a":[{"b":1}],"closed":{"reason":"declined"}}"#
        );
    }

    #[test]
    fn appraisals_follow_their_copies() {
        let place = BTreeMap::from([("aa", ("bb", "copies/001.dcm"))]);
        let lines = b"{\"sha256\":\"aa\",\"path\":\"Bree.dcm\",\"verdict\":\"usable\"}\n{\"sha256\":\"cc\",\"path\":\"x\"}\n";
        let out = String::from_utf8(appraisals(lines, &place)).unwrap();
        assert_eq!(out, "{\"path\":\"copies/001.dcm\",\"sha256\":\"bb\",\"verdict\":\"usable\"}\n");
    }
}
