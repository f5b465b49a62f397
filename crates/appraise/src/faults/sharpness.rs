//! Sharpness: how wide the edges of vessels are, measured on the frame's own pixels.

use super::{Seen, placed, ramp, soft_patch::SoftPatch};
use crate::{anatomy::Vessels, filter, scene::Scene};
use serrata_frame::{Pixels, Samples};
use serrata_words::{Finding, FindingKind};

/// Edge widths of vessels.
pub(crate) struct Sharp {
    /// Width of the sharpest quarter's edges as a share of the picture's longer side; `None` where there is no vessel.
    pub(crate) edge: Option<f64>,
    /// The same of the middle edge.
    middle: Option<f64>,
}

/// Edge width in disc radii of the sharpest quarter up to which nothing is said, and from which the picture is plainly blurred; and the same
/// of the middle edge: both have to be wide, for noise makes some edges narrow and bleeding others wide. Ultra-widefield frames at hand have
/// up to 0.109 and 0.136 where graders saw no blur, 0.166 and 0.187 and more where they did; narrow ones 0.089 and 0.104.
const EDGE: [(f64, f64); 2] = [(0.095, 0.115), (0.138, 0.162)];

/// Middle edge in disc radii from which haze hardly explains it, and that only blur has: simulated haze, which spreads light a little, has up to
/// 0.186, simulated blur mostly 0.20 to 0.30.
const WIDE: (f64, f64) = (0.180, 0.225);

/// Share of its score that a blur keeps which could be haze.
const DOUBTFUL: f64 = 0.7;

/// The sharpest quarter's in a dye picture whose contrast is gone (judgement).
const SOFT: (f64, f64) = (0.085, 0.105);

const CELLS: usize = 14;
const HALF: usize = 26;
/// How far from the middle of a vessel its edge is sought, in steps of the profile: a blurred edge is as wide.
const REACH: usize = 20;

/// Measures the strongest vessel in each cell of a grid.
pub(crate) fn sharpness(scene: &Scene<'_>, vessels: &Vessels) -> Sharp {
    let edges: Vec<Edge> = strongest(scene, vessels).iter().filter_map(|p| edge(scene, p)).collect();
    let mut contrasts: Vec<f32> = edges.iter().map(|e| e.contrast).collect();
    let strong = PLAIN * filter::percentile(&mut contrasts, 0.9);
    let mut widths: Vec<f32> = edges.iter().filter(|e| e.contrast >= strong).map(|e| e.width).collect();
    if widths.len() < 8 {
        return Sharp { edge: None, middle: None };
    }
    let [edge, middle] = [0.25, 0.5].map(|share| Some(f64::from(filter::percentile(&mut widths, share))));
    Sharp { edge, middle }
}

pub(super) fn blur(seen: &Seen<'_>) -> Option<Finding> {
    let [edge, middle] = edges(seen)?;
    let mut score = ramp(edge, EDGE[0].0, EDGE[0].1).min(ramp(middle, EDGE[1].0, EDGE[1].1));
    score *= DOUBTFUL + (1.0 - DOUBTFUL) * ramp(middle, WIDE.0, WIDE.1);
    if seen.scene.modality.is_dye() {
        // Dye pictures seldom lose their contrast to haze alone: where it is gone, softer edges are enough.
        let gone = super::haze::gone(seen);
        score = score.max(gone.min(ramp(edge, SOFT.0, SOFT.1)));
    }
    (score > 0.0).then(|| Finding::new(FindingKind::Blur, score, seen.retina.share_of(&seen.scene.aperture)))
}

/// The sharpest quarter's edge and the middle one in disc radii.
fn edges(seen: &Seen<'_>) -> Option<[f64; 2]> {
    let radius = f64::from(seen.scene.disc_radius / seen.scene.long());
    Some([seen.sharp.edge? / radius, seen.sharp.middle? / radius])
}

/// How sure it is that vessels are wider than haze makes them, 0 to 1.
pub(super) fn surely_blurred(seen: &Seen<'_>) -> f64 {
    edges(seen)
        .map_or(0.0, |[edge, middle]| ramp(edge, EDGE[0].0, EDGE[0].1).min(ramp(middle, WIDE.0, WIDE.1)))
}

/// Blur of one part only: how much more it loses of the finest detail than of the coarsest, natural logarithm; named from, and
/// plain from. Simulated smears, which veil more than they blur, reach 0.42, soft patches have 0.31 and more, the middle one
/// of 30 of them 0.60; untouched real frames have 0.35 at most.
pub(super) const PART: (f64, f64) = (0.40, 0.56);

/// A whole picture's blur that is this sure counts (by the shipped rules), and is not made milder by a softer part.
const WHOLE: f64 = 0.5;

/// The whole picture's blur, or that of one part where this is plainer.
pub(super) fn blur_or_part(seen: &Seen<'_>, patch: Option<&SoftPatch>) -> Option<Finding> {
    let whole = blur(seen);
    let score = patch.map_or(0.0, |p| ramp(p.steep, PART.0, PART.1));
    match patch {
        Some(p)
            if score > whole.as_ref().map_or(0.0, |w| w.score)
                && whole.as_ref().is_none_or(|w| w.score < WHOLE) =>
        {
            Some(placed(FindingKind::Blur, score, &p.place, seen.scene))
        }
        _ => whole,
    }
}

