//! Eyes and makers that are not those of the intervals: where on a retina lies what a picture shows.

use crate::trace::{Ellipsoid, between, curve};
use rand::RngExt;
use rand_distr::{Distribution, Normal};
use serrata_eye::{Direction, DrasdoFowler, RetinalPoint, Rotation, VisualAngle};
use std::sync::LazyLock;

pub type Rng = rand_pcg::Pcg64Mcg;

pub fn normal(mean: f64, sd: f64, rng: &mut Rng) -> f64 {
    Normal::new(mean, sd).unwrap().sample(rng)
}

/// Which retina.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Kind {
    /// The digitised curve of Drasdo & Fowler on its sphere, growing with the axial length; a maker between that curve
    /// and a nodal sphere.
    Sphere,
    /// The same curve growing by Bennett's scale, along the ellipsoid that MRI finds in an eye of that length; a maker
    /// between that curve and a ray traced through a schematic eye with a retina of 12 mm.
    Ellipsoid,
    /// A ray traced through a schematic eye on that ellipsoid; makers as before.
    Traced,
}

/// One eye as one maker shows it.
pub struct Shown {
    /// Eye angle that the picture claims → parametric angle on the retina.
    claimed: Vec<(f64, f64)>,
    shape: Ellipsoid,
}

/// The digitised curve as mm on an eye of 24 mm.
static DIGITISED: LazyLock<Vec<(f64, f64)>> = LazyLock::new(|| {
    (0..=396)
        .map(|k| f64::from(k) * 0.25f64.to_radians())
        .map(|v| (v, DrasdoFowler::distance_mm(VisualAngle(v)).unwrap()))
        .collect()
});

/// A maker's schematic eye of 24 mm with a spherical retina of 12 mm.
static TRACED: LazyLock<Vec<(f64, f64)>> =
    LazyLock::new(|| curve(24.0, Ellipsoid { across: 12.0, along: 12.0 }));

/// Atchison et al. (IOVS 2005;46:2698; Vision Res 2006;46:2236), read in open code: half-axes 10.148 along, 11.455 and
/// 11.365 across, less 0.163, 0.043 and 0.090 a dioptre; axial length 23.58 − 0.299 mm a dioptre.
fn by_mri(axial: f64) -> Ellipsoid {
    let dioptres = (23.58 - axial) / 0.299;
    Ellipsoid { across: 11.41 - 0.0665 * dioptres, along: 10.148 - 0.163 * dioptres }
}

impl Shown {
    pub fn draw(kind: Kind, axial: f64, scatter: f64, rng: &mut Rng) -> Self {
        let size = normal(1.0, scatter, rng);
        let w: f64 = rng.random();
        let drasdo = &*DIGITISED;
        let other = |v: f64| match kind {
            Kind::Sphere => v + (4.67 / 12.0 * v.sin()).asin(),
            Kind::Ellipsoid | Kind::Traced => between(&TRACED, v) / 12.0,
        };
        let said = |v: f64| w * other(v) + (1.0 - w) * between(drasdo, v) / DrasdoFowler::RADIUS_MM;
        let (shape, mm): (Ellipsoid, Box<dyn Fn(f64) -> f64>) = match kind {
            Kind::Sphere => {
                let r = 11.95 * axial / 24.0;
                (Ellipsoid { across: r, along: r }, Box::new(|v| between(drasdo, v) * axial / 24.0))
            }
            Kind::Ellipsoid => {
                (by_mri(axial), Box::new(|v| between(drasdo, v) * (axial - 1.82) / (24.0 - 1.82)))
            }
            Kind::Traced => {
                let c = curve(axial, by_mri(axial));
                (by_mri(axial), Box::new(move |v| between(&c, v)))
            }
        };
        let arcs: Vec<_> = shape.arcs().into_iter().map(|(t, s)| (s, t)).collect();
        let claimed = (0..=440).map(|k| f64::from(k) * 0.25f64.to_radians());
        let claimed = claimed.map(|v| (said(v), between(&arcs, mm(v)))).collect();
        Self { claimed, shape: Ellipsoid { across: shape.across * size, along: shape.along * size } }
    }

    /// Where something lies that the picture puts at a direction, mm.
    fn place(&self, d: Direction) -> [f64; 3] {
        let at = RetinalPoint::from_direction(d);
        let t = between(&self.claimed, at.eccentricity_deg.to_radians());
        let (s, c) = at.meridian_deg.to_radians().sin_cos();
        [self.shape.across * t.sin() * c, self.shape.across * t.sin() * s, self.shape.along * t.cos()]
    }

    /// Length in mm of a path that is great circles in the picture.
    pub fn length(&self, path: &[Direction]) -> f64 {
        path.windows(2)
            .map(|w| {
                let on: Vec<_> =
                    (0..=24).map(|k| self.place(part(w[0], w[1], f64::from(k) / 24.0))).collect();
                on.windows(2).map(|p| norm(minus(p[1], p[0]))).sum::<f64>()
            })
            .sum()
    }

    /// Area in mm² of a ring that can all be seen from `middle`, by small triangles.
    pub fn area(&self, ring: &[Direction], middle: Direction) -> f64 {
        const RINGS: u32 = 8;
        let spoke = |d: &Direction| -> Vec<[f64; 3]> {
            (0..=RINGS).map(|k| self.place(part(middle, *d, f64::from(k) / f64::from(RINGS)))).collect()
        };
        let spokes: Vec<_> = ring.iter().map(spoke).collect();
        let quarter = |a: &Vec<[f64; 3]>, b: &Vec<[f64; 3]>| -> f64 {
            a.windows(2)
                .zip(b.windows(2))
                .map(|(a, b)| norm(cross(minus(b[1], a[0]), minus(b[0], a[1]))) / 2.0)
                .sum()
        };
        (0..ring.len()).map(|i| quarter(&spokes[i], &spokes[(i + 1) % ring.len()])).sum()
    }
}

/// A share of the way from one direction to another.
fn part(a: Direction, b: Direction, share: f64) -> Direction {
    let angle = serrata_eye::angle_between(a, b);
    if angle < 1e-9 {
        return a;
    }
    let (p, q) = (((1.0 - share) * angle).sin(), (share * angle).sin());
    Direction::new([0, 1, 2].map(|i| a.xyz()[i] * p + b.xyz()[i] * q)).unwrap()
}

fn minus(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    [a[0] - b[0], a[1] - b[1], a[2] - b[2]]
}

fn norm(a: [f64; 3]) -> f64 {
    a.iter().map(|x| x * x).sum::<f64>().sqrt()
}

fn cross(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
}

/// What is drawn about a place: a ring or a path of a size in degrees, in the view frame.
pub fn figure(
    place: Rotation,
    size: f64,
    corners: u32,
    least: f64,
    area: bool,
    rng: &mut Rng,
) -> Vec<Direction> {
    let turn = 360.0 * rng.random::<f64>();
    (0..corners)
        .map(|k| {
            let f = f64::from(k);
            let (e, m) = if area {
                (least + (1.0 - least) * rng.random::<f64>(), 360.0 / f64::from(corners) * f)
            } else {
                let x = 2.0 * f / f64::from(corners - 1) - 1.0;
                (x.abs(), if x > 0.0 { 0.0 } else { 180.0 })
            };
            place.apply(RetinalPoint { eccentricity_deg: size * e, meridian_deg: turn + m }.to_direction())
        })
        .collect()
}
