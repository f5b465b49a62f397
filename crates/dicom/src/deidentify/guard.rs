//! Whether a copy still holds what names the patient.

use crate::data::set::{DataSet, Value};
use dicom_core::{Tag, VR};
use dicom_dictionary_std::tags;
use memchr::memmem;
use std::collections::BTreeSet;

/// Shortest value that is searched for, bytes: shorter ones stand everywhere by chance (judgement).
const SHORTEST: usize = 4;
/// Shortest one that is searched for in pixels, where bytes are of any kind: by chance one of six bytes stands in 30 MB once in ten
/// million pictures.
const SHORTEST_IN_PIXELS: usize = 6;

/// Attributes whose values name the patient or the case. Those of staff and house go by the profile alone: a colour's name may be
/// an operator's.
const NAMING: &[Tag] = &[
    tags::PATIENT_NAME,
    tags::PATIENT_ID,
    tags::PATIENT_BIRTH_DATE,
    Tag(0x0010, 0x1000), // Other Patient IDs, retired and still written
    tags::OTHER_PATIENT_NAMES,
    tags::PATIENT_BIRTH_NAME,
    tags::PATIENT_ADDRESS,
    tags::PATIENT_TELEPHONE_NUMBERS,
    tags::ISSUER_OF_PATIENT_ID,
    tags::ACCESSION_NUMBER,
    tags::STUDY_INSTANCE_UID,
    tags::SERIES_INSTANCE_UID,
    tags::SOP_INSTANCE_UID,
    tags::FRAME_OF_REFERENCE_UID,
    tags::SYNCHRONIZATION_FRAME_OF_REFERENCE_UID,
];

/// The values by which an object could be found again, in lower case; names in their parts.
pub(super) fn naming(set: &DataSet<'_>, out: &mut BTreeSet<String>) {
    for e in &set.elements {
        match &e.value {
            Value::Items(items) => items.iter().for_each(|i| naming(i, out)),
            Value::Bytes(b) if NAMING.contains(&e.tag) => {
                let text = set.charset.decode(b);
                let parts: Vec<&str> = if matches!(e.vr, VR::PN) {
                    text.split(['^', '=', '\\', ' ']).collect()
                } else {
                    text.split('\\').collect()
                };
                let clean = parts.into_iter().map(|p| p.trim_matches([' ', '\0']).to_lowercase());
                out.extend(clean.filter(|p| p.len() >= SHORTEST));
            }
            _ => {}
        }
    }
}

/// Whether one of the values stands in these bytes, whatever the case of their letters.
pub(super) fn found(bytes: &[u8], values: &BTreeSet<String>, pixels: bool) -> bool {
    let lower = bytes.to_ascii_lowercase();
    let least = if pixels { SHORTEST_IN_PIXELS } else { SHORTEST };
    values.iter().any(|v| v.len() >= least && memmem::find(&lower, v.as_bytes()).is_some())
}
