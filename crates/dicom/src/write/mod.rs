//! Pictures to objects.
//!
//! * [`write_photograph`]: a picture as an object;
//! * [`write_corrected`]: a picture once more with corrected labels;
//! * [`write_pdf`], [`write_key_objects`], [`write_report`]: documents about pictures;
//! * `modules`: the modules of PS3.3 A.41, A.42 and A.76, one function each;
//! * `icc`: the colour profile that wide-field colour objects must carry.

pub(crate) mod build;
mod content;
mod corrected;
mod document;
mod icc;
mod key_objects;
mod modules;
mod object;
mod pixels;
mod report;

pub use corrected::{Correction, write_corrected};
pub use document::{NewDocument, write_pdf};
pub use key_objects::{Flaw, KeyReason, write_key_objects};
pub use object::{Device, NewObject, WideField};
pub use report::{Said, SaidArea, SaidDecision, SaidTime, write_report};

use crate::data::part10;
use build::Build;
use dicom_transfer_syntax_registry::entries::EXPLICIT_VR_LITTLE_ENDIAN;
use pixels::Grid;
use serrata_frame::Frame;

/// Why an object cannot be written.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum WriteError {
    /// A value is missing or not allowed.
    #[error("{what} is missing or not valid: give {remedy}")]
    Value {
        /// The value.
        what: &'static str,
        /// What to give.
        remedy: &'static str,
    },
    /// The pixels are not of the kind that the modality asks for.
    #[error("a picture of kind {modality} has {want}, but this one has {have}")]
    Pixels {
        /// The kind of picture.
        modality: &'static str,
        /// What it should have.
        want: &'static str,
        /// What it has.
        have: &'static str,
    },
    /// Larger than DICOM's rows and columns allow (65,535 each).
    #[error("the picture is {width} × {height} pixels; DICOM allows 65,535 each way")]
    TooLarge {
        /// Width in pixels.
        width: u32,
        /// Height in pixels.
        height: u32,
    },
    /// The data set could not be encoded.
    #[error("the object cannot be encoded: {0}")]
    Encoding(String),
}

/// Writes one frame as a file: Ophthalmic Photography 8 Bit or 16 Bit Image Storage, or, where a view angle is known
/// (given, or among the frame's facts), Wide Field Ophthalmic Photography Stereographic Projection Image Storage.
/// Explicit VR little endian, uncompressed, text in UTF-8.
///
/// Pixels: grey stays grey; three equal channels become grey where the modality is grey. A colour picture whose blue
/// is zero everywhere is marked as one of two lasers (Samples per Pixel Used = 2, channels red and green).
///
/// Recipes: PS3.3 C.8.17; autofluorescence has no term of its own, so it is told by excitation (0022,0001) and barrier
/// (0022,0004), which [`crate::DicomReader`] recognizes.
///
/// # Errors
/// A [`WriteError`] that says what is missing.
///
/// ```
/// use serrata_dicom::{NewObject, write_photograph};
/// use serrata_frame::{Frame, Pixels, Samples};
/// use serrata_words::{Eye, Modality, Stamp};
/// let pixels = Pixels::new(2, 1, 3, Samples::U8(vec![200, 90, 0, 180, 80, 0].into()))?;
/// let taken = Stamp { utc_us: 0, offset_minutes: Some(0), granularity_us: 1_000_000, clock: "demo".into() };
/// let file = write_photograph(&Frame::bare(pixels), &NewObject::new(Eye::R, Modality::Colour, taken))?;
/// assert_eq!(&file[128..132], b"DICM");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn write_photograph(frame: &Frame, object: &NewObject) -> Result<Vec<u8>, WriteError> {
    object.check()?;
    let wide = object.wide_field.clone().or_else(|| WideField::of(&frame.facts));
    let grid = Grid::of(&frame.pixels, object.modality)?;
    let class = match (&wide, grid.bits()) {
        (Some(_), _) => modules::WIDE_FIELD,
        (None, 8) => modules::OPHTHALMIC_8,
        (None, _) => modules::OPHTHALMIC_16,
    };
    let mut set = Build::default();
    modules::common(&mut set, object, class);
    modules::patient_and_study(&mut set, object)?;
    modules::series_and_equipment(&mut set, object);
    modules::image(&mut set, object, &grid)?;
    modules::frames(&mut set);
    modules::region(&mut set, object.eye, wide.is_some());
    modules::acquisition(&mut set, object);
    modules::light(&mut set, object, &grid);
    modules::dye(&mut set, object);
    if let Some(wide) = &wide {
        modules::wide_field(&mut set, wide, object, &grid)?;
    }
    let mut file = part10::opening(class, &object.instance_uid, EXPLICIT_VR_LITTLE_ENDIAN.uid(), "");
    set.write(&mut file)?;
    grid.write(&mut file)?;
    Ok(file)
}
