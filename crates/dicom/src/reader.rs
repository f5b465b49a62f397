//! Files to frames.

use crate::data::part10;
use crate::data::set::DataSet;
use crate::facts::facts;
use crate::pixels;
use dicom_dictionary_std::tags;
use serrata_frame::{Coverage, Decode, DecodeError, Frame, Limits};

/// Reads DICOM files: see the table in the crate's documentation for what is read.
///
/// Stored values are stretched to the full range of 8 or 16 bits, `MONOCHROME1` is turned upright, colour becomes
/// red, green, blue; no windowing, no look-up table but the palette's, no colour profile.
#[derive(Debug, Clone, Copy, Default)]
pub struct DicomReader;

impl Decode for DicomReader {
    fn knows(&self, head: &[u8]) -> bool {
        part10::looks_like(head)
    }

    fn decode(&self, bytes: &[u8], limits: &Limits) -> Result<Vec<Frame>, DecodeError> {
        if bytes.is_empty() {
            return Err(DecodeError::Empty);
        }
        if bytes.len() as u64 > limits.bytes {
            return Err(DecodeError::TooMuch { what: format!("{} MB", bytes.len() / 1_000_000) });
        }
        let file = part10::split(bytes, limits.bytes)?;
        let set = DataSet::parse(&file.data, file.syntax.encoding, tags::PIXEL_DATA)?;
        let facts = facts(&set);
        let pictures = pixels::read(&set, file.syntax, limits)?;
        Ok(pictures
            .into_iter()
            .map(|pixels| Frame {
                coverage: Coverage::full(pixels.width(), pixels.height()),
                pixels,
                facts: facts.clone(),
            })
            .collect())
    }
}
