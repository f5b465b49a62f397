//! What is in a frame's pixels.

use crate::{Eye, Finding, Method, Region};
use serde::{Deserialize, Serialize};

/// What was seen in one frame's pixels. Knows no order and no history, so it can be kept and judged anew.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Observation {
    /// The method that made it.
    pub method: Method,
    /// Width of the frame in pixels.
    pub width: u32,
    /// Height of the frame in pixels.
    pub height: u32,
    /// Share of the picture inside the instrument's aperture, 0 to 1.
    #[serde(serialize_with = "crate::round::share")]
    pub aperture_fraction: f64,
    /// The retina that can be seen.
    pub visible_retina: VisibleRetina,
    /// All faults, strongest first, also weak ones.
    pub findings: Vec<Finding>,
    /// Which eye the anatomy shows.
    pub eye: EyeInference,
    /// The optic disc, where found.
    pub disc: Option<Disc>,
    /// The fovea, where found.
    pub fovea: Option<Fovea>,
    /// How far the visible retina reaches from the fovea (or, without one, from where it should be).
    pub reach: Option<Reach>,
    /// Sharpness of the best part of the retina.
    pub sharpness: Sharpness,
}

/// The retina that can be seen in a frame.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct VisibleRetina {
    /// Share of the aperture, 0 to 1.
    #[serde(serialize_with = "crate::round::share")]
    pub fraction: f64,
    /// Share of the whole picture, 0 to 1.
    #[serde(serialize_with = "crate::round::share")]
    pub fraction_of_picture: f64,
    /// Where it is.
    #[serde(flatten)]
    pub place: Region,
}

/// Which eye the anatomy shows, with abstention.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct EyeInference {
    /// The eye, or null where the tool is not sure.
    pub inferred: Option<Eye>,
    /// Probability of the likelier eye, 0.5 to 1.
    #[serde(serialize_with = "crate::round::share")]
    pub probability: f64,
}

/// The optic disc, a circle in pixels.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Disc {
    /// Centre, x in pixels.
    #[serde(serialize_with = "crate::round::pixel")]
    pub x: f64,
    /// Centre, y in pixels.
    #[serde(serialize_with = "crate::round::pixel")]
    pub y: f64,
    /// Radius in pixels.
    #[serde(serialize_with = "crate::round::pixel")]
    pub radius: f64,
    /// How likely this is the disc, 0 to 1.
    #[serde(serialize_with = "crate::round::share")]
    pub probability: f64,
}

/// The fovea, a point in pixels.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Fovea {
    /// x in pixels.
    #[serde(serialize_with = "crate::round::pixel")]
    pub x: f64,
    /// y in pixels.
    #[serde(serialize_with = "crate::round::pixel")]
    pub y: f64,
    /// How likely this is the fovea, 0 to 1.
    #[serde(serialize_with = "crate::round::share")]
    pub probability: f64,
}

/// Reach of the visible retina from the fovea, in disc diameters of the flat picture (uncalibrated).
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Reach {
    /// Upwards.
    #[serde(serialize_with = "crate::round::share")]
    pub superior: f64,
    /// Downwards.
    #[serde(serialize_with = "crate::round::share")]
    pub inferior: f64,
    /// Towards the nose: to the disc's side.
    #[serde(serialize_with = "crate::round::share")]
    pub nasal: f64,
    /// Towards the temple.
    #[serde(serialize_with = "crate::round::share")]
    pub temporal: f64,
}

/// Sharpness as a number with its unit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Sharpness {
    /// The value; larger is sharper.
    #[serde(serialize_with = "crate::round::share")]
    pub value: f64,
    /// What the value is.
    pub unit: String,
}
