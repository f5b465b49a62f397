//! What documents of a visit share, and the paper as an object (Encapsulated PDF, PS3.3 A.45.1).

use super::WriteError;
use super::build::Build;
use crate::codes::Term;
use crate::data::part10;
use crate::header::Person;
use crate::scu::Instance;
use crate::{uid, when};
use dicom_core::{PrimitiveValue, VR};
use dicom_dictionary_std::tags;
use dicom_transfer_syntax_registry::entries::EXPLICIT_VR_LITTLE_ENDIAN;
use serrata_words::Stamp;

/// Encapsulated PDF Storage.
const PDF: &str = "1.2.840.10008.5.1.4.1.1.104.1";

/// A document about a study: whom and what it is about, and what it is called.
#[derive(Debug, Clone, PartialEq)]
pub struct NewDocument {
    /// The person.
    pub patient: Person,
    /// Study Instance UID.
    pub study_uid: String,
    /// Accession number, or empty.
    pub accession: String,
    /// When the study began.
    pub study_began: Stamp,
    /// When the document was made.
    pub made: Stamp,
    /// Series Instance UID: documents of one kind and visit share a series.
    pub series_uid: String,
    /// SOP Instance UID.
    pub instance_uid: String,
    /// Number of the series in the study.
    pub series_number: u32,
    /// Number of the document in the series.
    pub instance_number: u32,
}

fn written(stamp: &Stamp) -> Result<when::Written, WriteError> {
    when::write(stamp)
        .ok_or(WriteError::Value { what: "a date or time", remedy: "one between the years 1 and 9999" })
}

impl NewDocument {
    fn check(&self) -> Result<(), WriteError> {
        match [&self.study_uid, &self.series_uid, &self.instance_uid].into_iter().all(|u| uid::is_valid(u)) {
            true => Ok(()),
            false => Err(WriteError::Value { what: "a UID", remedy: "digits and dots, 64 at most" }),
        }
    }

    /// SOP Common, Patient, General Study, series and equipment.
    pub(super) fn begin(&self, class: &str, modality: &str) -> Result<Build, WriteError> {
        self.check()?;
        let (p, began, made) = (&self.patient, written(&self.study_began)?, written(&self.made)?);
        let birth: String = p.birth_date.reveal().chars().filter(char::is_ascii_digit).collect();
        let mut set = Build::default();
        set.text(tags::SPECIFIC_CHARACTER_SET, VR::CS, "ISO_IR 192")
            .text(tags::SOP_CLASS_UID, VR::UI, class)
            .text(tags::SOP_INSTANCE_UID, VR::UI, &self.instance_uid)
            .text(tags::PATIENT_NAME, VR::PN, p.name.reveal())
            .text(tags::PATIENT_ID, VR::LO, p.id.reveal())
            .text(tags::PATIENT_BIRTH_DATE, VR::DA, &birth)
            .text(tags::PATIENT_SEX, VR::CS, p.sex.reveal())
            .text(tags::STUDY_INSTANCE_UID, VR::UI, &self.study_uid)
            .text(tags::STUDY_DATE, VR::DA, &began.date)
            .text(tags::STUDY_TIME, VR::TM, &began.time)
            .text(tags::ACCESSION_NUMBER, VR::SH, &self.accession)
            .empty(&[(tags::REFERRING_PHYSICIAN_NAME, VR::PN), (tags::STUDY_ID, VR::SH)])
            .text(tags::MODALITY, VR::CS, modality)
            .text(tags::SERIES_INSTANCE_UID, VR::UI, &self.series_uid)
            .text(tags::SERIES_NUMBER, VR::IS, &self.series_number.to_string())
            .text(tags::INSTANCE_NUMBER, VR::IS, &self.instance_number.to_string())
            .text(tags::MANUFACTURER, VR::LO, "Serrata")
            .text(tags::SOFTWARE_VERSIONS, VR::LO, env!("CARGO_PKG_VERSION"))
            .text(tags::CONTENT_DATE, VR::DA, &made.date)
            .text(tags::CONTENT_TIME, VR::TM, &made.time);
        if let Some(zone) = made.zone {
            set.text(tags::TIMEZONE_OFFSET_FROM_UTC, VR::SH, &zone);
        }
        Ok(set)
    }

    /// The file.
    pub(super) fn finish(&self, class: &str, set: Build) -> Result<Vec<u8>, WriteError> {
        let mut file = part10::opening(class, &self.instance_uid, EXPLICIT_VR_LITTLE_ENDIAN.uid(), "");
        set.write(&mut file)?;
        Ok(file)
    }
}

/// References to instances.
pub(super) fn references(objects: &[Instance]) -> Vec<Build> {
    objects
        .iter()
        .map(|o| {
            let mut item = Build::default();
            item.text(tags::REFERENCED_SOP_CLASS_UID, VR::UI, &o.class_uid).text(
                tags::REFERENCED_SOP_INSTANCE_UID,
                VR::UI,
                &o.instance_uid,
            );
            item
        })
        .collect()
}

/// Writes a PDF as an object about the pictures that it was made of.
///
/// # Errors
/// [`WriteError`] where a UID or a time is not valid, or the bytes are no PDF.
pub fn write_pdf(
    document: &NewDocument,
    title: &str,
    pdf: &[u8],
    sources: &[Instance],
) -> Result<Vec<u8>, WriteError> {
    if !pdf.starts_with(b"%PDF-") {
        return Err(WriteError::Value { what: "the paper", remedy: "a PDF file" });
    }
    let made = written(&document.made)?;
    let mut set = document.begin(PDF, "DOC")?;
    // Padded to an even length with a nought (PS3.5 §8.1.1).
    let mut bytes = pdf.to_vec();
    bytes.resize(pdf.len().next_multiple_of(2), 0);
    set.text(tags::CONVERSION_TYPE, VR::CS, "WSD")
        .text(tags::ACQUISITION_DATE_TIME, VR::DT, &format!("{}{}", made.date, made.time))
        .text(tags::BURNED_IN_ANNOTATION, VR::CS, "YES")
        .text(tags::DOCUMENT_TITLE, VR::ST, title)
        // LOINC's name of such a paper, as pydicom's dictionary has none of DICOM's own: from memory.
        .codes(tags::CONCEPT_NAME_CODE_SEQUENCE, &[Term("18748-4", "LN", "Diagnostic imaging report")])
        .text(tags::MIME_TYPE_OF_ENCAPSULATED_DOCUMENT, VR::LO, "application/pdf")
        .value(tags::ENCAPSULATED_DOCUMENT, VR::OB, PrimitiveValue::U8(bytes.into()))
        .value(tags::ENCAPSULATED_DOCUMENT_LENGTH, VR::UL, u32::try_from(pdf.len()).unwrap_or(u32::MAX));
    if !sources.is_empty() {
        set.items(tags::SOURCE_INSTANCE_SEQUENCE, references(sources));
    }
    document.finish(PDF, set)
}
