//! Fragments to frames.

use super::broken;
use crate::syntax::Coding;
use serrata_frame::DecodeError;
use std::borrow::Cow;

/// The bytes of each frame. The first fragment is the offset table.
pub(super) fn frames<'a>(
    parts: &[&'a [u8]],
    frames: usize,
    cut: bool,
    coding: Coding,
) -> Result<Vec<Cow<'a, [u8]>>, DecodeError> {
    let (table, parts) = parts.split_first().ok_or(DecodeError::Truncated)?;
    if cut || parts.is_empty() {
        return Err(DecodeError::Truncated);
    }
    if parts.len() == frames {
        return Ok(parts.iter().map(|p| Cow::Borrowed(*p)).collect());
    }
    if frames == 1 {
        return Ok(vec![Cow::Owned(parts.concat())]);
    }
    if parts.len() < frames {
        return Err(DecodeError::Truncated);
    }
    let starts = starts(table, parts, frames).or_else(|| marks(parts, frames, coding));
    let starts = starts.ok_or_else(|| broken("its pieces of pixel data cannot be told apart by frame"))?;
    let ends = starts.iter().skip(1).copied().chain([parts.len()]);
    Ok(starts.iter().zip(ends).map(|(from, to)| Cow::Owned(parts[*from..to].concat())).collect())
}

/// Index of each frame's first fragment, by the offset table.
fn starts(table: &[u8], parts: &[&[u8]], frames: usize) -> Option<Vec<usize>> {
    if table.len() != frames * 4 {
        return None;
    }
    let mut offsets = Vec::with_capacity(parts.len());
    let mut at = 0u64;
    for part in parts {
        offsets.push(at);
        at += 8 + part.len() as u64;
    }
    let starts: Option<Vec<usize>> = table
        .chunks_exact(4)
        .map(|b| offsets.binary_search(&u64::from(u32::from_le_bytes([b[0], b[1], b[2], b[3]]))).ok())
        .collect();
    starts.filter(|s| s.first() == Some(&0) && s.windows(2).all(|w| w[0] < w[1]))
}

/// Index of each frame's first fragment, by the mark that starts a JPEG or JPEG 2000 picture.
fn marks(parts: &[&[u8]], frames: usize, coding: Coding) -> Option<Vec<usize>> {
    let mark: &[u8] = match coding {
        Coding::Jpeg | Coding::JpegLs => &[0xFF, 0xD8, 0xFF],
        Coding::Jpeg2000 => &[0xFF, 0x4F, 0xFF, 0x51],
        Coding::Rle | Coding::Native => return None,
    };
    let starts: Vec<usize> =
        parts.iter().enumerate().filter(|(_, p)| p.starts_with(mark)).map(|(i, _)| i).collect();
    (starts.len() == frames && starts.first() == Some(&0)).then_some(starts)
}
