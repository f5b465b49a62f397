//! What PS3.15 says of each attribute.

use dicom_core::Tag;
use std::collections::HashMap;
use std::sync::OnceLock;

/// What becomes of an attribute.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Action {
    /// It goes.
    Remove,
    /// It stays without a value.
    Empty,
    /// It stays with a value that says nothing.
    Dummy,
    /// It gets a number of our own, the same wherever it stands.
    Renumber,
    /// Its references stay, with numbers of our own.
    Inside,
    /// It stays.
    Keep,
}

const TABLE: &str = include_str!("profile.tsv");

/// Where the table leaves a choice by the attribute's type in its class, the choice that no class refuses.
fn action(word: &str) -> Action {
    match word {
        "Z" | "X/Z" => Action::Empty,
        "D" | "Z/D" | "X/D" | "X/Z/D" => Action::Dummy,
        "U" => Action::Renumber,
        "X/Z/U*" => Action::Inside,
        _ => Action::Remove,
    }
}

/// What the profile says of a tag; keep where it says nothing. Private groups, overlays and curves go as a whole.
pub(super) fn of(tag: Tag) -> Action {
    static ALL: OnceLock<HashMap<Tag, Action>> = OnceLock::new();
    let all = ALL.get_or_init(|| {
        let row = |line: &str| {
            let (tag, word) = line.split_once(' ')?;
            let number = u32::from_str_radix(tag, 16).ok()?;
            #[allow(clippy::cast_possible_truncation)] // its two halves
            Some((Tag((number >> 16) as u16, number as u16), action(word)))
        };
        TABLE.lines().filter(|l| !l.starts_with('#')).filter_map(row).collect()
    });
    let group = tag.group();
    if group % 2 == 1 || (0x5000..=0x50FF).contains(&group) || (0x6000..=0x60FF).contains(&group) {
        return Action::Remove;
    }
    all.get(&tag).copied().unwrap_or(Action::Keep)
}

#[cfg(test)]
mod tests {
    use super::*;
    use dicom_dictionary_std::tags;

    #[test]
    fn the_table_says_what_the_standard_says() {
        // Rows read in PS3.15 2024e, as the reference brief quotes them.
        for (tag, want) in [
            (tags::PATIENT_NAME, Action::Empty),
            (tags::PATIENT_BIRTH_DATE, Action::Empty),
            (tags::PATIENT_ID, Action::Dummy),
            (tags::PATIENT_AGE, Action::Remove),
            (tags::ACCESSION_NUMBER, Action::Empty),
            (tags::CONTRAST_BOLUS_START_TIME, Action::Remove),
            (tags::DEVICE_SERIAL_NUMBER, Action::Dummy),
            (tags::STUDY_DESCRIPTION, Action::Remove),
            (tags::STUDY_INSTANCE_UID, Action::Renumber),
            (tags::SYNCHRONIZATION_FRAME_OF_REFERENCE_UID, Action::Renumber),
            (tags::SOURCE_IMAGE_SEQUENCE, Action::Inside),
            (tags::REQUEST_ATTRIBUTES_SEQUENCE, Action::Remove),
            (tags::OPHTHALMIC_AXIAL_LENGTH, Action::Keep),
            (Tag(0x0009, 0x0010), Action::Remove),
            (Tag(0x6002, 0x3000), Action::Remove),
        ] {
            assert_eq!(of(tag), want, "{tag}");
        }
        assert!(TABLE.lines().count() > 600);
    }
}
