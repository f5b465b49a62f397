//! Objects made here, tools of others, and where the published files are.
#![allow(dead_code, clippy::unwrap_used, clippy::panic)] // each test file uses its own part; a test may fail by a panic

use serrata_dicom::{NewObject, Person, WideField};
use serrata_frame::{Frame, Pixels, Samples};
use serrata_words::{Eye, Gaze, Modality, Personal, Stamp};
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// Runs a tool of dcmtk or dicom3tools by its absolute path: others put namesakes first in the path.
pub fn tool(name: &str, args: &[&str]) -> Output {
    let path = format!("/usr/bin/{name}");
    Command::new(&path)
        .args(args)
        .output()
        .unwrap_or_else(|e| panic!("{path} is needed for this test and cannot be run ({e}): run make setup"))
}

/// The folder of published test files, or none, said plainly.
pub fn published() -> Option<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../../shared/data/dicom");
    if folder.is_dir() {
        return Some(folder);
    }
    println!("skipped: ../shared/data/dicom is not here, so the published DICOM files are not looked at");
    None
}

/// Samples that differ from pixel to pixel.
pub fn samples(n: usize, seed: u32) -> Vec<u8> {
    let mut s = seed | 1;
    (0..n)
        .map(|_| {
            s ^= s << 13;
            s ^= s >> 17;
            s ^= s << 5;
            s.to_le_bytes()[1]
        })
        .collect()
}

/// A frame of 8-bit samples.
pub fn frame8(width: u32, height: u32, channels: u8, seed: u32) -> Frame {
    let n = (width * height * u32::from(channels)) as usize;
    Frame::bare(Pixels::new(width, height, channels, Samples::U8(samples(n, seed).into())).unwrap())
}

/// A frame of 16-bit samples.
pub fn frame16(width: u32, height: u32, channels: u8, seed: u32) -> Frame {
    let n = (width * height * u32::from(channels)) as usize;
    let bytes = samples(n * 2, seed);
    let words = bytes.chunks_exact(2).map(|b| u16::from_le_bytes([b[0], b[1]])).collect::<Vec<_>>();
    Frame::bare(Pixels::new(width, height, channels, Samples::U16(words.into())).unwrap())
}

/// A time of an invented instrument.
pub fn stamp() -> Stamp {
    Stamp {
        utc_us: 1_767_319_445_500_000,
        offset_minutes: Some(60),
        granularity_us: 1_000,
        clock: "Invented Wide 1".into(),
    }
}

/// Everything that an object can say about an invented person.
pub fn object(eye: Eye, modality: Modality) -> NewObject {
    NewObject {
        patient: Person {
            id: Personal::new("INV-0001".into()),
            name: Personal::new("Invented^Ada=山田^太郎".into()),
            birth_date: Personal::new("1950-02-03".into()),
            sex: Personal::new("F".into()),
        },
        accession: "A1".into(),
        study_id: "S1".into(),
        gaze: Some(Gaze::UpLeft),
        excitation_nm: (modality == Modality::Faf).then_some(532),
        barrier_nm: (modality == Modality::Faf).then_some([570, 750]),
        injected: modality.is_dye().then(|| Stamp { utc_us: stamp().utc_us - 30_000_000, ..stamp() }),
        dilated: Some(true),
        ..NewObject::new(eye, modality, stamp())
    }
}

/// An invented projection.
pub fn wide() -> WideField {
    WideField { view_angle_deg: [0.05, 0.05], axial_length_mm: 24.0, axial_length_method: "MEASURED".into() }
}
