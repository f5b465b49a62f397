//! Facts of acquisition from a header. Nothing is guessed: where two attributes disagree, the fact stays open and a
//! note says why.

use crate::codes::{self, AGENTS, GAZES, SIDES};
use crate::data::set::{DataSet, Value};
use crate::when;
use dicom_core::Tag;
use dicom_dictionary_std::tags;
use serrata_words::{AcquisitionFacts, Eye, Modality, Stamp};

/// Laterality of a series (0020,0060).
const SERIES_LATERALITY: Tag = Tag(0x0020, 0x0060);

/// All facts of a header.
pub(crate) fn facts(set: &DataSet<'_>) -> AcquisitionFacts {
    let mut notes = Vec::new();
    let angles = angles(set);
    let instrument = set.text(tags::MANUFACTURER_MODEL_NAME);
    let clock = instrument.clone().unwrap_or_else(|| "instrument".to_owned());
    AcquisitionFacts {
        eye: eye(set, &mut notes),
        modality: modality(set, &mut notes),
        gaze: set.code(tags::PATIENT_EYE_MOVEMENT_COMMAND_CODE_SEQUENCE).and_then(|c| codes::find(GAZES, &c)),
        acquired: acquired(set, &clock),
        contrast_start: contrast_start(set, &clock),
        instrument,
        centre_view_angle_deg: angles.as_ref().ok().copied().flatten(),
        geometry_problem: angles.err(),
        axial_length_mm: axial_length(set),
        study_uid: set.text(tags::STUDY_INSTANCE_UID),
        instance_uid: set.text(tags::SOP_INSTANCE_UID),
        class_uid: set.text(tags::SOP_CLASS_UID),
        note: (!notes.is_empty()).then(|| notes.join("; ")),
    }
}

/// The eye, where image, series and region agree.
fn eye(set: &DataSet<'_>, notes: &mut Vec<String>) -> Option<Eye> {
    let mut said: Vec<Eye> = Vec::new();
    for tag in [tags::IMAGE_LATERALITY, SERIES_LATERALITY] {
        match set.text(tag).as_deref() {
            Some("R") => said.push(Eye::R),
            Some("L") => said.push(Eye::L),
            Some("B") => {
                notes.push("the header names both eyes".to_owned());
                return None;
            }
            _ => {}
        }
    }
    let region = set.item(tags::ANATOMIC_REGION_SEQUENCE);
    let side = region.and_then(|r| r.code(tags::ANATOMIC_REGION_MODIFIER_SEQUENCE));
    said.extend(side.and_then(|c| codes::find(SIDES, &c)));
    if said.windows(2).any(|w| w[0] != w[1]) {
        notes.push("the header names the right eye in one place and the left in another".to_owned());
        return None;
    }
    said.first().copied()
}

/// The kind of picture from Image Type, agent, channels and light.
fn modality(set: &DataSet<'_>, notes: &mut Vec<String>) -> Option<Modality> {
    let kind = set.texts(tags::IMAGE_TYPE).get(3).cloned().unwrap_or_default();
    let agent = agent(set);
    if set.u16(tags::SAMPLES_PER_PIXEL_USED) == Some(2) {
        notes.push("blue is empty: a colour picture of two lasers".to_owned());
    }
    let typed = match kind.as_str() {
        "COLOR" => Some(Modality::Colour),
        "FA" => Some(Modality::Fa),
        "ICG" => Some(Modality::Icg),
        "RED" => Some(Modality::Red),
        "REDFREE" => Some(Modality::Green),
        _ => None,
    };
    match (typed, agent) {
        (Some(t), Some(a)) if t != a => {
            notes.push(format!("Image Type says {kind}, the contrast agent says {}", a.word()));
            None
        }
        (Some(t), _) => Some(t),
        (None, Some(a)) => Some(a),
        (None, None) => {
            let light = by_light(set);
            if light.is_none() && !kind.is_empty() {
                notes.push(format!("Image Type {kind} alone does not say the kind of picture"));
            }
            light
        }
    }
}

/// The dye of the contrast module, where it is one of those known.
fn agent(set: &DataSet<'_>) -> Option<Modality> {
    let code = set.code(tags::CONTRAST_BOLUS_AGENT_SEQUENCE)?;
    codes::find(AGENTS, &code)
}

