//! The vessel map, for drawing, measuring and checking.

use crate::{anatomy, filter, scene::Scene, visible};
use serrata_frame::{Frame, Pixels, Plane, Samples};
use serrata_words::Modality;

/// How strongly each working pixel looks like a vessel.
#[derive(Debug, Clone)]
pub struct VesselMap {
    /// Strength, 0 (none) to 1 (the strong vessels of this frame and more); 0 outside the visible retina.
    pub strength: Plane,
    /// Frame pixels along one working pixel.
    pub factor: f64,
}

/// The vessels of a frame, bright ones in dye pictures, dark ones elsewhere.
///
/// ```
/// use serrata_frame::{Frame, Pixels, Samples};
/// let grey = Frame::bare(Pixels::new(64, 48, 1, Samples::U8(vec![118; 64 * 48].into()))?);
/// let map = serrata_appraise::vessel_map(&grey, serrata_words::Modality::Green);
/// assert!(map.strength.data.iter().all(|v| *v == 0.0));
/// # Ok::<(), serrata_frame::PixelsError>(())
/// ```
#[must_use]
pub fn vessel_map(frame: &Frame, modality: Modality) -> VesselMap {
    let scene = Scene::new(frame, modality);
    let retina = visible::visible(&scene).retina;
    let mut strength = anatomy::map(&scene, &retina);
    let mut some: Vec<f32> =
        strength.data.iter().zip(&retina.data).filter(|(_, r)| **r).map(|(v, _)| *v).collect();
    let top = filter::percentile(&mut some, 0.99).max(1e-4);
    for v in &mut strength.data {
        *v = (*v / top).clamp(0.0, 1.0);
    }
    VesselMap { strength, factor: scene.factor }
}

impl VesselMap {
    /// The map as a grey picture of the working size, 255 for 1.
    #[must_use]
    pub fn picture(&self) -> Pixels {
        let p = &self.strength;
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // 0 to 255
        let v: Vec<u8> = p.data.iter().map(|v| (v.sqrt() * 255.0).round() as u8).collect();
        #[allow(clippy::expect_used, clippy::cast_possible_truncation)] // a working plane is small and full
        Pixels::new(p.width as u32, p.height as u32, 1, Samples::U8(v.into())).expect("a full plane")
    }
}
