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
    /// How the eye moved during the sweep.
    #[serde(default)]
    pub movements: Vec<EyeMovement>,
    /// Where a dye run was, in dye pictures.
    #[serde(default)]
    pub dye: Option<DyeMoment>,
    /// Marks and regions of the eye, in view or not.
    #[serde(default)]
    pub lesions: Vec<LesionTruth>,
    /// Whether the picture has the uneven stretch of a frame that was not projected: no size may be read from it.
    #[serde(default)]
    pub raw: bool,
}

impl FrameTruth {
    /// The contract's name.
    pub const SCHEMA: &'static str = "serrata.truth/1";
}

crate::words! {
    /// A mark or region that a simulated eye has.
    LesionKind("lesion") {
        /// A dot of a widened capillary.
        Microaneurysm = "microaneurysm",
        /// Blood in the retina.
        Haemorrhage = "haemorrhage",
        /// Deposits under the epithelium.
        Drusen = "drusen",
        /// A burn left by laser treatment.
        LaserScar = "laser_scar",
        /// A vessel that lets dye through.
        Leak = "leak",
        /// Epithelium that is gone.
        Atrophy = "atrophy",
        /// Retina whose capillaries never fill.
        NonPerfusion = "non_perfusion",
    }
}

crate::words! {
    /// Where a dye run is at one frame.
    DyePhase("dye phase") {
        /// No dye has come.
        Before = "before",
        /// The choroid fills, the retinal arteries do not yet.
        Choroidal = "choroidal",
        /// The arteries fill.
        Arterial = "arterial",
        /// The veins fill along their walls.
        LaminarVenous = "laminar_venous",
        /// Arteries and veins are full.
        Venous = "venous",
        /// Early ICG, up to 3 minutes.
        Early = "early",
        /// Recirculation; in ICG from 3 to 15 minutes.
        Mid = "mid",
        /// Wash-out, staining, leakage.
        Late = "late",
    }
}

/// One mark or region on a simulated retina.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LesionTruth {
    /// What it is.
    pub kind: LesionKind,
    /// Angle of its middle from the fovea at the sphere's centre, degrees.
    #[serde(serialize_with = "crate::round::share")]
    pub eccentricity_deg: f64,
    /// Meridian of its middle: degrees counter-clockwise from 3 o'clock as the observer sees the fundus.
    #[serde(serialize_with = "crate::round::share")]
    pub meridian_deg: f64,
    /// Its radius at the sphere's centre, degrees.
    #[serde(serialize_with = "crate::round::share")]
    pub radius_deg: f64,
    /// Area of the cap of that radius, mm² on a sphere of half the axial length.
    #[serde(serialize_with = "crate::round::share")]
    pub area_mm2: f64,
    /// The visit at which it was first there, from 0.
    pub since_visit: u32,
}

/// Truth about a simulated eye at one visit: contract `serrata.eye_truth/1`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct EyeTruth {
    /// Always `serrata.eye_truth/1`.
    pub schema: String,
    /// Seed of the patient.
    pub seed: u64,
    /// The eye.
    pub eye: Eye,
    /// The visit, from 0.
    pub visit: u32,
    /// Axial length in mm.
    #[serde(serialize_with = "crate::round::share")]
    pub axial_length_mm: f64,
    /// The disc's centre: angle from the fovea in degrees.
    #[serde(serialize_with = "crate::round::share")]
    pub disc_eccentricity_deg: f64,
    /// The disc's meridian in degrees.
    #[serde(serialize_with = "crate::round::share")]
    pub disc_meridian_deg: f64,
    /// The vortex ampullae: eccentricity and meridian in degrees.
    pub ampullae: Vec<[f64; 2]>,
    /// Its marks and regions.
    pub lesions: Vec<LesionTruth>,
}

impl EyeTruth {
    /// The contract's name.
    pub const SCHEMA: &'static str = "serrata.eye_truth/1";
}

/// How the eye moved during a sweep.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct EyeMovement {
    /// `drift`, `microsaccade` or `saccade`.
    pub kind: String,
    /// Lines while it moved, half-open.
    pub rows: [u32; 2],
    /// When it began, ms from the start of the sweep.
    #[serde(serialize_with = "crate::round::share")]
    pub onset_ms: f64,
    /// How long it lasted, ms.
    #[serde(serialize_with = "crate::round::share")]
    pub duration_ms: f64,
    /// How far the retina moved in the picture: to the right and up, degrees at the sphere's centre.
    pub shift_deg: [f64; 2],
    /// Peak speed, degrees a second.
    #[serde(serialize_with = "crate::round::share")]
    pub peak_deg_s: f64,
}

/// The times of a dye run, seconds.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct DyeTimes {
    /// From injection until the artery at the disc holds a tenth of its peak.
    #[serde(serialize_with = "crate::round::share")]
    pub arm_to_retina_s: f64,
    /// From injection until the choroid fills.
    #[serde(serialize_with = "crate::round::share")]
    pub choroid_s: f64,
    /// From the first dye in the artery to the first along the wall of the widest vein at the disc.
    #[serde(serialize_with = "crate::round::share")]
    pub arteriovenous_passage_s: f64,
    /// Mean transit from the artery to the widest vein at the disc.
    #[serde(serialize_with = "crate::round::share")]
    pub mean_circulation_s: f64,
    /// From injection until that vein is brightest.
    #[serde(serialize_with = "crate::round::share")]
    pub venous_peak_s: f64,
}

/// When a dye frame was taken.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct DyeMoment {
    /// Seconds since injection.
    #[serde(serialize_with = "crate::round::share")]
    pub seconds: f64,
    /// The phase of the run.
    pub phase: DyePhase,
    /// The run's times.
    #[serde(flatten)]
    pub times: DyeTimes,
}
