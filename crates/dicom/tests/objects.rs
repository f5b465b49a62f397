//! Objects of other makers' kinds, made here: depths, meanings of samples, and what a header says about a picture.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // a test may fail by a panic

mod common;

use common::{frame8, object};
use dicom_core::{DataElement, PrimitiveValue, Tag, VR};
use dicom_dictionary_std::tags;
use dicom_object::{FileMetaTableBuilder, InMemDicomObject};
use serrata_dicom::{DicomReader, read_header, write_photograph};
use serrata_frame::{Decode, DecodeError, Frame, Limits, Samples};
use serrata_words::{AcquisitionFacts, Eye, Modality};

const EXPLICIT: &str = "1.2.840.10008.1.2.1";

/// A secondary capture of 2 × 1 pixels, changed by `change`, as a file.
fn file(syntax: &str, change: impl FnOnce(&mut InMemDicomObject)) -> Vec<u8> {
    let mut set = InMemDicomObject::new_empty();
    for (tag, text) in [(tags::SOP_CLASS_UID, "1.2.840.10008.5.1.4.1.1.7"), (tags::SOP_INSTANCE_UID, "1.2.3")]
    {
        set.put(DataElement::new(tag, VR::UI, text));
    }
    set.put(DataElement::new(tags::PHOTOMETRIC_INTERPRETATION, VR::CS, "MONOCHROME2"));
    for (tag, v) in [
        (tags::SAMPLES_PER_PIXEL, 1u16),
        (tags::ROWS, 1),
        (tags::COLUMNS, 2),
        (tags::BITS_ALLOCATED, 8),
        (tags::BITS_STORED, 8),
        (tags::HIGH_BIT, 7),
        (tags::PIXEL_REPRESENTATION, 0),
    ] {
        number(&mut set, tag, v);
    }
    pixels8(&mut set, &[10, 200]);
    change(&mut set);
    let meta = FileMetaTableBuilder::new().transfer_syntax(syntax);
    let mut out = Vec::new();
    set.with_meta(meta).unwrap().write_all(&mut out).unwrap();
    out
}

fn number(set: &mut InMemDicomObject, tag: Tag, v: u16) {
    set.put(DataElement::new(tag, VR::US, PrimitiveValue::from(v)));
}

fn text(set: &mut InMemDicomObject, tag: Tag, vr: VR, v: &str) {
    set.put(DataElement::new(tag, vr, PrimitiveValue::Strs(v.split('\\').map(str::to_owned).collect())));
}

fn pixels8(set: &mut InMemDicomObject, v: &[u8]) {
    set.put(DataElement::new(tags::PIXEL_DATA, VR::OB, PrimitiveValue::from(v)));
}

fn pixels16(set: &mut InMemDicomObject, v: &[u16]) {
    let v = PrimitiveValue::U16(v.iter().copied().collect());
    set.put(DataElement::new(tags::PIXEL_DATA, VR::OW, v));
}

fn deep(set: &mut InMemDicomObject, stored: u16, high: u16, v: &[u16]) {
    number(set, tags::BITS_ALLOCATED, 16);
    number(set, tags::BITS_STORED, stored);
    number(set, tags::HIGH_BIT, high);
    pixels16(set, v);
}

fn meaning(set: &mut InMemDicomObject, word: &str, samples: u16) {
    text(set, tags::PHOTOMETRIC_INTERPRETATION, VR::CS, word);
    number(set, tags::SAMPLES_PER_PIXEL, samples);
}

fn read(file: &[u8]) -> Result<Vec<Frame>, DecodeError> {
    DicomReader.decode(file, &Limits::default())
}

fn bytes(file: &[u8]) -> Vec<u8> {
    match read(file).unwrap()[0].pixels.samples() {
        Samples::U8(v) => v.to_vec(),
        Samples::U16(v) => panic!("16 bits: {v:?}"),
    }
}

