//! What was seen and measured in pictures, as a structured report: Comprehensive SR (PS3.3 A.35.3) by TID 1500 of PS3.16.

use super::WriteError;
use super::build::Build;
use super::content::{
    code, code_named, container, evidence, image, number, outline, own_code, own_code_called, template, text,
    text_named, uid_reference,
};
use super::document::NewDocument;
use crate::codes::{RETINA, SIDES, Term, term};
use crate::scu::Instance;
use crate::uid;
use dicom_core::VR;
use dicom_dictionary_std::tags;
use serrata_words::Eye;
use sha2::{Digest, Sha256};

/// Comprehensive SR Storage.
const COMPREHENSIVE: &str = "1.2.840.10008.5.1.4.1.1.88.33";

const AREA: Term = Term("42798000", "SCT", "Area");
const METHOD: Term = Term("370129005", "SCT", "Measurement Method");
const SQUARE_MM: Term = Term("mm2", "UCUM", "square millimeter");
const MM: Term = Term("mm", "UCUM", "millimeter");
const PERCENT: Term = Term("%", "UCUM", "percent");
const SECOND: Term = Term("s", "UCUM", "second");
const NO_UNIT: Term = Term("1", "UCUM", "no units");

/// An area in true mm² with what it assumes.
#[derive(Debug, Clone, PartialEq)]
pub struct SaidArea {
    /// mm² on the sphere.
    pub mm2: f64,
    /// 95 % interval of it, mm².
    pub interval: [f64; 2],
    /// Radius of the sphere, mm.
    pub radius_mm: f64,
    /// Where the radius is from, and how the area was measured, in words.
    pub method: String,
}

/// A time of a dye run.
#[derive(Debug, Clone, PartialEq)]
pub struct SaidTime {
    /// Which, as a code of at most 16 characters, for example `av_passage`.
    pub what: String,
    /// The same for people, for example `arterio-venous passage`.
    pub called: String,
    /// Seconds.
    pub seconds: f64,
    /// 95 % interval of them, seconds.
    pub interval: [f64; 2],
}

/// What a named person made of a proposal.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SaidDecision {
    /// A word of the glossary, for example `accepted`.
    pub word: String,
    /// Who: an account or initials.
    pub who: String,
}

/// What is said of one place of one picture.
#[derive(Debug, Clone, PartialEq)]
pub struct Said {
    /// The picture.
    pub picture: Instance,
    /// Its frame from 1, where it holds several.
    pub frame: Option<u32>,
    /// Whether the left or the right eye.
    pub eye: Option<Eye>,
    /// What it is: a word of the glossary, for example `visible_retina` or `lid`.
    pub what: String,
    /// The same for people, which also tells it from others in the report, for example `picture 7: lid, below`.
    pub called: String,
    /// Outlines in pixels of the picture, (0, 0) the outer corner of the first pixel; empty where it has no place of its own.
    pub rings: Vec<Vec<[f64; 2]>>,
    /// The verdict on the picture, a word of the glossary.
    pub verdict: Option<String>,
    /// How sure and how grave, 0 to 1.
    pub score: Option<f64>,
    /// Share of what the instrument fills, 0 to 1.
    pub share: Option<f64>,
    /// Its area, where projection and radius are known.
    pub area: Option<SaidArea>,
    /// Times of the dye run that the picture is the reference of.
    pub times: Vec<SaidTime>,
    /// What a named person made of it, where it was proposed to one.
    pub decision: Option<SaidDecision>,
}

