//! Copies without what names the patient: PS3.15 Annex E, Basic Application Level Confidentiality Profile, with the options Retain
//! Longitudinal Temporal Information with Modified Dates and, where asked for, Retain Patient Characteristics and Retain Device
//! Identity.
//!
//! Pixels stay byte for byte; all else is written anew: private groups, overlays and curves go, UIDs are numbered anew, dates move by
//! whole days. At last the copy is searched for every value that named the patient.

mod guard;
mod profile;
mod secret;

pub use secret::Secret;

use crate::data::emit::{New, Piece, emit};
use crate::data::part10;
use crate::data::set::{DataSet, Element, Value};
use crate::uid;
use dicom_core::dictionary::{DataDictionary, DataDictionaryEntry};
use dicom_core::{Tag, VR};
use dicom_dictionary_std::{StandardDataDictionary, tags};
use profile::Action;
use serrata_frame::{DecodeError, Limits};
use std::collections::BTreeSet;

/// How a copy is made.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Deidentify {
    /// What numbers, dates and codes are made of.
    pub secret: Secret,
    /// The patient's number in this house: dates move alike wherever it stands.
    pub patient_id: String,
    /// What stands for the patient's name and number.
    pub code: String,
    /// Sex, age, size and weight stay.
    pub keep_characteristics: bool,
    /// Names and numbers of the instrument stay.
    pub keep_device: bool,
}

/// A change, told without any value.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Change {
    /// Where, for example `(0010,0010)`, an item of a sequence after a slash.
    pub tag: String,
    /// Its name in the standard, or `private`.
    pub name: String,
    /// `removed`, `emptied`, `replaced`, `numbered anew`, `moved by whole days`.
    pub what: &'static str,
}

/// A copy.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Copy {
    /// The whole file.
    pub file: Vec<u8>,
    /// Its SOP Instance UID.
    pub instance_uid: String,
    /// What was changed, in the order of the tags, each once.
    pub changes: Vec<Change>,
}

/// Sex, age, size, weight (option Retain Patient Characteristics, the part that reading a retina can use).
const CHARACTERISTICS: &[Tag] =
    &[tags::PATIENT_SEX, tags::PATIENT_AGE, tags::PATIENT_SIZE, tags::PATIENT_WEIGHT];

/// What tells the instrument (option Retain Device Identity).
const DEVICE: &[Tag] = &[tags::STATION_NAME, tags::DEVICE_SERIAL_NUMBER, tags::DEVICE_UID, tags::DETECTOR_ID];

/// Dates and times of birth are no part of the day's clock.
const BIRTH: &[Tag] = &[tags::PATIENT_BIRTH_DATE, tags::PATIENT_BIRTH_TIME];

