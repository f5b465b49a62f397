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
            let m = meridian + half * rng.random_range(9.0..24.0);
            let e = ((mm + rng.random_range(-1.2..1.2)) / radius_mm).to_degrees();
            let p = serrata_eye::RetinalPoint { eccentricity_deg: e, meridian_deg: m };
            out.push(to_disc.inverse().apply(p.to_direction()));
        }
    }
    out
}

/// Grows strands: from places all over the pole and the mid periphery, each flowing towards one of the two nearest
/// ampullae and swaying as it goes; strands that flow to the same ampulla come together before it.
pub(crate) fn grow(rng: &mut Pcg64Mcg, ampullae: &[Direction], radius_mm: f64) -> Vec<Strand> {
    let sway: u32 = rng.random();
    let mut out = Vec::new();
    for _ in 0..620 {
        let z = rng.random_range(-0.2..0.995f64);
        let (s, c) = rng.random_range(0.0..std::f64::consts::TAU).sin_cos();
        let r = (1.0 - z * z).sqrt();
        let start = [r * c, r * s, z];
        let nearness = |a: &Direction| a.xyz().iter().zip(start).map(|(p, q)| p * q).sum::<f64>();
        let mut order: Vec<&Direction> = ampullae.iter().collect();
        order.sort_by(|a, b| nearness(b).total_cmp(&nearness(a)));
        let pick = usize::from(rng.random_bool(0.3));
        let Some(goal) = order.get(pick).or(order.first()) else { break };
        let width = rng.random_range(0.10..0.26) / 2.0 / radius_mm;
        #[allow(clippy::cast_possible_truncation)] // widths
        let half = [(0.5 * width) as f32, (1.3 * width) as f32];
        out.push(Strand { points: flow(start, goal.xyz(), sway), half });
    }
    out
}

/// Steps of a degree and a half towards the ampulla, turned aside by a smooth field.
fn flow(start: V, goal: V, sway: u32) -> Vec<[f32; 3]> {
    let step = 1.5f64.to_radians();
    let mut p = start;
    let mut out = Vec::new();
    for _ in 0..70 {
        #[allow(clippy::cast_possible_truncation)] // unit vectors
        let q = p.map(|c| c as f32);
        out.push(q);
        let near: f64 = p.iter().zip(goal).map(|(a, b)| a * b).sum();
        if near > (1.2 * step).cos() {
            break;
        }
        let towards = [goal[0] - near * p[0], goal[1] - near * p[1], goal[2] - near * p[2]];
        let Some(t) = Direction::new(towards).map(Direction::xyz) else { break };
        let side = [p[1] * t[2] - p[2] * t[1], p[2] * t[0] - p[0] * t[2], p[0] * t[1] - p[1] * t[0]];
        let calm = f64::from(noise::ramp(0.0, 0.5, 1.0 - near as f32));
        let k =
            calm * f64::from(1.5 * noise::cloud(q, 2.2, 2, sway) + 0.7 * noise::cloud(q, 8.0, 2, sway ^ 77));
        let next = [0, 1, 2].map(|i: usize| p[i] + step * (t[i] + k * side[i]));
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
