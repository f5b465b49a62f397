//! Whether there is any retina in the picture.

use crate::{
    anatomy::{Vessels, core},
    faults::Seen,
    filter,
    mask::Mask,
    scene::Scene,
};
use serrata_words::{Finding, FindingKind};

/// Least contrast of lines: an even card or a plain disc has none, its noise stays below.
const CONTRAST: f32 = 0.012;

/// Least agreement of neighbouring lines in direction. Retinas at hand have 0.70 and more, printed text 0.5.
const ORDER: f64 = 0.6;

/// Least convergence towards one place. Noise reaches 0.23, photographs 0.2 to 0.4, retinas at hand 0.33 to 0.86.
const CONVERGENCE: f32 = 0.32;

/// The same where the place itself may be missing: a plain disc's rim has less.
const NARROW: f32 = 0.15;

/// The same in a round, narrow field, which need not hold the disc at all; and the least number and order of lines there,
/// where lesions may outnumber vessels.
const ROUND: (f32, usize, f64) = (0.08, 120, 0.5);

/// Distance from a round rim, as a share of the diameter, within which no line counts: smoothing bends the light along
/// the rim of any disc, also of an even one.
const RIM: f32 = 0.05;

/// The same where the picture is filled to its corners, as photographs are and pictures through a pupil are not.
const CONVERGENCE_FILLED: f32 = 0.55;

/// Least share of the picture that has to be left after lids and blinks: less shows no eye's retina (judgement; a frame
/// with its lids half shut has 0.3).
const LEFT: f64 = 0.12;

/// Most blue against the mean of red and green. White-balanced retinal pictures have up to 0.45, the two lasers 0.1;
/// photographs of rooms and people 0.6 and more.
const BLUE: f32 = 0.6;

/// The finding, where nothing in the picture looks like a retina: there are no lines, or they lie without order, do
/// not lead to one place, or the colours are wrong.
pub(crate) fn no_retina(seen: &Seen<'_>, blink: bool) -> Option<Finding> {
    let (scene, retina, vessels) = (seen.scene, seen.retina, seen.vessels);
    let converging = seen.anatomy.convergence;
    let picture = Mask::new(scene.width(), scene.height(), true);
    let left = retina.share_of(&picture);
    let filled = !scene.round && left > 0.94;
    let enough = match (scene.round, filled) {
        // A narrow field need not hold the disc, a blink may hide it, and where much is burnt out vessels are missing.
        (true, _) => ROUND.0,
        (false, _) if blink || burnt(scene, retina) => NARROW,
        (false, false) => CONVERGENCE,
        (false, true) => CONVERGENCE_FILLED,
    };
    let (lines, ordered) = if scene.round { (ROUND.1, ROUND.2) } else { (300, ORDER) };
    let (count, contrast) = lines_inside(scene, vessels);
    let retina_like = left >= LEFT
        && count >= lines
        && contrast >= CONTRAST
        && order(scene, vessels) >= ordered
        && converging >= enough
        && scene.blueness() < BLUE;
    (!retina_like).then(|| Finding::new(FindingKind::NoRetina, 1.0, 1.0))
}

/// How many vessel points there are, and their contrast (of the highest twentieth); in a round field of those away from
/// its rim only.
fn lines_inside(scene: &Scene<'_>, vessels: &Vessels) -> (usize, f32) {
    let Some(diameter) = scene.diameter else { return (vessels.points.len(), vessels.contrast) };
    let inner = core(&scene.aperture, RIM * diameter);
    let mut weights: Vec<f32> = vessels
        .points
        .iter()
        .filter(|p| {
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // inside the plane
            let (x, y) = (p.x as usize, p.y as usize);
            inner.at(x.min(inner.width - 1), y.min(inner.height - 1))
        })
        .map(|p| p.weight * vessels.contrast)
        .collect();
    (weights.len(), filter::percentile(&mut weights, 0.95))
}

/// Whether so much is burnt out that missing vessels say nothing.
fn burnt(scene: &Scene<'_>, retina: &Mask) -> bool {
    let n = scene.detail.data.iter().zip(&retina.data).filter(|(v, r)| **r && **v > 0.97).count();
    n * 20 > retina.count().max(1)
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
        sum += f64::from((a.data[i] * a.data[i] + b.data[i] * b.data[i]).sqrt());
        all += f64::from(n.data[i]);
    }
    sum / all
}
