//! Whether vessels are bright or dark: what a single frame says of dye.

use crate::{anatomy, scene::Scene, visible};
use serrata_frame::{Frame, Plane};
use serrata_words::Modality;

/// Strength of the strongest bright ridges as a share of that of the strongest bright and dark ones, 0 to 1, over the
/// visible retina.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RidgeBalance {
    /// Over vessels of every width. With dye the vessels are bright and the share is high; without, they are dark.
    pub all: f64,
    /// Over the wide ones alone: before the veins fill, the widest vessels stay dark.
    pub wide: f64,
}

/// One in so many pixels counts as strong: vessels take about a twentieth of the retina (4.85 %: Jiang 2021), and noise, which is bright
/// and dark alike, takes the rest. The mean of all of them told nothing on the ultra-widefield frames at hand.
const STRONGEST: usize = 33;

/// The balance of bright and dark vessels of a frame, looked at as a grey picture; none where no retina is seen.
///
/// Example: a late fluorescein frame has `all` about 0.6, the green channel of a colour picture about 0.43.
///
/// ```
/// use serrata_frame::{Frame, Pixels, Samples};
/// let grey = Frame::bare(Pixels::new(64, 48, 1, Samples::U8(vec![118; 64 * 48].into()))?);
/// assert!(serrata_appraise::ridge_balance(&grey).is_none_or(|b| b.all == 0.5));
/// # Ok::<(), serrata_frame::PixelsError>(())
/// ```
#[must_use]
pub fn ridge_balance(frame: &Frame) -> Option<RidgeBalance> {
    let scene = Scene::new(frame, Modality::Fa);
    let retina = visible::visible(&scene);
    // The outline of the retina is no vessel.
    let margin = (scene.disc_radius * anatomy::WIDTHS[3] * 4.0).max(4.0);
    let core = anatomy::core(&retina, margin);
    if !core.data.iter().any(|c| *c) {
        return None;
    }
    let strongest = |p: &Plane| {
        let mut all: Vec<f32> = p.data.iter().zip(&core.data).filter(|(_, c)| **c).map(|(v, _)| *v).collect();
        all.sort_by(|a, b| b.total_cmp(a));
        all.truncate((all.len() / STRONGEST).max(1));
        all.iter().map(|v| f64::from(*v)).sum::<f64>() / all.len() as f64
    };
    let share = |widths: &[f32]| {
        let [dark, bright] =
            [1.0, -1.0].map(|sign| strongest(&anatomy::ridges(&scene, &retina, sign, widths)));
        if bright + dark > 0.0 { bright / (bright + dark) } else { 0.5 }
    };
    Some(RidgeBalance { all: share(&anatomy::WIDTHS), wide: share(&anatomy::WIDTHS[2..]) })
}