/// Autofluorescence and infrared by their light, as [`crate::write_photograph`] writes them: a grey picture without
/// dye whose barrier lies above the excitation, or whose only channel is infrared.
fn by_light(set: &DataSet<'_>) -> Option<Modality> {
    if set.u16(tags::SAMPLES_PER_PIXEL) != Some(1)
        || !set.items(tags::CONTRAST_BOLUS_AGENT_SEQUENCE).is_empty()
    {
        return None;
    }
    let channel = set.code(tags::CHANNEL_DESCRIPTION_CODE_SEQUENCE);
    if channel.is_some_and(|c| codes::INFRARED.is(&c)) {
        return Some(Modality::Infrared);
    }
    let excitation = set.u16(tags::LIGHT_PATH_FILTER_PASS_THROUGH_WAVELENGTH)?;
    let barrier = first_u16(set, tags::IMAGE_PATH_FILTER_PASS_BAND)?;
    (excitation > 0 && barrier > excitation).then_some(Modality::Faf)
}

fn first_u16(set: &DataSet<'_>, tag: Tag) -> Option<u16> {
    let b = set.bytes(tag)?;
    Some(set.encoding.u16([*b.first()?, *b.get(1)?]))
}

/// When the picture was taken: Acquisition DateTime, else date and time apart.
fn acquired(set: &DataSet<'_>, clock: &str) -> Option<Stamp> {
    let zone = set.text(tags::TIMEZONE_OFFSET_FROM_UTC).and_then(|z| when::offset(&z));
    if let Some(stamp) = set.text(tags::ACQUISITION_DATE_TIME).and_then(|dt| when::from_dt(&dt, zone, clock))
    {
        return Some(stamp);
    }
    let (da, tm) = (set.text(tags::ACQUISITION_DATE)?, set.text(tags::ACQUISITION_TIME)?);
    when::from_da_tm(&da, &tm, zone, clock)
}

/// When the injection began: Contrast/Bolus Start Time of the agent's administration profile (PS3.3 C.7.6.4b) or of the classic
/// module (C.7.6.4). It is a time without a date: the picture's own, or the day before where it would lie after the picture.
fn contrast_start(set: &DataSet<'_>, clock: &str) -> Option<Stamp> {
    const DAY_US: i64 = 86_400_000_000;
    let profile = set
        .item(tags::CONTRAST_BOLUS_AGENT_SEQUENCE)
        .and_then(|a| a.item(tags::CONTRAST_ADMINISTRATION_PROFILE_SEQUENCE));
    let said = profile
        .and_then(|p| p.text(tags::CONTRAST_BOLUS_START_TIME))
        .or_else(|| set.text(tags::CONTRAST_BOLUS_START_TIME))?;
    let taken = acquired(set, clock)?;
    let zone = taken.offset_minutes;
    let local = taken.utc_us + i64::from(zone.unwrap_or(0)) * 60_000_000;
    let day = local.div_euclid(DAY_US) * DAY_US;
    let mut start = when::from_da_tm("19700101", &said, zone, clock)?;
    start.utc_us += day;
    if start.utc_us > taken.utc_us.saturating_add(taken.granularity_us.max(start.granularity_us)) {
        start.utc_us -= DAY_US;
    }
    Some(start)
}

/// View angles of the centre pixel: both or none, above zero, and not beside a spacing in mm, which PS3.3 C.8.17.2
/// forbids there.
fn angles(set: &DataSet<'_>) -> Result<Option<[f64; 2]>, String> {
    let said = |tag| set.get(tag).is_some_and(|e| matches!(&e.value, Value::Bytes(b) if !b.is_empty()));
    let (x, y) = (tags::X_COORDINATES_CENTER_PIXEL_VIEW_ANGLE, tags::Y_COORDINATES_CENTER_PIXEL_VIEW_ANGLE);
    match (said(x), said(y)) {
        (false, false) => return Ok(None),
        (true, true) => {}
        (true, false) => return Err("(0022,1528) is there without (0022,1529)".to_owned()),
        (false, true) => return Err("(0022,1529) is there without (0022,1528)".to_owned()),
    }
    if set.text(tags::PIXEL_SPACING).is_some() {
        return Err("view angles (0022,1528) and Pixel Spacing (0028,0030) are both there".to_owned());
    }
    match (set.decimal(x), set.decimal(y)) {
        (Some(x), Some(y)) if x > 0.0 && y > 0.0 && x.is_finite() && y.is_finite() => Ok(Some([x, y])),
        (x, y) => Err(format!("the view angles are {x:?} and {y:?}, expected degrees above 0")),
    }
}

fn axial_length(set: &DataSet<'_>) -> Option<(f64, String)> {
    let mm = set.decimal(tags::OPHTHALMIC_AXIAL_LENGTH)?;
    (mm > 0.0).then(|| (mm, set.text(tags::OPHTHALMIC_AXIAL_LENGTH_METHOD).unwrap_or_default()))
}
