//! Any bytes as a DICOM file: an answer or an error, and both readers agree on whether it is one.
#![no_main]

use libfuzzer_sys::fuzz_target;
use serrata_dicom::{DicomReader, read_header};
use serrata_frame::{Decode, Limits};

fuzz_target!(|bytes: &[u8]| {
    let limits = Limits { pixels: 1 << 22, frames: 64, bytes: 1 << 24 };
    let frames = DicomReader.decode(bytes, &limits);
    let header = read_header(bytes);
    if let Ok(frames) = frames {
        let header = header.expect("a file with pixels has a header");
        assert_eq!(header.facts, frames[0].facts);
    }
});
