//! Choroidal veins: strands that gather towards the vortex ampullae.

use crate::noise;
use rand::RngExt;
use rand_pcg::Pcg64Mcg;
use serrata_eye::{Direction, Rotation};

/// One strand from its beginning to its ampulla.
#[derive(Debug, Clone)]
pub(crate) struct Strand {
    pub points: Vec<[f32; 3]>,
    /// Half width in radians at the beginning and at the end.
    pub half: [f32; 2],
    /// How near to the surface it runs, 0 to 1.
    pub strength: f32,
}

type V = [f64; 3];

/// Places of the vortex ampullae in a right eye: 8.1 an eye at a mean of 14.15 mm from the disc, by quadrant: upper
/// lateral 14.04, lower lateral 15.55, upper nasal 13.29, lower nasal 13.66 mm (Funatsu et al., Sci Rep
/// 2021;11:8916, 74 eyes). Two a quadrant; how far apart they lie is judgement.
pub(crate) fn ampullae(rng: &mut Pcg64Mcg, disc: Direction, radius_mm: f64) -> Vec<Direction> {
    // Brings the disc to +z without turning the picture.
    let Some(to_disc) = Direction::new([0.0, 1.0, 0.0]).and_then(|up| Rotation::bringing(disc, up, 90.0))
    else {
        return Vec::new();
    };
    let mut out = Vec::new();
    for (meridian, mm) in [(45.0, 13.29), (135.0, 14.04), (225.0, 15.55), (315.0, 13.66)] {
        for half in [-1.0, 1.0] {
            let m = meridian + half * rng.random_range(7.0..26.0);
            let e = ((mm + rng.random_range(-1.2..1.2)) / radius_mm).to_degrees();
            let p = serrata_eye::RetinalPoint { eccentricity_deg: e, meridian_deg: m };
            out.push(to_disc.inverse().apply(p.to_direction()));
        }
    }
    out
}

/// Grows strands: those of the pole run outwards side by side, those of the far periphery inwards, and all bend towards
/// one of the two nearest ampullae, before which they come together.
pub(crate) fn grow(
    rng: &mut Pcg64Mcg,
    ampullae: &[Direction],
    disc: Direction,
    radius_mm: f64,
) -> Vec<Strand> {
    let sway: u32 = rng.random();
    let d = disc.xyz();
    let pole = Direction::new([0.5 * d[0], 0.5 * d[1], 1.0]).unwrap_or(Direction::POLE).xyz();
    let mut out = Vec::new();
    for _ in 0..900 {
        let from = if rng.random_bool(0.7) { 9.0..58.0 } else { 70.0..100.0f64 };
        let z = rng.random_range(from).to_radians().cos();
        let (s, c) = rng.random_range(0.0..std::f64::consts::TAU).sin_cos();
        let r = (1.0 - z * z).sqrt();
        let start = [r * c, r * s, z];
        let nearness = |a: &Direction| dot(a.xyz(), start);
        let mut order: Vec<&Direction> = ampullae.iter().collect();
        order.sort_by(|a, b| nearness(b).total_cmp(&nearness(a)));
        let pick = usize::from(rng.random_bool(0.25));
        let Some(goal) = order.get(pick).or(order.first()) else { break };
        // Ampullae gather from a field, not into a point.
        let near = Rotation::tilting(rng.random_range(0.0..360.0), rng.random_range(0.0..16.0));
        let goal = near.apply(**goal);
        let width = rng.random_range(0.07..0.22) / 2.0 / radius_mm;
        #[allow(clippy::cast_possible_truncation)] // widths
        let half = [(0.6 * width) as f32, (1.15 * width) as f32];
        let stop = rng.random_range(2.0..14.0f64).to_radians();
        let points = flow(start, goal.xyz(), pole, stop, sway);
        if points.len() > 6 {
            out.push(Strand { points, half, strength: rng.random_range(0.35..1.0) });
        }
    }
    out
}

fn dot(a: V, b: V) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

/// The unit vector along the sphere's surface at `p` towards `goal`.
fn towards(p: V, goal: V) -> Option<V> {
    let k = dot(p, goal);
    Direction::new([goal[0] - k * p[0], goal[1] - k * p[1], goal[2] - k * p[2]]).map(Direction::xyz)
}

/// Steps of a degree and a half, first away from the pole, then towards the ampulla, swayed by a smooth field.
fn flow(start: V, goal: V, pole: V, stop: f64, sway: u32) -> Vec<[f32; 3]> {
    let step = 1.5f64.to_radians();
    let mut p = start;
    let mut out = Vec::new();
    for _ in 0..60 {
        #[allow(clippy::cast_possible_truncation)] // unit vectors
        let q = p.map(|c| c as f32);
        out.push(q);
        let near = dot(p, goal).clamp(-1.0, 1.0).acos();
        if near < stop {
            break;
        }
        let (Some(t), Some(back)) = (towards(p, goal), towards(p, pole)) else { break };
        let side = [p[1] * t[2] - p[2] * t[1], p[2] * t[0] - p[0] * t[2], p[0] * t[1] - p[1] * t[0]];
        #[allow(clippy::cast_possible_truncation)] // angles
        let far = f64::from(noise::ramp(0.15, 1.0, near as f32));
        let k = (0.3 + far)
            * f64::from(0.35 * noise::cloud(q, 3.0, 2, sway) + 0.45 * noise::cloud(q, 10.0, 2, sway ^ 77));
        let next = [0, 1, 2]
            .map(|i: usize| p[i] + step * (t[i] - 0.60 * far * back[i] + k * side[i]) / (1.0 + 0.4 * far));
        let Some(n) = Direction::new(next) else { break };
        p = n.xyz();
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;
    use serrata_eye::{RetinalPoint, angle_between};

    #[test]
    fn ampullae_lie_about_as_far_from_the_disc_as_published() {
        let disc = RetinalPoint { eccentricity_deg: 22.0, meridian_deg: 5.6 }.to_direction();
        let a = ampullae(&mut Pcg64Mcg::seed_from_u64(1), disc, 12.0);
        assert_eq!(a.len(), 8);
        let mean = a.iter().map(|d| angle_between(disc, *d) * 12.0).sum::<f64>() / 8.0;
        assert!((mean - 14.15).abs() < 0.9, "{mean}");
    }
}
