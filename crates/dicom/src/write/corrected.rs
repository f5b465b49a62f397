//! A picture once more with the labels that a person corrected. The original stays as it is; the new instance names it.

use super::modules::image_type;
use crate::codes::{self, AGENTS, GAZES, SIDES, Term};
use crate::data::emit::{New, Piece, emit};
use crate::data::part10;
use crate::data::set::{DataSet, Value};
use crate::{uid, when};
use dicom_core::{Tag, VR};
use dicom_dictionary_std::tags;
use serrata_frame::{DecodeError, Limits};
use serrata_words::{Eye, Gaze, Modality, Stamp};

/// What a person corrected, and as what the picture is written anew.
#[derive(Debug, Clone, PartialEq)]
pub struct Correction {
    /// The eye that it is of.
    pub eye: Option<Eye>,
    /// The kind of picture that it is.
    pub modality: Option<Modality>,
    /// The gaze that it was taken with.
    pub gaze: Option<Gaze>,
    /// When it was corrected.
    pub corrected: Stamp,
    /// Series Instance UID of corrected pictures.
    pub series_uid: String,
    /// SOP Instance UID of the new object.
    pub instance_uid: String,
    /// Number of the series in the study.
    pub series_number: u32,
    /// Number of the picture in the series.
    pub instance_number: u32,
}

/// Writes a picture's file once more: pixels byte for byte, labels as corrected. What they were stands in Original Attributes
/// Sequence (PS3.3 C.12.1), and Referenced Image Sequence names the original.
///
/// # Errors
/// [`DecodeError`] where the bytes are no DICOM picture of one frame, a UID or time is not valid, or a kind was corrected that a
/// header cannot tell without knowing the light (autofluorescence, infrared).
pub fn write_corrected(bytes: &[u8], c: &Correction) -> Result<Vec<u8>, DecodeError> {
    let broken = |detail: &str| DecodeError::Broken { detail: detail.to_owned() };
    let (_, syntax) = part10::start_of(bytes)?;
    let file = part10::split(bytes, Limits::default().bytes)?;
    let set = DataSet::parse(&file.data, file.syntax.encoding, Tag(0xFFFF, 0xFFFF))?;
    if set.cut {
        return Err(DecodeError::Truncated);
    }
    if set.get(tags::PIXEL_DATA).is_none() || set.whole(tags::NUMBER_OF_FRAMES).is_some_and(|n| n != 1) {
        return Err(DecodeError::Unsupported {
            what: "labels of an object that is no picture of one frame".to_owned(),
        });
    }
    let class = set.text(tags::SOP_CLASS_UID).unwrap_or_default();
    let original = set.text(tags::SOP_INSTANCE_UID).unwrap_or_default();
    if ![&class, &original, &c.series_uid, &c.instance_uid].into_iter().all(|u| uid::is_valid(u)) {
        return Err(broken("a number (UID) of it is not valid"));
    }
    let at =
        when::write(&c.corrected).ok_or_else(|| broken("the time of the correction cannot be written"))?;
    // With its own zone: the file's is that of the instrument.
    let at = format!("{}{}{}", at.date, at.time, at.zone.unwrap_or_default());
    let (mut new, gone) = (labels(&set, c)?, gone(c));
    let touched: Vec<Tag> = new.iter().map(|p| p.tag).chain(gone.iter().copied()).collect();
    let before: Vec<Piece<'_>> =
        set.elements.iter().filter(|e| touched.contains(&e.tag)).filter_map(as_it_was).collect();
    let text = |tag, vr, value: &str| Piece { tag, vr, value: New::Other(value.as_bytes().to_vec()) };
    new.extend([
        text(tags::SOP_INSTANCE_UID, VR::UI, &c.instance_uid),
        text(tags::SERIES_INSTANCE_UID, VR::UI, &c.series_uid),
        text(tags::SERIES_NUMBER, VR::IS, &c.series_number.to_string()),
        text(tags::INSTANCE_NUMBER, VR::IS, &c.instance_number.to_string()),
    ]);
    let reference = vec![
        text(tags::REFERENCED_SOP_CLASS_UID, VR::UI, &class),
        text(tags::REFERENCED_SOP_INSTANCE_UID, VR::UI, &original),
    ];
    let change = vec![
        text(tags::SOURCE_OF_PREVIOUS_VALUES, VR::LO, ""),
        text(tags::ATTRIBUTE_MODIFICATION_DATE_TIME, VR::DT, &at),
        text(tags::MODIFYING_SYSTEM, VR::LO, "Serrata"),
        text(tags::REASON_FOR_THE_ATTRIBUTE_MODIFICATION, VR::CS, "CORRECT"),
        items(tags::MODIFIED_ATTRIBUTES_SEQUENCE, vec![before]),
    ];
    new.push(with(&set, tags::ORIGINAL_ATTRIBUTES_SEQUENCE, change));
    new.push(with(&set, tags::REFERENCED_IMAGE_SEQUENCE, reference));
    let replaced: Vec<Tag> = new.iter().map(|p| p.tag).collect();
    let mut all = pieces(&set);
    all.retain(|p| !replaced.contains(&p.tag) && !gone.contains(&p.tag));
    all.append(&mut new);
    let syntax = file.written_as(syntax);
    let mut out = part10::opening(&class, &c.instance_uid, &syntax, "");
    emit(&mut all, file.syntax.encoding, &mut out);
    Ok(out)
}

