//! Uncompressed pixels.

use super::shape::{Photometric, Shape};
use super::{Raw, Stored, broken};
use crate::data::set::Encoding;
use dicom_core::VR;
use serrata_frame::DecodeError;
use std::borrow::Cow;

/// Frames of uncompressed pixel data.
pub(super) fn frames<'a>(
    bytes: &'a [u8],
    shape: &'a Shape,
    encoding: Encoding,
    vr: VR,
) -> Result<Box<dyn Iterator<Item = Result<Raw, DecodeError>> + 'a>, DecodeError> {
    let halved = shape.photometric == Photometric::Ybr422;
    if halved && (shape.by_plane || shape.allocated != 8 || shape.columns % 2 == 1) {
        return Err(broken("its YBR_FULL_422 pixels are not packed as the standard asks"));
    }
    let values = if halved { shape.pixels() * 2 } else { shape.values() };
    let size = values * usize::from(shape.allocated / 8);
    // One writer leaves colour unhalved although it names it so: believe the length.
    let (halved, size) = if halved && bytes.len() >= shape.values() * shape.frames {
        (false, shape.values())
    } else {
        (halved, size)
    };
    if bytes.len() < size * shape.frames {
        return Err(DecodeError::Truncated);
    }
    // 8-bit values in big-endian words come with their bytes swapped (PS3.5 annex A.3).
    let swap = encoding.big && vr == VR::OW && shape.allocated == 8;
    let bytes = if swap { Cow::Owned(swapped(bytes)) } else { Cow::Borrowed(bytes) };
    Ok(Box::new((0..shape.frames).map(move |i| {
        let frame = &bytes[i * size..(i + 1) * size];
        Ok(Raw {
            stored: if shape.allocated == 16 {
                Stored::U16(planes(words(frame, encoding), shape))
            } else if halved {
                Stored::U8(widen(frame))
            } else {
                Stored::U8(planes(frame.to_vec(), shape))
            },
            bits: shape.stored,
            signed: shape.signed,
            photometric: if shape.photometric == Photometric::Ybr422 {
                Photometric::Ybr
            } else {
                shape.photometric
            },
        })
        .map(|raw| down(raw, shape))
    })))
}

fn words(frame: &[u8], encoding: Encoding) -> Vec<u16> {
    frame.chunks_exact(2).map(|b| encoding.u16([b[0], b[1]])).collect()
}

fn swapped(bytes: &[u8]) -> Vec<u8> {
    let mut out = bytes.to_vec();
    out.chunks_exact_mut(2).for_each(|b| b.swap(0, 1));
    out
}

/// Shifts values whose highest bit is not the last of those stored.
fn down(mut raw: Raw, shape: &Shape) -> Raw {
    let shift = shape.high + 1 - shape.stored;
    if shift > 0 {
        match &mut raw.stored {
            Stored::U8(v) => v.iter_mut().for_each(|s| *s >>= shift),
            Stored::U16(v) => v.iter_mut().for_each(|s| *s >>= shift),
        }
    }
    raw
}

/// Samples by pixel, from samples by plane where they came so.
pub(super) fn planes<T: Copy>(values: Vec<T>, shape: &Shape) -> Vec<T> {
    if !shape.by_plane {
        return values;
    }
    interleave(&values, shape.pixels())
}

/// Interleaves three planes.
pub(super) fn interleave<T: Copy>(values: &[T], pixels: usize) -> Vec<T> {
    let (a, rest) = values.split_at(pixels);
    let (b, c) = rest.split_at(pixels);
    a.iter().zip(b).zip(c).flat_map(|((a, b), c)| [*a, *b, *c]).collect()
}

/// Two luma values share a pair of colour differences.
fn widen(frame: &[u8]) -> Vec<u8> {
    frame.chunks_exact(4).flat_map(|q| [q[0], q[2], q[3], q[1], q[2], q[3]]).collect()
}
