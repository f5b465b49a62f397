//! The outline in dye pictures: where the light of the dye falls to the floor.

use super::Profile;
use crate::{
    filter,
    radial::{RAYS, Rays, STEPS},
    scene::Scene,
};
use serrata_frame::Plane;

pub(super) fn outline(scene: &Scene<'_>) -> (Rays, Vec<usize>) {
    let (w, h) = (scene.width(), scene.height());
    let calm = filter::smooth(&scene.value, scene.long() * 0.007);
    let light = light(scene, &calm);
    let rays = Rays::new(w, h, centre(&light));
    let gain: Vec<Vec<f32>> = (0..RAYS)
        .map(|k| {
            let light = Profile::along(&rays, k, scene, |i| light.data[i]);
            let inside = Profile::along(&rays, k, scene, |i| f32::from(u8::from(scene.aperture.data[i])));
            ray_gain(&light, &inside)
        })
        .collect();
    (rays, Rays::best(&gain, 3, 0.15))
}

/// Light above the floor as a share of what the lit retina typically gives.
///
/// The floor is the level of the darkest hundredth of the aperture: in these pictures the rim is never lit.
fn light(scene: &Scene<'_>, calm: &Plane) -> Plane {
    let mut inside: Vec<f32> =
        calm.data.iter().zip(&scene.aperture.data).filter(|(_, a)| **a).map(|(v, _)| *v).collect();
    let floor = filter::percentile(&mut inside, 0.02);
    let typical = (filter::percentile(&mut inside, 0.75) - floor).max(1e-4);
    Plane { width: calm.width, height: calm.height, data: calm.data.iter().map(|v| (v - floor) / typical).collect() }
}

/// Centre of the light, each pixel counted up to the typical level.
fn centre(light: &Plane) -> (f32, f32) {
    let (mut sx, mut sy, mut n) = (0.0f64, 0.0f64, 1e-9f64);
    for y in 0..light.height {
        for (x, v) in light.row(y).iter().enumerate() {
            let v = f64::from(v.clamp(0.0, 1.0));
            sx += v * (x as f64 + 0.5);
            sy += v * (y as f64 + 0.5);
            n += v;
        }
    }
    #[allow(clippy::cast_possible_truncation)] // rounding to f32 is meant
    ((sx / n) as f32, (sy / n) as f32)
}

/// What an outline earns at each step of one ray: lit steps inside, unlit ones outside.
fn ray_gain(light: &Profile, inside: &Profile) -> Vec<f32> {
    let last = (0..STEPS).rev().find(|s| inside.values[*s].is_some_and(|v| v > 0.5)).unwrap_or(0);
    let mut sum = 0.0;
    (0..STEPS)
        .map(|s| {
            let lit = match light.values[s] {
                Some(v) if s <= last => ((v.max(0.0) + 0.02) / (0.07 + 0.02)).ln().clamp(-1.0, 1.0),
                _ => -1.0,
            };
            sum += lit;
            0.05 * sum
        })
        .collect()
}
