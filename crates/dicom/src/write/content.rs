//! Content items of structured documents (PS3.3 C.17.3).

use super::build::Build;
use super::document::references;
use crate::codes::Term;
use crate::scu::Instance;
use dicom_core::{PrimitiveValue, VR};
use dicom_dictionary_std::tags;
use std::collections::BTreeMap;

/// Points of an outline that fit into one value of 65,534 bytes (PS3.5 §7.1.2), less the last, which closes it.
const MOST_POINTS: usize = 8190;

/// Designator of our own codes: each word with its meaning beside it.
const OWN: &str = "99SERRATA";

/// A word of ours as a code, of at most 16 characters.
pub(super) fn own_code(word: &str) -> Build {
    own_code_called(word, &word.replace('_', " "))
}

/// The same with a meaning of its own.
pub(super) fn own_code_called(word: &str, meaning: &str) -> Build {
    let mut code = Build::default();
    code.text(tags::CODE_VALUE, VR::SH, word).text(tags::CODING_SCHEME_DESIGNATOR, VR::SH, OWN).text(
        tags::CODE_MEANING,
        VR::LO,
        meaning,
    );
    code
}

fn item(relation: &str, kind: &str) -> Build {
    let mut item = Build::default();
    item.text(tags::RELATIONSHIP_TYPE, VR::CS, relation).text(tags::VALUE_TYPE, VR::CS, kind);
    item
}

fn named(relation: &str, kind: &str, name: Build) -> Build {
    let mut item = item(relation, kind);
    item.items(tags::CONCEPT_NAME_CODE_SEQUENCE, vec![name]);
    item
}

/// A coded value.
pub(super) fn code(relation: &str, name: Term, value: Build) -> Build {
    code_named(relation, Build::code(&name), value)
}

/// The same with a name of any scheme.
pub(super) fn code_named(relation: &str, name: Build, value: Build) -> Build {
    let mut item = named(relation, "CODE", name);
    item.items(tags::CONCEPT_CODE_SEQUENCE, vec![value]);
    item
}

/// Words.
pub(super) fn text(relation: &str, name: Term, words: &str) -> Build {
    text_named(relation, Build::code(&name), words)
}

/// The same with a name of any scheme.
pub(super) fn text_named(relation: &str, name: Build, words: &str) -> Build {
    let mut item = named(relation, "TEXT", name);
    item.text(tags::TEXT_VALUE, VR::UT, words);
    item
}

/// A UID.
pub(super) fn uid_reference(relation: &str, name: Term, uid: &str) -> Build {
    let mut item = named(relation, "UIDREF", Build::code(&name));
    item.text(tags::UID, VR::UI, uid);
    item
}

/// A number with its unit and what stands below it.
pub(super) fn number(relation: &str, name: Build, value: f64, unit: Term, below: Vec<Build>) -> Build {
    let mut measured = Build::default();
    measured
        .text(tags::NUMERIC_VALUE, VR::DS, &decimal(value))
        .codes(tags::MEASUREMENT_UNITS_CODE_SEQUENCE, &[unit]);
    let mut item = named(relation, "NUM", name);
    item.items(tags::MEASURED_VALUE_SEQUENCE, vec![measured]);
    if !below.is_empty() {
        item.items(tags::CONTENT_SEQUENCE, below);
    }
    item
}

/// A decimal string of at most 16 characters (PS3.5 §6.2).
fn decimal(value: f64) -> String {
    let plain = format!("{value}");
    if plain.len() <= 16 { plain } else { format!("{value:.8e}") }
}

/// A picture; of one that holds several frames, which.
pub(super) fn image(relation: &str, name: Option<Term>, picture: &Instance, frame: Option<u32>) -> Build {
    let mut item = item(relation, "IMAGE");
    if let Some(name) = name {
        item.codes(tags::CONCEPT_NAME_CODE_SEQUENCE, &[name]);
    }
    let mut to = references(std::slice::from_ref(picture));
    if let (Some(frame), Some(to)) = (frame, to.first_mut()) {
        to.text(tags::REFERENCED_FRAME_NUMBER, VR::IS, &frame.to_string());
    }
    item.items(tags::REFERENCED_SOP_SEQUENCE, to);
    item
}

/// A closed outline in a picture: columns and rows in pixels, (0, 0) the outer corner of the first pixel (C.18.6.1.2).
pub(super) fn outline(name: Term, ring: &[[f64; 2]], picture: &Instance, frame: Option<u32>) -> Build {
    let mut item = named("CONTAINS", "SCOORD", Build::code(&name));
    #[allow(clippy::cast_possible_truncation)] // the attribute is single precision
    let points: Vec<f32> = ring
        .iter()
        .step_by(ring.len().div_ceil(MOST_POINTS).max(1))
        .chain(ring.first())
        .flat_map(|p| [p[0] as f32, p[1] as f32])
        .collect();
    item.text(tags::GRAPHIC_TYPE, VR::CS, "POLYLINE")
        .value(tags::GRAPHIC_DATA, VR::FL, PrimitiveValue::F32(points.into()))
        .items(tags::CONTENT_SEQUENCE, vec![image("SELECTED FROM", None, picture, frame)]);
    item
}

/// A container with what it holds.
pub(super) fn container(name: Term, inside: Vec<Build>, of: Option<&str>) -> Build {
    let mut item = named("CONTAINS", "CONTAINER", Build::code(&name));
    item.text(tags::CONTINUITY_OF_CONTENT, VR::CS, "SEPARATE").items(tags::CONTENT_SEQUENCE, inside);
    if let Some(number) = of {
        item.items(tags::CONTENT_TEMPLATE_SEQUENCE, vec![template(number)]);
    }
    item
}

/// Which template of PS3.16 content follows.
pub(super) fn template(number: &str) -> Build {
    let mut item = Build::default();
    item.text(tags::MAPPING_RESOURCE, VR::CS, "DCMR").text(tags::TEMPLATE_IDENTIFIER, VR::CS, number);
    item
}

/// The named instances by study and series, as the standard wants them listed.
pub(super) fn evidence(pictures: &[Instance]) -> Vec<Build> {
    let mut studies: BTreeMap<&str, BTreeMap<&str, Vec<Instance>>> = BTreeMap::new();
    for p in pictures {
        studies.entry(&p.study_uid).or_default().entry(&p.series_uid).or_default().push(p.clone());
    }
    let series = |(uid, all): (&str, Vec<Instance>)| {
        let mut item = Build::default();
        item.text(tags::SERIES_INSTANCE_UID, VR::UI, uid)
            .items(tags::REFERENCED_SOP_SEQUENCE, references(&all));
        item
    };
    studies
        .into_iter()
        .map(|(uid, all)| {
            let mut item = Build::default();
            item.text(tags::STUDY_INSTANCE_UID, VR::UI, uid)
                .items(tags::REFERENCED_SERIES_SEQUENCE, all.into_iter().map(series).collect());
            item
        })
        .collect()
}
