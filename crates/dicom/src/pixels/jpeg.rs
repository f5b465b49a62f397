//! JPEG: baseline and extended with 8 bits, and lossless with up to 16.

use super::guard::fenced;
use super::shape::{Photometric, Shape};
use super::{Raw, Stored, broken};
use jpeg_decoder::{ColorTransform, Decoder, Error};
use serrata_frame::DecodeError;

/// What a JPEG's own header says.
#[derive(Debug, Default, PartialEq, Eq)]
struct Head {
    bits: u8,
    rows: u16,
    columns: u16,
    components: u8,
    lossless: bool,
    jfif: bool,
    /// Colour transform of the Adobe marker.
    adobe: Option<u8>,
}

/// One frame.
pub(super) fn read(bytes: &[u8], shape: &Shape) -> Result<Raw, DecodeError> {
    let head = head(bytes)?;
    shape.check(head.columns.into(), head.rows.into(), head.components.into())?;
    if head.bits > 8 && !head.lossless {
        let what = format!("a DICOM picture in lossy JPEG of {} bits", head.bits);
        return Err(DecodeError::Unsupported { what });
    }
    if !bytes.windows(2).rev().any(|w| w == [0xFF, 0xD9]) {
        return Err(DecodeError::Truncated);
    }
    let values = fenced("JPEG", || {
        let mut decoder = Decoder::new(bytes);
        decoder.set_max_decoding_buffer_size(shape.values().saturating_mul(2));
        if shape.samples == 3 {
            decoder.set_color_transform(transform(&head, shape.photometric));
        }
        decoder.decode().map_err(told)
    })?;
    let stored = if values.len() == shape.values() {
        Stored::U8(values)
    } else if values.len() == shape.values() * 2 {
        Stored::U16(values.chunks_exact(2).map(|b| u16::from_ne_bytes([b[0], b[1]])).collect())
    } else {
        return Err(broken("its JPEG picture has another size than its header says"));
    };
    let differences = head.lossless && shape.samples == 3 && is_ybr(shape.photometric);
    let photometric = match shape.photometric {
        Photometric::Ybr | Photometric::Ybr422 if differences => Photometric::Ybr,
        Photometric::Ybr | Photometric::Ybr422 => Photometric::Rgb,
        other => other,
    };
    Ok(Raw { stored, bits: shape.stored, signed: shape.signed, photometric })
}

const fn is_ybr(photometric: Photometric) -> bool {
    matches!(photometric, Photometric::Ybr | Photometric::Ybr422)
}

/// Whether the decoder has to turn colour differences into red, green, blue: the markers say so first, then the DICOM
/// header. Lossless pictures are left as they are.
fn transform(head: &Head, photometric: Photometric) -> ColorTransform {
    match (head.adobe, head.lossless) {
        (_, true) | (Some(0), false) => ColorTransform::RGB,
        (Some(_), false) => ColorTransform::YCbCr,
        (None, false) if head.jfif || is_ybr(photometric) => ColorTransform::YCbCr,
        (None, false) => ColorTransform::RGB,
    }
}

/// Reads the markers up to the frame header.
fn head(bytes: &[u8]) -> Result<Head, DecodeError> {
    if !bytes.starts_with(&[0xFF, 0xD8]) {
        return Err(broken("its compressed picture is no JPEG"));
    }
    let mut head = Head::default();
    let mut at = 2;
    loop {
        let &[mark, kind, high, low] =
            bytes.get(at..at + 4).and_then(|b| <&[u8; 4]>::try_from(b).ok()).ok_or(DecodeError::Truncated)?;
        if mark != 0xFF {
            return Err(broken("its JPEG header is damaged"));
        }
        if kind == 0xFF {
            at += 1;
            continue;
        }
        let length = usize::from(u16::from_be_bytes([high, low])).max(2);
        let body = bytes.get(at + 4..at + 2 + length).ok_or(DecodeError::Truncated)?;
        match kind {
            0xE0 if body.starts_with(b"JFIF\0") => head.jfif = true,
            0xEE if body.starts_with(b"Adobe") => head.adobe = body.get(11).copied(),
            0xC0..=0xC3 => {
                let [bits, r1, r0, c1, c0, components, ..] = *body else {
                    return Err(broken("its JPEG header is damaged"));
                };
                head.bits = bits;
                head.rows = u16::from_be_bytes([r1, r0]);
                head.columns = u16::from_be_bytes([c1, c0]);
                head.components = components;
                head.lossless = kind == 0xC3;
                return Ok(head);
            }
            0xC5..=0xC7 | 0xC9..=0xCB | 0xCD..=0xCF => {
                let what = "a DICOM picture in arithmetic or hierarchical JPEG".to_owned();
                return Err(DecodeError::Unsupported { what });
            }
            0xDA | 0xD9 => return Err(broken("its JPEG picture has no frame header")),
            _ => {}
        }
        at += 2 + length;
    }
}

fn told(e: Error) -> DecodeError {
    match e {
        Error::Io(e) if e.kind() == std::io::ErrorKind::UnexpectedEof => DecodeError::Truncated,
        Error::Unsupported(what) => {
            DecodeError::Unsupported { what: format!("a DICOM picture in JPEG with {what:?}") }
        }
        other => DecodeError::Broken { detail: format!("its JPEG picture cannot be decoded ({other})") },
    }
}
