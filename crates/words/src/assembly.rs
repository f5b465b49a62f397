//! Contract `serrata.assembly/1`: where the frames of one eye lie on one sphere.

use crate::{Method, Modality};
use serde::{Deserialize, Serialize};

crate::words! {
    /// What became of a frame in an assembly.
    Placement("placement") {
        /// It lies where the pose says.
        Placed = "placed",
        /// It may lie there; not drawn.
        Doubtful = "doubtful",
        /// Nothing was found that could be believed.
        NotPlaced = "not placed",
    }
}

/// Frames of one eye on one sphere, as one line of JSON.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct AssemblyLine {
    /// Always `serrata.assembly/1`.
    pub schema: String,
    /// The method that made it.
    pub method: Method,
    /// Whether every placed frame's projection is known; false: degrees are nominal, and there is no mm.
    pub calibrated: bool,
    /// Name of the frame whose view frame is the sphere's; null where nothing could be put together.
    pub reference: Option<String>,
    /// All frames in the order they were given.
    pub frames: Vec<AssembledFrame>,
    /// The pictures drawn, one a kind.
    #[serde(default)]
    pub mosaics: Vec<MosaicLine>,
}

impl AssemblyLine {
    /// The contract's name.
    pub const SCHEMA: &'static str = "serrata.assembly/1";
}

/// One frame of an assembly.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct AssembledFrame {
    /// The file.
    pub path: String,
    /// Its name within the assembly: the file's own name, with the frame's index where a file holds several.
    pub name: String,
    /// Kind of picture.
    pub modality: Modality,
    /// Width in pixels.
    pub width: u32,
    /// Height in pixels.
    pub height: u32,
    /// What became of it.
    pub status: Placement,
    /// Why it is doubtful or not placed.
    pub reason: Option<String>,
    /// Median distance of matched places from where the pose says, degrees (nominal where not calibrated).
    #[serde(serialize_with = "crate::round::degrees_opt")]
    pub residual_deg: Option<f64>,
    /// 95 % interval of that median, by the bootstrap, degrees.
    #[serde(default, serialize_with = "crate::round::degrees_interval_opt")]
    pub residual_interval_deg: Option<[f64; 2]>,
    /// The same in pixels of the frame.
    #[serde(serialize_with = "crate::round::pixel_opt")]
    pub residual_px: Option<f64>,
    /// From the frame's view frame to the sphere: w, x, y, z, with w ≥ 0; null where not placed.
    pub rotation: Option<[f64; 4]>,
    /// Share of the retina of its best partner that both show, 0 to 1.
    #[serde(serialize_with = "crate::round::share_opt")]
    pub overlap: Option<f64>,
    /// Share of the places with vessels in both that agree, 0 to 1.
    #[serde(serialize_with = "crate::round::share_opt")]
    pub agreeing: Option<f64>,
    /// The rest of the pose; null where not placed.
    pub shape: Option<Shape>,
}

/// Lens, distortion and corrections: a pixel p is moved to `p + distortion(p) + local(p) + sway(p)`, then goes to the view
/// frame by the stereographic projection centred on the picture's middle.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Shape {
    /// View angle of the centre pixel along x and y, degrees.
    pub degrees_per_pixel: [f64; 2],
    /// Whether that angle is known or nominal.
    pub known: bool,
    /// Coefficients (x, y) of u, v, u², uv, v², u³, u²v, uv², v³, where u and v run from the picture's middle in units
    /// of half the longer side, and so do the results.
    pub distortion: Vec<[f64; 2]>,
    /// Knots of the local correction, pixels; null where there is none.
    pub local: Option<LocalShape>,
    /// How the eye moved while the picture was swept; null where that does not show.
    #[serde(default)]
    pub sway: Option<SwayShape>,
    /// How many numbers rotation and distortion have, and how many the corrections have (traces of their hat matrices).
    pub degrees_of_freedom: [f64; 2],
}

/// Displacements that are the same along a whole line of the sweep: a uniform cubic B-spline across the lines.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SwayShape {
    /// Whether the lines are the picture's columns; else its rows.
    pub columns: bool,
    /// Displacements (x, y) in pixels at the knots, which are three more than there are cells.
    pub knots: Vec<[f64; 2]>,
}

/// A uniform cubic B-spline over the frame.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LocalShape {
    /// Cells along x and y; there are three more knots than cells along each.
    pub cells: [usize; 2],
    /// Displacements (x, y) in pixels at the knots, row by row.
    pub knots: Vec<[f64; 2]>,
}

/// One picture of an assembly.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MosaicLine {
    /// Kind of picture.
    pub modality: Modality,
    /// File of the picture; its alpha is the coverage.
    pub file: String,
    /// File that says which frame each pixel comes from: 0 none, k the k-th frame of `frames`, from 1.
    pub provenance: String,
    /// Width and height in pixels.
    pub size: [u32; 2],
    /// View angle of the centre pixel, degrees: stereographic, centred on the middle, the sphere's +z.
    pub degrees_per_pixel: f64,
    /// The rotation from the sphere to the mosaic's view frame is none; the middle's place in the picture, pixels.
    pub middle: [f64; 2],
    /// Share of the picture that is covered.
    #[serde(serialize_with = "crate::round::share")]
    pub covered: f64,
}
