//! Margins of lids: along a ray outwards the light falls into the shadow before the lid and rises again on its skin.
//!
//! Told from the shadow and not from the lid's own brightness: the lids of dye pictures and of autofluorescence are no
//! brighter than the retina.

use super::Profile;
use crate::{
    filter,
    radial::{RAYS, Rays, STEPS},
    scene::Scene,
};

/// Fall before and rise after the margin, natural logarithm, from which it is one. Great vessels, smoothed as here, stay
/// below (judgement, on the real frames at hand and on simulated ones).
const DEEP: f32 = 0.30;

/// The shadow is darker than this share of the retina's usual light; dark red patches of colour frames are not.
const SHADOW: f32 = 0.45;

/// Neighbouring rays, of all rays, that a margin has to hold on to: streaks of lashes and pale or dark patches of the retina
/// take fewer.
const LONG: usize = RAYS / 9;

/// The step of each ray at which a lid begins; `STEPS` where none does. `within`: the last step of each ray inside the aperture.
pub(super) fn margins(scene: &Scene<'_>, rays: &Rays, within: &[usize]) -> Vec<usize> {
    let calm = filter::smooth(&scene.half.value, scene.long() / scene.half.step * 0.006);
    let levels: Vec<Profile> = (0..RAYS).map(|k| Profile::along(rays, k, |i| calm.data[i])).collect();
    let mut middle: Vec<f32> = levels
        .iter()
        .zip(within)
        .flat_map(|(l, last)| l.values[last / 6..last / 2].iter().flatten().copied())
        .collect();
    let typical = filter::percentile(&mut middle, 0.5);
    let lift = 0.15 * typical + 0.002;
    let dark = (SHADOW * typical + lift).ln();
    let plain: Vec<Vec<f32>> = levels.iter().map(Profile::leading).collect();
    let light: Vec<Vec<Option<f32>>> =
        (0..RAYS).map(|k| beside(&levels, &plain, k, lift, within[k])).collect();
    let mut found: Vec<Option<usize>> = (0..RAYS).map(|k| margin(&light[k], within[k], dark)).collect();
    bridge(&mut found, &light, dark);
    together(&found)
}

/// Most steps between the margins of neighbouring rays that are one margin.
const STEP: usize = 12;

/// Whether two rays have one margin; rays are counted round.
fn joined(found: &[Option<usize>], a: usize, b: usize) -> bool {
    found[a % RAYS].zip(found[b % RAYS]).is_some_and(|(x, y)| x.abs_diff(y) <= STEP)
}

/// Least neighbouring rays with a margin on each side of a gap that may be bridged.
const FLANK: usize = RAYS / 36;

/// Longest gap that may be bridged.
const GAP: usize = RAYS / 6;

/// Steps from the arch within which the light has to fall into the dark.
const NEAR_ARCH: usize = 8;

/// Share of a gap's rays that have to fall there.
const AGREE: f32 = 0.8;

/// Steps after the fall at which a lid is still seen, and how far below the limit of the dark at most (natural logarithm): past the
/// rim itself it is black.
const GLOW: (usize, f32) = (10, 0.8);

/// Sine of the steepness from which on a ray points up or down: 49°.
const UPRIGHT: f32 = 0.75;

/// Whether a ray points up or down: lids hang from above and below, and their ends beside the eye are not bridged.
fn upright(ray: f32) -> bool {
    (ray / RAYS as f32 * std::f32::consts::TAU).sin().abs() > UPRIGHT
}

