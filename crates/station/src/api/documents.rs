//! Documents about a visit's pictures as DICOM objects: the paper, and which pictures are named for what reason.

use super::error::ApiError;
use super::frame::appraisal;
use super::stand::Stand;
use crate::Station;
use crate::handover::Entry;
use serrata_dicom::{
    Flaw, Instance, KeyReason, NewDocument, Person, read_header, uid, write_key_objects, write_pdf,
};
use serrata_store::Visit;
use serrata_words::{Personal, Stamp};
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;

/// Series of the documents in the study: beyond those that instruments count (judgement).
const PAPERS: u32 = 9001;
const SELECTIONS: u32 = 9002;

/// The paper and the selections as files of a package. Of pictures that are no DICOM objects nothing is said.
///
/// Numbers are made of what is said, so that the same said again is the same object.
pub(super) async fn documents(
    station: &Station,
    visit: &Visit,
    s: &Stand,
    paper: Option<&[u8]>,
) -> Result<Vec<Entry>, ApiError> {
    let mut known: BTreeMap<String, Instance> = BTreeMap::new();
    for k in s.judged.iter().map(|j| &j.kept).filter(|k| k.facts.instance_uid.is_some() && !k.quarantined) {
        if known.contains_key(&k.sha256) {
            continue;
        }
        let bytes = station.store().read_original(&k.sha256).await?;
        let Ok(h) = read_header(&bytes) else { continue };
        let instance = Instance {
            class_uid: h.class_uid,
            instance_uid: h.instance_uid,
            study_uid: h.study_uid,
            series_uid: h.series_uid,
        };
        known.insert(k.sha256.clone(), instance);
    }
    if known.is_empty() {
        return Ok(Vec::new());
    }
    let wrong = |e: serrata_dicom::WriteError| {
        ApiError::bad(
            format!("visit {}", visit.id),
            e.to_string(),
            "Correct the visit's study number and try again",
        )
    };
    let mut out = Vec::new();
    let of = |instances: &[Instance], words: &str| {
        let mut hash = Sha256::new();
        hash.update(words);
        instances.iter().for_each(|i| hash.update(format!("|{}", i.instance_uid)));
        uid::derived(&hash.finalize().into())
    };
    let pictures: Vec<Instance> = known.values().cloned().collect();
    let said = s.events.last().map_or(0, |e| e.seq);
    let document = |instance_uid: String, series: u32, number: usize| NewDocument {
        patient: Person {
            id: visit.person.id.clone(),
            name: visit.person.name.clone(),
            birth_date: visit.person.birth_date.clone().unwrap_or_else(|| Personal::new(String::new())),
            sex: visit.person.sex.clone().unwrap_or_else(|| Personal::new(String::new())),
        },
        study_uid: visit.study_uid.clone(),
        accession: String::new(),
        study_began: stamp(visit.opened_us),
        made: stamp(s.now_us),
        series_uid: of(&[], &format!("series {series} of {}", visit.study_uid)),
        instance_uid,
        series_number: series,
        instance_number: u32::try_from(number + 1).unwrap_or(1),
    };
    if let Some(pdf) = paper {
        let number = of(&pictures, &format!("paper of {} up to {said}", visit.study_uid));
        let file =
            write_pdf(&document(number, PAPERS, 0), "Imaging record", pdf, &pictures).map_err(wrong)?;
        out.push(Entry { path: "dicom/imaging-record.dcm".to_owned(), bytes: file });
    }
    for (n, (reason, own, words, pictures)) in selections(station, s, &known).into_iter().enumerate() {
        let number = of(&pictures, &format!("selection {reason:?} {words} of {}", visit.study_uid));
        let file =
            write_key_objects(&document(number, SELECTIONS, n), reason, own.as_deref(), &words, &pictures)
                .map_err(wrong)?;
        out.push(Entry { path: format!("dicom/selection-{}.dcm", n + 1), bytes: file });
    }
    Ok(out)
}

type Selection = (KeyReason, Option<String>, String, Vec<Instance>);

/// Pictures that meet a view; then those that were set aside, by what was wrong and why a person did it.
fn selections(station: &Station, s: &Stand, known: &BTreeMap<String, Instance>) -> Vec<Selection> {
    let meets: Vec<i64> = s.status.views.iter().flat_map(|v| v.frames.iter().copied()).collect();
    let mut chosen: Vec<Instance> = Vec::new();
    let mut aside: BTreeMap<(KeyReason, Option<String>, String), Vec<Instance>> = BTreeMap::new();
    for j in &s.judged {
        let Some(instance) = known.get(&j.kept.sha256) else { continue };
        match &j.kept.set_aside {
            None if meets.contains(&j.kept.id.0) && !chosen.contains(instance) => {
                chosen.push(instance.clone())
            }
            None => {}
            Some(why) => {
                let finding = appraisal(station, j).and_then(|a| {
                    a.reasons.iter().find_map(|r| r.finding.as_ref().map(|f| f.word().to_owned()))
                });
                let flaw = finding.as_deref().map_or(Flaw::Other, Flaw::of);
                aside
                    .entry((KeyReason::Quality(flaw), finding, why.clone()))
                    .or_default()
                    .push(instance.clone());
            }
        }
    }
    let mut out: Vec<Selection> = Vec::new();
    if !chosen.is_empty() {
        out.push((KeyReason::OfInterest, None, "Meets what was ordered".to_owned(), chosen));
    }
    out.extend(aside.into_iter().map(|((reason, own, words), all)| (reason, own, words, all)));
    out
}

/// A moment of the station's clock.
fn stamp(utc_us: i64) -> Stamp {
    Stamp { utc_us, offset_minutes: Some(0), granularity_us: 1_000_000, clock: "station".into() }
}
