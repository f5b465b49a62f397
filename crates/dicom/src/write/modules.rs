//! Modules of the three classes (PS3.3 A.41, A.42, A.76).

use super::build::Build;
use super::document::references;
use super::object::{NewObject, WideField};
use super::pixels::Grid;
use super::{WriteError, icc};
use crate::codes::{self, AGENTS, GAZES, SIDES, Term};
use crate::{uid, when};
use dicom_core::{PrimitiveValue, VR};
use dicom_dictionary_std::tags;
use serrata_words::{Eye, Modality, Stamp};
use sha2::{Digest, Sha256};

pub(super) const OPHTHALMIC_8: &str = "1.2.840.10008.5.1.4.1.1.77.1.5.1";
pub(super) const OPHTHALMIC_16: &str = "1.2.840.10008.5.1.4.1.1.77.1.5.2";
pub(super) const WIDE_FIELD: &str = "1.2.840.10008.5.1.4.1.1.77.1.5.5";

/// Projection onto a sphere (CID 4245).
const SPHERICAL: Term = Term("111791", "DCM", "Spherical projection");

/// What montages were put together from (CID 7202).
const MONTAGE_SOURCE: Term = Term("121329", "DCM", "Source image for montage");

/// Value 4 of Image Type (C.8.17.2.1.4); none where the standard has no word.
pub(super) const fn image_type(modality: Modality) -> Option<&'static str> {
    match modality {
        Modality::Colour => Some("COLOR"),
        Modality::Fa => Some("FA"),
        Modality::Icg => Some("ICG"),
        Modality::Red => Some("RED"),
        Modality::Green => Some("REDFREE"),
        Modality::Faf | Modality::Infrared => None,
    }
}

/// SOP Common.
pub(super) fn common(set: &mut Build, object: &NewObject, class: &str) {
    set.text(tags::SPECIFIC_CHARACTER_SET, VR::CS, "ISO_IR 192")
        .text(tags::SOP_CLASS_UID, VR::UI, class)
        .text(tags::SOP_INSTANCE_UID, VR::UI, &object.instance_uid);
    if let Some(zone) = when::write(&object.acquired).and_then(|w| w.zone) {
        set.text(tags::TIMEZONE_OFFSET_FROM_UTC, VR::SH, &zone);
    }
}

/// A time that can be written.
fn written(stamp: &Stamp) -> Result<when::Written, WriteError> {
    when::write(stamp)
        .ok_or(WriteError::Value { what: "a date or time", remedy: "one between the years 1 and 9999" })
}

/// Patient and General Study.
pub(super) fn patient_and_study(set: &mut Build, object: &NewObject) -> Result<(), WriteError> {
    let p = &object.patient;
    let birth: String = p.birth_date.reveal().chars().filter(char::is_ascii_digit).collect();
    let began = written(object.study_began.as_ref().unwrap_or(&object.acquired))?;
    set.text(tags::PATIENT_NAME, VR::PN, p.name.reveal())
        .text(tags::PATIENT_ID, VR::LO, p.id.reveal())
        .text(tags::PATIENT_BIRTH_DATE, VR::DA, &birth)
        .text(tags::PATIENT_SEX, VR::CS, p.sex.reveal())
        .text(tags::STUDY_INSTANCE_UID, VR::UI, &object.study_uid)
        .text(tags::STUDY_DATE, VR::DA, &began.date)
        .text(tags::STUDY_TIME, VR::TM, &began.time)
        .text(tags::STUDY_ID, VR::SH, &object.study_id)
        .text(tags::ACCESSION_NUMBER, VR::SH, &object.accession)
        .empty(&[(tags::REFERRING_PHYSICIAN_NAME, VR::PN)]);
    Ok(())
}

