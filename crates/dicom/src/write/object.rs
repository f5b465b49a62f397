//! What an object says besides its pixels.

use super::WriteError;
use crate::header::Person;
use crate::scu::Instance;
use crate::uid;
use serrata_words::{AcquisitionFacts, Eye, Gaze, Modality, Stamp};

/// The instrument that took the picture.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Device {
    /// Manufacturer (0008,0070).
    pub manufacturer: String,
    /// Model name (0008,1090).
    pub model: String,
    /// Serial number (0018,1000).
    pub serial: String,
    /// Software versions (0018,1020).
    pub software: String,
}

/// What a wide-field object says of its projection: stereographic, as PS3.3 C.8.17.11.
#[derive(Debug, Clone, PartialEq)]
pub struct WideField {
    /// View angle of the centre pixel, degrees at the sphere's centre: x, y.
    pub view_angle_deg: [f64; 2],
    /// Axial length in mm.
    pub axial_length_mm: f64,
    /// How it is known: `MEASURED`, `ESTIMATED` or `POPULATION`.
    pub axial_length_method: String,
}

impl WideField {
    /// Axial length where nobody measured it: 24.5 mm, the population's mean (Nagra et al. 2017).
    pub const POPULATION_MM: f64 = 24.5;

    /// From a frame's facts, where these have a view angle.
    #[must_use]
    pub fn of(facts: &AcquisitionFacts) -> Option<Self> {
        let view_angle_deg = facts.centre_view_angle_deg?;
        let (axial_length_mm, axial_length_method) =
            facts.axial_length_mm.clone().unwrap_or((Self::POPULATION_MM, "POPULATION".to_owned()));
        Some(Self { view_angle_deg, axial_length_mm, axial_length_method })
    }
}

/// What [`super::write_photograph`] needs to know besides the pixels.
#[derive(Debug, Clone, PartialEq)]
pub struct NewObject {
    /// The person; empty values are written empty.
    pub patient: Person,
    /// Study Instance UID.
    pub study_uid: String,
    /// Series Instance UID.
    pub series_uid: String,
    /// SOP Instance UID.
    pub instance_uid: String,
    /// Accession number, or empty.
    pub accession: String,
    /// Study ID, or empty.
    pub study_id: String,
    /// Number of the series in the study.
    pub series_number: u32,
    /// Number of the picture in the series.
    pub instance_number: u32,
    /// When the study began; where nothing is given, when the picture was taken.
    pub study_began: Option<Stamp>,
    /// The eye.
    pub eye: Eye,
    /// The kind of picture.
    pub modality: Modality,
    /// Commanded gaze, where known.
    pub gaze: Option<Gaze>,
    /// When it was taken.
    pub acquired: Stamp,
    /// The instrument.
    pub device: Device,
    /// Wavelength of the light in nm. Autofluorescence needs it.
    pub excitation_nm: Option<u16>,
    /// Pass band of the barrier filter in nm, short and long. Autofluorescence needs it.
    pub barrier_nm: Option<[u16; 2]>,
    /// When the dye was injected.
    pub injected: Option<Stamp>,
    /// The pupil was dilated.
    pub dilated: Option<bool>,
    /// Projection; where nothing is given, the frame's facts are asked.
    pub wide_field: Option<WideField>,
    /// Text is burnt into the pixels.
    pub burnt_in: bool,
    /// The pixels went through lossy JPEG, with this ratio of sizes.
    pub lossy_ratio: Option<f64>,
    /// The pictures that it was put together from; empty for a picture as it was taken.
    pub sources: Vec<Instance>,
}

impl NewObject {
    /// An object with fresh UIDs about nobody, taken by an instrument of invented name.
    #[must_use]
    pub fn new(eye: Eye, modality: Modality, acquired: Stamp) -> Self {
        Self {
            patient: Person::default(),
            study_uid: uid::fresh(),
            series_uid: uid::fresh(),
            instance_uid: uid::fresh(),
            accession: String::new(),
            study_id: String::new(),
            series_number: 1,
            instance_number: 1,
            study_began: None,
            eye,
            modality,
            gaze: None,
            device: Device {
                manufacturer: "Serrata".to_owned(),
                model: acquired.clock.clone(),
                serial: "0".to_owned(),
                software: env!("CARGO_PKG_VERSION").to_owned(),
            },
            acquired,
            excitation_nm: None,
            barrier_nm: None,
            injected: None,
            dilated: None,
            wide_field: None,
            burnt_in: false,
            lossy_ratio: None,
            sources: Vec::new(),
        }
    }

    /// Values that the standard does not let be empty or free.
    pub(super) fn check(&self) -> Result<(), WriteError> {
        let refuse = |what, remedy| Err(WriteError::Value { what, remedy });
        for (what, uid) in [
            ("the study's UID", &self.study_uid),
            ("the series' UID", &self.series_uid),
            ("the instance's UID", &self.instance_uid),
        ] {
            if !uid::is_valid(uid) {
                return refuse(what, "digits and dots, 64 at most");
            }
        }
        if self.modality == Modality::Faf {
            let (Some(excitation), Some([short, long])) = (self.excitation_nm, self.barrier_nm) else {
                return refuse("the light of an autofluorescence picture", "excitation and barrier in nm");
            };
            if excitation == 0 || short <= excitation || long < short {
                return refuse("the barrier", "a pass band above the excitation");
            }
        }
        Ok(())
    }
}