/// Writes what was seen and measured. `method` names the engine with its revision. Each place is a group of its own (TID 1410,
/// without a place TID 1501); numbers stand with the first place of what they are about.
///
/// Areas carry the method in words, the bounds of their 95 % interval and the radius as items below them. Words that the standard
/// does not have are in our own scheme, `99SERRATA`.
///
/// # Errors
/// [`WriteError`] where nothing is said, or a UID, a time or a number is not valid.
pub fn write_report(document: &NewDocument, method: &str, said: &[Said]) -> Result<Vec<u8>, WriteError> {
    if said.is_empty() {
        return Err(WriteError::Value { what: "what was seen", remedy: "one picture or more" });
    }
    let numbers = said.iter().flat_map(|s| {
        let area = s.area.iter().flat_map(|a| [a.mm2, a.interval[0], a.interval[1], a.radius_mm]);
        let times = s.times.iter().flat_map(|t| [t.seconds, t.interval[0], t.interval[1]]);
        [s.score, s.share].into_iter().flatten().chain(area).chain(times)
    });
    if numbers
        .chain(said.iter().flat_map(|s| s.rings.iter().flatten().flatten().copied()))
        .any(|v| !v.is_finite())
    {
        return Err(WriteError::Value { what: "a number", remedy: "a finite one" });
    }
    let mut pictures: Vec<Instance> = Vec::new();
    for s in said {
        if !pictures.contains(&s.picture) {
            pictures.push(s.picture.clone());
        }
    }
    let mut set = document.begin(COMPREHENSIVE, "SR")?;
    let library = pictures.iter().map(|p| image("CONTAINS", None, p, None)).collect();
    let content = vec![
        language(),
        code(
            "HAS OBS CONTEXT",
            Term("121005", "DCM", "Observer Type"),
            Build::code(&Term("121007", "DCM", "Device")),
        ),
        uid_reference(
            "HAS OBS CONTEXT",
            Term("121012", "DCM", "Device Observer UID"),
            &uid::derived(&Sha256::digest(format!("serrata {method}")).into()),
        ),
        text("HAS OBS CONTEXT", Term("121013", "DCM", "Device Observer Name"), &format!("Serrata, {method}")),
        code(
            "HAS CONCEPT MOD",
            Term("121058", "DCM", "Procedure reported"),
            Build::code(&Term("363679005", "SCT", "Imaging procedure")),
        ),
        container(
            Term("111028", "DCM", "Image Library"),
            vec![container(Term("126200", "DCM", "Image Library Group"), library, None)],
            None,
        ),
        container(
            Term("126010", "DCM", "Imaging Measurements"),
            said.iter().flat_map(|s| groups(document, s)).collect(),
            None,
        ),
    ];
    set.empty(&[
        (tags::REFERENCED_PERFORMED_PROCEDURE_STEP_SEQUENCE, VR::SQ),
        (tags::PERFORMED_PROCEDURE_CODE_SEQUENCE, VR::SQ),
    ])
    .items(tags::CURRENT_REQUESTED_PROCEDURE_EVIDENCE_SEQUENCE, evidence(&pictures))
    .text(tags::COMPLETION_FLAG, VR::CS, "COMPLETE")
    .text(tags::VERIFICATION_FLAG, VR::CS, "UNVERIFIED")
    .text(tags::VALUE_TYPE, VR::CS, "CONTAINER")
    .codes(tags::CONCEPT_NAME_CODE_SEQUENCE, &[Term("126000", "DCM", "Imaging Measurement Report")])
    .text(tags::CONTINUITY_OF_CONTENT, VR::CS, "SEPARATE")
    .items(tags::CONTENT_TEMPLATE_SEQUENCE, vec![template("1500")])
    .items(tags::CONTENT_SEQUENCE, content);
    document.finish(COMPREHENSIVE, set)
}

fn language() -> Build {
    let mut item = code(
        "HAS CONCEPT MOD",
        Term("121049", "DCM", "Language of Content Item and Descendants"),
        Build::code(&Term("en", "RFC5646", "English")),
    );
    let country = code(
        "HAS CONCEPT MOD",
        Term("121046", "DCM", "Country of Language"),
        Build::code(&Term("GB", "ISO3166_1", "UNITED KINGDOM")),
    );
    item.items(tags::CONTENT_SEQUENCE, vec![country]);
    item
}

