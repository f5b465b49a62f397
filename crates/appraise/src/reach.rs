//! How far the visible retina reaches.

use crate::{anatomy::Anatomy, mask::Mask, scene::Scene};
use serrata_words::{Eye, Reach};

/// Reach from the fovea (or from where it should be: 2.5 disc diameters beside the disc) along the four directions, in
/// disc diameters. The last retina on the ray counts, so that a lash shadow does not end it. `None` without a clear disc, or
/// where neither the fovea nor the eye is known.
pub(crate) fn reach(scene: &Scene<'_>, retina: &Mask, anatomy: &Anatomy) -> Option<Reach> {
    // Limits of reach are for wide fields.
    let disc = anatomy.disc.filter(|d| !scene.round && d.probability > 0.5)?;
    let (fx, fy) = match (anatomy.fovea, anatomy.eye.inferred) {
        (Some(f), _) => (f.x, f.y),
        (None, Some(Eye::R)) => (disc.x - 5.0 * disc.radius, disc.y + 0.6 * disc.radius),
        (None, Some(Eye::L)) => (disc.x + 5.0 * disc.radius, disc.y + 0.6 * disc.radius),
        (None, None) => return None,
    };
    let towards = |dx: f64, dy: f64| {
        let (mut r, mut last) = (0.0, 0.0);
        loop {
            let (x, y) = (fx / scene.factor + r * dx, fy / scene.factor + r * dy);
            if x < 0.0 || y < 0.0 || x >= retina.width as f64 || y >= retina.height as f64 {
                return last * scene.factor / (2.0 * disc.radius);
            }
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // checked just above
            if retina.at(x as usize, y as usize) {
                last = r;
            }
            r += 1.0;
        }
    };
    let nasal = if disc.x > fx { 1.0 } else { -1.0 };
    Some(Reach {
        superior: towards(0.0, -1.0),
        inferior: towards(0.0, 1.0),
        nasal: towards(nasal, 0.0),
        temporal: towards(-nasal, 0.0),
    })
}
