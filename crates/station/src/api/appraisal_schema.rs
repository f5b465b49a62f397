//! The contract `serrata.appraisal/1` as a schema for OpenAPI. `words` knows nothing of OpenAPI, so its shape is
//! told again here; a test reads a full line into these types with unknown keys refused, so that the two cannot
//! drift.

use serde::Deserialize;
use utoipa::ToSchema;

macro_rules! shape {
    ($($(#[$meta:meta])* $name:ident { $($field:ident: $type:ty),+ $(,)? })+) => {
        $(
            $(#[$meta])*
            #[derive(Debug, Deserialize, ToSchema)]
            #[serde(deny_unknown_fields)]
            #[allow(missing_docs, dead_code)] // documented in `serrata_words::appraisal`; read by OpenAPI and the test
            pub struct $name { $(pub $field: $type),+ }
        )+
    };
}

shape! {
    /// One frame's appraisal; see `serrata.appraisal/1`.
    Appraisal {
        schema: String, path: String, frame: u32, sha256: String, width: u32, height: u32, modality: String,
        instrument: Option<String>, method: AppraisalMethod, view: AppraisalView, eye: AppraisalEye, verdict: String,
        next: String, reasons: Vec<AppraisalReason>, advice: Vec<String>, visible_retina: AppraisalRetina,
        findings: Vec<AppraisalFinding>, disc: Option<AppraisalDisc>, fovea: Option<AppraisalFovea>,
        gaze: Option<AppraisalGaze>, reach: Option<AppraisalReach>, sharpness: AppraisalSharpness,
    }
    /// The method that observed.
    AppraisalMethod { name: String, revision: u32 }
    /// The view it was judged for.
    AppraisalView { name: String, gaze: String }
    /// Which eye.
    AppraisalEye { labelled: Option<String>, inferred: Option<String>, probability: f64, agrees: Option<bool> }
    /// Why.
    AppraisalReason { rule: String, finding: Option<String>, must: bool, text: String }
    /// The retina that can be seen.
    AppraisalRetina {
        fraction: f64, fraction_of_picture: f64, polygons: Vec<Vec<[f64; 2]>>, holes: Vec<Vec<[f64; 2]>>, area_mm2: Option<f64>,
        area_interval_mm2: Option<[f64; 2]>, radius_mm: Option<f64>, radius_source: Option<String>,
        uncalibrated: Option<String>, warnings: Option<Vec<String>>,
    }
    /// One fault.
    AppraisalFinding {
        kind: String, score: f64, fraction: f64, rows: Option<[u32; 2]>, onset_ms: Option<f64>,
        duration_ms: Option<f64>, shift_px: Option<Vec<f64>>, shift_deg: Option<f64>, side: Option<String>, polygons: Vec<Vec<[f64; 2]>>, holes: Vec<Vec<[f64; 2]>>, advice: Option<String>,
    }
    /// The optic disc.
    AppraisalDisc { x: f64, y: f64, radius: f64, probability: f64 }
    /// The fovea.
    AppraisalFovea { x: f64, y: f64, probability: f64 }
    /// How the gaze is turned, degrees of eye angle.
    AppraisalGaze { seen: Option<String>, right_deg: f64, up_deg: f64, from: String }
    /// Reach in disc diameters.
    AppraisalReach { superior: f64, inferior: f64, nasal: f64, temporal: f64 }
    /// Sharpness.
    AppraisalSharpness { value: f64, unit: String }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::check::{Asked, check_file};
    use serrata_words::{Eye, Modality};

    #[test]
    fn the_schema_has_exactly_the_keys_of_the_contract() {
        let scene =
            serrata_phantom::Scene { size: 600, ..serrata_phantom::Scene::new(7, Eye::R, Modality::Colour) };
        let shown = serrata_phantom::render(&scene);
        let png = {
            let dir = tempfile::tempdir().unwrap();
            let path = dir.path().join("x.png");
            crate::picture::write_png(&shown.frame.pixels, &path).unwrap();
            std::fs::read(path).unwrap()
        };
        let limits = serrata_frame::Limits::default();
        let mut checked =
            check_file("x.png", &png, &Asked::default(), &limits, std::time::Instant::now()).unwrap();
        checked[0].line.milliseconds = None;
        let value = serde_json::to_value(&checked[0].line).unwrap();
        serde_json::from_value::<Appraisal>(value).unwrap();
    }
}
