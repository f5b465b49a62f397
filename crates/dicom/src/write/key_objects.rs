//! Key Object Selection (PS3.3 A.35.4, PS3.16 TID 2010): pictures named for a reason.

use super::WriteError;
use super::build::Build;
use super::document::{NewDocument, references};
use crate::codes::Term;
use crate::scu::Instance;
use dicom_core::VR;
use dicom_dictionary_std::tags;
use std::collections::BTreeMap;

/// Key Object Selection Document Storage.
const KEY_OBJECTS: &str = "1.2.840.10008.5.1.4.1.1.88.59";

const MODIFIER: Term = Term("113011", "DCM", "Document Title Modifier");
const DESCRIPTION: Term = Term("113012", "DCM", "Key Object Description");

/// Why pictures are named: titles of CID 7010.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum KeyReason {
    /// They meet what was ordered.
    OfInterest,
    /// They were set aside for their quality; what was wrong is told beside.
    Quality(Flaw),
}

/// What was wrong: CID 7011, and where that has no word of its own, a word of ours beside the nearest.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Flaw {
    /// Something in front of the retina: lid, lash, blink, reflex, dust.
    Artifact,
    /// Off centre, too near, too far.
    Positioning,
    /// The eye moved, or the picture is blurred.
    Motion,
    /// Too dark.
    UnderExposed,
    /// Too bright.
    OverExposed,
    /// No retina.
    NoImage,
    /// A person's own reason.
    Other,
}

impl Flaw {
    const fn term(self) -> Term {
        match self {
            Self::Artifact => Term("111207", "DCM", "Image artifact(s)"),
            Self::Positioning => Term("111209", "DCM", "Positioning"),
            Self::Motion => Term("111210", "DCM", "Motion blur"),
            Self::UnderExposed => Term("111211", "DCM", "Under exposed"),
            Self::OverExposed => Term("111212", "DCM", "Over exposed"),
            Self::NoImage => Term("111213", "DCM", "No image"),
            Self::Other => Term("111220", "DCM", "Other failure"),
        }
    }

    /// The flaw that a finding's word stands for.
    #[must_use]
    pub fn of(finding: &str) -> Self {
        match finding {
            "blink" | "lid" | "lash" | "reflex" | "iris_shadow" | "floater" | "smear" | "dust" | "haze" => {
                Self::Artifact
            }
            "too_close" | "too_far" | "off_centre" => Self::Positioning,
            "motion" | "blur" => Self::Motion,
            "underexposed" => Self::UnderExposed,
            "overexposed" => Self::OverExposed,
            "no_retina" => Self::NoImage,
            _ => Self::Other,
        }
    }
}

/// Writes a selection of pictures. `own` is the finding's word in our own scheme, where one says more than the standard's;
/// `words` says it for people.
///
/// # Errors
/// [`WriteError`] where nothing is named, or a UID or a time is not valid.
pub fn write_key_objects(
    document: &NewDocument,
    reason: KeyReason,
    own: Option<&str>,
    words: &str,
    pictures: &[Instance],
) -> Result<Vec<u8>, WriteError> {
    if pictures.is_empty() {
        return Err(WriteError::Value { what: "a picture", remedy: "one or more" });
    }
    let mut set = document.begin(KEY_OBJECTS, "KO")?;
    let title = match reason {
        KeyReason::OfInterest => Term("113000", "DCM", "Of Interest"),
        KeyReason::Quality(_) => Term("113001", "DCM", "Rejected for Quality Reasons"),
    };
    let mut content = Vec::new();
    if let KeyReason::Quality(flaw) = reason {
        content.push(coded("HAS CONCEPT MOD", &MODIFIER, Build::code(&flaw.term())));
        if let Some(word) = own {
            let mut code = Build::default();
            code.text(tags::CODE_VALUE, VR::SH, word)
                .text(tags::CODING_SCHEME_DESIGNATOR, VR::SH, "99SERRATA")
                .text(tags::CODE_MEANING, VR::LO, &word.replace('_', " "));
            content.push(coded("HAS CONCEPT MOD", &MODIFIER, code));
        }
    }
    if !words.is_empty() {
        let mut text = Build::default();
        text.text(tags::RELATIONSHIP_TYPE, VR::CS, "CONTAINS")
            .text(tags::VALUE_TYPE, VR::CS, "TEXT")
            .codes(tags::CONCEPT_NAME_CODE_SEQUENCE, &[DESCRIPTION])
            .text(tags::TEXT_VALUE, VR::UT, words);
        content.push(text);
    }
    for picture in references(pictures) {
        let mut image = Build::default();
        image
            .text(tags::RELATIONSHIP_TYPE, VR::CS, "CONTAINS")
            .text(tags::VALUE_TYPE, VR::CS, "IMAGE")
            .items(tags::REFERENCED_SOP_SEQUENCE, vec![picture]);
        content.push(image);
    }
    let mut template = Build::default();
    template.text(tags::MAPPING_RESOURCE, VR::CS, "DCMR").text(tags::TEMPLATE_IDENTIFIER, VR::CS, "2010");
    set.empty(&[(tags::REFERENCED_PERFORMED_PROCEDURE_STEP_SEQUENCE, VR::SQ)])
        .items(tags::CURRENT_REQUESTED_PROCEDURE_EVIDENCE_SEQUENCE, evidence(pictures))
        .text(tags::VALUE_TYPE, VR::CS, "CONTAINER")
        .codes(tags::CONCEPT_NAME_CODE_SEQUENCE, &[title])
        .text(tags::CONTINUITY_OF_CONTENT, VR::CS, "SEPARATE")
        .items(tags::CONTENT_TEMPLATE_SEQUENCE, vec![template])
        .items(tags::CONTENT_SEQUENCE, content);
    document.finish(KEY_OBJECTS, set)
}

fn coded(relation: &str, name: &Term, code: Build) -> Build {
    let mut item = Build::default();
    item.text(tags::RELATIONSHIP_TYPE, VR::CS, relation)
        .text(tags::VALUE_TYPE, VR::CS, "CODE")
        .codes(tags::CONCEPT_NAME_CODE_SEQUENCE, std::slice::from_ref(name))
        .items(tags::CONCEPT_CODE_SEQUENCE, vec![code]);
    item
}

/// The named instances by study and series, as the standard wants them listed.
fn evidence(pictures: &[Instance]) -> Vec<Build> {
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
