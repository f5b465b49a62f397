//! One entry of a worklist.

use crate::Person;
use crate::data::set::{DataSet, Encoding};
use crate::when;
use dicom_core::Tag;
use dicom_dictionary_std::tags;
use serrata_words::Personal;

/// A code with its meaning in words, as an order carries it.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct CodedText {
    /// Code Value.
    pub value: String,
    /// Coding Scheme Designator.
    pub scheme: String,
    /// Code Meaning.
    pub meaning: String,
}

/// One scheduled step. Texts are as the server writes them; empty where it says nothing.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct WorklistItem {
    /// The patient.
    pub patient: Person,
    /// Study Instance UID, which every picture of this order has to carry.
    pub study_uid: String,
    /// Accession Number.
    pub accession: String,
    /// Requested Procedure ID.
    pub procedure_id: String,
    /// Requested Procedure Description.
    pub procedure: String,
    /// Requested Procedure Code Sequence.
    pub procedure_codes: Vec<CodedText>,
    /// Reason for the Requested Procedure.
    pub reason: String,
    /// Requested Procedure Comments.
    pub comments: String,
    /// Allergies, as the server knows them: a caution to ask about, no clearance where it is empty.
    pub allergies: Personal<String>,
    /// Pregnancy Status (1 not, 2 possibly, 3 definitely, 4 unknown), where it says so.
    pub pregnancy: Option<u16>,
    /// Patient State.
    pub patient_state: Personal<String>,
    /// Scheduled Procedure Step ID.
    pub step_id: String,
    /// Scheduled Procedure Step Description.
    pub step: String,
    /// Scheduled Protocol Code Sequence.
    pub step_codes: Vec<CodedText>,
    /// Scheduled Procedure Step Status, for example `SCHEDULED` or `DISCONTINUED`.
    pub status: String,
    /// AE title of the scheduled station.
    pub station: String,
    /// Modality.
    pub modality: String,
    /// Scheduled day as `YYYY-MM-DD`, or empty.
    pub day: String,
    /// Scheduled time as `HH:MM`, or empty.
    pub time: String,
}

impl WorklistItem {
    /// Reads an identifier; none where it cannot be read at all.
    pub(super) fn read(data: &[u8], encoding: Encoding) -> Option<Self> {
        let set = DataSet::parse(data, encoding, Tag(0xFFFF, 0xFFFF)).ok()?;
        let text = |tag| set.text(tag).unwrap_or_default();
        let step = set.item(tags::SCHEDULED_PROCEDURE_STEP_SEQUENCE);
        let of_step = |tag| step.and_then(|s| s.text(tag)).unwrap_or_default();
        let day = when::date(&of_step(tags::SCHEDULED_PROCEDURE_STEP_START_DATE));
        let born = when::date(&text(tags::PATIENT_BIRTH_DATE));
        Some(Self {
            patient: Person {
                id: Personal::new(text(tags::PATIENT_ID)),
                name: Personal::new(text(tags::PATIENT_NAME)),
                birth_date: Personal::new(born.map(|d| d.to_string()).unwrap_or_default()),
                sex: Personal::new(text(tags::PATIENT_SEX)),
            },
            study_uid: text(tags::STUDY_INSTANCE_UID),
            accession: text(tags::ACCESSION_NUMBER),
            procedure_id: text(tags::REQUESTED_PROCEDURE_ID),
            procedure: text(tags::REQUESTED_PROCEDURE_DESCRIPTION),
            procedure_codes: codes(&set, tags::REQUESTED_PROCEDURE_CODE_SEQUENCE),
            reason: text(tags::REASON_FOR_THE_REQUESTED_PROCEDURE),
            comments: text(tags::REQUESTED_PROCEDURE_COMMENTS),
            allergies: Personal::new(text(tags::ALLERGIES)),
            pregnancy: set.u16(tags::PREGNANCY_STATUS),
            patient_state: Personal::new(text(tags::PATIENT_STATE)),
            step_id: of_step(tags::SCHEDULED_PROCEDURE_STEP_ID),
            step: of_step(tags::SCHEDULED_PROCEDURE_STEP_DESCRIPTION),
            step_codes: step.map(|s| codes(s, tags::SCHEDULED_PROTOCOL_CODE_SEQUENCE)).unwrap_or_default(),
            status: of_step(tags::SCHEDULED_PROCEDURE_STEP_STATUS),
            station: of_step(tags::SCHEDULED_STATION_AE_TITLE),
            modality: of_step(tags::MODALITY),
            day: day.map(|d| d.to_string()).unwrap_or_default(),
            time: hour_and_minute(&of_step(tags::SCHEDULED_PROCEDURE_STEP_START_TIME)),
        })
    }
}

fn codes(set: &DataSet<'_>, sequence: Tag) -> Vec<CodedText> {
    set.items(sequence)
        .iter()
        .map(|item| CodedText {
            value: item.text(tags::CODE_VALUE).unwrap_or_default(),
            scheme: item.text(tags::CODING_SCHEME_DESIGNATOR).unwrap_or_default(),
            meaning: item.text(tags::CODE_MEANING).unwrap_or_default(),
        })
        .collect()
}

/// `0915`, `091500.25` or `09:15` as `09:15`; empty where it is no time.
fn hour_and_minute(tm: &str) -> String {
    let digits: String = tm.trim().chars().filter(|c| *c != ':').take(4).collect();
    match (digits.get(..2).map(str::parse::<u8>), digits.get(2..4).map(str::parse::<u8>)) {
        (Some(Ok(h @ 0..=23)), Some(Ok(m @ 0..=59))) => format!("{h:02}:{m:02}"),
        _ => String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scu::WorklistQuery;
    use proptest::prelude::*;

    #[test]
    fn times_are_read_in_every_spelling() {
        assert_eq!(hour_and_minute("0915"), "09:15");
        assert_eq!(hour_and_minute("091530.5"), "09:15");
        assert_eq!(hour_and_minute("09:15:30"), "09:15");
        assert_eq!(hour_and_minute("2515"), "");
        assert_eq!(hour_and_minute(""), "");
    }

    #[test]
    fn a_question_reads_back_as_what_was_asked() {
        let mut query = WorklistQuery::day("2026-03-02");
        query.accession = Some("A*?\\1".to_owned());
        for (explicit, encoding) in [(true, Encoding::EXPLICIT), (false, Encoding::IMPLICIT)] {
            let item = WorklistItem::read(&query.identifier(explicit).unwrap(), encoding).unwrap();
            assert_eq!((item.day.as_str(), item.modality.as_str()), ("2026-03-02", "OP"));
            assert_eq!(item.accession, "A1", "a number is no pattern");
        }
    }

    proptest! {
        #[test]
        fn any_bytes_are_taken(bytes in prop::collection::vec(any::<u8>(), 0..300), explicit: bool) {
            let encoding = if explicit { Encoding::EXPLICIT } else { Encoding::IMPLICIT };
            let _ = WorklistItem::read(&bytes, encoding);
        }
    }
}