/// The items of a sequence and one more.
fn with<'a>(set: &'a DataSet<'_>, tag: Tag, item: Vec<Piece<'a>>) -> Piece<'a> {
    items(tag, set.items(tag).iter().map(pieces).chain([item]).collect())
}

/// What would contradict the corrected labels: a side said of the whole series, a dye of what is no dye picture.
fn gone(c: &Correction) -> Vec<Tag> {
    let mut out = Vec::new();
    if c.eye.is_some() {
        out.push(tags::LATERALITY);
    }
    if c.modality.is_some_and(|m| !m.is_dye()) {
        out.extend([tags::CONTRAST_BOLUS_AGENT_SEQUENCE, tags::CONTRAST_BOLUS_AGENT]);
    }
    out
}

/// The labels as they should be.
fn labels<'a>(set: &DataSet<'_>, c: &Correction) -> Result<Vec<Piece<'a>>, DecodeError> {
    let text = |tag, value: &str| Piece { tag, vr: VR::CS, value: New::Other(value.as_bytes().to_vec()) };
    let mut out = Vec::new();
    if let Some(eye) = c.eye {
        out.push(text(tags::IMAGE_LATERALITY, eye.word()));
        // Wide-field objects say the eye twice (C.8.17.11).
        let whole_eye = set.item(tags::ANATOMIC_REGION_SEQUENCE).and_then(|i| i.text(tags::CODE_VALUE));
        if let (true, Some(side)) = (whole_eye.as_deref() == Some(codes::EYE.0), codes::term(SIDES, &eye)) {
            let mut region = term(&codes::EYE);
            region.push(items(tags::ANATOMIC_REGION_MODIFIER_SEQUENCE, vec![term(&side)]));
            out.push(items(tags::ANATOMIC_REGION_SEQUENCE, vec![region]));
        }
    }
    if let Some(gaze) = c.gaze.and_then(|g| codes::term(GAZES, &g)) {
        out.push(text(tags::PATIENT_EYE_MOVEMENT_COMMANDED, "YES"));
        out.push(items(tags::PATIENT_EYE_MOVEMENT_COMMAND_CODE_SEQUENCE, vec![term(&gaze)]));
    }
    if let Some(modality) = c.modality {
        let Some(word) = image_type(modality) else {
            let what = format!("a label of {} without knowing the light", modality.screen());
            return Err(DecodeError::Unsupported { what });
        };
        if (modality == Modality::Colour) != (set.u16(tags::SAMPLES_PER_PIXEL) == Some(3)) {
            let what = format!("a label of {} on pixels of another kind", modality.screen());
            return Err(DecodeError::Unsupported { what });
        }
        let kind = set.texts(tags::IMAGE_TYPE);
        let part = |k: usize, usual: &str| kind.get(k).cloned().unwrap_or_else(|| usual.to_owned());
        let kind = [part(0, "ORIGINAL"), part(1, "PRIMARY"), part(2, ""), word.to_owned()];
        out.push(text(tags::IMAGE_TYPE, &kind.join("\\")));
        if let Some(agent) = codes::term(AGENTS, &modality) {
            out.push(items(tags::CONTRAST_BOLUS_AGENT_SEQUENCE, vec![agent_of(set, &agent)]));
        }
    }
    Ok(out)
}

