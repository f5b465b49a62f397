//! Run lengths (PS3.5 annex G).

use super::shape::{Photometric, Shape};
use super::{Raw, Stored, broken};
use serrata_frame::DecodeError;

/// One frame: a header of 64 bytes with the segments' offsets, then a segment for every byte of every sample, the
/// high byte first.
pub(super) fn read(bytes: &[u8], shape: &Shape) -> Result<Raw, DecodeError> {
    let head = bytes.get(..64).ok_or(DecodeError::Truncated)?;
    let word = |i: usize| {
        u32::from_le_bytes([head[i * 4], head[i * 4 + 1], head[i * 4 + 2], head[i * 4 + 3]]) as usize
    };
    let width = usize::from(shape.allocated / 8);
    let segments = usize::from(shape.samples) * width;
    if word(0) != segments {
        return Err(broken("its run lengths come in another number of segments than its header asks for"));
    }
    let mut planes = Vec::with_capacity(segments);
    for i in 1..=segments {
        let from = word(i);
        let to = if i < segments { word(i + 1) } else { bytes.len() };
        let segment = bytes.get(from..to).ok_or(DecodeError::Truncated)?;
        planes.push(unpack(segment, shape.pixels())?);
    }
    let stored = if width == 1 {
        let mut out = Vec::with_capacity(shape.values());
        for i in 0..shape.pixels() {
            out.extend(planes.iter().map(|plane| plane[i]));
        }
        Stored::U8(out)
    } else {
        let mut out = Vec::with_capacity(shape.values());
        for i in 0..shape.pixels() {
            out.extend(planes.chunks_exact(2).map(|p| u16::from_be_bytes([p[0][i], p[1][i]])));
        }
        Stored::U16(out)
    };
    let photometric =
        if shape.photometric == Photometric::Ybr422 { Photometric::Ybr } else { shape.photometric };
    Ok(Raw { stored, bits: shape.stored, signed: shape.signed, photometric })
}

/// Unpacks one segment to exactly `n` bytes; what follows is padding.
fn unpack(segment: &[u8], n: usize) -> Result<Vec<u8>, DecodeError> {
    // A run of two bytes gives 128 at most: a segment that cannot reach `n` is refused before memory is taken.
    if (segment.len() / 2 + 1).saturating_mul(128) < n {
        return Err(DecodeError::Truncated);
    }
    let mut out = Vec::with_capacity(n);
    let mut at = 0;
    while out.len() < n {
        let control = *segment.get(at).ok_or(DecodeError::Truncated)?;
        let left = n - out.len();
        match control {
            0..=127 => {
                let count = usize::from(control) + 1;
                let run = segment.get(at + 1..at + 1 + count).ok_or(DecodeError::Truncated)?;
                out.extend_from_slice(&run[..count.min(left)]);
                at += 1 + count;
            }
            128 => at += 1,
            129..=255 => {
                let value = *segment.get(at + 1).ok_or(DecodeError::Truncated)?;
                let count = 257 - usize::from(control);
                out.resize(out.len() + count.min(left), value);
                at += 2;
            }
        }
    }
    Ok(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The example of the TIFF 6.0 specification, section 9.
    #[test]
    fn the_published_example_unpacks() {
        let packed =
            [0xFE, 0xAA, 0x02, 0x80, 0x00, 0x2A, 0xFD, 0xAA, 0x03, 0x80, 0x00, 0x2A, 0x22, 0xF7, 0xAA];
        let want = [
            0xAA, 0xAA, 0xAA, 0x80, 0x00, 0x2A, 0xAA, 0xAA, 0xAA, 0xAA, 0x80, 0x00, 0x2A, 0x22, 0xAA, 0xAA,
            0xAA, 0xAA, 0xAA, 0xAA, 0xAA, 0xAA, 0xAA, 0xAA,
        ];
        assert_eq!(unpack(&packed, 24).unwrap(), want);
        assert_eq!(unpack(&packed, 25), Err(DecodeError::Truncated));
    }
}
