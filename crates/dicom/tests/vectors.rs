//! What comes of published test files (pydicom's, see the list beside them): decoded, or refused with a clear error.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // a test may fail by a panic

mod common;

use common::{published, tool};
use serrata_dicom::{DicomReader, read_header};
use serrata_frame::{Decode, Frame, Limits, Samples};
use std::path::Path;

/// What is expected of a file.
enum Want {
    /// Width, height, channels, frames.
    Picture(u32, u32, u8, usize),
    /// The code of the error.
    Error(&'static str),
}
use Want::{Error, Picture};

const GREY_MR: Want = Picture(64, 64, 1, 1);
const RGB_100: Want = Picture(100, 100, 3, 1);
const RGB_256: Want = Picture(256, 256, 3, 1);
const GREY_32: Want = Picture(32, 32, 1, 1);

/// Every published file. 12-bit lossy JPEG, 32-bit samples and files that are damaged by design are refused.
const TABLE: &[(&str, Want)] = &[
    ("GDCMJ2K_TextGBR.dcm", Picture(400, 400, 3, 1)),
    ("JPEG-lossy.dcm", Error("unsupported")),
    ("JPEG2000-embedded-sequence-delimiter.dcm", Error("broken")),
    ("JPEGLSNearLossless_08.dcm", Picture(10, 45, 1, 1)),
    ("JPGExtended.dcm", Error("unsupported")),
    ("MR_small.dcm", GREY_MR),
    ("MR_small_RLE.dcm", GREY_MR),
    ("MR_small_bigendian.dcm", GREY_MR),
    ("MR_small_implicit.dcm", GREY_MR),
    ("MR_small_jp2klossless.dcm", GREY_MR),
    ("MR_small_jpeg_ls_lossless.dcm", GREY_MR),
    ("MR_truncated.dcm", Error("truncated")),
    ("SC_jpeg_no_color_transform.dcm", RGB_256),
    ("SC_jpeg_no_color_transform_2.dcm", RGB_256),
    ("SC_rgb_dcmtk_+eb+cr.dcm", RGB_100),
    ("SC_rgb_dcmtk_+eb+cy+n1.dcm", RGB_100),
    ("SC_rgb_dcmtk_+eb+cy+n2.dcm", RGB_100),
    ("SC_rgb_dcmtk_+eb+cy+np.dcm", RGB_100),
    ("SC_rgb_dcmtk_+eb+cy+s2.dcm", RGB_100),
    ("SC_rgb_dcmtk_+eb+cy+s4.dcm", RGB_100),
    ("SC_rgb_gdcm_KY.dcm", RGB_100),
    ("SC_rgb_jls_lossy_line.dcm", RGB_100),
    ("SC_rgb_jls_lossy_sample.dcm", RGB_100),
    ("SC_rgb_jpeg.dcm", RGB_256),
    ("SC_rgb_jpeg_app14_dcmd.dcm", RGB_256),
    ("SC_rgb_jpeg_dcmd.dcm", RGB_256),
    ("SC_rgb_jpeg_dcmtk.dcm", RGB_100),
    ("SC_rgb_jpeg_gdcm.dcm", RGB_100),
    ("SC_rgb_jpeg_lossy_gdcm.dcm", RGB_100),
    ("SC_rgb_rle.dcm", RGB_100),
    ("SC_rgb_rle_16bit.dcm", RGB_100),
    ("SC_rgb_rle_16bit_2frame.dcm", Picture(100, 100, 3, 2)),
    ("SC_rgb_rle_2frame.dcm", Picture(100, 100, 3, 2)),
    ("SC_rgb_rle_32bit.dcm", Error("unsupported")),
    ("SC_rgb_rle_32bit_2frame.dcm", Error("unsupported")),
    ("SC_rgb_small_odd.dcm", Picture(3, 3, 3, 1)),
    ("SC_rgb_small_odd_big_endian.dcm", Picture(3, 3, 3, 1)),
    ("SC_rgb_small_odd_jpeg.dcm", Picture(3, 3, 3, 1)),
    ("SC_ybr_full_422_uncompressed.dcm", RGB_100),
    ("UN_sequence.dcm", Error("no_pixels")),
    ("badVR.dcm", Error("unsupported")),
    ("chrGerm.dcm", GREY_32),
    ("chrH31.dcm", GREY_32),
    ("chrX2.dcm", GREY_32),
    ("empty_charset_LEI.dcm", Error("no_pixels")),
    ("image_dfl.dcm", Picture(512, 512, 1, 1)),
    ("meta_missing_tsyntax.dcm", Error("broken")),
    ("nested_priv_SQ.dcm", Error("broken")),
    ("no_meta.dcm", Error("unsupported")),
];

fn decode(folder: &Path, name: &str) -> Vec<Frame> {
    DicomReader.decode(&std::fs::read(folder.join(name)).unwrap(), &Limits::default()).unwrap()
}

#[test]
fn every_published_file_is_read_or_refused_as_the_table_says() {
    let Some(folder) = published() else { return };
    for (name, want) in TABLE {
        let bytes = std::fs::read(folder.join(name)).unwrap();
        match (DicomReader.decode(&bytes, &Limits::default()), want) {
            (Ok(frames), Picture(w, h, channels, n)) => {
                let p = &frames[0].pixels;
                assert_eq!(
                    (p.width(), p.height(), p.channels(), frames.len()),
                    (*w, *h, *channels, *n),
                    "{name}"
                );
            }
            (Err(e), Error(code)) => assert_eq!(e.code(), *code, "{name}: {e}"),
            (Ok(_), Error(code)) => panic!("{name} was read, {code} was expected"),
            (Err(e), Picture(..)) => panic!("{name} was refused: {e}"),
        }
    }
    let here = std::fs::read_dir(&folder).unwrap().flatten();
    let files = here.filter(|f| f.path().extension().is_some_and(|e| e == "dcm")).count();
    assert_eq!(files, TABLE.len(), "a published file is missing from the table");
}

#[test]
fn names_in_other_scripts_are_read() {
    let Some(folder) = published() else { return };
    for (file, name) in [
        ("chrH31.dcm", "Yamada^Tarou=山田^太郎=やまだ^たろう"),
        ("chrGerm.dcm", "Äneas^Rüdiger"),
        ("chrX2.dcm", "Wang^XiaoDong=王^小东="),
    ] {
        let header = read_header(&std::fs::read(folder.join(file)).unwrap()).unwrap();
        assert_eq!(header.patient.name.reveal(), name);
    }
}

/// The same picture in six codings, all lossless.
#[test]
fn lossless_codings_agree_to_the_last_bit() {
    let Some(folder) = published() else { return };
    let plain = decode(&folder, "MR_small.dcm");
    for coding in ["RLE", "bigendian", "implicit", "jp2klossless", "jpeg_ls_lossless"] {
        let other = decode(&folder, &format!("MR_small_{coding}.dcm"));
        assert!(other[0].pixels == plain[0].pixels, "{coding}");
    }
}

/// Outside check: 16-bit values against those that dcmtk's dcmdump writes out, stretched by hand.
#[test]
fn sixteen_bits_equal_dcmtk() {
    let Some(folder) = published() else { return };
    let dir = tempfile::tempdir().unwrap();
    let (out, file) = (dir.path().to_str().unwrap(), folder.join("MR_small.dcm"));
    assert!(tool("dcmdump", &["+W", out, file.to_str().unwrap()]).status.success());
    let raw = std::fs::read(dir.path().join("MR_small.dcm.0.raw")).unwrap();
    let want: Vec<u16> =
        raw.chunks_exact(2).map(|b| (i32::from(i16::from_le_bytes([b[0], b[1]])) + 32768) as u16).collect();
    let Samples::U16(got) = decode(&folder, "MR_small.dcm")[0].pixels.samples().clone() else { panic!() };
    assert_eq!(*got, want);
}

/// Samples of a binary PNM file of 8 bits.
fn pnm(path: &Path) -> Vec<u8> {
    let bytes = std::fs::read(path).unwrap();
    let head: Vec<usize> =
        bytes.iter().enumerate().filter(|(_, b)| b.is_ascii_whitespace()).map(|(i, _)| i).take(4).collect();
    bytes[head[3] + 1..].to_vec()
}

/// Outside check: pixels against dcmtk's dcmj2pnm and dcml2pnm. Lossless and run-length pictures are equal; lossy
/// JPEG differs by the rounding of two decoders and by how halved colour is spread (mean difference at most 3 of 255).
#[test]
fn eight_bits_equal_dcmtk() {
    let Some(folder) = published() else { return };
    let exact = [
        "SC_rgb_rle.dcm",
        "SC_rgb_jpeg_gdcm.dcm",
        "SC_rgb_small_odd.dcm",
        "SC_rgb_small_odd_big_endian.dcm",
        "SC_rgb_jls_lossy_line.dcm",
        "SC_rgb_jls_lossy_sample.dcm",
        "JPEGLSNearLossless_08.dcm",
        "image_dfl.dcm",
        "chrH31.dcm",
    ];
    let lossy = [
        "SC_rgb_dcmtk_+eb+cr.dcm",
        "SC_rgb_dcmtk_+eb+cy+n1.dcm",
        "SC_rgb_dcmtk_+eb+cy+n2.dcm",
        "SC_rgb_dcmtk_+eb+cy+np.dcm",
        "SC_rgb_dcmtk_+eb+cy+s2.dcm",
        "SC_rgb_dcmtk_+eb+cy+s4.dcm",
        "SC_rgb_jpeg_dcmtk.dcm",
        "SC_rgb_jpeg_lossy_gdcm.dcm",
        "SC_rgb_small_odd_jpeg.dcm",
        "SC_ybr_full_422_uncompressed.dcm",
        "SC_jpeg_no_color_transform.dcm",
        "SC_jpeg_no_color_transform_2.dcm",
        "SC_rgb_jpeg_app14_dcmd.dcm",
    ];
    let dir = tempfile::tempdir().unwrap();
    let out = dir.path().join("out.pnm");
    let cases = exact.iter().map(|n| (n, 0.0)).chain(lossy.iter().map(|n| (n, 3.0)));
    let mut wrong = Vec::new();
    for (name, most) in cases {
        let path = folder.join(name);
        let converter = if name.contains("jls") || name.contains("JPEGLS") { "dcml2pnm" } else { "dcmj2pnm" };
        let done = tool(converter, &[path.to_str().unwrap(), out.to_str().unwrap()]);
        assert!(done.status.success(), "{converter} {name}: {done:?}");
        let want = pnm(&out);
        let Samples::U8(got) = decode(&folder, name)[0].pixels.samples().clone() else { panic!() };
        assert_eq!(got.len(), want.len(), "{name}");
        let sum: u64 = got.iter().zip(&want).map(|(a, b)| u64::from(a.abs_diff(*b))).sum();
        let mean = sum as f64 / want.len() as f64;
        if mean > most {
            wrong.push(format!("{name}: mean difference {mean:.2}"));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}