/// The agent, with what the header said of another one's needle: the same was injected, only its name was wrong.
fn agent_of<'a>(set: &DataSet<'_>, agent: &Term) -> Vec<Piece<'a>> {
    let mut item = term(agent);
    let empty = |tag, vr| Piece { tag, vr, value: New::Other(Vec::new()) };
    let start = set
        .item(tags::CONTRAST_BOLUS_AGENT_SEQUENCE)
        .and_then(|i| i.item(tags::CONTRAST_ADMINISTRATION_PROFILE_SEQUENCE))
        .and_then(|i| i.text(tags::CONTRAST_BOLUS_START_TIME));
    item.extend([
        items(tags::CONTRAST_BOLUS_ADMINISTRATION_ROUTE_SEQUENCE, vec![term(&codes::INTRAVENOUS)]),
        Piece {
            tag: tags::CONTRAST_BOLUS_AGENT_NUMBER,
            vr: VR::US,
            value: New::Other(set.encoding.of_u16(1).to_vec()),
        },
        empty(tags::CONTRAST_BOLUS_VOLUME, VR::DS),
        items(tags::CONTRAST_BOLUS_INGREDIENT_CODE_SEQUENCE, Vec::new()),
        empty(tags::CONTRAST_BOLUS_INGREDIENT_CONCENTRATION, VR::DS),
    ]);
    if let Some(start) = start {
        let start =
            Piece { tag: tags::CONTRAST_BOLUS_START_TIME, vr: VR::TM, value: New::Other(start.into_bytes()) };
        item.push(items(
            tags::CONTRAST_ADMINISTRATION_PROFILE_SEQUENCE,
            vec![vec![empty(tags::CONTRAST_BOLUS_VOLUME, VR::DS), start]],
        ));
    }
    item
}

fn term<'a>(t: &Term) -> Vec<Piece<'a>> {
    [
        (tags::CODE_VALUE, VR::SH, t.0),
        (tags::CODING_SCHEME_DESIGNATOR, VR::SH, t.1),
        (tags::CODE_MEANING, VR::LO, t.2),
    ]
    .map(|(tag, vr, v)| Piece { tag, vr, value: New::Other(v.as_bytes().to_vec()) })
    .into()
}

const fn items(tag: Tag, items: Vec<Vec<Piece<'_>>>) -> Piece<'_> {
    Piece { tag, vr: VR::SQ, value: New::Items(items) }
}

/// All elements of a data set as they were, but for the lengths of groups, which are retired and would be wrong.
fn pieces<'a>(set: &'a DataSet<'_>) -> Vec<Piece<'a>> {
    set.elements.iter().filter_map(as_it_was).collect()
}

fn as_it_was<'a>(e: &'a crate::data::set::Element<'_>) -> Option<Piece<'a>> {
    if e.tag.element() == 0 {
        return None;
    }
    let (vr, value) = match &e.value {
        Value::Bytes(b) => (e.vr, New::Same(b)),
        // Items of unknown VR are read in implicit VR; what is written is a sequence like any other.
        Value::Items(all) => (VR::SQ, New::Items(all.iter().map(pieces).collect())),
        Value::Fragments(f) => (e.vr, New::Fragments(f)),
    };
    Some(Piece { tag: e.tag, vr, value })
}
