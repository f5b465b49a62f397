//! What comes of published test files.
use serrata_dicom::{DicomReader, read_header};
use serrata_frame::{Decode, Limits};

#[test]
fn table() {
    for e in std::fs::read_dir("../../../shared/data/dicom").unwrap() {
        let p = e.unwrap().path();
        if p.extension().is_none_or(|x| x != "dcm") {
            continue;
        }
        let b = std::fs::read(&p).unwrap();
        let r = DicomReader.decode(&b, &Limits::default());
        let n = p.file_name().unwrap().to_string_lossy().into_owned();
        match r {
            Ok(f) => println!(
                "{n}: {}x{} {} {:?} {:?}",
                f[0].pixels.width(),
                f[0].pixels.height(),
                f.len(),
                f[0].pixels.channels(),
                f[0].facts.modality
            ),
            Err(e) => println!("{n}: {} {e}", e.code()),
        }
        if let Ok(h) = read_header(&b) {
            println!("     {}", h.patient.name.reveal());
        }
    }
}