fn words(file: &[u8]) -> Vec<u16> {
    match read(file).unwrap()[0].pixels.samples() {
        Samples::U16(v) => v.to_vec(),
        Samples::U8(v) => panic!("8 bits: {v:?}"),
    }
}

#[test]
fn every_uncompressed_syntax_gives_the_same_samples() {
    for syntax in ["1.2.840.10008.1.2", EXPLICIT, "1.2.840.10008.1.2.2", "1.2.840.10008.1.2.1.99"] {
        assert_eq!(bytes(&file(syntax, |_| {})), [10, 200], "{syntax}");
        assert_eq!(words(&file(syntax, |s| deep(s, 16, 15, &[1, 60_000]))), [1, 60_000], "{syntax}");
    }
}

#[test]
fn a_deflated_bomb_is_stopped() {
    let bomb = file("1.2.840.10008.1.2.1.99", |s| {
        s.put(DataElement::new(tags::IMAGE_COMMENTS, VR::OB, PrimitiveValue::from(vec![0u8; 5_000_000])));
    });
    assert!(bomb.len() < 100_000);
    let tight = Limits { bytes: 1_000_000, ..Limits::default() };
    assert_eq!(DicomReader.decode(&bomb, &tight).unwrap_err().code(), "too_much");
}

#[test]
fn fewer_stored_bits_are_stretched_to_the_full_range() {
    assert_eq!(words(&file(EXPLICIT, |s| deep(s, 12, 11, &[0, 4095]))), [0, 65535]);
    assert_eq!(words(&file(EXPLICIT, |s| deep(s, 12, 15, &[0x0010, 0xFFF0]))), [16, 65535]);
    assert_eq!(
        words(&file(EXPLICIT, |s| deep(s, 10, 9, &[0xFC00, 512]))),
        [0, 32800],
        "bits above are no value"
    );
    assert_eq!(bytes(&file(EXPLICIT, |s| deep(s, 8, 7, &[7, 255]))), [7, 255]);
    let signed = |s: &mut InMemDicomObject| {
        deep(s, 16, 15, &[0x8000, 0x7FFF]);
        number(s, tags::PIXEL_REPRESENTATION, 1);
    };
    assert_eq!(words(&file(EXPLICIT, signed)), [0, 65535]);
}

#[test]
fn grey_that_is_upside_down_is_turned() {
    assert_eq!(bytes(&file(EXPLICIT, |s| meaning(s, "MONOCHROME1", 1))), [245, 55]);
    let deep1 = |s: &mut InMemDicomObject| {
        meaning(s, "MONOCHROME1", 1);
        deep(s, 12, 11, &[0, 4095]);
    };
    assert_eq!(words(&file(EXPLICIT, deep1)), [65535, 0]);
}

#[test]
fn colour_becomes_red_green_blue() {
    let colour = |word: &'static str, planar: u16, v: &'static [u8]| {
        bytes(&file(EXPLICIT, |s| {
            meaning(s, word, 3);
            number(s, tags::PLANAR_CONFIGURATION, planar);
            pixels8(s, v);
        }))
    };
    assert_eq!(colour("RGB", 0, &[1, 2, 3, 4, 5, 6]), [1, 2, 3, 4, 5, 6]);
    assert_eq!(colour("RGB", 1, &[1, 4, 2, 5, 3, 6]), [1, 2, 3, 4, 5, 6]);
    // Pure red and mid grey, by the equations of PS3.3 C.7.6.3.1.2.
    assert_eq!(colour("YBR_FULL", 0, &[76, 85, 255, 128, 128, 128]), [254, 0, 0, 128, 128, 128]);
    assert_eq!(colour("YBR_FULL_422", 0, &[76, 128, 85, 255]), [254, 0, 0, 255, 52, 52]);
}

