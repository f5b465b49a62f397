//! JPEG 2000, reversible and irreversible, as a code stream.

use super::guard::fenced;
use super::shape::{Photometric, Shape};
use super::{Raw, Stored, broken};
use hayro_jpeg2000::{ColorSpace, DecodeSettings, DecoderContext, Image};
use serrata_frame::DecodeError;

/// The first two markers of a code stream.
const START: [u8; 4] = [0xFF, 0x4F, 0xFF, 0x51];

/// One frame.
pub(super) fn read(bytes: &[u8], shape: &Shape) -> Result<Raw, DecodeError> {
    // Some writers leave the boxes of the file format around the code stream, which DICOM does not want: skip them.
    let start = bytes.windows(4).position(|w| w == START);
    let bytes = &bytes[start.ok_or_else(|| broken("its compressed picture is no JPEG 2000"))?..];
    let head = head(bytes)?;
    shape.check(head.columns, head.rows, head.components.into())?;
    let settings =
        DecodeSettings { resolve_palette_indices: false, strict: true, ..DecodeSettings::default() };
    let (stored, rgb) = fenced("JPEG 2000", || {
        let image = Image::new(bytes, &settings).map_err(told)?;
        shape.check(image.width(), image.height(), head.components.into())?;
        let rgb = matches!(image.color_space(), ColorSpace::RGB);
        let mut context = DecoderContext::default();
        let decoded = image.decode(&mut context).map_err(told)?;
        let planes: Vec<&[f32]> = decoded.components().iter().map(|c| c.samples()).collect();
        if planes.len() != usize::from(shape.samples) || planes.iter().any(|p| p.len() != shape.pixels()) {
            return Err(broken("its JPEG 2000 picture has another size than its header says"));
        }
        Ok((weave(&planes, shape, head.lift), rgb))
    })?;
    // The code stream's own colour transform is undone by the decoder; what is left is what the header names without.
    let photometric = match shape.photometric {
        Photometric::Ybr | Photometric::Ybr422 if rgb && head.transformed => Photometric::Rgb,
        Photometric::Ybr422 => Photometric::Ybr,
        other => other,
    };
    Ok(Raw { stored, bits: shape.stored, signed: shape.signed, photometric })
}

/// Interleaves planes of whole numbers. The decoder lifts signed values like unsigned ones: `lift` is taken off again,
/// and negative values are kept in two's complement.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // low bits of a whole number are meant
fn weave(planes: &[&[f32]], shape: &Shape, lift: f32) -> Stored {
    let value = |i: usize, plane: &[f32]| (plane[i] - lift).round() as i32;
    let all = (0..shape.pixels()).flat_map(|i| planes.iter().map(move |plane| value(i, plane)));
    if shape.allocated == 8 {
        Stored::U8(all.map(|v| v as u8).collect())
    } else {
        Stored::U16(all.map(|v| v as u16).collect())
    }
}

struct Head {
    columns: u32,
    rows: u32,
    components: u16,
    /// What the decoder adds to signed values: half their range, or nothing.
    lift: f32,
    transformed: bool,
}

/// Reads size (SIZ) and coding style (COD) of the code stream (ISO/IEC 15444-1 annex A).
fn head(bytes: &[u8]) -> Result<Head, DecodeError> {
    let stream = bytes.get(2..).ok_or(DecodeError::Truncated)?;
    let word = |at: usize| {
        let b = stream.get(at..at + 4).ok_or(DecodeError::Truncated)?;
        Ok::<u32, DecodeError>(u32::from_be_bytes([b[0], b[1], b[2], b[3]]))
    };
    let short = |at: usize| {
        let b = stream.get(at..at + 2).ok_or(DecodeError::Truncated)?;
        Ok::<u16, DecodeError>(u16::from_be_bytes([b[0], b[1]]))
    };
    // Marker 2, length 2, capabilities 2, then the sizes.
    let (x1, y1, x0, y0) = (word(6)?, word(10)?, word(14)?, word(18)?);
    let components = short(38)?;
    let depth = stream.get(40).ok_or(DecodeError::Truncated)?;
    let mut at = 2 + usize::from(short(2)?);
    let mut transformed = false;
    while let (Ok(marker), Ok(length)) = (short(at), short(at + 2)) {
        if marker == 0xFF52 {
            transformed = stream.get(at + 8) == Some(&1);
        }
        if marker == 0xFF52 || marker == 0xFF90 || marker < 0xFF00 {
            break;
        }
        at += 2 + usize::from(length.max(2));
    }
    Ok(Head {
        columns: x1.saturating_sub(x0),
        rows: y1.saturating_sub(y0),
        components,
        lift: if depth & 0x80 == 0 { 0.0 } else { f32::from(1u16 << (depth & 0x7F).min(15)) },
        transformed,
    })
}

fn told(e: hayro_jpeg2000::DecodeError) -> DecodeError {
    DecodeError::Broken { detail: format!("its JPEG 2000 picture cannot be decoded ({e})") }
}
