//! The outline in pictures made by reflected light.

use super::{Outline, Profile, inside, margin::margins};
use crate::{
    filter,
    radial::{RAYS, Rays, STEPS},
    scene::Scene,
};
use serrata_frame::Plane;

/// Added before logarithms, so that the noise of black does not count: 5 % of full scale.
const DARK: f32 = 0.05;

pub(super) fn outline(scene: &Scene<'_>) -> Outline {
    let value = &scene.half.value;
    let (w, h) = (value.width, value.height);
    let long = scene.long() / scene.half.step;
    let rays = Rays::new(w, h, (w as f32 / 2.0, h as f32 / 2.0));
    let calm = filter::smooth(value, long * 0.002);
    let mut log = Plane { width: w, height: h, data: calm.data.iter().map(|v| v + DARK).collect() };
    filter::ln_all(&mut log.data);
    let redness = redness(scene);
    let aperture = inside(scene);
    let within: Vec<usize> =
        (0..RAYS).map(|k| Profile::along(&rays, k, |i| aperture.data[i]).last_above(0.5)).collect();
    let margins = if scene.round { vec![STEPS; RAYS] } else { margins(scene, &rays, &within) };
    let mut middle: Vec<f32> = central(&log);
    let typical = filter::percentile(&mut middle, 0.5);
    let gain: Vec<Vec<f32>> = (0..RAYS)
        .map(|k| {
            let brightness = Profile::along(&rays, k, |i| log.data[i]);
            let red = Profile::along(&rays, k, |i| redness.data[i]);
            ray_gain(&brightness, &red, within[k].min(margins[k]), typical)
        })
        .collect();
    let radii = Rays::best(&gain, 4, 0.12);
    let lit = radii
        .iter()
        .enumerate()
        .map(|(k, s)| Profile::along(&rays, k, |i| calm.data[i]).lit_end(*s, LIT, BLACK))
        .collect();
    Outline { rays, radii, margins, lit: Some(lit), lids: None }
}

/// Share of the light before a dark rim from which on retina is seen as lit: about half. The steepest fall of a soft rim lies
/// further out, for it is sought in the logarithm.
const LIT: f32 = 0.45;

/// Share of the light beyond the outline up to which that is a dark rim: half of what is seen as lit.
const BLACK: f32 = 0.5 * LIT;

/// ln(red / green), smoothed; 0 for grey pictures.
fn redness(scene: &Scene<'_>) -> Plane {
    let detail = &scene.half.detail;
    let Some(red) = &scene.half.red else { return Plane::new(detail.width, detail.height, 0.0) };
    let mut data: Vec<f32> =
        red.data.iter().zip(&detail.data).map(|(r, g)| (r + DARK) / (g + DARK)).collect();
    filter::ln_all(&mut data);
    filter::smooth(
        &Plane { width: red.width, height: red.height, data },
        scene.long() / scene.half.step * 0.004,
    )
}

/// Values in the central quarter of the picture.
fn central(p: &Plane) -> Vec<f32> {
    let (w, h) = (p.width, p.height);
    (h / 4..(3 * h).div_ceil(4)).flat_map(|y| p.row(y)[w / 4..(3 * w).div_ceil(4)].iter().copied()).collect()
}

/// What an outline earns at each step of one ray.
fn ray_gain(brightness: &Profile, red: &Profile, last: usize, typical: f32) -> Vec<f32> {
    let (dark, means) = (typical - 0.9, Means::of(brightness));
    // Red beyond the outline would be retina left out; a bright, not reddish stretch inside would be lid taken in.
    let mut beyond = vec![0.0f32; STEPS + 1];
    for s in (0..=last).rev() {
        beyond[s] = beyond[s + 1] + red.values[s].map_or(0.0, |v| (v - 0.12).clamp(0.0, 0.4));
    }
    let mut lid = 0.0f32;
    (0..STEPS)
        .map(|s| {
            if let (Some(b), Some(r)) = (brightness.values[s], red.values[s]) {
                lid += (b - typical - 0.35).clamp(0.0, 0.4) * f32::from(u8::from(r < 0.1 && 2 * s > last));
            }
            if s > last {
                return -0.5 - 0.05 * (s - last) as f32;
            }
            if s < STEPS / 5 {
                return -2.0;
            }
            let end = if s + 1 >= last { 0.55 } else { 0.0 };
            edge(&means, s, dark).max(end) - 0.05 * beyond[s + 1] - 0.06 * lid
        })
        .collect()
}

/// Evidence for an edge after step `s`: a rise to the lid, or a fall to black, the latter also when gradual.
fn edge(brightness: &Means, s: usize, dark: f32) -> f32 {
    let sides = |near: usize| {
        let inner = brightness.over(s.saturating_sub(near), s + 1).unwrap_or(0.0);
        (inner, brightness.over(s + 1, s + 1 + near).unwrap_or(BLACKEST))
    };
    let (near, far) = (sides(8), sides(20));
    let rise = (near.1 - near.0).clamp(0.0, 1.2);
    let fall = [near, far].map(|(i, o)| if o < dark { (i - o).clamp(0.0, 1.0) } else { 0.0 });
    rise.max(0.8 * fall[0].max(fall[1]))
}

/// Natural logarithm of [`DARK`]: black. Written out, for a constant cannot be computed by `ln`.
const BLACKEST: f32 = -2.995_732_3;

/// Means over many parts of one ray, by sums from its start on.
struct Means {
    /// Sum and count of the values before each step.
    before: Vec<(f64, u32)>,
}

impl Means {
    fn of(p: &Profile) -> Self {
        let (mut sum, mut n) = (0.0f64, 0u32);
        let mut before = Vec::with_capacity(p.values.len() + 1);
        before.push((sum, n));
        for v in &p.values {
            if let Some(v) = v {
                (sum, n) = (sum + f64::from(*v), n + 1);
            }
            before.push((sum, n));
        }
        Self { before }
    }

    /// Mean over steps `from..to` that lie in the plane, as [`Profile::mean`].
    fn over(&self, from: usize, to: usize) -> Option<f32> {
        let (a, b) = (self.before.get(from)?, self.before[to.min(self.before.len() - 1)]);
        let n = b.1.checked_sub(a.1).filter(|n| *n > 0)?;
        #[allow(clippy::cast_possible_truncation)] // rounding to f32 is meant
        Some(((b.0 - a.0) / f64::from(n)) as f32)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn black_is_the_logarithm_of_the_dark() {
        assert!((f64::from(BLACKEST) - f64::from(DARK).ln()).abs() < 2e-7);
    }

    #[test]
    fn means_by_sums_are_those_of_the_plain_way() {
        // With gaps, none at the end, and none at all.
        for (gap, last) in [(7, STEPS), (usize::MAX, STEPS - 40), (1, STEPS)] {
            let value =
                |s: usize| (s % gap != gap - 1 && s < last).then(|| (s * 37 % 101) as f32 * 0.01 - 0.4);
            let p = Profile { values: (0..STEPS).map(value).collect() };
            let means = Means::of(&p);
            for from in (0..STEPS + 30).step_by(3) {
                for to in [from, from + 1, from + 9, from + 21, STEPS, STEPS + 20, from.saturating_sub(2)] {
                    let (got, want) = (means.over(from, to), p.mean(from, to));
                    assert_eq!(got.is_some(), want.is_some(), "{from} {to}");
                    let off = got.zip(want).map_or(0.0, |(a, b)| (a - b).abs());
                    assert!(off < 1e-5, "{from} {to}: {got:?} for {want:?}");
                }
            }
        }
    }
}
