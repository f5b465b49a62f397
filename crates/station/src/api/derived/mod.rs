//! Objects that are made of a visit's pictures as DICOM, originals untouched: the paper, which pictures are named for what reason,
//! what was seen and measured, pictures whose labels were corrected, montages.
//!
//! Each is made when it is wanted, one at a time: a montage is as large as a hundred megabytes. Their numbers are made of what is said,
//! so that the same said again is the same object.

mod corrected;
mod montages;
mod report;
mod selections;

use super::error::ApiError;
use super::reading::read_runs;
use super::stand::Stand;
use crate::Station;
use crate::handover::Derived;
use bytes::Bytes;
use serrata_dicom::{Header, Instance, NewDocument, Person, read_header, uid};
use serrata_store::{FrameId, Visit};
use serrata_words::{Personal, Stamp};
use sha2::{Digest, Sha256};
use std::collections::{BTreeMap, BTreeSet};

/// Series of these objects in the study: beyond those that instruments count (judgement).
const PAPERS: u32 = 9001;
const SELECTIONS: u32 = 9002;
const REPORTS: u32 = 9003;
const CORRECTED: u32 = 9004;
const MONTAGES: u32 = 9005;

/// What they are made of.
struct About<'a> {
    station: &'a Station,
    visit: &'a Visit,
    stand: &'a Stand,
    /// By SHA-256 of an original: what its header says. Pictures that are no DICOM objects are not in it.
    known: BTreeMap<String, Header>,
}

/// All objects of a visit. `paper`: the imaging record, where it could be set.
///
/// # Errors
/// Where the store fails.
pub(super) async fn derived(
    station: &Station,
    visit: &Visit,
    stand: &Stand,
    paper: Option<&[u8]>,
) -> Result<Vec<Derived>, ApiError> {
    let mut known: BTreeMap<String, Header> = BTreeMap::new();
    for k in stand.judged.iter().map(|j| &j.kept) {
        // A frame on its way to another patient is in nothing that leaves.
        if k.facts.instance_uid.is_none() || k.quarantined || known.contains_key(&k.sha256) {
            continue;
        }
        let bytes = station.store().read_original(&k.sha256).await?;
        let header = station.pixels(move || read_header(&bytes)).await;
        if let Some(Ok(h)) = header {
            known.insert(k.sha256.clone(), h);
        }
    }
    if known.is_empty() {
        return Ok(Vec::new());
    }
    let about = About { station, visit, stand, known };
    let mut out = Vec::new();
    out.extend(paper.map(|pdf| selections::paper(&about, pdf)));
    out.extend(selections::selections(&about));
    out.extend(report::report(&about, &read_runs(station, visit.id.0).await?));
    out.extend(corrected::corrected(&about));
    out.extend(montages::montages(&about));
    Ok(out)
}

impl About<'_> {
    /// The object of an original.
    fn instance(&self, sha256: &str) -> Option<Instance> {
        let h = self.known.get(sha256)?;
        Some(Instance {
            class_uid: h.class_uid.clone(),
            instance_uid: h.instance_uid.clone(),
            study_uid: h.study_uid.clone(),
            series_uid: h.series_uid.clone(),
        })
    }

    /// All objects that are known.
    fn instances(&self) -> Vec<Instance> {
        self.known.keys().filter_map(|sha| self.instance(sha)).collect()
    }

    /// Frames that these objects hold.
    fn frames_of(&self, objects: &[Instance]) -> Vec<FrameId> {
        let of = |k: &serrata_store::KeptFrame| {
            self.known
                .get(&k.sha256)
                .is_some_and(|h| objects.iter().any(|o| o.instance_uid == h.instance_uid))
        };
        self.stand.judged.iter().map(|j| &j.kept).filter(|k| of(k)).map(|k| k.id).collect()
    }

    fn person(&self) -> Person {
        let p = &self.visit.person;
        let or_empty =
            |v: &Option<Personal<String>>| v.clone().unwrap_or_else(|| Personal::new(String::new()));
        Person {
            id: p.id.clone(),
            name: p.name.clone(),
            birth_date: or_empty(&p.birth_date),
            sex: or_empty(&p.sex),
        }
    }

    /// Reads an original, on a thread that may block.
    fn reader(&self, sha256: &str) -> impl Fn() -> Result<Bytes, String> + Send + Sync + use<> {
        let (station, sha256) = (self.station.clone(), sha256.to_owned());
        let runtime = tokio::runtime::Handle::current();
        move || runtime.block_on(station.store().read_original(&sha256)).map_err(|e| e.to_string())
    }

    /// The accession number: what the pictures say, else the visit's one order that is no provisional one; empty where they differ.
    fn accession(&self) -> String {
        let said = |all: Vec<&str>| -> Vec<String> {
            let unique: BTreeSet<&str> = all.into_iter().map(str::trim).filter(|a| !a.is_empty()).collect();
            unique.into_iter().map(str::to_owned).collect()
        };
        let mut numbers = said(self.known.values().map(|h| h.accession.as_str()).collect());
        if numbers.is_empty() {
            let orders = self.stand.facts.orders.iter().map(|(o, _)| o).filter(|o| !o.provisional);
            numbers = said(orders.map(|o| o.number.as_str()).collect());
        }
        match numbers.as_slice() {
            // A short string (PS3.5 §6.2).
            [one] if one.chars().count() <= 16 => one.clone(),
            _ => String::new(),
        }
    }

    /// A series of this visit's study.
    fn series(&self, number: u32) -> String {
        number_of(&[], &format!("series {number} of {}", self.visit.study_uid))
    }

    /// A document about the visit, the `number`-th of its series, from 0.
    fn document(&self, instance_uid: String, series: u32, number: usize) -> NewDocument {
        NewDocument {
            patient: self.person(),
            study_uid: self.visit.study_uid.clone(),
            accession: self.accession(),
            study_began: stamp(self.visit.opened_us),
            made: stamp(self.stand.now_us),
            series_uid: self.series(series),
            instance_uid,
            series_number: series,
            instance_number: nth(number),
        }
    }
}

/// Counted from 1.
fn nth(number: usize) -> u32 {
    u32::try_from(number + 1).unwrap_or(u32::MAX)
}

/// A UID made of objects and words.
fn number_of(instances: &[Instance], words: &str) -> String {
    let mut hash = Sha256::new();
    hash.update(words);
    instances.iter().for_each(|i| hash.update(format!("|{}", i.instance_uid)));
    uid::derived(&hash.finalize().into())
}

/// A moment of the station's clock.
fn stamp(utc_us: i64) -> Stamp {
    Stamp { utc_us, offset_minutes: Some(0), granularity_us: 1_000_000, clock: "station".into() }
}