/// The middle of a lid may lie in its own shadow, so that the light does not rise again there. Where the margin is seen on both
/// sides and the light falls into the dark along the arch between them, the margin goes on.
fn bridge(found: &mut [Option<usize>], light: &[Vec<Option<f32>>], dark: f32) {
    let joined = |a, b| joined(found, a, b);
    // Runs of rays that hold together, as first and last, the last beyond the end where a run goes round.
    let mut runs: Vec<(usize, usize)> = Vec::new();
    for k in (0..RAYS).filter(|k| found[*k].is_some() && !joined(k + RAYS - 1, *k)) {
        let mut end = k;
        while end + 1 < k + RAYS && joined(end, end + 1) {
            end += 1;
        }
        if end + 1 - k >= FLANK {
            runs.push((k, end));
        }
    }
    let mut fills: Vec<(usize, usize)> = Vec::new();
    for (i, (_, from)) in runs.iter().enumerate() {
        let next = runs[(i + 1) % runs.len()].0;
        let to = if next > *from { next } else { next + RAYS };
        let gap = to - from - 1;
        if runs.len() < 2 || !(1..=GAP).contains(&gap) || !upright(0.5 * (from + to) as f32) {
            continue;
        }
        let (Some(a), Some(b)) = (found[from % RAYS], found[to % RAYS]) else { continue };
        // A flat arch: straight across the direction of the gap's middle.
        let turn = |k: usize| {
            let off = k as f32 - 0.5 * (from + to) as f32;
            (off / RAYS as f32 * std::f32::consts::TAU).cos()
        };
        let (near, far) = (a as f32 * turn(*from), b as f32 * turn(to));
        let at = |k: usize, s: usize| light[k % RAYS].get(s).copied().flatten();
        let arch = |k: usize| {
            let u = (k - from) as f32 / (to - from) as f32;
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // a step of the ray
            let step = ((near + (far - near) * u) / turn(k)).round().max(0.0) as usize;
            step
        };
        let falls: Vec<Option<usize>> = (from + 1..to)
            .map(|k| {
                let arch = arch(k);
                let first = arch.saturating_sub(NEAR_ARCH);
                let lit = at(k, first).is_some_and(|v| v >= dark);
                let dim = (first..=arch + NEAR_ARCH).find(|s| at(k, *s).is_some_and(|v| v < dark));
                dim.filter(|s| lit && at(k, s + GLOW.0).is_some_and(|v| v > dark - GLOW.1))
            })
            .collect();
        let agree = falls.iter().flatten().count() as f32;
        if agree >= AGREE * gap as f32 {
            for (k, fall) in (from + 1..to).zip(falls) {
                fills.push((k % RAYS, fall.unwrap_or_else(|| arch(k))));
            }
        }
    }
    for (ray, s) in fills {
        found[ray].get_or_insert(s);
    }
}

/// Rays whose median is a ray's light, so that single lashes do not show.
const BESIDE: usize = 9;

/// Natural logarithm of the light along the part of a ray that [`margin`] looks at, as the median over [`BESIDE`]
/// neighbouring rays. `plain`: the values of each ray up to the first that is none.
fn beside(levels: &[Profile], plain: &[Vec<f32>], ray: usize, lift: f32, last: usize) -> Vec<Option<f32>> {
    let mut some = [0.0f32; BESIDE];
    let first = outer(last).saturating_sub(last / NEAR);
    // As far as all of the rays go, step by step side by side.
    let near: [&[f32]; BESIDE] = std::array::from_fn(|d| &plain[(ray + RAYS + d - BESIDE / 2) % RAYS][..]);
    let common = near.iter().map(|n| n.len()).min().unwrap_or(0).min(last + 1).max(first);
    let mut middles = vec![0.0f32; common - first];
    filter::medians9(near.map(|n| &n[first.min(n.len())..]), &mut middles);
    (0..STEPS)
        .map(|s| {
            if !(first..=last).contains(&s) {
                return None;
            }
            if let Some(middle) = middles.get(s - first) {
                return Some((middle + lift).ln());
            }
            levels[ray].values[s]?;
            let mut n = 0;
            for d in 0..BESIDE {
                if let Some(v) = levels[(ray + RAYS + d - BESIDE / 2) % RAYS].values[s] {
                    some[n] = v;
                    n += 1;
                }
            }
            Some((filter::percentile(&mut some[..n], 0.5) + lift).ln())
        })
        .collect()
}

/// The part of a ray before the shadow's bottom in which the margin lies.
const NEAR: usize = 6;

/// The step from which on a lid may begin: not in the middle of the picture.
const fn outer(last: usize) -> usize {
    last * 2 / 5
}

/// Where one ray falls into the deepest shadow that it comes out of again, in its outer part: halfway down the fall.
fn margin(log: &[Option<f32>], last: usize, dark: f32) -> Option<usize> {
    let at = |s: usize| log[s].unwrap_or(f32::NEG_INFINITY);
    let first = outer(last);
    if last < 20 {
        return None;
    }
    // What is reached further out, seen from each step.
    let mut beyond = vec![f32::NEG_INFINITY; last + 2];
    for s in (0..=last).rev() {
        beyond[s] = beyond[s + 1].max(at(s));
    }
    let mut best: Option<(f32, usize, f32)> = None;
    for (s, beyond) in beyond.iter().enumerate().take(last).skip(first) {
        if at(s) >= dark || beyond - at(s) <= DEEP {
            continue;
        }
        // The retina before the shadow.
        let from = s.saturating_sub(last / NEAR);
        let mut before: Vec<f32> = (from..s.saturating_sub(2)).map(at).collect();
        let before = filter::percentile(&mut before, 0.75);
        let deep = (before - at(s)).min(beyond - at(s));
        if deep > DEEP && best.is_none_or(|b| deep > b.0) {
            best = Some((deep, s, before));
        }
    }
    let (_, bottom, before) = best?;
    let half = 0.5 * (before + at(bottom));
    let near = bottom.saturating_sub(last / NEAR);
    Some((near..bottom).rev().find(|s| at(*s) > half).map_or(near, |s| s + 1))
}

