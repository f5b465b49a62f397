//! What is written comes back: pixels and facts.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // a test may fail by a panic

mod common;

use common::{frame8, frame16, object, wide};
use proptest::prelude::*;
use serrata_dicom::{DicomReader, WriteError, read_header, write_photograph};
use serrata_frame::{Decode, Frame, Limits, Pixels, Samples};
use serrata_words::{Eye, Gaze, Modality};

fn read(file: &[u8]) -> Vec<Frame> {
    DicomReader.decode(file, &Limits::default()).unwrap()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, ..ProptestConfig::default() })]

    #[test]
    fn pixels_and_facts_come_back(
        w in 1u32..40, h in 1u32..40, seed: u32, deep: bool, is_wide: bool,
        eye in prop::sample::select(Eye::ALL), modality in prop::sample::select(Modality::ALL),
        gaze in prop::option::of(prop::sample::select(Gaze::ALL)),
        zone in prop::option::of(-720i32..=840), us in 0i64..4_000_000_000_000,
    ) {
        let channels = if modality == Modality::Colour { 3 } else { 1 };
        let frame = if deep { frame16(w, h, channels, seed) } else { frame8(w, h, channels, seed) };
        let mut object = object(eye, modality);
        object.gaze = gaze;
        object.acquired.utc_us = us * 1000;
        object.acquired.offset_minutes = zone;
        object.wide_field = is_wide.then(wide);
        let file = write_photograph(&frame, &object).unwrap();
        prop_assert!(DicomReader.knows(&file[..200]));
        let back = read(&file);
        prop_assert_eq!(back.len(), 1);
        prop_assert_eq!(&back[0].pixels, &frame.pixels);
        let facts = &back[0].facts;
        prop_assert_eq!(facts.eye, Some(eye));
        prop_assert_eq!(facts.modality, Some(modality));
        prop_assert_eq!(facts.gaze, gaze);
        prop_assert_eq!(facts.acquired.as_ref(), Some(&object.acquired));
        prop_assert_eq!(facts.instrument.as_ref(), Some(&object.device.model));
        prop_assert_eq!(facts.study_uid.as_ref(), Some(&object.study_uid));
        prop_assert_eq!(facts.instance_uid.as_ref(), Some(&object.instance_uid));
        let angle = facts.centre_view_angle_deg.map(|a| a.map(|v| v as f32));
        prop_assert_eq!(angle, is_wide.then_some([0.05f32; 2]));
        prop_assert_eq!(facts.axial_length_mm.clone(), is_wide.then(|| (24.0, "MEASURED".to_owned())));
        let header = read_header(&file).unwrap();
        prop_assert_eq!(&header.patient, &object.patient);
        prop_assert_eq!((&header.series_uid, &header.accession), (&object.series_uid, &object.accession));
        prop_assert_eq!((header.frames, &header.facts), (1, facts));
        // The frame that was read can be written again, with its projection from its own facts.
        object.wide_field = None;
        prop_assert_eq!(&write_photograph(&back[0], &object).unwrap()[..], &file[..]);
    }
}

fn rgb(samples: &[u8]) -> Frame {
    let n = u32::try_from(samples.len() / 3).unwrap();
    Frame::bare(Pixels::new(n, 1, 3, Samples::U8(samples.to_vec().into())).unwrap())
}

#[test]
fn a_colour_picture_without_blue_is_one_of_two_lasers() {
    let file = write_photograph(&rgb(&[9, 8, 0, 7, 6, 0]), &object(Eye::R, Modality::Colour)).unwrap();
    let facts = &read(&file)[0].facts;
    assert_eq!(facts.modality, Some(Modality::Colour));
    assert!(facts.note.as_deref().unwrap().contains("blue is empty"));
    let file = write_photograph(&rgb(&[9, 8, 1, 7, 6, 0]), &object(Eye::R, Modality::Colour)).unwrap();
    assert_eq!(read(&file)[0].facts.note, None);
}

#[test]
fn grey_in_three_channels_becomes_grey_and_colour_is_refused_there() {
    let file = write_photograph(&rgb(&[9, 9, 9, 7, 7, 7]), &object(Eye::L, Modality::Fa)).unwrap();
    assert_eq!(read(&file)[0].pixels.channels(), 1);
    let refused = write_photograph(&rgb(&[9, 9, 8]), &object(Eye::L, Modality::Fa)).unwrap_err();
    assert_eq!(
        refused.to_string(),
        "a picture of kind fa has one channel, but this one has three that differ"
    );
}

#[test]
fn what_the_standard_asks_for_is_asked_for() {
    let frame = frame8(2, 2, 1, 1);
    let mut faf = object(Eye::R, Modality::Faf);
    faf.barrier_nm = None;
    let e = write_photograph(&frame, &faf).unwrap_err();
    assert_eq!(
        e.to_string(),
        "the light of an autofluorescence picture is missing or not valid: give excitation and barrier in nm"
    );
    let mut fa = object(Eye::R, Modality::Fa);
    fa.instance_uid = "../evil".into();
    assert!(matches!(write_photograph(&frame, &fa), Err(WriteError::Value { .. })));
    let mut wf = object(Eye::R, Modality::Fa);
    wf.wide_field = Some(wide());
    wf.device.serial = String::new();
    assert!(matches!(write_photograph(&frame, &wf), Err(WriteError::Value { .. })));
}

/// Debug output of a header is what ends in logs.
#[test]
fn a_header_in_a_log_names_nobody() {
    let file = write_photograph(&frame8(2, 2, 1, 1), &object(Eye::R, Modality::Fa)).unwrap();
    let log = format!("{:?}", read_header(&file).unwrap());
    assert!(!log.contains("Invented^Ada") && !log.contains("INV-0001") && !log.contains("1950"), "{log}");
}
