use crate::direction::{cross, dot};
use crate::{Direction, Stereographic};
use serrata_words::{Point, Region};

/// Area of a cap in steradians: 2π(1 − cos θ), computed as 4π·sin²(θ/2).
///
/// Example: a hemisphere, half-angle π/2, is 2π.
#[must_use]
pub fn cap_area_sr(half_angle_rad: f64) -> f64 {
    4.0 * std::f64::consts::PI * (half_angle_rad / 2.0).sin().powi(2)
}

/// Signed area of a polygon of great-circle arcs, in steradians: the sum of spherical triangles from `inside`,
/// E = 2·atan2(A·(B×C), 1 + A·B + B·C + C·A) each (Van Oosterom & Strackee's solid angle).
///
/// Positive where the ring turns counter-clockwise as the observer sees it. `inside` is any point whose opposite
/// the polygon keeps away from; for rings out of a picture take the picture's centre, [`Direction::POLE`].
#[must_use]
pub fn polygon_area_sr(ring: &[Direction], inside: Direction) -> f64 {
    let a = inside.xyz();
    (0..ring.len())
        .map(|i| {
            let (b, c) = (ring[i].xyz(), ring[(i + 1) % ring.len()].xyz());
            2.0 * dot(a, cross(b, c)).atan2(1.0 + dot(a, b) + dot(b, c) + dot(c, a))
        })
        .sum()
}

/// Area of a region of a stereographic picture, in steradians: outer rings minus holes.
///
/// The rings' edges are straight in the *picture*, so they are no great circles. Their area is taken exactly, not
/// by cutting them into short pieces: on the plane of half-radians the sphere's area element is
/// 4 du dv/(1+u²+v²)², hence by Green's theorem A = ∮ 2(u dv − v du)/(1+u²+v²), and for a straight edge from a
/// to b that is `2·(a×b)/s · atan2(s, 1 + a·b)` with `s = √(|b−a|² + (a×b)²)`.
///
/// ```
/// use serrata_eye::{region_area_sr, Stereographic};
/// use serrata_words::Region;
/// let p = Stereographic { width: 4000, height: 4000, deg_per_px: [0.05, 0.05] };
/// let whole = Region { polygons: vec![vec![[0., 0.], [4000., 0.], [4000., 4000.], [0., 4000.]]], holes: vec![] };
/// assert!((region_area_sr(&p, &whole) - 6.118_868).abs() < 1e-6); // nearly a hemisphere
/// ```
#[must_use]
pub fn region_area_sr(picture: &Stereographic, region: &Region) -> f64 {
    let sum = |rings: &[Vec<Point>]| rings.iter().map(|r| ring_area_sr(picture, r).abs()).sum::<f64>();
    sum(&region.polygons) - sum(&region.holes)
}

