//! Pictures in: what is read, and what is refused with which word.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // helpers of tests

use image::codecs::jpeg::JpegEncoder;
use image::{ExtendedColorType, ImageEncoder, ImageFormat};
use proptest::prelude::*;
use serrata_frame::{Decode, DecodeError, Frame, Limits, Picture, Samples};
use std::io::Cursor;

fn read(bytes: &[u8]) -> Result<Frame, DecodeError> {
    Picture.decode(bytes, &Limits::default()).map(|mut f| f.remove(0))
}

fn write(data: &[u8], w: u32, h: u32, color: ExtendedColorType, format: ImageFormat) -> Vec<u8> {
    let mut out = Cursor::new(Vec::new());
    image::write_buffer_with_format(&mut out, data, w, h, color, format).unwrap();
    out.into_inner()
}

fn ramp(n: usize) -> Vec<u8> {
    (0..n).map(|i| (i * 37 % 256) as u8).collect()
}

fn jpeg(w: u32, h: u32) -> Vec<u8> {
    let mut out = Vec::new();
    JpegEncoder::new(&mut out)
        .write_image(&ramp((w * h * 3) as usize), w, h, ExtendedColorType::Rgb8)
        .unwrap();
    out
}

#[test]
fn lossless_kinds_give_back_every_sample() {
    for format in [ImageFormat::Png, ImageFormat::Tiff, ImageFormat::Bmp] {
        let data = ramp(7 * 5 * 3);
        let f = read(&write(&data, 7, 5, ExtendedColorType::Rgb8, format)).unwrap();
        assert_eq!((f.pixels.width(), f.pixels.height(), f.pixels.channels()), (7, 5, 3), "{format:?}");
        assert_eq!(f.pixels.samples(), &Samples::U8(data.into()), "{format:?}");
        assert!(f.coverage.is_full());
    }
}

#[test]
fn sixteen_bits_stay_sixteen_bits() {
    for format in [ImageFormat::Png, ImageFormat::Tiff] {
        let values: Vec<u16> = (0..12).map(|i| i * 5000 + 1).collect();
        let bytes: Vec<u8> = values.iter().flat_map(|v| v.to_ne_bytes()).collect();
        let f = read(&write(&bytes, 4, 3, ExtendedColorType::L16, format)).unwrap();
        assert_eq!(f.pixels.samples(), &Samples::U16(values.into()), "{format:?}");
    }
}

#[test]
fn transparent_pixels_are_uncovered_not_black() {
    let data = [10, 20, 30, 255, 40, 50, 60, 0];
    let f = read(&write(&data, 2, 1, ExtendedColorType::Rgba8, ImageFormat::Png)).unwrap();
    assert!(f.coverage.at(0, 0) && !f.coverage.at(1, 0));
}

#[test]
fn a_jpeg_cut_anywhere_is_truncated_and_never_half_grey() {
    let whole = jpeg(64, 48);
    assert!(read(&whole).is_ok());
    for keep in [3, 20, whole.len() / 2, whole.len() - 2] {
        assert_eq!(read(&whole[..keep]).unwrap_err().code(), "truncated", "{keep} bytes");
    }
}

#[test]
fn bytes_behind_the_end_of_a_jpeg_do_no_harm() {
    let mut bytes = jpeg(16, 16);
    bytes.extend(b"a note that some camera left here");
    assert!(read(&bytes).is_ok());
}

#[test]
fn a_cut_png_is_truncated() {
    let whole = write(&ramp(64 * 64), 64, 64, ExtendedColorType::L8, ImageFormat::Png);
    assert_eq!(read(&whole[..whole.len() / 2]).unwrap_err().code(), "truncated");
}

#[test]
fn a_huge_header_is_refused_before_memory_is_taken() {
    // A valid PNG whose header is changed to 30,000 × 30,000 pixels, checksum included.
    let mut png = write(&[0; 4], 2, 2, ExtendedColorType::L8, ImageFormat::Png);
    png[16..20].copy_from_slice(&30_000u32.to_be_bytes());
    png[20..24].copy_from_slice(&30_000u32.to_be_bytes());
    let crc = crc32(&png[12..29]).to_be_bytes();
    png[29..33].copy_from_slice(&crc);
    let e = read(&png).unwrap_err();
    assert_eq!(e, DecodeError::TooLarge { width: 30_000, height: 30_000, most: 160 });
}

#[test]
fn an_animation_is_refused_since_it_is_not_clear_which_picture_is_meant() {
    let still = write(&[0; 4], 2, 2, ExtendedColorType::L8, ImageFormat::Png);
    let mut chunk = b"acTL".to_vec();
    chunk.extend([0, 0, 0, 2, 0, 0, 0, 0]);
    let mut animated = still[..33].to_vec();
    animated.extend(8u32.to_be_bytes());
    animated.extend(&chunk);
    animated.extend(crc32(&chunk).to_be_bytes());
    animated.extend(&still[33..]);
    assert_eq!(read(&animated).unwrap_err(), DecodeError::Several);
}

#[test]
fn the_size_by_the_header_is_the_size_of_the_frame() {
    let bytes = jpeg(33, 21);
    assert_eq!(Picture::size(&bytes), Some((33, 21)));
    assert_eq!(Picture::size(b"no picture"), None);
}

#[test]
fn foreign_files_are_told_by_their_kind() {
    assert_eq!(read(b"").unwrap_err(), DecodeError::Empty);
    for (bytes, kind) in
        [(&b"GIF89a......"[..], "a GIF"), (b"%PDF-1.7", "a PDF"), (b"hello", "of an unknown kind")]
    {
        assert_eq!(read(bytes).unwrap_err(), DecodeError::Unsupported { what: kind.into() });
    }
}

/// CRC-32 as PNG defines it, bit by bit.
fn crc32(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(!0u32, |crc, b| {
        (0..8).fold(crc ^ u32::from(*b), |c, _| if c & 1 == 1 { 0xEDB8_8320 ^ (c >> 1) } else { c >> 1 })
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]
    #[test]
    fn spoiled_files_never_panic(kind in 0usize..4, at in 0usize..4000, with in any::<u8>(), cut in 0usize..4000) {
        let mut bytes = match kind {
            0 => jpeg(24, 17),
            1 => write(&ramp(24 * 17), 24, 17, ExtendedColorType::L8, ImageFormat::Png),
            2 => write(&ramp(24 * 17), 24, 17, ExtendedColorType::L8, ImageFormat::Tiff),
            _ => write(&ramp(24 * 17 * 3), 24, 17, ExtendedColorType::Rgb8, ImageFormat::Bmp),
        };
        let n = bytes.len();
        bytes[at % n] = with;
        bytes.truncate(n - cut % n);
        let limits = Limits { pixels: 1_000_000, ..Limits::default() };
        if let Ok(frames) = Picture.decode(&bytes, &limits) {
            prop_assert_eq!(frames.len(), 1);
        }
    }
}
