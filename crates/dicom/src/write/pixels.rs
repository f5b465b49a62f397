//! Pixels as they are written.

use super::WriteError;
use serrata_frame::{Pixels, Samples};
use serrata_words::Modality;
use std::borrow::Cow;

/// Samples in the channels that the modality asks for.
pub(super) struct Grid<'a> {
    pub columns: u16,
    pub rows: u16,
    /// 1 or 3.
    pub channels: u8,
    /// A colour picture whose blue is zero everywhere.
    pub two_lasers: bool,
    samples: Stored<'a>,
}

enum Stored<'a> {
    U8(Cow<'a, [u8]>),
    U16(Cow<'a, [u16]>),
}

impl<'a> Grid<'a> {
    /// Takes a frame's pixels; grey pictures in three equal channels become grey.
    pub(super) fn of(pixels: &'a Pixels, modality: Modality) -> Result<Self, WriteError> {
        let (width, height) = (pixels.width(), pixels.height());
        let too_large = |_| WriteError::TooLarge { width, height };
        let columns = u16::try_from(width).map_err(too_large)?;
        let rows = u16::try_from(height).map_err(too_large)?;
        let colour = modality == Modality::Colour;
        if colour && pixels.channels() == 1 {
            let (want, have) = ("three channels", "one");
            return Err(WriteError::Pixels { modality: modality.word(), want, have });
        }
        let collapse = !colour && pixels.channels() == 3;
        let samples = match pixels.samples() {
            Samples::U8(v) if collapse => grey(v).map(|v| Stored::U8(v.into())),
            Samples::U16(v) if collapse => grey(v).map(|v| Stored::U16(v.into())),
            Samples::U8(v) => Some(Stored::U8(v.as_slice().into())),
            Samples::U16(v) => Some(Stored::U16(v.as_slice().into())),
        };
        let (want, have) = ("one channel", "three that differ");
        let samples = samples.ok_or(WriteError::Pixels { modality: modality.word(), want, have })?;
        let two_lasers = colour
            && match &samples {
                Stored::U8(v) => v.chunks_exact(3).all(|p| p[2] == 0),
                Stored::U16(v) => v.chunks_exact(3).all(|p| p[2] == 0),
            };
        Ok(Self { columns, rows, channels: if colour { 3 } else { 1 }, two_lasers, samples })
    }

    /// Bits of a sample: 8 or 16.
    pub(super) const fn bits(&self) -> u16 {
        match self.samples {
            Stored::U8(_) => 8,
            Stored::U16(_) => 16,
        }
    }

    /// Appends the pixel data element, the last of the data set (explicit VR, little endian).
    pub(super) fn write(&self, out: &mut Vec<u8>) -> Result<(), WriteError> {
        let bytes = match &self.samples {
            Stored::U8(v) => v.len(),
            Stored::U16(v) => v.len() * 2,
        };
        let length = u32::try_from(bytes.next_multiple_of(2))
            .map_err(|_| WriteError::Encoding("the picture is larger than 4 GB".to_owned()))?;
        out.reserve(bytes + 16);
        out.extend_from_slice(&[0xE0, 0x7F, 0x10, 0x00]);
        out.extend_from_slice(if self.bits() == 8 { b"OB\0\0" } else { b"OW\0\0" });
        out.extend_from_slice(&length.to_le_bytes());
        match &self.samples {
            Stored::U8(v) => out.extend_from_slice(v),
            Stored::U16(v) => out.extend(v.iter().flat_map(|s| s.to_le_bytes())),
        }
        if bytes % 2 == 1 {
            out.push(0);
        }
        Ok(())
    }
}

/// The first of three equal channels, or none where they differ.
fn grey<T: Copy + PartialEq>(samples: &[T]) -> Option<Vec<T>> {
    samples.chunks_exact(3).map(|p| (p[0] == p[1] && p[1] == p[2]).then_some(p[0])).collect()
}
