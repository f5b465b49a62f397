//! Damaged and hostile files: an answer or a clear error, never a panic, never memory without bounds.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // a test may fail by a panic

mod common;

use common::{frame8, frame16, object, wide};
use proptest::prelude::*;
use serrata_dicom::{DicomReader, read_header, write_photograph};
use serrata_frame::{Decode, DecodeError, Limits};
use serrata_words::{Eye, Modality};

fn code(file: &[u8]) -> &'static str {
    match DicomReader.decode(file, &Limits::default()) {
        Ok(_) => "ok",
        Err(e) => e.code(),
    }
}

fn sample() -> Vec<u8> {
    let mut object = object(Eye::R, Modality::Colour);
    object.wide_field = Some(wide());
    write_photograph(&frame8(9, 7, 3, 5), &object).unwrap()
}

/// Where an element's value starts, in a file of explicit VR with a short length.
fn value_at(file: &[u8], tag: [u8; 4]) -> usize {
    file.windows(4).rposition(|w| w == tag).unwrap() + 8
}

#[test]
fn every_cut_is_an_error() {
    let file = sample();
    for n in 0..file.len() - 1 {
        let said = code(&file[..n]);
        let want: &[&str] = match n {
            0 => &["empty"],
            1..132 => &["unsupported"],
            _ => &["truncated", "no_pixels", "broken"],
        };
        assert!(want.contains(&said), "cut at {n} of {}: {said}", file.len());
    }
    assert_eq!(code(&file), "ok");
    assert_eq!(code(&file[..file.len() - 2]), "truncated");
}

#[test]
fn limits_hold_before_memory_is_taken() {
    let tight = |pixels, frames, bytes| Limits { pixels, frames, bytes };
    let file = sample();
    let most = file.len() as u64;
    let mut big = file.clone();
    for tag in [[0x28, 0, 0x10, 0], [0x28, 0, 0x11, 0]] {
        let at = value_at(&big, tag);
        big[at..at + 2].copy_from_slice(&65_000u16.to_le_bytes());
    }
    let e = DicomReader.decode(&big, &Limits::default()).unwrap_err();
    assert_eq!(e, DecodeError::TooLarge { width: 65_000, height: 65_000, most: 160 });
    let mut many = file.clone();
    let at = value_at(&many, [0x28, 0, 0x08, 0]);
    many[at..at + 2].copy_from_slice(b"99");
    let e = DicomReader.decode(&many, &tight(1 << 20, 50, most)).unwrap_err();
    assert_eq!(e.to_string(), "the file holds 99 frames, more than allowed");
    assert_eq!(code(&many), "truncated");
    let e = DicomReader.decode(&file, &tight(1 << 20, 50, most - 1)).unwrap_err();
    assert_eq!(e.code(), "too_much");
}

/// A length of four gigabytes in eight bytes.
#[test]
fn a_claimed_length_takes_no_memory() {
    let mut file = sample();
    file.truncate(132);
    file.extend_from_slice(&[2, 0, 0x10, 0, b'U', b'I', 18, 0]);
    file.extend_from_slice(b"1.2.840.10008.1.2\0");
    file.extend_from_slice(&[8, 0, 5, 0, 0xF0, 0xFF, 0xFF, 0xFF]);
    assert_eq!(code(&file), "truncated");
}

#[test]
fn deep_nesting_and_endless_sequences_are_refused() {
    let mut file = sample();
    file.truncate(132);
    file.extend_from_slice(&[2, 0, 0x10, 0, b'U', b'I', 18, 0]);
    file.extend_from_slice(b"1.2.840.10008.1.2\0");
    for _ in 0..100_000 {
        file.extend_from_slice(&[8, 0, 0x40, 0x11, 0xFF, 0xFF, 0xFF, 0xFF]);
        file.extend_from_slice(&[0xFE, 0xFF, 0x00, 0xE0, 0xFF, 0xFF, 0xFF, 0xFF]);
    }
    assert_eq!(code(&file), "broken");
}

#[test]
fn private_and_unknown_syntaxes_are_named() {
    let file = sample();
    let at = file.windows(19).position(|w| w == b"1.2.840.10008.1.2.1").unwrap();
    let mut private = file.clone();
    private[at..at + 19].copy_from_slice(b"1.2.840.99999.1.2.1");
    let e = DicomReader.decode(&private, &Limits::default()).unwrap_err();
    assert_eq!(
        e.to_string(),
        "the file is a DICOM object in the private or unknown transfer syntax 1.2.840.99999.1.2.1, which is not read"
    );
}

/// The eye is told twice in a wide-field object; where the two differ it stays open.
#[test]
fn an_eye_that_disagrees_with_itself_stays_open() {
    let mut file = sample();
    let at = value_at(&file, [0x20, 0, 0x62, 0]);
    assert_eq!(file[at], b'R');
    file[at] = b'L';
    let facts = read_header(&file).unwrap().facts;
    assert_eq!(facts.eye, None);
    assert!(facts.note.unwrap().contains("right eye in one place and the left in another"));
}

/// A bare data set, as it stands in some archives, and one with meta group but no preamble.
#[test]
fn preamble_and_meta_group_may_be_missing() {
    let file = sample();
    let data = file.windows(4).skip(132).position(|w| w == [8, 0, 5, 0]).unwrap() + 132;
    assert_eq!(code(&file[data..]), "ok");
    assert_eq!(code(&file[132..]), "ok");
    assert_eq!(code(&file[128..]), "ok");
    assert!(DicomReader.knows(&file[data..data + 132]) && DicomReader.knows(&file[128..]));
    assert!(!DicomReader.knows(b"\xFF\xD8\xFF\xE0\0\x10JFIF\0") && !DicomReader.knows(b"II*\0\x08\0\0\0"));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 512, ..ProptestConfig::default() })]

    #[test]
    fn flipped_bytes_never_panic(seed: u32, deep: bool, flips in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..8)) {
        let frame = if deep { frame16(5, 4, 1, seed) } else { frame8(5, 4, 1, seed) };
        let mut file = write_photograph(&frame, &object(Eye::R, Modality::Fa)).unwrap();
        for (at, to) in flips {
            let at = at.index(file.len());
            file[at] = to;
        }
        let _ = DicomReader.decode(&file, &Limits::default());
        let _ = read_header(&file);
    }

    #[test]
    fn any_bytes_never_panic(mut bytes in prop::collection::vec(any::<u8>(), 0..400), start in 0usize..4) {
        let head: &[u8] = [&b"DICM"[..], &[8, 0, 5, 0, b'C', b'S'], &[8, 0, 0x40, 0x11, 4, 0, 0, 0], &[]][start];
        bytes.splice(..0, head.iter().copied());
        let _ = DicomReader.decode(&bytes, &Limits::default());
        let _ = read_header(&bytes);
    }
}