/// General Series, Ophthalmic Photography Series, Synchronization, (Enhanced) General Equipment. The series names no
/// side: the eye stands with the image (C.8.17.5).
pub(super) fn series_and_equipment(set: &mut Build, object: &NewObject) {
    let device = &object.device;
    set.text(tags::MODALITY, VR::CS, "OP")
        .text(tags::SERIES_INSTANCE_UID, VR::UI, &object.series_uid)
        .text(tags::SERIES_NUMBER, VR::IS, &object.series_number.to_string())
        .text(tags::SYNCHRONIZATION_FRAME_OF_REFERENCE_UID, VR::UI, &derived(object, "synchronization"))
        .text(tags::SYNCHRONIZATION_TRIGGER, VR::CS, "NO TRIGGER")
        .text(tags::ACQUISITION_TIME_SYNCHRONIZED, VR::CS, "N")
        .text(tags::MANUFACTURER, VR::LO, &device.manufacturer)
        .text(tags::MANUFACTURER_MODEL_NAME, VR::LO, &device.model)
        .text(tags::DEVICE_SERIAL_NUMBER, VR::LO, &device.serial)
        .text(tags::SOFTWARE_VERSIONS, VR::LO, &device.software);
}

/// A frame-of-reference UID for this series, the same for each of its pictures.
fn derived(object: &NewObject, what: &str) -> String {
    uid::derived(&Sha256::digest(format!("{what} of series {}", object.series_uid)).into())
}

/// General Image, General Acquisition, Image Pixel, Ophthalmic Photography Image.
pub(super) fn image(set: &mut Build, object: &NewObject, grid: &Grid<'_>) -> Result<(), WriteError> {
    let taken = written(&object.acquired)?;
    let moment = format!("{}{}{}", taken.date, taken.time, taken.zone.as_deref().unwrap_or_default());
    // A third value stands in derived pictures only (C.8.17.2.1.4); autofluorescence has no word for the fourth.
    let (origin, third) = if object.sources.is_empty() { ("ORIGINAL", "") } else { ("DERIVED", "MONTAGE") };
    let mut kind = vec![origin.to_owned(), "PRIMARY".to_owned()];
    let fourth = image_type(object.modality);
    if fourth.is_some() || !third.is_empty() {
        kind.push(third.to_owned());
    }
    kind.extend(fourth.map(str::to_owned));
    if !object.sources.is_empty() {
        let source = |mut item: Build| {
            item.codes(tags::PURPOSE_OF_REFERENCE_CODE_SEQUENCE, &[MONTAGE_SOURCE]);
            item
        };
        set.items(tags::SOURCE_IMAGE_SEQUENCE, references(&object.sources).into_iter().map(source).collect());
    }
    set.value(tags::IMAGE_TYPE, VR::CS, PrimitiveValue::Strs(kind.into()))
        .text(tags::INSTANCE_NUMBER, VR::IS, &object.instance_number.to_string())
        .text(tags::CONTENT_DATE, VR::DA, &taken.date)
        .text(tags::CONTENT_TIME, VR::TM, &taken.time)
        .text(tags::ACQUISITION_DATE_TIME, VR::DT, &moment)
        .empty(&[(tags::PATIENT_ORIENTATION, VR::CS)])
        .text(tags::BURNED_IN_ANNOTATION, VR::CS, if object.burnt_in { "YES" } else { "NO" })
        .value(tags::SAMPLES_PER_PIXEL, VR::US, u16::from(grid.channels))
        .value(tags::ROWS, VR::US, grid.rows)
        .value(tags::COLUMNS, VR::US, grid.columns)
        .value(tags::BITS_ALLOCATED, VR::US, grid.bits())
        .value(tags::BITS_STORED, VR::US, grid.bits())
        .value(tags::HIGH_BIT, VR::US, grid.bits() - 1)
        .value(tags::PIXEL_REPRESENTATION, VR::US, 0u16);
    if grid.channels == 3 {
        set.text(tags::PHOTOMETRIC_INTERPRETATION, VR::CS, "RGB").value(
            tags::PLANAR_CONFIGURATION,
            VR::US,
            0u16,
        );
    } else {
        set.text(tags::PHOTOMETRIC_INTERPRETATION, VR::CS, "MONOCHROME2").text(
            tags::PRESENTATION_LUT_SHAPE,
            VR::CS,
            "IDENTITY",
        );
    }
    match object.lossy_ratio {
        Some(ratio) => set
            .text(tags::LOSSY_IMAGE_COMPRESSION, VR::CS, "01")
            .text(tags::LOSSY_IMAGE_COMPRESSION_RATIO, VR::DS, &format!("{ratio:.2}"))
            .text(tags::LOSSY_IMAGE_COMPRESSION_METHOD, VR::CS, "ISO_10918_1"),
        None => set.text(tags::LOSSY_IMAGE_COMPRESSION, VR::CS, "00"),
    };
    Ok(())
}

