//! Whether there is any retina in the picture.

use crate::{
    anatomy::{Anatomy, Vessels},
    filter,
    mask::Mask,
    scene::Scene,
};
use serrata_words::{Finding, FindingKind};

/// The finding, where nothing in the picture looks like a retina.
///
/// A retina has vessels that hang together and converge. An even card and a plain disc have no lines at all, noise has
/// short ones without order, and in a photograph they do not lead to one place.
pub(crate) fn no_retina(scene: &Scene<'_>, retina: &Mask, vessels: &Vessels, anatomy: &Anatomy) -> Option<Finding> {
    let converging = anatomy.disc.map_or(0.0, |d| d.probability);
    let order = order(scene, vessels);
    if std::env::var("DBG").is_ok() {
        eprintln!("   retina? contrast {:.4} points {} order {order:.3} disc {converging:.3} visible {:.3}", vessels.contrast, vessels.points.len(), retina.share_of(&scene.aperture));
    }
    None
}

/// How much neighbouring vessel points agree in direction: 1 along straight lines, near 0 in noise.
fn order(scene: &Scene<'_>, vessels: &Vessels) -> f64 {
    let (w, h) = (scene.width(), scene.height());
    let mut planes = [0, 1, 2].map(|_| serrata_frame::Plane::new(w, h, 0.0));
    for p in &vessels.points {
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // inside the plane
        let i = (p.y as usize).min(h - 1) * w + (p.x as usize).min(w - 1);
        let (c, s) = p.along;
        planes[0].data[i] = p.weight * (c * c - s * s);
        planes[1].data[i] = p.weight * 2.0 * c * s;
        planes[2].data[i] = p.weight;
    }
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // a small positive number
    let radius = ((scene.long() * 0.008) as usize).max(2);
    let [a, b, n] = planes.map(|p| filter::box_mean(&p, radius));
    let (mut sum, mut all) = (0.0, 1e-9);
    for i in 0..w * h {
        sum += f64::from(a.data[i].hypot(b.data[i]));
        all += f64::from(n.data[i]);
    }
    sum / all
}
