//! The picture's shape from the header.

use crate::data::set::DataSet;
use dicom_core::Tag;
use dicom_dictionary_std::tags;
use serrata_frame::{DecodeError, Limits};

/// What the samples of a pixel mean.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Photometric {
    /// Grey, low is white.
    Monochrome1,
    /// Grey, low is black.
    Monochrome2,
    /// Red, green, blue.
    Rgb,
    /// Luma and two colour differences, full range; also what the colour transforms of JPEG 2000 become.
    Ybr,
    /// As [`Self::Ybr`], with colour at half the width, packed in fours (uncompressed only).
    Ybr422,
    /// Index into a table.
    Palette,
}

/// Shape of every frame.
#[derive(Debug, Clone)]
pub(super) struct Shape {
    pub columns: u32,
    pub rows: u32,
    pub frames: usize,
    pub samples: u16,
    /// Bits allocated: 8 or 16.
    pub allocated: u16,
    pub stored: u16,
    pub high: u16,
    pub signed: bool,
    pub by_plane: bool,
    pub photometric: Photometric,
}

impl Shape {
    /// Reads the shape and holds it against the limits.
    pub(super) fn of(set: &DataSet<'_>, limits: &Limits) -> Result<Self, DecodeError> {
        let rows = need(set, tags::ROWS, "Rows")?;
        let columns = need(set, tags::COLUMNS, "Columns")?;
        limits.check(columns.into(), rows.into())?;
        let frames = set.whole(tags::NUMBER_OF_FRAMES).unwrap_or(1);
        let frames = u64::try_from(frames).unwrap_or(0).max(1);
        if frames > limits.frames {
            return Err(DecodeError::TooMuch { what: format!("{frames} frames") });
        }
        let samples = set.u16(tags::SAMPLES_PER_PIXEL).unwrap_or(1);
        let allocated = need(set, tags::BITS_ALLOCATED, "Bits Allocated")?;
        if !matches!(samples, 1 | 3) || !matches!(allocated, 8 | 16) {
            let what = format!("a DICOM picture of {samples} × {allocated} bits a pixel");
            return Err(DecodeError::Unsupported { what });
        }
        let size = u64::from(rows) * u64::from(columns) * u64::from(samples) * u64::from(allocated / 8);
        if size.saturating_mul(frames) > limits.bytes {
            let what = format!("{frames} frames of {} MB", size.div_ceil(1_000_000));
            return Err(DecodeError::TooMuch { what });
        }
        let stored = set.u16(tags::BITS_STORED).unwrap_or(allocated);
        let high = set.u16(tags::HIGH_BIT).unwrap_or(stored.saturating_sub(1));
        if stored == 0 || stored > allocated || high >= allocated || high + 1 < stored {
            let detail = format!("its header stores {stored} of {allocated} bits up to bit {high}");
            return Err(DecodeError::Broken { detail });
        }
        let photometric = photometric(set, samples)?;
        Ok(Self {
            columns: columns.into(),
            rows: rows.into(),
            frames: usize::try_from(frames).unwrap_or(usize::MAX),
            samples,
            allocated,
            stored,
            high,
            signed: set.u16(tags::PIXEL_REPRESENTATION) == Some(1),
            by_plane: samples == 3 && set.u16(tags::PLANAR_CONFIGURATION) == Some(1),
            photometric,
        })
    }

    /// Pixels of a frame.
    pub(super) const fn pixels(&self) -> usize {
        self.columns as usize * self.rows as usize
    }

    /// Samples of a frame.
    pub(super) const fn values(&self) -> usize {
        self.pixels() * self.samples as usize
    }

    /// Refuses a frame whose own header says another size.
    pub(super) fn check(&self, columns: u32, rows: u32, samples: u32) -> Result<(), DecodeError> {
        if (columns, rows, samples) == (self.columns, self.rows, self.samples.into()) {
            return Ok(());
        }
        Err(DecodeError::Broken {
            detail: format!(
                "its header says {} × {} pixels of {} samples, its compressed picture {columns} × {rows} of {samples}",
                self.columns, self.rows, self.samples
            ),
        })
    }
}

fn need(set: &DataSet<'_>, tag: Tag, name: &str) -> Result<u16, DecodeError> {
    set.u16(tag).ok_or_else(|| {
        if set.get(tags::PIXEL_DATA).is_none() {
            super::no_pixels(set)
        } else {
            DecodeError::Broken { detail: format!("its header has no usable {name}") }
        }
    })
}

fn photometric(set: &DataSet<'_>, samples: u16) -> Result<Photometric, DecodeError> {
    let word = set.text(tags::PHOTOMETRIC_INTERPRETATION).unwrap_or_default();
    let known = match (word.as_str(), samples) {
        ("MONOCHROME1", 1) => Photometric::Monochrome1,
        // Old writers leave it out; one sample can only be grey then.
        ("MONOCHROME2" | "", 1) => Photometric::Monochrome2,
        ("PALETTE COLOR", 1) => Photometric::Palette,
        ("RGB", 3) => Photometric::Rgb,
        ("YBR_FULL" | "YBR_ICT" | "YBR_RCT", 3) => Photometric::Ybr,
        ("YBR_FULL_422", 3) => Photometric::Ybr422,
        _ => {
            let what = format!("a DICOM picture in {word} with {samples} samples a pixel");
            return Err(DecodeError::Unsupported { what });
        }
    };
    Ok(known)
}