/// One group a place; one without a place where there is none.
fn groups(document: &NewDocument, s: &Said) -> Vec<Build> {
    let many = s.rings.len();
    let places = s.rings.iter().map(Some).chain((many == 0).then_some(None));
    let one = |(k, ring): (usize, Option<&Vec<[f64; 2]>>)| {
        let called = if many > 1 { format!("{} ({} of {many})", s.called, k + 1) } else { s.called.clone() };
        let tracking = Sha256::digest(format!("{} {called}", document.instance_uid)).into();
        let site = s.eye.and_then(|eye| term(SIDES, &eye));
        let mut where_from = code("CONTAINS", Term("363698007", "SCT", "Finding Site"), Build::code(&RETINA));
        where_from.text(tags::RELATIONSHIP_TYPE, VR::CS, "HAS CONCEPT MOD");
        if let Some(side) = site {
            let side = code("HAS CONCEPT MOD", Term("272741003", "SCT", "Laterality"), Build::code(&side));
            where_from.items(tags::CONTENT_SEQUENCE, vec![side]);
        }
        let mut inside = vec![
            text("HAS OBS CONTEXT", Term("112039", "DCM", "Tracking Identifier"), &called),
            uid_reference(
                "HAS OBS CONTEXT",
                Term("112040", "DCM", "Tracking Unique Identifier"),
                &uid::derived(&tracking),
            ),
            code("CONTAINS", Term("121071", "DCM", "Finding"), own_code(&s.what)),
            where_from,
        ];
        match ring {
            Some(ring) => {
                inside.push(outline(Term("111030", "DCM", "Image Region"), ring, &s.picture, s.frame))
            }
            None => {
                inside.push(image("CONTAINS", Some(Term("260753009", "SCT", "Source")), &s.picture, s.frame))
            }
        }
        if k == 0 {
            inside.extend(s.verdict.iter().map(|v| code_named("CONTAINS", own_code("verdict"), own_code(v))));
            if let Some(d) = &s.decision {
                inside.push(code_named("CONTAINS", own_code("decision"), own_code(&d.word)));
                inside.push(text_named("CONTAINS", own_code("decided_by"), &d.who));
            }
            inside.extend(numbers(s));
        }
        let number = if ring.is_some() { "1410" } else { "1501" };
        container(Term("125007", "DCM", "Measurement Group"), inside, Some(number))
    };
    places.enumerate().map(one).collect()
}

fn numbers(s: &Said) -> Vec<Build> {
    let mut out = Vec::new();
    if let Some(a) = &s.area {
        let below = vec![
            text("HAS CONCEPT MOD", METHOD, &a.method),
            number("HAS PROPERTIES", own_code("interval_95_low"), a.interval[0], SQUARE_MM, Vec::new()),
            number("HAS PROPERTIES", own_code("interval_95_high"), a.interval[1], SQUARE_MM, Vec::new()),
            number("INFERRED FROM", own_code("radius"), a.radius_mm, MM, Vec::new()),
        ];
        out.push(number("CONTAINS", Build::code(&AREA), a.mm2, SQUARE_MM, below));
    }
    for t in &s.times {
        let below = vec![
            number("HAS PROPERTIES", own_code("interval_95_low"), t.interval[0], SECOND, Vec::new()),
            number("HAS PROPERTIES", own_code("interval_95_high"), t.interval[1], SECOND, Vec::new()),
        ];
        out.push(number("CONTAINS", own_code_called(&t.what, &t.called), t.seconds, SECOND, below));
    }
    if let Some(share) = s.share {
        out.push(number("CONTAINS", own_code("share"), 100.0 * share, PERCENT, Vec::new()));
    }
    if let Some(score) = s.score {
        out.push(number("CONTAINS", own_code("score"), score, NO_UNIT, Vec::new()));
    }
    out
}