#[test]
fn a_palette_is_looked_up_and_a_segmented_one_refused() {
    let palette = |set: &mut InMemDicomObject| {
        meaning(set, "PALETTE COLOR", 1);
        for (descriptor, data, v) in [
            (
                tags::RED_PALETTE_COLOR_LOOKUP_TABLE_DESCRIPTOR,
                tags::RED_PALETTE_COLOR_LOOKUP_TABLE_DATA,
                [1u16, 2],
            ),
            (
                tags::GREEN_PALETTE_COLOR_LOOKUP_TABLE_DESCRIPTOR,
                tags::GREEN_PALETTE_COLOR_LOOKUP_TABLE_DATA,
                [3, 4],
            ),
            (
                tags::BLUE_PALETTE_COLOR_LOOKUP_TABLE_DESCRIPTOR,
                tags::BLUE_PALETTE_COLOR_LOOKUP_TABLE_DATA,
                [5, 6],
            ),
        ] {
            let d = PrimitiveValue::U16([2u16, 10, 16].into_iter().collect());
            set.put(DataElement::new(descriptor, VR::US, d));
            set.put(DataElement::new(data, VR::OW, PrimitiveValue::U16(v.into_iter().collect())));
        }
    };
    assert_eq!(
        words(&file(EXPLICIT, palette)),
        [1, 3, 5, 2, 4, 6],
        "200 is beyond the table: its last entry"
    );
    let e = read(&file(EXPLICIT, |s| {
        palette(s);
        s.remove_element(tags::GREEN_PALETTE_COLOR_LOOKUP_TABLE_DATA);
    }));
    assert_eq!(
        e.unwrap_err().to_string(),
        "the file is a DICOM picture with a segmented palette, which is not read"
    );
}

#[test]
fn frames_come_apart_and_missing_ones_are_an_error() {
    let frames = |n: &'static str| {
        file(EXPLICIT, |s| {
            text(s, tags::NUMBER_OF_FRAMES, VR::IS, n);
            pixels8(s, &[1, 2, 3, 4, 5, 6]);
        })
    };
    let got = read(&frames("3")).unwrap();
    assert_eq!(got.len(), 3);
    assert_eq!(got[2].pixels.samples(), &Samples::U8(vec![5, 6].into()));
    assert_eq!(read_header(&frames("3")).unwrap().frames, 3);
    assert_eq!(read(&frames("4")).unwrap_err(), DecodeError::Truncated);
    assert_eq!(read(&frames("2001")).unwrap_err().code(), "too_much");
}

#[test]
fn what_cannot_be_read_says_so() {
    let message = |change: fn(&mut InMemDicomObject)| read(&file(EXPLICIT, change)).unwrap_err().to_string();
    let no_pixels = message(|s| {
        s.remove_element(tags::PIXEL_DATA);
        s.put(DataElement::new(tags::SOP_CLASS_UID, VR::UI, "1.2.840.10008.5.1.4.1.1.88.11"));
    });
    assert_eq!(no_pixels, "the DICOM object holds no picture (Basic Text SR Storage)");
    assert_eq!(
        message(|s| meaning(s, "YBR_PARTIAL_420", 3)),
        "the file is a DICOM picture in YBR_PARTIAL_420 with 3 samples a pixel, which is not read"
    );
    assert_eq!(
        message(|s| number(s, tags::BITS_STORED, 9)),
        "the file is damaged: its header stores 9 of 8 bits up to bit 7"
    );
    assert_eq!(message(|s| number(s, tags::ROWS, 0)), "the file is damaged: its header says 2 × 0 pixels");
}

/// Facts of a grey object with these changes.
fn facts(change: impl FnOnce(&mut InMemDicomObject)) -> AcquisitionFacts {
    read(&file(EXPLICIT, change)).unwrap()[0].facts.clone()
}

