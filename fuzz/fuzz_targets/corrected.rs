//! Any bytes as a picture whose labels are to be corrected: an answer or an error; what is written is a picture again, with the new labels
//! and the same rows and columns.
#![no_main]

use libfuzzer_sys::fuzz_target;
use serrata_dicom::{Correction, read_header, write_corrected};
use serrata_words::{Eye, Gaze, Modality, Stamp};

fuzz_target!(|bytes: &[u8]| {
    let correction = Correction {
        eye: Some(Eye::L),
        modality: Some(Modality::Icg),
        gaze: Some(Gaze::Up),
        corrected: Stamp { utc_us: 0, offset_minutes: Some(0), granularity_us: 1, clock: "fuzz".to_owned() },
        series_uid: "2.25.1".to_owned(),
        instance_uid: "2.25.2".to_owned(),
        series_number: 1,
        instance_number: 1,
    };
    let Ok(file) = write_corrected(bytes, &correction) else { return };
    let before = read_header(bytes).expect("what was corrected has a header");
    let after = read_header(&file).expect("what is written has a header");
    assert_eq!(after.instance_uid, "2.25.2");
    assert_eq!((after.facts.eye, after.facts.gaze), (Some(Eye::L), Some(Gaze::Up)));
    assert_eq!((after.rows, after.columns), (before.rows, before.columns));
});
