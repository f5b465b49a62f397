//! Truth about a simulated frame: contract `serrata.truth/1`.

use crate::{Disc, Eye, Finding, Fovea, Gaze, Modality, Region, Verdict};
use serde::{Deserialize, Serialize};

/// What a simulated frame really shows, known because it was drawn so.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FrameTruth {
    /// Always `serrata.truth/1`.
    pub schema: String,
    /// Seed of the eye and the scanner.
    pub seed: u64,
    /// File name of the picture, where one was written.
    pub file: Option<String>,
    /// Width in pixels.
    pub width: u32,
    /// Height in pixels.
    pub height: u32,
    /// The eye that was drawn.
    pub eye: Eye,
    /// The eye that the label names (differs where a wrong label is simulated).
    pub labelled: Option<Eye>,
    /// Kind of picture.
    pub modality: Modality,
    /// Gaze that was simulated.
    pub gaze: Gaze,
    /// View angle of the centre pixel in degrees.
    #[serde(serialize_with = "crate::round::share")]
    pub degrees_per_pixel: f64,
    /// Axial length in mm.
    #[serde(serialize_with = "crate::round::share")]
    pub axial_length_mm: f64,
    /// Disc as drawn.
    pub disc: Disc,
    /// Fovea as drawn.
    pub fovea: Fovea,
    /// Retina that is neither covered nor outside.
    pub visible_retina: Region,
    /// Its share of the aperture.
    #[serde(serialize_with = "crate::round::share")]
    pub visible_fraction: f64,
    /// Faults as drawn, with score 1.
    pub findings: Vec<Finding>,
    /// What a photographer should say of it.
    pub expected: Verdict,
}

impl FrameTruth {
    /// The contract's name.
    pub const SCHEMA: &'static str = "serrata.truth/1";
}
