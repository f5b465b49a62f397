//! The question to a worklist.

use crate::WriteError;
use crate::write::build::Build;
use dicom_core::VR;
use dicom_dictionary_std::tags;
use serrata_words::Personal;

/// What is asked for. Everything that is none matches all.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct WorklistQuery {
    /// First and last scheduled day, each as `YYYY-MM-DD`.
    pub days: Option<[String; 2]>,
    /// Modality, for example `OP`.
    pub modality: Option<String>,
    /// AE title of the scheduled station.
    pub station: Option<String>,
    /// Patient ID.
    pub patient_id: Option<Personal<String>>,
    /// Accession Number.
    pub accession: Option<String>,
}

impl WorklistQuery {
    /// The steps of one day for ophthalmic photography.
    #[must_use]
    pub fn day(day: &str) -> Self {
        Self {
            days: Some([day.to_owned(), day.to_owned()]),
            modality: Some("OP".to_owned()),
            ..Self::default()
        }
    }

    /// The identifier, in explicit or implicit VR little endian.
    pub(super) fn identifier(&self, explicit: bool) -> Result<Vec<u8>, WriteError> {
        let word = |w: &Option<String>| wildcardless(w.as_deref().unwrap_or_default());
        let mut step = Build::default();
        step.text(tags::SCHEDULED_STATION_AE_TITLE, VR::AE, &word(&self.station))
            .text(tags::SCHEDULED_PROCEDURE_STEP_START_DATE, VR::DA, &self.range())
            .text(tags::MODALITY, VR::CS, &word(&self.modality))
            .empty(&[
                (tags::SCHEDULED_PROCEDURE_STEP_START_TIME, VR::TM),
                (tags::SCHEDULED_PROCEDURE_STEP_DESCRIPTION, VR::LO),
                (tags::SCHEDULED_PROTOCOL_CODE_SEQUENCE, VR::SQ),
                (tags::SCHEDULED_PROCEDURE_STEP_ID, VR::SH),
                (tags::SCHEDULED_PROCEDURE_STEP_STATUS, VR::CS),
                (tags::SCHEDULED_STATION_NAME, VR::SH),
            ]);
        let patient = self.patient_id.as_ref().map(|id| id.reveal().clone());
        let mut set = Build::default();
        set.text(tags::SPECIFIC_CHARACTER_SET, VR::CS, "ISO_IR 192")
            .text(tags::ACCESSION_NUMBER, VR::SH, &word(&self.accession))
            .text(tags::PATIENT_ID, VR::LO, &word(&patient))
            .items(tags::SCHEDULED_PROCEDURE_STEP_SEQUENCE, vec![step])
            .empty(&[
                (tags::REFERENCED_STUDY_SEQUENCE, VR::SQ),
                (tags::PATIENT_NAME, VR::PN),
                (tags::PATIENT_BIRTH_DATE, VR::DA),
                (tags::PATIENT_SEX, VR::CS),
                (tags::ALLERGIES, VR::LO),
                (tags::PREGNANCY_STATUS, VR::US),
                (tags::PATIENT_COMMENTS, VR::LT),
                (tags::STUDY_INSTANCE_UID, VR::UI),
                (tags::REQUESTED_PROCEDURE_DESCRIPTION, VR::LO),
                (tags::REQUESTED_PROCEDURE_CODE_SEQUENCE, VR::SQ),
                (tags::PATIENT_STATE, VR::LO),
                (tags::REQUESTED_PROCEDURE_ID, VR::SH),
                (tags::REASON_FOR_THE_REQUESTED_PROCEDURE, VR::LO),
                (tags::REQUESTED_PROCEDURE_COMMENTS, VR::LT),
            ]);
        let mut out = Vec::new();
        if explicit {
            set.write(&mut out)?;
        } else {
            set.write_implicit(&mut out)?;
        }
        Ok(out)
    }

    fn range(&self) -> String {
        let Some([from, to]) = &self.days else { return String::new() };
        let plain = |day: &str| day.chars().filter(char::is_ascii_digit).collect::<String>();
        let (from, to) = (plain(from), plain(to));
        if from == to { from } else { format!("{from}-{to}") }
    }
}

/// Text in which nothing is a wildcard or a second value: a number is asked for as it is.
fn wildcardless(text: &str) -> String {
    text.chars().filter(|c| !matches!(c, '*' | '?' | '\\') && !c.is_control()).collect()
}
