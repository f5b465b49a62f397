//! Contract `serrata.dye/1`: what a dye run shows in numbers.

use crate::{DyePhase, Method, Modality};
use serde::{Deserialize, Serialize};

/// A dye run of one eye and one dye, as one line of JSON.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DyeLine {
    /// Always `serrata.dye/1`.
    pub schema: String,
    /// The method that made it.
    pub method: Method,
    /// The dye.
    pub modality: Modality,
    /// Name of the frame that all others are laid on.
    pub reference: Option<String>,
    /// All frames in the order they were given.
    pub frames: Vec<DyeFrame>,
    /// From the injection until the choroid about the disc fills.
    pub choroid: Option<DyeSpan>,
    /// From the injection until the arteries at the disc hold a tenth of their peak.
    pub arm_to_retina: Option<DyeSpan>,
    /// From there to the first dye in the veins at the disc.
    pub arteriovenous_passage: Option<DyeSpan>,
    /// How much later the dye passes the veins at the disc than the arteries, in the mean.
    pub mean_circulation: Option<DyeSpan>,
    /// Why a time is missing.
    pub problem: Option<String>,
    /// Curves of brightness.
    pub curves: Vec<DyeCurve>,
    /// Regions proposed to a person.
    #[serde(default)]
    pub regions: Vec<DyeRegion>,
    /// Shares of the retina seen; null where nothing could be graded.
    #[serde(default)]
    pub index: Option<DyeIndex>,
}

impl DyeLine {
    /// The contract's name.
    pub const SCHEMA: &'static str = "serrata.dye/1";
}

/// One frame of a run.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DyeFrame {
    /// Its name.
    pub name: String,
    /// Kind of picture.
    pub modality: Modality,
    /// Seconds since the injection began.
    pub seconds: Option<f64>,
    /// Its phase, told from the first arterial frame.
    pub phase: Option<DyePhase>,
    /// Whether its own vessels say where it lies; false: it is laid where its neighbour lies.
    pub registered: bool,
    /// Why it does not count.
    pub left_out: Option<String>,
    /// What its pixels say of dye, whatever its label and its second; null where no retina is seen.
    pub look: Option<DyeLook>,
}

/// What a single frame's pixels say of dye: a check of labels, no more.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct DyeLook {
    /// Strength of the strongest bright vessels as a share of that of the strongest bright and dark ones, 0 to 1.
    #[serde(serialize_with = "crate::round::share")]
    pub bright: f64,
    /// How far the brightest twentieth of the retina rises above the ground about it, natural logarithm.
    #[serde(serialize_with = "crate::round::share")]
    pub rise: f64,
    /// Whether it looks like an angiogram; null: not sure.
    pub angiogram: Option<bool>,
    /// Whether its veins look filled; null: not sure, or no angiogram.
    pub veins_filled: Option<bool>,
}

/// A number of seconds.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct DyeSpan {
    /// Seconds.
    #[serde(serialize_with = "crate::round::share")]
    pub seconds: f64,
    /// 95 % interval.
    pub interval: [f64; 2],
}

/// Brightness over time.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DyeCurve {
    /// `arteries`, `veins`, `ground` (choroid and capillaries) about the disc, `fovea`, or the name of a drawn region.
    pub what: String,
    /// Seconds since the injection, brightness from 0 to 1 as stored.
    pub points: Vec<[f64; 2]>,
}

/// What share of the retina seen is dark, or brightens late, as proposed; an area that holds the fovea does not count.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DyeIndex {
    /// What the shares are of, in words.
    pub denominator: String,
    /// Share that stays dark.
    #[serde(serialize_with = "crate::round::share")]
    pub dark: f64,
    /// Share that brightens late.
    #[serde(serialize_with = "crate::round::share")]
    pub late: f64,
    /// Dark mm² over the area of a normal eye; null without a projection.
    pub normalised_dark: Option<f64>,
    /// What that is divided by, in words.
    pub normalised_by: String,
    /// The same by zones about disc and fovea; empty where the disc is not seen.
    pub zones: Vec<DyeZone>,
}

/// Shares within a zone.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DyeZone {
    /// Which, in words.
    pub name: String,
    /// Its gradable part as a share of all that could be graded.
    #[serde(serialize_with = "crate::round::share")]
    pub of_gradable: f64,
    /// Share of it that stays dark.
    #[serde(serialize_with = "crate::round::share")]
    pub dark: f64,
    /// Share of it that brightens late.
    #[serde(serialize_with = "crate::round::share")]
    pub late: f64,
}

/// A region that is proposed, never concluded.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DyeRegion {
    /// `late brightening, proposed` or `dark, unfilled, proposed`.
    pub what: String,
    /// Outlines in pixels of the reference frame.
    pub polygons: Vec<Vec<[f64; 2]>>,
    /// Holes in them.
    pub holes: Vec<Vec<[f64; 2]>>,
    /// Mean score, 0.5 to 1.
    #[serde(serialize_with = "crate::round::share")]
    pub score: f64,
    /// Area, mm²; null without a projection.
    pub area_mm2: Option<f64>,
    /// Its 95 % interval.
    pub area_interval_mm2: Option<[f64; 2]>,
    /// Share of the gradable area of the frame that it takes.
    #[serde(serialize_with = "crate::round::share")]
    pub share_of_gradable: f64,
    /// What else a person should know of it, such as that it holds the fovea.
    pub note: Option<String>,
}
