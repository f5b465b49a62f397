//! What is known of a picture apart from its pixels.

use crate::{Eye, Gaze, Modality, Stamp};
use serde::{Deserialize, Serialize};

/// Facts of acquisition that came with a picture, from its header or typed in. Nothing here is guessed.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct AcquisitionFacts {
    /// Labelled eye.
    pub eye: Option<Eye>,
    /// Labelled kind of picture.
    pub modality: Option<Modality>,
    /// Commanded gaze.
    pub gaze: Option<Gaze>,
    /// When it was taken.
    pub acquired: Option<Stamp>,
    /// When the header says that the contrast agent's injection began, by the same clock.
    pub contrast_start: Option<Stamp>,
    /// Name of the instrument's profile, where known.
    pub instrument: Option<String>,
    /// View angle of the centre pixel in degrees at the sphere's centre (x, y), DICOM (0022,1528)/(0022,1529).
    pub centre_view_angle_deg: Option<[f64; 2]>,
    /// Why the header's wide-field geometry cannot be used, where it is there in part or contradicts itself.
    pub geometry_problem: Option<String>,
    /// Axial length in mm with its method word (`MEASURED`, `ESTIMATED`, `POPULATION`).
    pub axial_length_mm: Option<(f64, String)>,
    /// DICOM Study Instance UID.
    pub study_uid: Option<String>,
    /// DICOM SOP Instance UID.
    pub instance_uid: Option<String>,
    /// DICOM SOP Class UID.
    pub class_uid: Option<String>,
    /// A photometric note that people should see, for example "blue is empty".
    pub note: Option<String>,
}
