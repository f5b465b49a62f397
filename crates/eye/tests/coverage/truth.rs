//! Eyes and makers that are not those of the intervals: where on a retina lies what a picture shows.

use crate::trace::{Ellipsoid, Optics, between, curve};
use rand::RngExt;
use rand_distr::{Distribution, Normal};
use serrata_eye::{Direction, DrasdoFowler, RetinalPoint, Rotation, VisualAngle};
use serrata_words::Eye;
use std::sync::LazyLock;

pub type Rng = rand_pcg::Pcg64Mcg;

pub fn normal(mean: f64, sd: f64, rng: &mut Rng) -> f64 {
    Normal::new(mean, sd).unwrap().sample(rng)
}

/// Which retina.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Kind {
    /// The digitised curve of Drasdo & Fowler growing by Bennett's scale.
    Digitised,
    /// A ray traced through a schematic eye of that axial length.
    Traced,
}

/// One eye as one maker shows it.
pub struct Shown {
    /// Eye angle that the picture claims → visual angle about the picture's middle.
    seen: Vec<(f64, f64)>,
    /// Visual angle about the optic axis → parametric angle on the retina.
    places: Vec<(f64, f64)>,
    shape: Ellipsoid,
    /// Brings the optic axis to the pole, in visual angles.
    to_axis: Rotation,
    pub eye: Eye,
}

/// The digitised curve as mm on an eye of 24 mm.
static DIGITISED: LazyLock<Vec<(f64, f64)>> = LazyLock::new(|| {
    (0..=396)
        .map(|k| f64::from(k) * 0.25f64.to_radians())
        .map(|v| (v, DrasdoFowler::distance_mm(VisualAngle(v)).unwrap()))
        .collect()
});

/// The back of a schematic eye of 24 mm.
const BALL: Ellipsoid = Ellipsoid { across: 12.0, along: 12.0 };

/// A maker's schematic eye.
static TRACED: LazyLock<Vec<(f64, f64)>> = LazyLock::new(|| curve(Optics::NAVARRO, 24.0, BALL));

/// Standard deviations between eyes of one axial length: of the cornea's radius, relative, and of the depth of the anterior
/// chamber in mm. 1,015 eyes had 44.20 D (95 % interval of the mean 44.11 to 44.29) and 3.03 mm (3.01 to 3.05), with
/// correlations of −0.437 and 0.652 with the axial length (BMC Ophthalmol 2016, PMC4852406): 1.46 D and 0.33 mm, times
/// √(1 − r²).
const CORNEA_SD: f64 = 0.030;
const CHAMBER_SD: f64 = 0.25;

/// The same of the radius of the lens's back, relative: 6.12 to 7.54 mm in three eyes (Biomed Opt Express 2012;3:2471); so few
/// numbers reach over 1.7 standard deviations.
const LENS_SD: f64 = 0.12;

/// What one standard deviation of each makes of mm along the retina.
static CORNEA: LazyLock<Vec<(f64, f64)>> =
    LazyLock::new(|| curve(Optics::NAVARRO.flatter(1.0 + CORNEA_SD), 24.0, BALL));
static CHAMBER: LazyLock<Vec<(f64, f64)>> =
    LazyLock::new(|| curve(Optics::NAVARRO.deeper(CHAMBER_SD), 24.0, BALL));
static LENS: LazyLock<Vec<(f64, f64)>> =
    LazyLock::new(|| curve(Optics::NAVARRO.weaker(1.0 + LENS_SD), 24.0, BALL));

/// Standard deviation of the equator's radius between adult eyes of one length: 250 adults measured 24.2 mm across, 21 to
/// 27 mm (J Ophthalmol 2014:503645, by CT). So many normal numbers reach over 5.6 standard deviations: 1.07 mm; less the
/// growth with the length, 0.44 mm a mm by the ellipsoid below and 1.57 mm, 0.82 mm are left.
const EQUATOR_SD: f64 = 0.034;

/// Where the same rays land in an eye of usual width, and in one wider by that.
static USUAL: LazyLock<Vec<(f64, f64)>> = LazyLock::new(|| curve(Optics::NAVARRO, 24.0, by_mri(24.0)));
static WIDER: LazyLock<Vec<(f64, f64)>> = LazyLock::new(|| {
    let usual = by_mri(24.0);
    curve(Optics::NAVARRO, 24.0, Ellipsoid { across: usual.across * (1.0 + EQUATOR_SD), ..usual })
});