/// Multi-frame: one frame, and a pointer to its time, which the module asks for all the same.
pub(super) fn frames(set: &mut Build) {
    set.text(tags::NUMBER_OF_FRAMES, VR::IS, "1")
        .value(tags::FRAME_INCREMENT_POINTER, VR::AT, tags::FRAME_TIME_VECTOR)
        .text(tags::FRAME_TIME_VECTOR, VR::DS, "0");
}

/// Ocular Region Imaged. In wide-field objects the region is the eye with its side, which tells the eye twice.
pub(super) fn region(set: &mut Build, eye: Eye, wide: bool) {
    set.text(tags::IMAGE_LATERALITY, VR::CS, eye.word());
    let mut item = Build::code(if wide { &codes::EYE } else { &codes::RETINA });
    if let (true, Some(side)) = (wide, codes::term(SIDES, &eye)) {
        item.codes(tags::ANATOMIC_REGION_MODIFIER_SEQUENCE, &[side]);
    }
    set.items(tags::ANATOMIC_REGION_SEQUENCE, vec![item]);
}

/// Ophthalmic Photography Acquisition Parameters.
pub(super) fn acquisition(set: &mut Build, object: &NewObject) {
    if let Some(gaze) = object.gaze.and_then(|g| codes::term(GAZES, &g)) {
        set.text(tags::PATIENT_EYE_MOVEMENT_COMMANDED, VR::CS, "YES")
            .codes(tags::PATIENT_EYE_MOVEMENT_COMMAND_CODE_SEQUENCE, &[gaze]);
    } else {
        set.empty(&[(tags::PATIENT_EYE_MOVEMENT_COMMANDED, VR::CS)]);
    }
    let dilated = match object.dilated {
        Some(true) => "YES",
        Some(false) => "NO",
        None => "",
    };
    set.text(tags::PUPIL_DILATED, VR::CS, dilated).empty(&[
        (tags::HORIZONTAL_FIELD_OF_VIEW, VR::FL),
        (tags::REFRACTIVE_STATE_SEQUENCE, VR::SQ),
        (tags::EMMETROPIC_MAGNIFICATION, VR::FL),
        (tags::INTRA_OCULAR_PRESSURE, VR::FL),
    ]);
    if object.dilated == Some(true) {
        set.empty(&[(tags::MYDRIATIC_AGENT_SEQUENCE, VR::SQ), (tags::DEGREE_OF_DILATION, VR::FL)]);
    }
}

/// Ophthalmic Photographic Parameters: device, light and channels.
pub(super) fn light(set: &mut Build, object: &NewObject, grid: &Grid<'_>) {
    set.codes(tags::ACQUISITION_DEVICE_TYPE_CODE_SEQUENCE, &[codes::SCANNING_LASER]).empty(&[
        (tags::ILLUMINATION_TYPE_CODE_SEQUENCE, VR::SQ),
        (tags::LIGHT_PATH_FILTER_TYPE_STACK_CODE_SEQUENCE, VR::SQ),
        (tags::IMAGE_PATH_FILTER_TYPE_STACK_CODE_SEQUENCE, VR::SQ),
        (tags::LENSES_CODE_SEQUENCE, VR::SQ),
        (tags::DETECTOR_TYPE, VR::CS),
    ]);
    if let Some(nm) = object.excitation_nm {
        set.value(tags::LIGHT_PATH_FILTER_PASS_THROUGH_WAVELENGTH, VR::US, nm);
    }
    if let Some([short, long]) = object.barrier_nm {
        set.value(
            tags::IMAGE_PATH_FILTER_PASS_BAND,
            VR::US,
            PrimitiveValue::U16([short, long].into_iter().collect()),
        );
    }
    let channels: &[Term] = match object.modality {
        Modality::Colour if grid.two_lasers => &[codes::RED, codes::GREEN],
        Modality::Red => &[codes::RED],
        Modality::Green => &[codes::GREEN],
        Modality::Infrared => &[codes::INFRARED],
        _ => &[],
    };
    if grid.two_lasers {
        set.value(tags::SAMPLES_PER_PIXEL_USED, VR::US, 2u16);
    }
    if !channels.is_empty() {
        set.codes(tags::CHANNEL_DESCRIPTION_CODE_SEQUENCE, channels);
    }
}

