//! Contract `serrata.appraisal/1`: one frame's appraisal as a line of JSON.

use crate::{
    Disc, Eye, Finding, Fovea, Gaze, Judgement, Method, Modality, Next, Observation, Reach, Reason, Region,
    Sharpness, Verdict, View,
};
use serde::{Deserialize, Serialize};

/// One frame's appraisal: an observation judged for a view.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct AppraisalLine {
    /// Always `serrata.appraisal/1`.
    pub schema: String,
    /// The file.
    pub path: String,
    /// Index of the frame in the file, from 0.
    pub frame: u32,
    /// SHA-256 of the file's bytes, hex.
    pub sha256: String,
    /// Width in pixels.
    pub width: u32,
    /// Height in pixels.
    pub height: u32,
    /// Kind of picture it was judged as.
    pub modality: Modality,
    /// Instrument profile, or null: uncalibrated.
    pub instrument: Option<String>,
    /// Method of the observation.
    pub method: Method,
    /// The view it was judged for.
    pub view: ViewLine,
    /// Which eye.
    pub eye: EyeLine,
    /// Quality for the view.
    pub verdict: Verdict,
    /// What to do.
    pub next: Next,
    /// Why, gravest first.
    pub reasons: Vec<Reason>,
    /// What to do in the chair.
    pub advice: Vec<String>,
    /// The retina that can be seen.
    pub visible_retina: VisibleLine,
    /// All faults, strongest first.
    pub findings: Vec<AppraisedFinding>,
    /// The optic disc.
    pub disc: Option<Disc>,
    /// The fovea.
    pub fovea: Option<Fovea>,
    /// How the gaze is turned, where calibrated and disc or fovea was found.
    #[serde(default)]
    pub gaze: Option<GazeLine>,
    /// How far the visible retina reaches, in disc diameters.
    pub reach: Option<Reach>,
    /// Sharpness.
    pub sharpness: Sharpness,
    /// Time spent, only with `--timings`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub milliseconds: Option<Milliseconds>,
}

/// The view of an appraisal.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ViewLine {
    /// Its name.
    pub name: String,
    /// Its gaze.
    pub gaze: Gaze,
}

/// How the gaze is turned from straight ahead, told by where disc and fovea lie.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct GazeLine {
    /// The gaze in words, or null where it is neither straight ahead nor clearly turned.
    pub seen: Option<Gaze>,
    /// Towards the patient's right, degrees of eye angle; negative to the left.
    #[serde(serialize_with = "crate::round::degrees")]
    pub right_deg: f64,
    /// Upwards, degrees of eye angle; negative downwards.
    #[serde(serialize_with = "crate::round::degrees")]
    pub up_deg: f64,
    /// What it was told by: `fovea` or `disc`.
    pub from: String,
}

/// The label, what the anatomy says, and whether the two agree.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct EyeLine {
    /// The label, or null.
    pub labelled: Option<Eye>,
    /// What the anatomy says, or null where not sure.
    pub inferred: Option<Eye>,
    /// Probability of the likelier eye.
    #[serde(serialize_with = "crate::round::share")]
    pub probability: f64,
    /// Whether both agree; null where one is missing.
    pub agrees: Option<bool>,
}

/// The retina that can be seen, with its area where calibrated.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct VisibleLine {
    /// Share of the aperture.
    #[serde(serialize_with = "crate::round::share")]
    pub fraction: f64,
    /// Share of the whole picture.
    #[serde(serialize_with = "crate::round::share")]
    pub fraction_of_picture: f64,
    /// Where it is.
    #[serde(flatten)]
    pub place: Region,
    /// Area in mm², or null.
    #[serde(serialize_with = "crate::round::mm_opt")]
    pub area_mm2: Option<f64>,
    /// Its 95 % interval in mm², or null.
    #[serde(serialize_with = "crate::round::mm_interval_opt")]
    pub area_interval_mm2: Option<[f64; 2]>,
    /// Radius of the sphere behind the area in mm, or null.
    #[serde(serialize_with = "crate::round::mm_opt")]
    pub radius_mm: Option<f64>,
    /// Where the radius came from: `given`, `measured` (axial length) or `population`, or null.
    pub radius_source: Option<String>,
    /// Why there is no area, or null.
    pub uncalibrated: Option<String>,
    /// What a reader of the area should know, for example that it lies beside its own interval.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub warnings: Vec<String>,
}

/// A finding with the advice that belongs to it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct AppraisedFinding {
    /// The finding.
    #[serde(flatten)]
    pub finding: Finding,
    /// What to do about it, or null.
    pub advice: Option<String>,
}

/// Milliseconds per stage.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Milliseconds {
    /// Reading and decoding.
    #[serde(serialize_with = "crate::round::pixel")]
    pub decode: f64,
    /// Observing.
    #[serde(serialize_with = "crate::round::pixel")]
    pub observe: f64,
}

/// Where a frame came from, for [`AppraisalLine::new`].
#[derive(Debug, Clone)]
pub struct Source<'a> {
    /// Path as given.
    pub path: &'a str,
    /// Frame index.
    pub frame: u32,
    /// SHA-256 of the file, hex.
    pub sha256: &'a str,
    /// Labelled eye.
    pub labelled: Option<Eye>,
    /// Instrument profile.
    pub instrument: Option<&'a str>,
}

impl AppraisalLine {
    /// The contract's name.
    pub const SCHEMA: &'static str = "serrata.appraisal/1";

    /// Puts an observation and its judgement together. `advice_for` gives the sentence that belongs to a finding.
    pub fn new(
        source: &Source<'_>,
        view: &View,
        observation: &Observation,
        judgement: &Judgement,
        advice_for: impl Fn(&Finding) -> Option<String>,
    ) -> Self {
        let o = observation;
        Self {
            schema: Self::SCHEMA.to_owned(),
            path: source.path.to_owned(),
            frame: source.frame,
            sha256: source.sha256.to_owned(),
            width: o.width,
            height: o.height,
            modality: view.modality,
            instrument: source.instrument.map(str::to_owned),
            method: o.method.clone(),
            view: ViewLine { name: view.name.clone(), gaze: view.gaze },
            eye: EyeLine {
                labelled: source.labelled,
                inferred: o.eye.inferred,
                probability: o.eye.probability,
                agrees: source.labelled.zip(o.eye.inferred).map(|(a, b)| a == b),
            },
            verdict: judgement.verdict,
            next: judgement.next,
            reasons: judgement.reasons.clone(),
            advice: judgement.advice.clone(),
            visible_retina: VisibleLine {
                fraction: o.visible_retina.fraction,
                fraction_of_picture: o.visible_retina.fraction_of_picture,
                place: o.visible_retina.place.clone(),
                area_mm2: None,
                area_interval_mm2: None,
                radius_mm: None,
                radius_source: None,
                uncalibrated: Some("no projection known".to_owned()),
                warnings: Vec::new(),
            },
            findings: o
                .findings
                .iter()
                .map(|f| AppraisedFinding { finding: f.clone(), advice: advice_for(f) })
                .collect(),
            disc: o.disc,
            fovea: o.fovea,
            gaze: None,
            reach: o.reach,
            sharpness: o.sharpness.clone(),
            milliseconds: None,
        }
    }
}
