//! Pixels from any bytes, written and read again.
#![no_main]

use libfuzzer_sys::fuzz_target;
use serrata_dicom::{DicomReader, NewObject, write_photograph};
use serrata_frame::{Decode, Frame, Limits, Pixels, Samples};
use serrata_words::{Eye, Modality, Stamp};

fuzz_target!(|input: (u8, u8, i64, Vec<u8>)| {
    let (width, modality, utc_us, samples) = input;
    let modality = Modality::ALL[usize::from(modality) % Modality::ALL.len()];
    let channels: u8 = if modality == Modality::Colour { 3 } else { 1 };
    let width = u32::from(width).max(1);
    let rows = samples.len() / (width as usize * usize::from(channels));
    let samples = samples[..rows * width as usize * usize::from(channels)].to_vec();
    let Ok(pixels) = Pixels::new(width, rows as u32, channels, Samples::U8(samples.into())) else { return };
    let taken = Stamp { utc_us, offset_minutes: Some(0), granularity_us: 1, clock: "fuzz".into() };
    let mut object = NewObject::new(Eye::L, modality, taken);
    (object.excitation_nm, object.barrier_nm) = (Some(500), Some([550, 700]));
    if modality != Modality::Faf {
        (object.excitation_nm, object.barrier_nm) = (None, None);
    }
    let frame = Frame::bare(pixels);
    if let Ok(file) = write_photograph(&frame, &object) {
        let back = DicomReader.decode(&file, &Limits::default()).expect("our own file is read");
        assert_eq!(back[0].pixels, frame.pixels);
        assert_eq!(back[0].facts.modality, Some(modality));
    }
});
