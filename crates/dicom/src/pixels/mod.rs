//! Pixel data to samples, one file a coding.
//!
//! [`Shape`] comes from the header and is held against the limits before any pixel memory is taken; each compressed
//! frame says its own size first and is refused where that differs from the header.

mod colour;
mod depth;
mod fragments;
mod guard;
mod jpeg;
mod jpeg2000;
mod jpeg_ls;
mod native;
mod palette;
mod rle;
mod shape;

use crate::data::set::{DataSet, Value};
use crate::syntax::{Coding, Syntax};
use dicom_dictionary_std::tags;
use serrata_frame::{DecodeError, Limits, Pixels};
use shape::{Photometric, Shape};

/// Stored values of one frame, interleaved by pixel.
#[derive(Debug)]
enum Stored {
    U8(Vec<u8>),
    U16(Vec<u16>),
}

/// A frame as its coding gave it.
struct Raw {
    stored: Stored,
    /// Bits that are used in each value.
    bits: u16,
    /// Whether values are two's complement.
    signed: bool,
    photometric: Photometric,
}

/// Reads every frame.
pub(crate) fn read(set: &DataSet<'_>, syntax: Syntax, limits: &Limits) -> Result<Vec<Pixels>, DecodeError> {
    let shape = Shape::of(set, limits)?;
    let data = set.get(tags::PIXEL_DATA).ok_or_else(|| no_pixels(set))?;
    let raws: Box<dyn Iterator<Item = Result<Raw, DecodeError>>> = match (&data.value, syntax.coding) {
        (Value::Bytes(bytes), Coding::Native) => native::frames(bytes, &shape, syntax.encoding, data.vr)?,
        (Value::Fragments(parts), coding) if coding != Coding::Native => {
            let frames = fragments::frames(parts, shape.frames, set.cut, coding)?;
            let shape = shape.clone();
            Box::new(frames.into_iter().map(move |bytes| packed(&bytes, &shape, coding)))
        }
        (Value::Bytes(_), _) => {
            return Err(broken("its pixel data is not packed as its transfer syntax says"));
        }
        (_, _) => return Err(broken("its pixel data is packed, but its transfer syntax is uncompressed")),
    };
    let palette =
        matches!(shape.photometric, Photometric::Palette).then(|| palette::Palette::of(set)).transpose()?;
    raws.map(|raw| finish(raw?, &shape, palette.as_ref())).collect()
}

fn broken(detail: &str) -> DecodeError {
    DecodeError::Broken { detail: detail.to_owned() }
}

/// What an object without pixel data is.
fn no_pixels(set: &DataSet<'_>) -> DecodeError {
    let other = [tags::FLOAT_PIXEL_DATA, tags::DOUBLE_FLOAT_PIXEL_DATA];
    if other.iter().any(|t| set.get(*t).is_some()) {
        return DecodeError::Unsupported { what: "a DICOM object with floating-point pixels".to_owned() };
    }
    let class = set.text(tags::SOP_CLASS_UID);
    let name = class.as_deref().and_then(|uid| {
        use dicom_core::dictionary::UidDictionary;
        dicom_dictionary_std::sop_class::StandardSopClassDictionary.by_uid(uid).map(|e| e.name.to_string())
    });
    DecodeError::NoPixels { what: name.or(class).unwrap_or_else(|| "it has no SOP class".to_owned()) }
}

/// One compressed frame.
fn packed(bytes: &[u8], shape: &Shape, coding: Coding) -> Result<Raw, DecodeError> {
    match coding {
        Coding::Jpeg => jpeg::read(bytes, shape),
        Coding::JpegLs => jpeg_ls::read(bytes, shape),
        Coding::Jpeg2000 => jpeg2000::read(bytes, shape),
        Coding::Rle => rle::read(bytes, shape),
        Coding::Native => Err(broken("its pixel data is packed, but its transfer syntax is uncompressed")),
    }
}

/// Stored values to samples of full range, in grey or red, green, blue.
fn finish(raw: Raw, shape: &Shape, palette: Option<&palette::Palette>) -> Result<Pixels, DecodeError> {
    let (samples, channels) = if let Some(palette) = palette {
        (palette.apply(&raw), 3)
    } else {
        let photometric = raw.photometric;
        let mut samples = depth::full_range(raw);
        colour::to_grey_or_rgb(&mut samples, photometric);
        (samples, if shape.samples == 3 { 3 } else { 1 })
    };
    Pixels::new(shape.columns, shape.rows, channels, samples.share())
        .map_err(|e| DecodeError::Broken { detail: e.to_string() })
}

impl Stored {
    fn share(self) -> serrata_frame::Samples {
        match self {
            Self::U8(v) => serrata_frame::Samples::U8(v.into()),
            Self::U16(v) => serrata_frame::Samples::U16(v.into()),
        }
    }
}