/// Only the margins that go on over enough neighbouring rays without a step.
fn together(found: &[Option<usize>]) -> Vec<usize> {
    let mut out = vec![STEPS; RAYS];
    let joined = |a, b| joined(found, a, b);
    // A start that is not in the middle of a run; where all rays hold together there is none.
    let Some(start) = (0..RAYS).find(|k| !joined(*k, k + 1)) else { return out };
    let mut k = start + 1;
    while k <= start + RAYS {
        let mut end = k;
        while end < start + RAYS && joined(end, end + 1) {
            end += 1;
        }
        if end + 1 - k >= LONG {
            for ray in k..=end {
                if let Some(s) = found[ray % RAYS] {
                    out[ray % RAYS] = s;
                }
            }
        }
        k = end + 1;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Light along every ray: bright to step 150, then as dim as a lid's shadow.
    fn shadowed(dark: f32) -> Vec<Vec<Option<f32>>> {
        let ray: Vec<_> = (0..STEPS).map(|s| Some(if s < 150 { dark + 0.5 } else { dark - 0.3 })).collect();
        vec![ray; RAYS]
    }

    /// Margins on two flanks of the rays about one that points down (a quarter of the way round) or to the right.
    fn flanks(middle: usize) -> Vec<Option<usize>> {
        let mut found = vec![None; RAYS];
        for off in 10..25 {
            for k in [middle + off, middle + RAYS - off] {
                found[k % RAYS] = Some(150);
            }
        }
        found
    }

    #[test]
    fn a_gap_below_is_bridged_and_one_beside_is_not() {
        let (below, beside) = (RAYS / 4, 0);
        for (middle, bridged) in [(below, true), (beside, false)] {
            let mut found = flanks(middle);
            bridge(&mut found, &shadowed(-1.0), -1.0);
            assert_eq!(found[middle].is_some(), bridged, "{middle}");
        }
        let mut found = flanks(below);
        bridge(&mut found, &shadowed(-1.0), -1.0);
        assert!((found[below].unwrap()).abs_diff(150) <= NEAR_ARCH);
    }

    #[test]
    fn a_gap_without_a_fall_stays() {
        let mut found = flanks(RAYS / 4);
        bridge(&mut found, &vec![vec![Some(0.0); STEPS]; RAYS], -1.0);
        assert_eq!(found, flanks(RAYS / 4));
    }

    /// The plain reference: step by step, the median of the rays that go as far.
    #[test]
    fn light_beside_a_ray_is_the_median_of_the_rays_about_it() {
        let value = |k: usize, s: usize| {
            (s < 250 + k * 53 % 70).then(|| ((k * STEPS + s) * 7919 % 1009) as f32 / 1009.0)
        };
        let levels: Vec<Profile> =
            (0..RAYS).map(|k| Profile { values: (0..STEPS).map(|s| value(k, s)).collect() }).collect();
        let plain: Vec<Vec<f32>> = levels.iter().map(Profile::leading).collect();
        for (ray, last) in [(0, STEPS - 1), (3, 270), (100, 240), (RAYS - 1, 310), (200, 10), (7, 0)] {
            let got = beside(&levels, &plain, ray, 0.01, last);
            let first = outer(last).saturating_sub(last / NEAR);
            for (s, got) in got.iter().enumerate() {
                let mut near: Vec<f32> =
                    (0..BESIDE).filter_map(|d| value((ray + RAYS + d - BESIDE / 2) % RAYS, s)).collect();
                let seen = (first..=last).contains(&s) && value(ray, s).is_some();
                let want = seen.then(|| (filter::percentile(&mut near, 0.5) + 0.01).ln());
                assert_eq!(*got, want, "{ray} {s}");
            }
        }
    }
}