/// Signed area of one ring of a picture; positive counter-clockwise as the observer sees it.
fn ring_area_sr(picture: &Stereographic, ring: &[Point]) -> f64 {
    let edge = |i: usize| {
        let a = picture.to_plane(ring[i]);
        let b = picture.to_plane(ring[(i + 1) % ring.len()]);
        let turn = a[0] * b[1] - a[1] * b[0];
        let s = ((b[0] - a[0]).powi(2) + (b[1] - a[1]).powi(2) + turn * turn).sqrt();
        if s == 0.0 {
            return 0.0;
        }
        2.0 * turn / s * s.atan2(1.0 + a[0] * b[0] + a[1] * b[1])
    };
    (0..ring.len()).map(edge).sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::densify;
    use proptest::prelude::*;

    const P: Stereographic = Stereographic { width: 4000, height: 4000, deg_per_px: [0.05, 0.05] };

    fn circle(centre: Point, radius: f64, n: u32) -> Vec<Point> {
        (0..n)
            .map(|i| {
                let (s, c) = (std::f64::consts::TAU * f64::from(i) / f64::from(n)).sin_cos();
                [centre[0] + radius * c, centre[1] + radius * s]
            })
            .collect()
    }

    fn region(ring: Vec<Point>) -> Region {
        Region { polygons: vec![ring], holes: vec![] }
    }

    /// Cap areas at R = 11 mm, as used by published ultra-widefield areas (Eye 2018, s41433-018-0270-5: 892.3 mm²
    /// at 200°; Life 2023;13:202: 242°); the other rows computed for the project (published figures, §2.1).
    #[test]
    fn published_cap_areas() {
        for (deg, mm2) in [
            (5f64, 2.8930),
            (15., 25.9054),
            (30., 101.8563),
            (45., 222.6766),
            (60., 380.1327),
            (90., 760.2654),
            (100., 892.2841),
            (121., 1151.8311),
        ] {
            assert!((cap_area_sr(deg.to_radians()) * 121.0 - mm2).abs() < 5e-5, "{deg}");
            // The same cap drawn as a circle in a picture.
            let px = (deg / 2.0).to_radians().tan() * 2f64.to_degrees() / 0.05;
            let drawn = region_area_sr(&P, &region(circle([2000., 2000.], px, 20_000))) * 121.0;
            assert!((drawn / mm2 - 1.0).abs() < 1e-4, "{deg}: {drawn}");
        }
    }

    /// Computed with an independent script (reference brief on DICOM, §2), R = 12 mm.
    #[test]
    fn areas_of_the_brief() {
        let tri = [[2000., 2000.], [3000., 2000.], [2000., 1000.]].map(|p| P.to_direction(p));
        assert!((polygon_area_sr(&tri, Direction::POLE).abs() * 144.0 - 54.182_696_356).abs() < 1e-8);
        let axes = [[1., 0., 0.], [0., 1., 0.], [0., 0., 1.]].map(|v| Direction::new(v).unwrap());
        assert!((polygon_area_sr(&axes, axes[0]) * 144.0 - 226.194_671_058).abs() < 1e-8);
        for (centre, r, mm2) in [
            ([2000., 2000.], 1000., 289.413_869),
            ([2000., 2000.], 100., 3.438_595_253),
            ([3500., 2000.], 100., 1.688_372_562),
        ] {
            let got = region_area_sr(&P, &region(circle(centre, r, 100_000))) * 144.0;
            assert!((got / mm2 - 1.0).abs() < 1e-8, "{got} {mm2}");
        }
    }

    proptest! {
        /// The plain reference: edges cut into short pieces, then great-circle triangles.
        #[test]
        fn the_exact_area_is_that_of_short_pieces(radii in prop::collection::vec(50f64..2400., 3..9), cx in 1000f64..3000., cy in 1000f64..3000.) {
            let n = radii.len() as f64;
            let ring: Vec<Point> = radii.iter().enumerate().map(|(i, r)| {
                let (s, c) = (std::f64::consts::TAU * i as f64 / n).sin_cos();
                [cx + r * c, cy + r * s]
            }).collect();
            let short: Vec<Direction> = densify(&ring, 2.0).into_iter().map(|p| P.to_direction(p)).collect();
            let plain = polygon_area_sr(&short, Direction::POLE).abs();
            let exact = region_area_sr(&P, &region(ring));
            prop_assert!((exact - plain).abs() < 1e-5 * (1.0 + plain), "{exact} {plain}");
        }

        #[test]
        fn parts_add_up(x in 1f64..3999., y in 1f64..3999.) {
            let q = |a: f64, b: f64, c: f64, d: f64| region_area_sr(&P, &region(vec![[a, b], [c, b], [c, d], [a, d]]));
            let parts = q(0., 0., x, y) + q(x, 0., 4000., y) + q(0., y, x, 4000.) + q(x, y, 4000., 4000.);
            prop_assert!((parts - q(0., 0., 4000., 4000.)).abs() < 1e-11);
        }
    }

    #[test]
    fn a_hole_is_taken_away_and_nothing_is_nothing() {
        let ring = Region {
            polygons: vec![circle([2000., 2000.], 1000., 5000)],
            holes: vec![circle([2000., 2000.], 500., 5000)],
        };
        let outer = region_area_sr(&P, &region(circle([2000., 2000.], 1000., 5000)));
        let inner = region_area_sr(&P, &region(circle([2000., 2000.], 500., 5000)));
        assert!((region_area_sr(&P, &ring) - (outer - inner)).abs() < 1e-12);
        assert_eq!(region_area_sr(&P, &Region::default()), 0.0);
        assert_eq!(region_area_sr(&P, &region(vec![[5., 5.], [5., 5.]])), 0.0);
    }
}
