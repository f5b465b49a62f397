//! Regions that are proposed to a person: what brightens late, what stays dark.

use crate::Run;
use crate::stack::boxed;
use serrata_frame::Plane;

/// Pixels of the reference that are proposed, with how sure.
#[derive(Debug, Clone, PartialEq)]
pub struct Proposed {
    /// Width and height of the reference's small picture.
    pub size: [usize; 2],
    /// Score of each pixel, 0 to 1; proposed from 0.5.
    pub score: Vec<f32>,
    /// Whether each pixel could be graded: seen in all frames that are compared, bright enough to tell.
    pub gradable: Vec<bool>,
}

/// Mean of the planes between two seconds since the injection.
fn between(run: &Run, from: f64, to: f64) -> Option<Plane> {
    let second = |i: usize| run.line.frames[i].seconds.unwrap_or(f64::MAX);
    let near: Vec<&Plane> =
        run.planes.iter().filter(|(i, _)| (from..=to).contains(&second(*i))).map(|p| &p.1).collect();
    let first = near.first()?;
    #[allow(clippy::cast_precision_loss)] // some frames
    let n = near.len() as f32;
    Some(Plane::from_fn(first.width, first.height, |x, y| near.iter().map(|p| p.at(x, y)).sum::<f32>() / n))
}

fn median(mut v: Vec<f32>) -> f32 {
    let k = v.len() / 2;
    if v.is_empty() { 0.0 } else { *v.select_nth_unstable_by(k, f32::total_cmp).1 }
}

/// What brightens from the first passage (20 to 45 s) to the late frames (from 5 min) against everything else, which fades.
///
/// None without frames of both. Called "late brightening, proposed" until a named person accepts it.
#[must_use]
pub fn late_brightening(run: &Run, seen: &[bool]) -> Option<Proposed> {
    let (early, late) = (between(run, 20.0, 45.0)?, between(run, 300.0, f64::MAX / 2.0)?);
    let (w, h) = (early.width, early.height);
    let (e, l) = (boxed(&early, 1, |_| true), boxed(&late, 1, |_| true));
    let gradable: Vec<bool> = (0..w * h)
        .map(|i| seen.get(i).copied().unwrap_or(false) && e.data[i].is_finite() && l.data[i].is_finite())
        .collect();
    // How much the retina as a whole has faded.
    let inside = |p: &Plane| median((0..w * h).filter(|i| gradable[*i]).map(|i| p.data[i]).collect());
    let fade = inside(&l) / inside(&e).max(1e-4);
    let wide = (w.max(h) / 16).max(8);
    let rest: Vec<f32> = (0..w * h).map(|i| l.data[i] - fade * e.data[i]).collect();
    let rest = Plane { width: w, height: h, data: rest };
    let ground = boxed(&rest, wide, |i| gradable[i]);
    let above: Vec<f32> = (0..w * h).map(|i| rest.data[i] - ground.data[i]).collect();
    let scatter = 1.4826 * median((0..w * h).filter(|i| gradable[*i]).map(|i| above[i].abs()).collect());
    // Half of what the brightest such places gain over their surroundings, and clear of the scatter.
    let mut tops: Vec<f32> = (0..w * h).filter(|i| gradable[*i]).map(|i| above[i]).collect();
    tops.sort_by(f32::total_cmp);
    let top = tops.get(tops.len().saturating_sub(1 + tops.len() / 2000)).copied().unwrap_or(0.0);
    let limit = (5.0 * scatter).max(0.4 * top).max(0.01);
    let score = (0..w * h)
        .map(|i| if gradable[i] { (above[i] / (2.0 * limit)).clamp(0.0, 1.0) } else { 0.0 })
        .collect();
    Some(Proposed { size: [w, h], score, gradable })
}

/// What stays dark while its surroundings fill (20 to 60 s), vessels left out.
///
/// None without such frames. Called "dark, unfilled, proposed" until a named person accepts it: the fovea, blood and
/// pigment are dark as well.
#[must_use]
pub fn unfilled(run: &Run, seen: &[bool]) -> Option<Proposed> {
    let full = between(run, 20.0, 60.0)?;
    let (w, h) = (full.width, full.height);
    let gradable: Vec<bool> =
        (0..w * h).map(|i| seen.get(i).copied().unwrap_or(false) && full.data[i].is_finite()).collect();
    // Vessels stand out: the lower part of a small neighbourhood is the ground between them.
    let fine = boxed(&full, 2, |i| gradable[i]);
    let wide = (w.max(h) / 7).max(16);
    let ground = boxed(&fine, wide, |i| gradable[i]);
    let score = (0..w * h)
        .map(|i| {
            let share = fine.data[i] / ground.data[i].max(1e-4);
            if gradable[i] && share.is_finite() {
                (1.0 - share / (2.0 * UNFILLED)).clamp(0.0, 1.0)
            } else {
                0.0
            }
        })
        .collect();
    Some(Proposed { size: [w, h], score, gradable })
}

/// Brightness against the surroundings below which retina counts as unfilled (judgement).
const UNFILLED: f32 = 0.6;
