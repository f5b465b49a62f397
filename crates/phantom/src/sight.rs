//! Where each pixel of a scene's picture really lies on the retina.

use crate::optics::Optics;
use crate::scene::Scene;
use serrata_eye::Direction;

/// The geometry of one shot: gaze, torsion and all that the eye moved while the frame was swept.
///
/// ```
/// use serrata_phantom::{Scene, Sight, render};
/// use serrata_words::{Eye, Modality};
///
/// let scene = Scene { size: 600, ..Scene::new(4, Eye::R, Modality::Colour) };
/// let fovea = render(&scene).truth.fovea;
/// let seen = Sight::of(&scene).to_retina([fovea.x, fovea.y]);
/// assert!(serrata_eye::angle_between(seen, serrata_eye::Direction::POLE).to_degrees() < 0.3); // half a pixel
/// ```
#[derive(Debug, Clone)]
pub struct Sight(Optics);

impl Sight {
    /// The geometry of a scene.
    #[must_use]
    pub fn of(scene: &Scene) -> Self {
        Self(Optics::new(scene))
    }

    /// The place of a pixel (x to the right, y down, 0 at the picture's edge) in the retinal frame: fovea at +z.
    #[must_use]
    pub fn to_retina(&self, [x, y]: [f64; 2]) -> Direction {
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // as casts saturate
        let pose = self.0.pose(x.max(0.0) as u32, y.max(0.0) as u32);
        pose.apply(self.0.view.to_direction([x, y]))
    }
}