#[test]
fn autofluorescence_is_never_taken_from_the_image_type_alone() {
    let facts = facts(|s| text(s, tags::IMAGE_TYPE, VR::CS, "ORIGINAL\\PRIMARY\\\\AF"));
    assert_eq!(facts.modality, None);
    assert_eq!(facts.note.as_deref(), Some("Image Type AF alone does not say the kind of picture"));
}

#[test]
fn a_barrier_below_the_excitation_is_no_autofluorescence() {
    for (barrier, want) in [(570u16, Some(Modality::Faf)), (500, None)] {
        let facts = facts(|s| {
            number(s, tags::LIGHT_PATH_FILTER_PASS_THROUGH_WAVELENGTH, 532);
            let band = PrimitiveValue::U16([barrier, 750].into_iter().collect());
            s.put(DataElement::new(tags::IMAGE_PATH_FILTER_PASS_BAND, VR::US, band));
        });
        assert_eq!(facts.modality, want);
    }
}

#[test]
fn a_dye_that_disagrees_with_the_image_type_stays_open() {
    let file = write_photograph(&frame8(4, 4, 1, 1), &object(Eye::R, Modality::Fa)).unwrap();
    let mut changed = dicom_object::from_reader(&file[128..]).unwrap();
    text(&mut changed, tags::IMAGE_TYPE, VR::CS, "ORIGINAL\\PRIMARY\\\\ICG");
    let mut out = Vec::new();
    changed.write_all(&mut out).unwrap();
    let facts = read_header(&out).unwrap().facts;
    assert_eq!(facts.modality, None);
    assert_eq!(facts.note.as_deref(), Some("Image Type says ICG, the contrast agent says fa"));
}

#[test]
fn both_eyes_are_no_eye() {
    let facts = facts(|s| text(s, tags::IMAGE_LATERALITY, VR::CS, "B"));
    assert_eq!((facts.eye, facts.note.as_deref()), (None, Some("the header names both eyes")));
}

/// The zone stands apart from date and time, and the seconds are whole.
#[test]
fn a_time_takes_its_zone_from_the_object() {
    let facts = facts(|s| {
        text(s, tags::ACQUISITION_DATE, VR::DA, "20260102");
        text(s, tags::ACQUISITION_TIME, VR::TM, "030405");
        text(s, tags::TIMEZONE_OFFSET_FROM_UTC, VR::SH, "+0100");
        text(s, tags::MANUFACTURER_MODEL_NAME, VR::LO, "Invented Wide 1");
    });
    let stamp = facts.acquired.unwrap();
    assert_eq!((stamp.utc_us, stamp.offset_minutes), (1_767_319_445_000_000, Some(60)));
    assert_eq!((stamp.granularity_us, stamp.clock.as_str()), (1_000_000, "Invented Wide 1"));
}

/// A dye run in one object: every frame has its own second.
#[test]
fn frames_of_a_run_are_taken_one_after_the_other() {
    let run = |tag: Tag, times: &'static str| {
        let file = file(EXPLICIT, |s| {
            text(s, tags::NUMBER_OF_FRAMES, VR::IS, "3");
            pixels8(s, &[1, 2, 3, 4, 5, 6]);
            text(s, tags::ACQUISITION_DATE_TIME, VR::DT, "20260102020405+0000");
            text(s, tag, VR::DS, times);
        });
        let frames = read(&file).unwrap();
        let first = frames[0].facts.acquired.clone().unwrap().utc_us;
        assert_eq!(first, 1_767_319_445_000_000);
        frames.iter().map(|f| f.facts.acquired.clone().unwrap().utc_us - first).collect::<Vec<_>>()
    };
    assert_eq!(run(tags::FRAME_TIME_VECTOR, "0\\1000\\2500.5"), [0, 1_000_000, 3_500_500]);
    assert_eq!(run(tags::FRAME_TIME, "40"), [0, 40_000, 80_000]);
    assert_eq!(run(tags::FRAME_TIME_VECTOR, "0\\1000"), [0, 0, 0], "a vector that does not fit is no clock");
}
