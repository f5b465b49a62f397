use super::writing_in_a_corner;
use crate::reading::read_frames;
use serrata_dicom::{Change, Deidentify, deidentify};
use serrata_frame::Limits;

/// A copy of an original that does not name the patient, with what was changed; the sentence why none is made otherwise.
///
/// # Errors
/// Where it is no DICOM picture, would still name the patient, or has writing in a corner.
pub fn copy(bytes: &[u8], how: &Deidentify) -> Result<(Vec<u8>, Vec<Change>), String> {
    let copy = deidentify(bytes, how).map_err(|e| format!("no copy can be made: {e}"))?;
    let frames =
        read_frames(&copy.file, &Limits::default()).map_err(|e| format!("its copy cannot be read: {e}"))?;
    match frames.iter().find_map(writing_in_a_corner) {
        Some(corner) => {
            Err(format!("there seems to be writing in the picture's {corner} corner; have a person look"))
        }
        None => Ok((copy.file, copy.changes)),
    }
}