/// Angle alpha in degrees of visual angle, sideways and down: 3.0 to 5.6 and 0.5 to 1.5 in eight eyes (OSA Annual Meeting
/// 1993, MSS.6), so 4.3 ± 0.9 and 1.0 ± 0.35.
const ALPHA: [(f64, f64); 2] = [(4.3, 0.9), (1.0, 0.35)];

/// Atchison et al. (IOVS 2005;46:2698; Vision Res 2006;46:2236), read in open code: half-axes 10.148 along, 11.455 and
/// 11.365 across, less 0.163, 0.043 and 0.090 a dioptre; axial length 23.58 − 0.299 mm a dioptre.
fn by_mri(axial: f64) -> Ellipsoid {
    let dioptres = (23.58 - axial) / 0.299;
    Ellipsoid { across: 11.41 - 0.0665 * dioptres, along: 10.148 - 0.163 * dioptres }
}

impl Shown {
    /// An eye of an axial length, and a maker anywhere between the digitised curve and the traced ray.
    /// `turned` is how far the gaze is turned up, degrees of visual angle: the axis then lies lower in the picture.
    pub fn draw(kind: Kind, axial: f64, turned: f64, rng: &mut Rng) -> Self {
        let [cornea, chamber, lens] = [(); 3].map(|()| normal(0.0, 1.0, rng));
        let equator = normal(0.0, 1.0, rng);
        let w: f64 = rng.random();
        let drasdo = &*DIGITISED;
        let said = |v: f64| {
            w * between(&TRACED, v) / 12.0 + (1.0 - w) * between(drasdo, v) / DrasdoFowler::RADIUS_MM
        };
        let shape = by_mri(axial);
        let shape = Ellipsoid { across: shape.across * (1.0 + EQUATOR_SD * equator), ..shape };
        let traced = (kind == Kind::Traced).then(|| curve(Optics::NAVARRO, axial, shape));
        let mm = |v: f64| {
            if v == 0.0 {
                return 0.0;
            }
            let mean = traced.as_ref().map_or_else(
                || {
                    let wider = (between(&WIDER, v) / between(&USUAL, v).max(1e-9)).powf(equator);
                    between(drasdo, v) * (axial - 1.82) / (24.0 - 1.82) * wider
                },
                |traced| between(traced, v),
            );
            let nominal = between(&TRACED, v);
            [(&CORNEA, cornea), (&CHAMBER, chamber), (&LENS, lens)]
                .iter()
                .fold(mean, |mm, (one, z)| mm * (between(one, v) / nominal).powf(*z))
        };
        let arcs: Vec<_> = shape.arcs().into_iter().map(|(t, s)| (s, t)).collect();
        let visual = || (0..=480).map(|k| f64::from(k) * 0.25f64.to_radians());
        // The axis lies on the disc's side of the fovea, to the picture's right in a right eye, and above it.
        let eye = if rng.random() { Eye::R } else { Eye::L };
        let [sideways, up] = ALPHA.map(|(mean, sd)| normal(mean, sd, rng));
        let axis =
            Direction::from_azimuth_elevation(if eye == Eye::R { sideways } else { -sideways }, up - turned);
        let at = RetinalPoint::from_direction(axis);
        Self {
            seen: visual().map(|v| (said(v), v)).collect(),
            places: visual().map(|v| (v, between(&arcs, mm(v)))).collect(),
            shape,
            to_axis: Rotation::tilting(at.meridian_deg, at.eccentricity_deg).inverse(),
            eye,
        }
    }

    /// Where something lies that the picture puts at a direction, mm.
    fn place(&self, d: Direction) -> [f64; 3] {
        let at = RetinalPoint::from_direction(d);
        let v = between(&self.seen, at.eccentricity_deg.to_radians());
        let seen = RetinalPoint { eccentricity_deg: v.to_degrees(), ..at }.to_direction();
        let at = RetinalPoint::from_direction(self.to_axis.apply(seen));
        let t = between(&self.places, at.eccentricity_deg.to_radians());
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