fn strongest(scene: &Scene<'_>, vessels: &Vessels) -> Vec<crate::anatomy::Point> {
    let cell = scene.long() / CELLS as f32;
    let mut best: Vec<Option<crate::anatomy::Point>> = vec![None; (CELLS + 1) * (CELLS + 1)];
    for p in &vessels.points {
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // inside the plane
        let k = (p.y / cell) as usize * (CELLS + 1) + (p.x / cell) as usize;
        let slot = &mut best[k];
        if slot.is_none_or(|b| p.weight > b.weight) {
            *slot = Some(*p);
        }
    }
    best.into_iter().flatten().collect()
}

/// One side of a vessel.
struct Edge {
    /// Share of the picture's longer side.
    width: f32,
    /// Share of full scale.
    contrast: f32,
}

/// Edges weaker than this share of the strong ones (the highest tenth) are left out: where all is blurred, what is left
/// between them is noise and the edges of JPEG's blocks, which are narrow.
const PLAIN: f32 = 0.3;

/// Parallel cuts on each side of the middle one whose mean is a vessel's profile.
const CUTS: i8 = 5;

/// Least contrast of a profile as a share of its own level, and of full scale: a grey level of 8 bit is 0.004, and the mean
/// of the cuts shows less than that.
const LEAST: (f32, f32) = (0.06, 0.003);

/// Steepest slope in standard errors of a single step below which the slope over three steps is taken: steps of the
/// noise are not the vessel's.
const NOISE: f32 = 12.0;

/// Contrast of the vessel's profile over its steepest slope, as a share of the longer side. The profile is the mean of
/// parallel cuts, so that noise does not look like sharpness.
fn edge(scene: &Scene<'_>, p: &crate::anatomy::Point) -> Option<Edge> {
    let pixels = &scene.frame.pixels;
    let long = pixels.width().max(pixels.height()) as f32;
    let step = (long / 1700.0).max(0.5);
    let k = scene.factor as f32;
    let channel = if pixels.channels() == 3 { 1 } else { 0 };
    let (across, along) = ((-p.along.1, p.along.0), p.along);
    let mut profile = [0.0f32; 2 * HALF + 1];
    let mut squares = 0.0f32;
    let cuts = f32::from(2 * CUTS + 1);
    for (j, v) in profile.iter_mut().enumerate() {
        let t = (j as f32 - HALF as f32) * step;
        let mut square = 0.0;
        for cut in -CUTS..=CUTS {
            let u = f32::from(cut) * step * 1.5;
            let s = sample(
                pixels,
                p.x * k + t * across.0 + u * along.0,
                p.y * k + t * across.1 + u * along.1,
                channel,
            )?;
            *v += s / cuts;
            square += s * s / cuts;
        }
        squares += (square - *v * *v).max(0.0);
    }
    // Standard error of a step: two means of so many cuts.
    let error = (2.0 * squares / profile.len() as f32 / cuts).sqrt();
    let level = profile.iter().sum::<f32>() / profile.len() as f32;
    let least = (LEAST.0 * level).max(LEAST.1);
    if !scene.modality.is_dye() {
        for v in &mut profile {
            *v = -*v;
        }
    }
    let mid = HALF - 4..HALF + 5;
    let top = mid.clone().fold(HALF, |b, j| if profile[j] > profile[b] { j } else { b });
    let low = |from: usize, to: usize| profile[from..to].iter().copied().fold(f32::INFINITY, f32::min);
    let side = |d: i64| -> Option<Edge> {
        let (from, to) = if d < 0 {
            (top.saturating_sub(REACH), top)
        } else {
            (top + 1, (top + 1 + REACH).min(profile.len()))
        };
        let contrast = profile[top] - low(from, to);
        let steepest = |n: usize| {
            (from..to)
                .filter(|j| *j >= n)
                .map(|j| (profile[j] - profile[j - n]).abs() / n as f32)
                .fold(0.0, f32::max)
        };
        let fine = steepest(1);
        let slope = if fine > NOISE * error { fine } else { steepest(3) };
        (contrast > least && slope > 0.0).then(|| Edge { width: contrast / slope * step / long, contrast })
    };
    match (side(-1), side(1)) {
        (Some(a), Some(b)) => Some(if a.width < b.width { a } else { b }),
        (a, b) => a.or(b),
    }
}

/// A sample between pixels, or `None` outside.
fn sample(p: &Pixels, x: f32, y: f32, channel: usize) -> Option<f32> {
    let (x, y) = (x - 0.5, y - 0.5);
    if x < 0.0 || y < 0.0 || x >= (p.width() - 1) as f32 || y >= (p.height() - 1) as f32 {
        return None;
    }
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // checked just above
    let (ix, iy) = (x as usize, y as usize);
    let (u, v) = (x - ix as f32, y - iy as f32);
    let (c, w) = (usize::from(p.channels()), p.width() as usize);
    let at = |x: usize, y: usize| {
        let i = (y * w + x) * c + channel;
        match p.samples() {
            Samples::U8(s) => f32::from(s[i]) / 255.0,
            Samples::U16(s) => f32::from(s[i]) / 65535.0,
        }
    };
    let top = at(ix, iy) * (1.0 - u) + at(ix + 1, iy) * u;
    let bottom = at(ix, iy + 1) * (1.0 - u) + at(ix + 1, iy + 1) * u;
    Some(top * (1.0 - v) + bottom * v)
}
