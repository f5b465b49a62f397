use crate::{contour, scene::Scene, visible};
use serrata_frame::Frame;
use serrata_words::{
    EyeInference, Instrument, Method, Modality, Observation, Sharpness, VisibleRetina,
};

/// The method of [`observe`] with its revision.
pub const METHOD: Method = Method::new("observe", 1);

/// Looks at one frame.
#[must_use]
pub fn observe(frame: &Frame, modality: Modality, _instrument: Option<&Instrument>) -> Observation {
    let scene = Scene::new(frame, modality);
    let retina = visible::visible(&scene);
    let pixels = &frame.pixels;
    let full = f64::from(pixels.width()) * f64::from(pixels.height());
    let place = contour::region(&retina, scene.factor);
    let all = (scene.width() * scene.height()) as f64;
    Observation {
        method: METHOD,
        width: pixels.width(),
        height: pixels.height(),
        aperture_fraction: scene.aperture.count() as f64 / all,
        visible_retina: VisibleRetina {
            fraction: retina.share_of(&scene.aperture),
            fraction_of_picture: place.flat_area() / full,
            place,
        },
        findings: vec![],
        eye: EyeInference { inferred: None, probability: 0.5 },
        disc: None,
        fovea: None,
        reach: None,
        sharpness: Sharpness { value: 0.0, unit: String::new() },
    }
}
