//! Bytes into frames, whatever kind they are.

use serrata_dicom::{DicomReader, Person};
use serrata_frame::{Decode, DecodeError, Frame, Limits, Picture};
use serrata_words::AcquisitionFacts;

/// All readers, asked in this order.
const READERS: [&dyn Decode; 2] = [&Picture, &DicomReader];

/// Reads all frames of a file by its content; its name does not matter.
///
/// # Errors
/// [`DecodeError`] of the reader that knows the file, or [`DecodeError::Unsupported`] where none does.
pub fn read_frames(bytes: &[u8], limits: &Limits) -> Result<Vec<Frame>, DecodeError> {
    if bytes.is_empty() {
        return Err(DecodeError::Empty);
    }
    let reader = READERS.iter().find(|r| r.knows(bytes)).unwrap_or(&READERS[0]);
    reader.decode(bytes, limits)
}

/// What a file's header says, before any pixel is decoded.
#[derive(Debug, Clone, Default)]
pub struct Seen {
    /// Facts of acquisition; empty for plain pictures and for what cannot be read.
    pub facts: AcquisitionFacts,
    /// The patient, where the file names one.
    pub person: Option<Person>,
    /// Frames in the file; 0 where that cannot be read.
    pub frames: u32,
    /// Width in pixels; 0 where that cannot be read.
    pub width: u32,
    /// Height in pixels; 0 where that cannot be read.
    pub height: u32,
}

/// Reads a file's header. Never fails: what cannot be read stays empty, and the worker will say why.
#[must_use]
pub fn look(bytes: &[u8]) -> Seen {
    if Picture.knows(bytes) {
        let (width, height) = Picture::size(bytes).unwrap_or_default();
        return Seen { frames: 1, width, height, ..Seen::default() };
    }
    match serrata_dicom::read_header(bytes) {
        Ok(h) => Seen {
            facts: h.facts,
            person: Some(h.patient),
            frames: h.frames,
            width: h.columns,
            height: h.rows,
        },
        Err(_) => Seen::default(),
    }
}

/// Whether a file is there to its end, as far as its kind tells: a file still being copied is not.
///
/// # Errors
/// [`DecodeError::Empty`] or [`DecodeError::Truncated`].
pub fn is_whole(bytes: &[u8]) -> Result<(), DecodeError> {
    if bytes.is_empty() {
        return Err(DecodeError::Empty);
    }
    match read_frames(bytes, &Limits::default()) {
        Err(DecodeError::Truncated) => Err(DecodeError::Truncated),
        _ => Ok(()),
    }
}
