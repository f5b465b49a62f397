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
    /// Whether it ends in another strand, and not in the depth.
    pub joins: bool,
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

/// Grows strands as lines of one smooth field, so that they lie side by side and do not cross: out of the posterior pole as
/// fans, up and down more than to the sides, then together into the ampullae; those of the far periphery run back to
/// them. A strand that comes near another one ends in it, as veins do.
pub(crate) fn grow(
    rng: &mut Pcg64Mcg,
    ampullae: &[Direction],
    disc: Direction,
    radius_mm: f64,
) -> Vec<Strand> {
    let sway: u32 = rng.random();
    let d = disc.xyz();
    let pole = Direction::new([0.5 * d[0], 0.5 * d[1], 1.0]).unwrap_or(Direction::POLE).xyz();
    let field = Field { goals: ampullae.iter().map(|a| a.xyz()).collect(), pole, sway };
    let mut taken = Taken::default();
    let mut out = Vec::new();
    for k in 0..2800 {
        // The pole first, so that its fans are whole; then what lies between them, then the far periphery.
        let from = match k {
            0..400 => 7.0..16.0,
            400..2400 => 16.0..66.0,
            _ => 78.0..102.0f64,
        };
        let z = rng.random_range(from).to_radians().cos();
        let (s, c) = rng.random_range(0.0..std::f64::consts::TAU).sin_cos();
        let r = (1.0 - z * z).sqrt();
        let width = rng.random_range(0.12..0.32) / 2.0 / radius_mm;
        #[allow(clippy::cast_possible_truncation)] // widths
        let half = [(0.35 * width) as f32, (1.1 * width) as f32];
        // Above and below the pole they lie open; to the sides, and beyond the equator, they are dim.
        #[allow(clippy::cast_possible_truncation)] // 0 to 1
        let open = (0.45 + 0.55 * s * s) as f32 * if k < 2400 { 1.0 } else { 0.6 };
        let strength = open * rng.random_range(0.5..1.0f32);
        let stop = rng.random_range(0.03..0.16);
        let apart = APART * rng.random_range(0.7..1.3);
        let (points, joins) = field.line([r * c, r * s, z], [apart, stop], &taken);
        if points.len() > 6 {
            taken.add(&points);
            #[allow(clippy::cast_possible_truncation)] // unit vectors
            let points = points.iter().map(|p| p.map(|c| c as f32)).collect();
            out.push(Strand { points, half, strength, joins });
        }
    }
    out
}

/// Distance from one strand to the next where it begins, radians: after real pictures, some 0.3 mm.
const APART: f64 = 1.4 * std::f64::consts::PI / 180.0;
/// One step, radians.
const STEP: f64 = 1.2 * std::f64::consts::PI / 180.0;

/// Where blood runs at each place of the choroid.
struct Field {
    goals: Vec<V>,
    pole: V,
    sway: u32,
}

impl Field {
    /// The unit vector along which a vein runs at `p`, and the distance to the nearest ampulla. `None` at an end.
    fn at(&self, p: V) -> Option<(V, f64)> {
        let off: Vec<f64> = self.goals.iter().map(|g| dot(p, *g).clamp(-1.0, 1.0).acos()).collect();
        let near = off.iter().copied().fold(f64::MAX, f64::min);
        // Every ampulla draws, the near ones far more; so the field has no seams but the watersheds between them.
        let mut pull = [0.0; 3];
        for (g, o) in self.goals.iter().zip(&off) {
            let (t, w) = (towards(p, *g)?, (-(o - near) / 0.22).exp());
            pull = [0, 1, 2].map(|i: usize| pull[i] + w * t[i]);
        }
        let back = towards(p, self.pole)?;
        // Far from the ampullae veins run straight out of the pole, near them they bend into them.
        #[allow(clippy::cast_possible_truncation)] // angles
        let far = f64::from(noise::ramp(0.04, 0.30, near as f32));
        let beyond = f64::from(dot(p, self.pole) < 0.2);
        let out = 2.4 * far * (1.0 - beyond);
        let ahead = [0, 1, 2].map(|i: usize| pull[i] - out * back[i]);
        let t = Direction::new(ahead)?.xyz();
        let side = [p[1] * t[2] - p[2] * t[1], p[2] * t[0] - p[0] * t[2], p[0] * t[1] - p[1] * t[0]];
        #[allow(clippy::cast_possible_truncation)] // unit vectors
        let q = p.map(|c| c as f32);
        let k = 0.60 * noise::cloud(q, 3.5, 2, self.sway) + 0.85 * noise::cloud(q, 15.0, 2, self.sway ^ 77);
        Direction::new([0, 1, 2].map(|i: usize| t[i] + f64::from(k) * side[i])).map(|d| (d.xyz(), near))
    }

