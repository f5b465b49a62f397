//! Key Object Selection (PS3.3 A.35.4, PS3.16 TID 2010): pictures named for a reason.

use super::WriteError;
use super::build::Build;
use super::content::{code, evidence, image, own_code, template, text};
use super::document::NewDocument;
use crate::codes::Term;
use crate::scu::Instance;
use dicom_core::VR;
use dicom_dictionary_std::tags;

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
        content.push(code("HAS CONCEPT MOD", MODIFIER, Build::code(&flaw.term())));
        if let Some(word) = own {
            content.push(code("HAS CONCEPT MOD", MODIFIER, own_code(word)));
        }
    }
    if !words.is_empty() {
        content.push(text("CONTAINS", DESCRIPTION, words));
    }
    content.extend(pictures.iter().map(|p| image("CONTAINS", None, p, None)));
    set.empty(&[(tags::REFERENCED_PERFORMED_PROCEDURE_STEP_SEQUENCE, VR::SQ)])
        .items(tags::CURRENT_REQUESTED_PROCEDURE_EVIDENCE_SEQUENCE, evidence(pictures))
        .text(tags::VALUE_TYPE, VR::CS, "CONTAINER")
        .codes(tags::CONCEPT_NAME_CODE_SEQUENCE, &[title])
        .text(tags::CONTINUITY_OF_CONTENT, VR::CS, "SEPARATE")
        .items(tags::CONTENT_TEMPLATE_SEQUENCE, vec![template("2010")])
        .items(tags::CONTENT_SEQUENCE, content);
    document.finish(KEY_OBJECTS, set)
}
