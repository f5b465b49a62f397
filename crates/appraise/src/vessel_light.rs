//! What the vessels of a single frame say of dye: whether they are bright, and by how much.

use crate::{anatomy, filter, scene::Scene, visible};
use serrata_frame::{Frame, Plane};
use serrata_words::Modality;

/// Two numbers of a frame looked at as a grey picture, over the visible retina.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct VesselLight {
    /// Strength of the strongest bright ridges as a share of that of the strongest bright and dark ones, 0 to 1. With dye the
    /// vessels are bright and the share is high; without, they are dark.
    pub bright: f64,
    /// How far the brightest twentieth rises above the ground about it, natural logarithm: vessels take about a twentieth
    /// of the retina (4.85 %: Jiang 2021), so with dye in all of them it is they, and before the veins fill it is less.
    pub rise: f64,
    /// Whether the aperture is a disc, as in pictures of a narrow field, where vessels take a larger share.
    pub narrow: bool,
}

/// One in so many pixels counts as a strong ridge; noise, which is bright and dark alike, takes the rest. The mean of all
/// ridges told nothing on the ultra-widefield frames at hand.
const STRONGEST: usize = 33;

/// Side of the window whose median is the ground, in usual disc radii.
const AROUND: f32 = 2.0;

/// What the vessels of a frame say of dye; none where no retina is seen.
///
/// Example: a venous fluorescein frame has `bright` about 0.6, the green channel of a colour picture about 0.43.
///
/// ```
/// use serrata_frame::{Frame, Pixels, Samples};
/// let grey = Frame::bare(Pixels::new(64, 48, 1, Samples::U8(vec![118; 64 * 48].into()))?);
/// assert!(serrata_appraise::vessel_light(&grey).is_none_or(|v| v.bright == 0.5 && v.rise < 0.01));
/// # Ok::<(), serrata_frame::PixelsError>(())
/// ```
#[must_use]
pub fn vessel_light(frame: &Frame) -> Option<VesselLight> {
    let scene = Scene::new(frame, Modality::Fa);
    let retina = visible::visible(&scene).retina;
    // The outline of the retina is no vessel.
    let margin = (scene.disc_radius * 0.4).max(4.0);
    let core = anatomy::core(&retina, margin);
    if !core.data.iter().any(|c| *c) {
        return None;
    }
    let inside = |p: &Plane| -> Vec<f32> {
        p.data.iter().zip(&core.data).filter(|(_, c)| **c).map(|(v, _)| *v).collect()
    };
    let strongest = |sign: f32| {
        let mut all = inside(&anatomy::ridges(&scene, &retina, sign));
        all.sort_by(|a, b| b.total_cmp(a));
        all.truncate((all.len() / STRONGEST).max(1));
        all.iter().map(|v| f64::from(*v)).sum::<f64>() / all.len() as f64
    };
    let (bright, dark) = (strongest(-1.0), strongest(1.0));
    let ground = ground(&scene.detail, scene.disc_radius);
    let calm = filter::gauss(&scene.detail, 0.7);
    let rise = Plane::from_fn(calm.width, calm.height, |x, y| {
        ((calm.at(x, y) + LIFT) / (ground.at(x, y) + LIFT)).ln()
    });
    Some(VesselLight {
        bright: if bright + dark > 0.0 { bright / (bright + dark) } else { 0.5 },
        rise: f64::from(filter::percentile(&mut inside(&rise), 0.95)),
        narrow: scene.round,
    })
}

/// What is added before a logarithm is taken, so that the dark does not count for all (judgement).
const LIFT: f32 = 0.02;

/// Median of the surroundings, found on every fourth pixel.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // pixels
fn ground(p: &Plane, disc_radius: f32) -> Plane {
    const STEP: usize = 4;
    let calm = filter::gauss(p, 2.0);
    let (w, h) = (p.width.div_ceil(STEP), p.height.div_ceil(STEP));
    let at = |i: usize, j: usize| calm.at((i * STEP).min(p.width - 1), (j * STEP).min(p.height - 1));
    let small = Plane::from_fn(w, h, at);
    let reach = ((AROUND * disc_radius / 2.0 / STEP as f32).round() as usize).max(2);
    let median = Plane::from_fn(w, h, |x, y| {
        let mut near: Vec<f32> = (y.saturating_sub(reach)..(y + reach + 1).min(h))
            .flat_map(|j| small.row(j)[x.saturating_sub(reach)..(x + reach + 1).min(w)].iter().copied())
            .collect();
        let middle = near.len() / 2;
        *near.select_nth_unstable_by(middle, f32::total_cmp).1
    });
    Plane::from_fn(p.width, p.height, |x, y| {
        let (i, j) = ((x / STEP).min(w - 1), (y / STEP).min(h - 1));
        let (k, l) = ((i + 1).min(w - 1), (j + 1).min(h - 1));
        let (fx, fy) = ((x % STEP) as f32 / STEP as f32, (y % STEP) as f32 / STEP as f32);
        let top = median.at(i, j) + (median.at(k, j) - median.at(i, j)) * fx;
        let low = median.at(i, l) + (median.at(k, l) - median.at(i, l)) * fx;
        top + (low - top) * fy
    })
}