    /// The line from a place on, until it ends in an ampulla or in a strand that is there; none where another strand runs
    /// nearer than `apart` already. It is lost from sight at `stop` from the ampulla. Tells also whether it ended in a strand.
    fn line(&self, start: V, [apart, stop]: [f64; 2], taken: &Taken) -> (Vec<V>, bool) {
        if taken.nearest(start).0 < apart {
            return (Vec::new(), false);
        }
        let mut p = start;
        let mut out = vec![p];
        let mut before: Option<V> = None;
        for _ in 0..70 {
            let Some((way, near)) = self.at(p) else { break };
            let Some(n) = Direction::new([0, 1, 2].map(|i: usize| p[i] + STEP * way[i])) else { break };
            // Where a vein turns round into its ampulla it dives, and is seen no more.
            let back = towards(p, self.pole).map_or(0.0, |b| dot(b, way));
            let turned = before.is_some_and(|b| dot(b, way) < 0.7);
            if turned || (back > -0.5 && dot(p, self.pole) > 0.2) {
                break;
            }
            before = Some(way);
            p = n.xyz();
            out.push(p);
            if near < stop {
                break;
            }
            if let (off, Some(other)) = taken.nearest(p)
                && off < 0.6 * apart
            {
                // Into it at a sharp angle: with it for a step.
                out.pop();
                let ahead = self.at(other).and_then(|(way, _)| {
                    Direction::new([0, 1, 2].map(|i: usize| other[i] + STEP * way[i])).map(|d| d.xyz())
                });
                out.extend(ahead.or(Some(other)));
                return (out, true);
            }
        }
        (out, false)
    }
}

/// Cells of some degrees with the points of the strands that are there.
#[derive(Default)]
struct Taken(std::collections::HashMap<[i32; 3], Vec<V>>);

impl Taken {
    /// Side of a cell: no distance beyond it is asked for.
    const CELL: f64 = 0.06;

    #[allow(clippy::cast_possible_truncation)] // some tens
    fn cell(p: V) -> [i32; 3] {
        p.map(|c| (c / Self::CELL).floor() as i32)
    }

    fn add(&mut self, points: &[V]) {
        for p in points {
            self.0.entry(Self::cell(*p)).or_default().push(*p);
        }
    }

    /// The nearest point and the distance to it, or a cell's side where there is none so near.
    fn nearest(&self, p: V) -> (f64, Option<V>) {
        let [i, j, k] = Self::cell(p);
        let mut best = (Self::CELL, None);
        for (a, b, c) in (-1..=1).flat_map(|a| (-1..=1).flat_map(move |b| (-1..=1).map(move |c| (a, b, c)))) {
            for q in self.0.get(&[i + a, j + b, k + c]).into_iter().flatten() {
                let d = [0, 1, 2].map(|n: usize| p[n] - q[n]);
                let off = dot(d, d).sqrt();
                if off < best.0 {
                    best = (off, Some(*q));
                }
            }
        }
        best
    }
}

fn dot(a: V, b: V) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

/// The unit vector along the sphere's surface at `p` towards `goal`.
fn towards(p: V, goal: V) -> Option<V> {
    let k = dot(p, goal);
    Direction::new([goal[0] - k * p[0], goal[1] - k * p[1], goal[2] - k * p[2]]).map(Direction::xyz)
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

    #[test]
    fn strands_lie_side_by_side_and_reach_the_upper_and_the_lower_periphery() {
        let disc = RetinalPoint { eccentricity_deg: 22.0, meridian_deg: 5.6 }.to_direction();
        let rng = &mut Pcg64Mcg::seed_from_u64(4);
        let a = ampullae(rng, disc, 12.0);
        let strands = grow(rng, &a, disc, 12.0);
        let far = |up: f32| {
            let points = strands.iter().flat_map(|s| &s.points);
            points.filter(|p| p[2] < 0.6 && up * p[1] > 2.0 * p[0].abs()).count()
        };
        assert!(far(1.0) > 100 && far(-1.0) > 100, "{} {}", far(1.0), far(-1.0));
        // Where two strands come near each other away from their ends they run the same way or meet at a sharp angle.
        let way = |s: &Strand, i: usize| {
            let d = [0, 1, 2].map(|k: usize| f64::from(s.points[i + 1][k] - s.points[i][k]));
            Direction::new(d).unwrap().xyz()
        };
        let (mut met, mut across) = (0, 0);
        for (k, s) in strands.iter().enumerate() {
            for o in &strands[..k] {
                for i in 1..s.points.len() - 2 {
                    for j in 1..o.points.len() - 2 {
                        let [p, q] = [s.points[i], o.points[j]].map(|p| p.map(f64::from));
                        let d = [0, 1, 2].map(|n: usize| p[n] - q[n]);
                        if dot(d, d).sqrt() < 0.5 * STEP {
                            met += 1;
                            across += usize::from(dot(way(s, i), way(o, j)) < 0.5);
                        }
                    }
                }
            }
        }
        assert!(across * 20 <= met, "{across} of {met}");
    }
}
