//! The fovea: a dark place without larger vessels, two to three disc diameters beside the disc and a little below it.

use super::{disc, vessels::Vessels};
use crate::{filter, mask::Mask, scene::Scene};
use serrata_frame::Plane;

/// The best place for a fovea on one side of the disc.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Candidate {
    pub(crate) x: f32,
    pub(crate) y: f32,
    /// How dark and how free of vessels, 0 to 1.
    pub(crate) score: f32,
}

/// Best candidates to the left and to the right of the disc in the picture.
pub(crate) fn both_sides(
    scene: &Scene<'_>,
    retina: &Mask,
    vessels: &Vessels,
    disc: &disc::Found,
) -> [Option<Candidate>; 2] {
    let r = disc.radius;
    let dark = Darkness::new(scene, retina, vessels, r);
    [-1.0f32, 1.0].map(|side| {
        let mut best: Option<Candidate> = None;
        for i in 0..14 {
            let d = r * (3.9 + 0.2 * i as f32);
            for k in 0..15 {
                // From 20° above to 36° below the disc's level.
                let a = (-20.0 + 4.0 * k as f32).to_radians();
                let (x, y) = (disc.x + side * d * a.cos(), disc.y + d * a.sin());
                let Some(evidence) = dark.at(x, y) else { continue };
                // Usual place: 5 radii away, 7° below; half the evidence is lost at 25° or 1.5 radii off.
                let off = ((a.to_degrees() - 7.0) / 25.0).powi(2) + ((d / r - 5.0) / 1.5).powi(2);
                let score = evidence / (1.0 + off);
                if best.is_none_or(|b| score > b.score) {
                    best = Some(Candidate { x, y, score });
                }
            }
        }
        best
    })
}

struct Darkness<'a> {
    step: f32,
    near: Plane,
    far: Plane,
    few: Plane,
    many: Plane,
    contrast: f32,
    retina: &'a Mask,
}

impl<'a> Darkness<'a> {
    fn new(scene: &Scene<'_>, retina: &'a Mask, vessels: &Vessels, r: f32) -> Self {
        let log = darkness_source(scene);
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // small positive numbers
        let (a, b) = ((0.8 * r / scene.half.step) as usize, (2.4 * r / scene.half.step) as usize);
        let strength = filter::half(&vessels.strength);
        Self {
            step: scene.half.step,
            near: filter::box_mean(&log, a),
            far: filter::box_mean(&log, b),
            few: filter::box_mean(&strength, a),
            many: filter::box_mean(&strength, b),
            contrast: vessels.contrast,
            retina,
        }
    }

    /// Evidence for a fovea at a place, or `None` outside the retina.
    fn at(&self, x: f32, y: f32) -> Option<f32> {
        if x < 0.0 || y < 0.0 || x >= self.retina.width as f32 || y >= self.retina.height as f32 {
            return None;
        }
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // checked just above
        if !self.retina.at(x as usize, y as usize) {
            return None;
        }
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // cut to the plane
        let (x, y) = (
            ((x / self.step) as usize).min(self.near.width - 1),
            ((y / self.step) as usize).min(self.near.height - 1),
        );
        let dark = ((self.far.at(x, y) - self.near.at(x, y)) / 0.5).clamp(0.0, 1.0);
        let free = 1.0 - (self.few.at(x, y) / (self.many.at(x, y) + 0.02 * self.contrast)).min(1.0);
        Some(0.7 * dark + 0.3 * free)
    }
}

/// Logarithm of brightness. In colour both lasers count: pigment darkens the fovea in red, and the nerve fibres that
/// it lacks brighten its surroundings in green.
fn darkness_source(scene: &Scene<'_>) -> Plane {
    let lift = 0.02;
    let source = &scene.half;
    let ln = |p: &Plane| {
        let mut data: Vec<f32> = p.data.iter().map(|v| v + lift).collect();
        filter::ln_all(&mut data);
        data
    };
    let mut data = ln(&source.detail);
    if let Some(red) = &source.red {
        for (d, r) in data.iter_mut().zip(ln(red)) {
            *d = 0.5 * *d + 0.5 * r;
        }
    }
    Plane { width: source.detail.width, height: source.detail.height, data }
}