/// Enhanced Contrast/Bolus, for dye pictures. Strength, volume and dose are the needle's record, not ours.
pub(super) fn dye(set: &mut Build, object: &NewObject) {
    let Some(agent) = codes::term(AGENTS, &object.modality) else { return };
    let mut item = Build::code(&agent);
    item.codes(tags::CONTRAST_BOLUS_ADMINISTRATION_ROUTE_SEQUENCE, &[codes::INTRAVENOUS])
        .value(tags::CONTRAST_BOLUS_AGENT_NUMBER, VR::US, 1u16)
        .empty(&[
            (tags::CONTRAST_BOLUS_VOLUME, VR::DS),
            (tags::CONTRAST_BOLUS_INGREDIENT_CODE_SEQUENCE, VR::SQ),
            (tags::CONTRAST_BOLUS_INGREDIENT_CONCENTRATION, VR::DS),
        ]);
    if let Some(start) = object.injected.as_ref().and_then(when::write) {
        let mut profile = Build::default();
        profile.empty(&[(tags::CONTRAST_BOLUS_VOLUME, VR::DS)]).text(
            tags::CONTRAST_BOLUS_START_TIME,
            VR::TM,
            &start.time,
        );
        item.items(tags::CONTRAST_ADMINISTRATION_PROFILE_SEQUENCE, vec![profile]);
    }
    set.items(tags::CONTRAST_BOLUS_AGENT_SEQUENCE, vec![item]);
}

/// Frame of Reference, Wide Field Stereographic Projection, ICC Profile.
pub(super) fn wide_field(
    set: &mut Build,
    wide: &WideField,
    object: &NewObject,
    grid: &Grid<'_>,
) -> Result<(), WriteError> {
    let refuse = |what, remedy| Err(WriteError::Value { what, remedy });
    let device = &object.device;
    if [&device.manufacturer, &device.model, &device.serial, &device.software].iter().any(|v| v.is_empty()) {
        return refuse("the instrument of a wide-field picture", "maker, model, serial number and software");
    }
    if !wide.view_angle_deg.iter().all(|a| a.is_finite() && *a > 0.0) {
        return refuse("the view angle", "degrees above zero");
    }
    if !(wide.axial_length_mm.is_finite() && wide.axial_length_mm > 0.0) {
        return refuse("the axial length", "mm above zero");
    }
    if !matches!(wide.axial_length_method.as_str(), "MEASURED" | "ESTIMATED" | "POPULATION") {
        return refuse("the axial length's method", "MEASURED, ESTIMATED or POPULATION");
    }
    let mut algorithm = Build::default();
    algorithm
        .codes(tags::ALGORITHM_FAMILY_CODE_SEQUENCE, &[SPHERICAL])
        .text(tags::ALGORITHM_NAME, VR::LO, "stereographic projection, radius half the axial length")
        .text(tags::ALGORITHM_VERSION, VR::LO, "1");
    set.text(tags::FRAME_OF_REFERENCE_UID, VR::UI, &derived(object, "frame of reference"))
        .empty(&[(tags::POSITION_REFERENCE_INDICATOR, VR::LO)])
        .items(tags::TRANSFORMATION_ALGORITHM_SEQUENCE, vec![algorithm])
        .value(tags::OPHTHALMIC_AXIAL_LENGTH, VR::FL, single(wide.axial_length_mm))
        .text(tags::OPHTHALMIC_AXIAL_LENGTH_METHOD, VR::CS, &wide.axial_length_method)
        .value(tags::X_COORDINATES_CENTER_PIXEL_VIEW_ANGLE, VR::FL, single(wide.view_angle_deg[0]))
        .value(tags::Y_COORDINATES_CENTER_PIXEL_VIEW_ANGLE, VR::FL, single(wide.view_angle_deg[1]));
    if grid.channels == 3 {
        set.value(tags::ICC_PROFILE, VR::OB, PrimitiveValue::U8(icc::profile().into()));
    }
    Ok(())
}

#[allow(clippy::cast_possible_truncation)] // the attribute is single precision
fn single(v: f64) -> f32 {
    v as f32
}
