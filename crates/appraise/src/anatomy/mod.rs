//! Anatomy: vessels, optic disc, fovea and which eye it is.

mod disc;
mod fovea;
mod oriented;
mod side;
mod vessels;

pub(crate) use vessels::{Point, Vessels, core, map, ridges};

use crate::{mask::Mask, scene::Scene};
use serrata_words::{Disc, EyeInference, Fovea};

/// What was found, in full-frame pixels.
pub(crate) struct Anatomy {
    pub(crate) disc: Option<Disc>,
    pub(crate) fovea: Option<Fovea>,
    pub(crate) eye: EyeInference,
    /// How well the vessels converge on the best place for a disc, 0 to about 1.
    pub(crate) convergence: f32,
}

/// Looks for the disc, then for the fovea on both sides of it; the side that has it tells the eye.
pub(crate) fn anatomy(scene: &Scene<'_>, retina: &Mask, vessels: &Vessels) -> Anatomy {
    let Some(disc) = disc::find(scene, retina, vessels) else {
        return Anatomy { disc: None, fovea: None, eye: side::unknown(), convergence: 0.0 };
    };
    let sides = fovea::both_sides(scene, retina, vessels, &disc);
    let (eye, fovea) = side::infer(scene, retina, vessels, &disc, &sides);
    let k = scene.factor;
    Anatomy {
        disc: Some(Disc {
            x: f64::from(disc.x) * k,
            y: f64::from(disc.y) * k,
            radius: f64::from(disc.radius) * k,
            probability: f64::from(disc.probability),
        }),
        fovea: fovea.map(|f| Fovea {
            x: f64::from(f.x) * k,
            y: f64::from(f.y) * k,
            probability: f64::from(f.score),
        }),
        eye,
        convergence: disc.convergence,
    }
}
