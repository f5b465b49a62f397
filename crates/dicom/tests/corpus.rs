//! The fuzz corpus replayed: every seed is read, and every cut or changed one gives an answer or an error.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // a test may fail by a panic

use proptest::prelude::*;
use serrata_dicom::{Deidentify, DicomReader, Secret, deidentify, outgoing, read_header};
use serrata_frame::{Decode, Frame, Limits, Picture};
use std::path::Path;
use std::time::{Duration, Instant};

const LIMITS: Limits = Limits { pixels: 1 << 22, frames: 64, bytes: 1 << 24 };

/// Seeds of a target, by name.
fn seeds(target: &str) -> Vec<(String, Vec<u8>)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../fuzz/corpus").join(target);
    let mut seeds: Vec<_> = std::fs::read_dir(folder)
        .unwrap()
        .flatten()
        .map(|f| (f.file_name().to_string_lossy().into_owned(), std::fs::read(f.path()).unwrap()))
        .collect();
    seeds.sort();
    assert!(seeds.len() >= 8, "the corpus of {target} is missing");
    seeds
}

fn how() -> Deidentify {
    Deidentify {
        secret: Secret([5; 32]),
        patient_id: "INV-1".to_owned(),
        code: "CODE".to_owned(),
        keep_characteristics: false,
        keep_device: false,
    }
}

fn dicom(bytes: &[u8]) -> Result<Vec<Frame>, serrata_frame::DecodeError> {
    let _ = (read_header(bytes), outgoing(bytes), deidentify(bytes, &how()));
    DicomReader.decode(bytes, &LIMITS)
}

fn picture(bytes: &[u8]) -> Result<Vec<Frame>, serrata_frame::DecodeError> {
    Picture.decode(bytes, &LIMITS)
}

#[test]
fn every_seed_is_read() {
    for (name, bytes) in seeds("picture") {
        let frames = picture(&bytes).unwrap_or_else(|e| panic!("{name}: {e}"));
        assert_eq!((frames[0].pixels.width(), frames[0].pixels.height()), (12, 9), "{name}");
    }
    let plain = dicom(&seeds("dicom").iter().find(|s| s.0 == "explicit.dcm").unwrap().1).unwrap();
    for (name, bytes) in seeds("dicom") {
        let frames = dicom(&bytes).unwrap_or_else(|e| panic!("{name}: {e}"));
        assert_eq!((frames[0].pixels.width(), frames[0].pixels.height()), (12, 9), "{name}");
        if !["jpeg.dcm", "jpeg2000.dcm", "jpeg_ls_near.dcm"].contains(&name.as_str()) {
            assert!(frames[0].pixels == plain[0].pixels, "{name} is lossless and differs");
        }
    }
}

/// Every transfer syntax is copied, its pixels untouched, and a copy can be copied.
#[test]
fn every_seed_has_a_copy_with_the_same_pixels() {
    for (name, bytes) in seeds("dicom") {
        let copy = deidentify(&bytes, &how()).unwrap_or_else(|e| panic!("{name}: {e}"));
        let (before, after) = (dicom(&bytes).unwrap(), dicom(&copy.file).unwrap());
        assert!(before[0].pixels == after[0].pixels, "{name}");
        assert!(deidentify(&copy.file, &how()).is_ok(), "{name}");
    }
}

/// A compressed frame that ends early is never passed off as whole.
#[test]
fn every_cut_of_a_seed_is_an_error() {
    for (name, bytes) in seeds("dicom") {
        for n in 0..bytes.len().saturating_sub(12) {
            assert!(dicom(&bytes[..n]).is_err(), "{name} cut at {n} of {} was read", bytes.len());
        }
    }
    for (_, bytes) in seeds("picture") {
        for n in 0..bytes.len() {
            let _ = picture(&bytes[..n]);
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 2000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn changed_seeds_never_panic_and_take_no_time(
        target in prop::sample::select(vec!["dicom", "picture"]),
        seed in any::<prop::sample::Index>(),
        changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..12),
    ) {
        let seeds = seeds(target);
        let (name, mut bytes) = seed.get(&seeds).clone();
        for (at, to) in changes {
            let at = at.index(bytes.len());
            bytes[at] = to;
        }
        let began = Instant::now();
        if target == "dicom" {
            let _ = dicom(&bytes);
        } else {
            let _ = picture(&bytes);
        }
        prop_assert!(began.elapsed() < Duration::from_secs(5), "{} took {:?}", name, began.elapsed());
    }
}