/// Makes a copy of a picture's file.
///
/// # Errors
/// [`DecodeError`] where the bytes are no DICOM picture or are damaged, where the header says that text is burnt into the pixels,
/// or where the copy would still hold a value that names the patient.
pub fn deidentify(bytes: &[u8], how: &Deidentify) -> Result<Copy, DecodeError> {
    let broken = |detail: String| DecodeError::Broken { detail };
    let (_, syntax) = part10::start_of(bytes)?;
    let file = part10::split(bytes, Limits::default().bytes)?;
    let set = DataSet::parse(&file.data, file.syntax.encoding, Tag(0xFFFF, 0xFFFF))?;
    if set.cut {
        return Err(DecodeError::Truncated);
    }
    if set.get(tags::PIXEL_DATA).is_none() {
        return Err(DecodeError::Unsupported { what: "a DICOM object without a picture".to_owned() });
    }
    if set.text(tags::BURNED_IN_ANNOTATION).is_some_and(|t| t == "YES") {
        return Err(broken("its header says that text is burnt into the picture".to_owned()));
    }
    let days = how.secret.days(&how.patient_id);
    let mut work = Work { how, days, changes: BTreeSet::new() };
    let mut pieces = work.set(&set, "");
    let text = |tag, vr, value: &str| Piece { tag, vr, value: New::Other(value.as_bytes().to_vec()) };
    pieces.retain(|p| !MARKS.contains(&p.tag));
    pieces.push(text(tags::PATIENT_IDENTITY_REMOVED, VR::CS, "YES"));
    pieces.push(text(tags::LONGITUDINAL_TEMPORAL_INFORMATION_MODIFIED, VR::CS, "MODIFIED"));
    pieces.push(text(tags::BURNED_IN_ANNOTATION, VR::CS, "NO"));
    let mut codes = vec![
        ("113100", "Basic Application Confidentiality Profile"),
        ("113107", "Retain Longitudinal Temporal Information Modified Dates Option"),
    ];
    if how.keep_characteristics {
        codes.push(("113108", "Retain Patient Characteristics Option"));
    }
    if how.keep_device {
        codes.push(("113109", "Retain Device Identity Option"));
    }
    let item = |(value, meaning): &(&str, &str)| {
        vec![
            text(tags::CODE_VALUE, VR::SH, value),
            text(tags::CODING_SCHEME_DESIGNATOR, VR::SH, "DCM"),
            text(tags::CODE_MEANING, VR::LO, meaning),
        ]
    };
    let sequence = New::Items(codes.iter().map(item).collect());
    pieces.push(Piece { tag: tags::DEIDENTIFICATION_METHOD_CODE_SEQUENCE, vr: VR::SQ, value: sequence });
    let class = set.text(tags::SOP_CLASS_UID).unwrap_or_default();
    let instance = set.text(tags::SOP_INSTANCE_UID).unwrap_or_default();
    if !uid::is_valid(&class) || !uid::is_valid(&instance) {
        return Err(broken("it names no valid SOP class and instance".to_owned()));
    }
    let instance_uid = how.secret.uid(&instance);
    let syntax = file.written_as(syntax);
    let mut out = part10::opening(&class, &instance_uid, &syntax, "");
    emit(&mut pieces, file.syntax.encoding, &mut out);
    let mut naming = BTreeSet::new();
    guard::naming(&set, &mut naming);
    naming.remove(&how.code.to_lowercase());
    if let Some(place) = still_named(&out, &naming)? {
        return Err(broken(format!("its copy would still name the patient ({place}), so none is made")));
    }
    Ok(Copy { file: out, instance_uid, changes: work.changes.into_iter().collect() })
}

/// What we say of the copy ourselves.
const MARKS: &[Tag] = &[
    tags::PATIENT_IDENTITY_REMOVED,
    tags::DEIDENTIFICATION_METHOD,
    tags::DEIDENTIFICATION_METHOD_CODE_SEQUENCE,
    tags::LONGITUDINAL_TEMPORAL_INFORMATION_MODIFIED,
    tags::BURNED_IN_ANNOTATION,
];

/// Where a copy still holds one of the values: an attribute, or the pixels; the value itself is not told.
fn still_named(copy: &[u8], naming: &BTreeSet<String>) -> Result<Option<String>, DecodeError> {
    let file = part10::split(copy, Limits::default().bytes)?;
    let set = DataSet::parse(&file.data, file.syntax.encoding, Tag(0xFFFF, 0xFFFF))?;
    Ok(place_in(&set, naming))
}

fn place_in(set: &DataSet<'_>, naming: &BTreeSet<String>) -> Option<String> {
    set.elements.iter().find_map(|e| match &e.value {
        Value::Items(items) => items.iter().find_map(|i| place_in(i, naming)),
        Value::Bytes(b) => {
            let pixels = e.tag == tags::PIXEL_DATA;
            // Names in other alphabets are found in their own encoding, and as text.
            let text = if pixels { String::new() } else { set.charset.decode(b) };
            let hit = guard::found(b, naming, pixels)
                || guard::found(text.to_lowercase().as_bytes(), naming, false);
            hit.then(|| e.tag.to_string())
        }
        Value::Fragments(f) => {
            f.iter().any(|b| guard::found(b, naming, true)).then(|| "the pixels".to_owned())
        }
    })
}

struct Work<'h> {
    how: &'h Deidentify,
    days: i64,
    changes: BTreeSet<Change>,
}

