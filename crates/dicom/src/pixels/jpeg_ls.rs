//! JPEG-LS, lossless and near-lossless.

use super::guard::fenced;
use super::native::interleave;
use super::shape::{Photometric, Shape};
use super::{Raw, Stored, broken};
use charls::CharLS;
use serrata_frame::DecodeError;

/// One frame.
pub(super) fn read(bytes: &[u8], shape: &Shape) -> Result<Raw, DecodeError> {
    let head = head(bytes)?;
    shape.check(head.columns.into(), head.rows.into(), head.components.into())?;
    if !bytes.windows(2).rev().any(|w| w == [0xFF, 0xD9]) {
        return Err(DecodeError::Truncated);
    }
    let values = fenced("JPEG-LS", || {
        CharLS::default().decode(bytes).map_err(|e| DecodeError::Broken {
            detail: format!("its JPEG-LS picture cannot be decoded ({})", e.to_string().trim()),
        })
    })?;
    let planes = head.by_plane && head.components == 3;
    let order8 = |v: Vec<u8>| if planes { interleave(&v, shape.pixels()) } else { v };
    let order16 = |v: Vec<u16>| if planes { interleave(&v, shape.pixels()) } else { v };
    let stored = if values.len() == shape.values() && head.bits <= 8 {
        Stored::U8(order8(values))
    } else if values.len() == shape.values() * 2 {
        Stored::U16(order16(values.chunks_exact(2).map(|b| u16::from_ne_bytes([b[0], b[1]])).collect()))
    } else {
        return Err(broken("its JPEG-LS picture has another size than its header says"));
    };
    let photometric =
        if shape.photometric == Photometric::Ybr422 { Photometric::Ybr } else { shape.photometric };
    Ok(Raw { stored, bits: shape.stored, signed: shape.signed, photometric })
}

struct Head {
    bits: u8,
    rows: u16,
    columns: u16,
    components: u8,
    by_plane: bool,
}

/// Reads frame header (SOF55) and the interleave mode of the first scan (ISO/IEC 14495-1 annex C).
fn head(bytes: &[u8]) -> Result<Head, DecodeError> {
    if !bytes.starts_with(&[0xFF, 0xD8]) {
        return Err(broken("its compressed picture is no JPEG-LS"));
    }
    let mut frame = None;
    let mut at = 2;
    loop {
        let &[mark, kind, high, low] =
            bytes.get(at..at + 4).and_then(|b| <&[u8; 4]>::try_from(b).ok()).ok_or(DecodeError::Truncated)?;
        if mark != 0xFF {
            return Err(broken("its JPEG-LS header is damaged"));
        }
        if kind == 0xFF {
            at += 1;
            continue;
        }
        let length = usize::from(u16::from_be_bytes([high, low])).max(2);
        let body = bytes.get(at + 4..at + 2 + length).ok_or(DecodeError::Truncated)?;
        match (kind, body) {
            (0xF7, [bits, r1, r0, c1, c0, components, ..]) => {
                let rows = u16::from_be_bytes([*r1, *r0]);
                let columns = u16::from_be_bytes([*c1, *c0]);
                frame = Some(Head { bits: *bits, rows, columns, components: *components, by_plane: false });
            }
            (0xDA, [n, rest @ ..]) => {
                let mut head = frame.ok_or_else(|| broken("its JPEG-LS picture has no frame header"))?;
                head.by_plane = rest.get(usize::from(*n) * 2 + 1) == Some(&0);
                return Ok(head);
            }
            (0xD9, _) => return Err(broken("its JPEG-LS picture has no scan")),
            _ => {}
        }
        at += 2 + length;
    }
}
