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
        let delays = delays_us(&set, pictures.len());
        Ok(pictures
            .into_iter()
            .zip(delays)
            .map(|(pixels, delay)| {
                let mut facts = facts.clone();
                if let Some(stamp) = &mut facts.acquired {
                    stamp.utc_us = stamp.utc_us.saturating_add(delay);
                }
                Frame { coverage: Coverage::full(pixels.width(), pixels.height()), pixels, facts }
            })
            .collect())
    }
}

/// When each frame was taken after the first, in µs, by Frame Time Vector (0018,1065) or Frame Time (0018,1063), both in
/// ms; zero where neither says.
fn delays_us(set: &DataSet<'_>, frames: usize) -> Vec<i64> {
    let vector: Option<Vec<f64>> =
        set.texts(tags::FRAME_TIME_VECTOR).iter().map(|v| v.parse().ok()).collect();
    let steps = match (vector, set.decimal(tags::FRAME_TIME)) {
        (Some(vector), _) if vector.len() == frames => vector,
        (_, Some(step)) => (0..frames).map(|i| if i == 0 { 0.0 } else { step }).collect(),
        _ => vec![0.0; frames],
    };
    let mut at = 0.0;
    #[allow(clippy::cast_possible_truncation)] // `as` clamps; a run of centuries is damaged anyway
    steps
        .into_iter()
        .map(|step| {
            at += step;
            (at * 1000.0).round() as i64
        })
        .collect()
}
