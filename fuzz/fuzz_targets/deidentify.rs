//! Any bytes as a picture to be copied without what names the patient: an answer or an error; a copy is a picture again, says that
//! it is a copy, and does not hold the name.
#![no_main]

use libfuzzer_sys::fuzz_target;
use serrata_dicom::{Deidentify, Secret, deidentify, outgoing, read_header};

fuzz_target!(|bytes: &[u8]| {
    let _ = outgoing(bytes);
    let how = Deidentify {
        secret: Secret([5; 32]),
        patient_id: "INV-1".to_owned(),
        code: "CODE".to_owned(),
        keep_characteristics: false,
        keep_device: false,
    };
    let Ok(copy) = deidentify(bytes, &how) else { return };
    let before = read_header(bytes).expect("what was copied has a header");
    let after = read_header(&copy.file).expect("a copy has a header");
    assert!(after.patient.id.reveal().is_empty() || after.patient.id.reveal() == "CODE");
    assert_eq!((after.rows, after.columns), (before.rows, before.columns));
    let again = deidentify(&copy.file, &how);
    assert!(again.is_ok(), "a copy can be copied");
});