impl Work<'_> {
    fn set<'a>(&mut self, set: &'a DataSet<'_>, within: &str) -> Vec<Piece<'a>> {
        set.elements.iter().filter_map(|e| self.element(set, e, within)).collect()
    }

    fn note(&mut self, e: &Element<'_>, within: &str, what: &'static str) {
        let name = match StandardDataDictionary.by_tag(e.tag) {
            Some(entry) if e.tag.group().is_multiple_of(2) => entry.alias().to_owned(),
            _ => "private".to_owned(),
        };
        self.changes.insert(Change { tag: format!("{within}{}", e.tag), name, what });
    }

    fn element<'a>(&mut self, set: &'a DataSet<'_>, e: &'a Element<'_>, within: &str) -> Option<Piece<'a>> {
        let value = self.value(set, e, within)?;
        // Items of unknown VR are read in implicit VR; what is written is a sequence like any other.
        let vr = if matches!(value, New::Items(_)) { VR::SQ } else { e.vr };
        Some(Piece { tag: e.tag, vr, value })
    }

    /// What stands for an element; none where it goes.
    fn value<'a>(&mut self, set: &'a DataSet<'_>, e: &'a Element<'_>, within: &str) -> Option<New<'a>> {
        let how = self.how;
        let kept = (how.keep_characteristics && CHARACTERISTICS.contains(&e.tag))
            || (how.keep_device && DEVICE.contains(&e.tag));
        let action = if kept { Action::Keep } else { profile::of(e.tag) };
        if e.tag.element() == 0 {
            return None; // lengths of groups are retired and would be wrong
        }
        match &e.value {
            Value::Fragments(f) => Some(New::Fragments(f)),
            Value::Items(items) => {
                if !matches!(action, Action::Keep | Action::Inside | Action::Renumber) {
                    self.note(e, within, "removed");
                    return None;
                }
                let within = format!("{within}{}/", e.tag);
                Some(New::Items(items.iter().map(|i| self.set(i, &within)).collect()))
            }
            Value::Bytes(b) => self.plain(set, e, b, action, within),
        }
    }

    fn plain<'a>(
        &mut self,
        set: &DataSet<'_>,
        e: &Element<'_>,
        b: &'a [u8],
        action: Action,
        within: &str,
    ) -> Option<New<'a>> {
        if e.tag == tags::PATIENT_NAME || e.tag == tags::PATIENT_ID {
            self.note(e, within, "replaced");
            return Some(New::Other(self.how.code.as_bytes().to_vec()));
        }
        // Option Modified Dates: a day moves, a time of day stays.
        if matches!(e.vr, VR::DA | VR::DT) && !BIRTH.contains(&e.tag) && !b.is_empty() {
            let moved = set.charset.decode(b);
            let moved: Option<Vec<String>> = moved.split('\\').map(|v| secret::moved(v, self.days)).collect();
            let Some(moved) = moved else {
                self.note(e, within, "emptied");
                return Some(New::Other(Vec::new()));
            };
            self.note(e, within, "moved by whole days");
            return Some(New::Other(moved.join("\\").into_bytes()));
        }
        if e.vr == VR::TM && !BIRTH.contains(&e.tag) {
            return Some(New::Same(b));
        }
        let numbered = |t: &str| {
            let t = t.trim_matches([' ', '\0']);
            if t.is_empty() || t.starts_with("1.2.840.10008.") {
                t.to_owned()
            } else {
                self.how.secret.uid(t)
            }
        };
        match action {
            _ if e.vr == VR::UI && action != Action::Remove => {
                let before = set.charset.decode(b);
                let after = before.split('\\').map(numbered).collect::<Vec<_>>().join("\\");
                if after.trim_matches([' ', '\0']) == before.trim_matches([' ', '\0']) {
                    return Some(New::Same(b));
                }
                self.note(e, within, "numbered anew");
                Some(New::Other(after.into_bytes()))
            }
            // Whom the table does not know: names and places of the network say nothing of a picture.
            Action::Keep if matches!(e.vr, VR::PN | VR::AE | VR::UN) => {
                self.note(e, within, "removed");
                None
            }
            Action::Keep => Some(New::Same(b)),
            Action::Empty => {
                if !b.is_empty() {
                    self.note(e, within, "emptied");
                }
                Some(New::Other(Vec::new()))
            }
            Action::Dummy => {
                self.note(e, within, "replaced");
                match e.vr {
                    VR::LO | VR::SH | VR::ST | VR::LT | VR::UT | VR::UC | VR::PN | VR::CS | VR::AE => {
                        Some(New::Other(b"REMOVED".to_vec()))
                    }
                    VR::IS | VR::DS => Some(New::Other(b"0".to_vec())),
                    // Numbers in binary: as many noughts.
                    _ => Some(New::Other(vec![0; b.len()])),
                }
            }
            Action::Remove | Action::Renumber | Action::Inside => {
                self.note(e, within, "removed");
                None
            }
        }
    }
}

#[cfg(test)]
mod tests;
