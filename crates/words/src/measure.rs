//! Contract `serrata.measure/1`: a length or an area on the sphere of the eye.

use crate::{Eye, Gaze};
use serde::{Deserialize, Serialize};

crate::words! {
    /// What was measured.
    MeasureKind("kind of measure") {
        /// Along great circles from point to point.
        Path = "path",
        /// What an outline encloses.
        Polygon = "polygon",
        /// What is visible of the retina in the picture.
        Visible = "visible",
    }
}

/// One measure, as a line of JSON in full double precision. What cannot be said is null, and `uncalibrated` says why.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MeasureLine {
    /// Always `serrata.measure/1`.
    pub schema: String,
    /// The picture.
    pub path: String,
    /// Its number in the file, from 0.
    pub frame: u32,
    /// What was measured.
    pub kind: MeasureKind,
    /// Length in mm (of a path).
    #[serde(default)]
    pub length_mm: Option<f64>,
    /// Its 95 % interval.
    #[serde(default)]
    pub length_interval_mm: Option<[f64; 2]>,
    /// Length in degrees at the sphere's centre (of a path).
    #[serde(default)]
    pub length_deg: Option<f64>,
    /// Area in mm² (of an outline, or of what is visible).
    #[serde(default)]
    pub area_mm2: Option<f64>,
    /// Its 95 % interval.
    #[serde(default)]
    pub area_interval_mm2: Option<[f64; 2]>,
    /// Area in steradians.
    #[serde(default)]
    pub area_sr: Option<f64>,
    /// Share of the picture's own rectangle, in flat pixels.
    #[serde(default)]
    pub fraction_of_picture: Option<f64>,
    /// Flat length of a path as a share of the picture's width.
    #[serde(default)]
    pub share_of_width: Option<f64>,
    /// Radius of the sphere in mm that the mm stand on.
    #[serde(default)]
    pub radius_mm: Option<f64>,
    /// Where the radius comes from: `given`, `axial_length`, `estimated`, `population`.
    #[serde(default)]
    pub radius_source: Option<String>,
    /// Which angle degrees are: always `eye`, at the sphere's centre.
    pub angle: String,
    /// Where the geometry comes from: `file`, `instrument`, `given`; null where there is none.
    #[serde(default)]
    pub geometry: Option<String>,
    /// Which eye it is taken for: its optic axis lies on the disc's side. Null where the side is not known.
    #[serde(default)]
    pub eye: Option<Eye>,
    /// The gaze that the interval is for.
    #[serde(default)]
    pub gaze: Option<Gaze>,
    /// Where the gaze comes from: `given`, `file`, or `assumed` (straight ahead).
    #[serde(default)]
    pub gaze_source: Option<String>,
    /// Why there are no mm.
    #[serde(default)]
    pub uncalibrated: Option<String>,
    /// What a reader should know, for example that a contact lens and a long eye meet.
    #[serde(default)]
    pub warnings: Vec<String>,
}

impl MeasureLine {
    /// The contract's name.
    pub const SCHEMA: &'static str = "serrata.measure/1";

    /// A line that says nothing yet.
    #[must_use]
    pub fn new(path: &str, frame: u32, kind: MeasureKind) -> Self {
        Self {
            schema: Self::SCHEMA.to_owned(),
            path: path.to_owned(),
            frame,
            kind,
            length_mm: None,
            length_interval_mm: None,
            length_deg: None,
            area_mm2: None,
            area_interval_mm2: None,
            area_sr: None,
            fraction_of_picture: None,
            share_of_width: None,
            radius_mm: None,
            radius_source: None,
            angle: "eye".to_owned(),
            geometry: None,
            eye: None,
            gaze: None,
            gaze_source: None,
            uncalibrated: None,
            warnings: Vec::new(),
        }
    }
}
