use crate::direction::{cross, dot};
use crate::{
    Direction, DomainError, PixelMask, Plane, Projection, Radius, RadiusSource, Stereographic, angle_between,
    densify,
};
use serrata_words::{Point, Region};

/// A picture whose projection is known: pixels to the view frame and back.
#[derive(Debug, Clone, PartialEq)]
pub struct Picture {
    /// Width in pixels.
    pub width: u32,
    /// Height in pixels.
    pub height: u32,
    /// View angle of the centre pixel along x and y, degrees at the sphere's centre; not zero.
    pub deg_per_px: [f64; 2],
    /// The projection, centred on the picture's middle.
    pub projection: Projection,
}

impl From<Stereographic> for Picture {
    fn from(s: Stereographic) -> Self {
        Self {
            width: s.width,
            height: s.height,
            deg_per_px: s.deg_per_px,
            projection: Projection::Stereographic,
        }
    }
}

impl Picture {
    fn plane(&self) -> Plane {
        Plane { projection: self.projection.clone(), to_view: crate::Rotation::NONE }
    }

    /// From the picture (pixels, edges at integers, y down) to the view frame.
    ///
    /// # Errors
    /// Where nothing of the sphere is shown there.
    ///
    /// ```
    /// use serrata_eye::{Picture, Stereographic};
    /// let p = Picture::from(Stereographic { width: 4000, height: 4000, deg_per_px: [0.05, 0.05] });
    /// assert!((p.to_direction([4000., 2000.]).unwrap().z().acos().to_degrees() - 82.220_105_723).abs() < 1e-9);
    /// ```
    pub fn to_direction(&self, p: Point) -> Result<Direction, DomainError> {
        self.plane().unproject([
            ((p[0] - f64::from(self.width) / 2.0) * self.deg_per_px[0]).to_radians(),
            ((f64::from(self.height) / 2.0 - p[1]) * self.deg_per_px[1]).to_radians(),
        ])
    }

    /// From the view frame to the picture; points beyond its edge land outside of 0..width, 0..height.
    ///
    /// # Errors
    /// Where the direction has no image.
    pub fn to_picture(&self, d: Direction) -> Result<Point, DomainError> {
        let [x, y] = self.plane().project(d)?;
        Ok([
            f64::from(self.width) / 2.0 + x.to_degrees() / self.deg_per_px[0],
            f64::from(self.height) / 2.0 - y.to_degrees() / self.deg_per_px[1],
        ])
    }

    /// Area of the sphere per area of the picture at a place, in steradians per square pixel.
    ///
    /// Exact for every azimuthal projection: (sin c / r) · (dc/dr) times the centre pixel's area, dc/dr by a central
    /// difference of 1e-6. Example: half a stereographic pixel's area, cos⁴(c/2), at c = 65.5°.
    ///
    /// # Errors
    /// Where nothing of the sphere is shown there.
    pub fn local_area_sr(&self, p: Point) -> Result<f64, DomainError> {
        let x = ((p[0] - f64::from(self.width) / 2.0) * self.deg_per_px[0]).to_radians();
        let y = ((f64::from(self.height) / 2.0 - p[1]) * self.deg_per_px[1]).to_radians();
        let pixel = (self.deg_per_px[0].to_radians() * self.deg_per_px[1].to_radians()).abs();
        let r = x.hypot(y);
        if r < 1e-5 {
            return Ok(pixel);
        }
        let h = 1e-6;
        let c = self.projection.angle(r)?;
        let slope = if let Projection::Stereographic = self.projection {
            (c / 2.0).cos().powi(2)
        } else {
            let inner = self.projection.angle(r - h)?;
            let (outer, step) = self.projection.angle(r + h).map_or((c, h), |o| (o, 2.0 * h));
            (outer - inner) / step
        };
        Ok(pixel * c.sin() / r * slope)
    }

    /// Length of a path that is straight in the sphere between its points (great-circle arcs), in radians.
    ///
    /// # Errors
    /// Where a point is not on the sphere.
    pub fn path_rad(&self, path: &[Point]) -> Result<f64, DomainError> {
        let on: Vec<Direction> = path.iter().map(|p| self.to_direction(*p)).collect::<Result<_, _>>()?;
        Ok(crate::path_length_rad(&on))
    }

    /// Area of a region in steradians: outer rings minus holes; edges are straight in the picture.
    ///
    /// Exact for stereographic pictures ([`crate::region_area_sr`]); for the others edges are cut into pieces of at
    /// most 0.05°, which keeps 1e-6.
    ///
    /// # Errors
    /// Where an edge leaves what the projection shows.
    pub fn region_sr(&self, region: &Region) -> Result<f64, DomainError> {
        if let Projection::Stereographic = self.projection {
            let Self { width, height, deg_per_px, .. } = *self;
            return Ok(crate::region_area_sr(&Stereographic { width, height, deg_per_px }, region));
        }
        let step = 0.05 / self.deg_per_px[0].abs().max(self.deg_per_px[1].abs());
        let sum = |rings: &[Vec<Point>]| {
            rings.iter().try_fold(0.0, |sum, ring| {
                let on: Vec<Direction> = densify(ring, step)
                    .into_iter()
                    .map(|p| self.to_direction(p))
                    .collect::<Result<_, _>>()?;
                Ok(sum + crate::polygon_area_sr(&on, Direction::POLE).abs())
            })
        };
        Ok(sum(&region.polygons)? - sum(&region.holes)?)
    }

    /// Area of the covered pixels in steradians, each by the local scale at its centre; pixels that show nothing of
    /// the sphere count nothing. Within 1e-3 of the truth (the brief on published figures, §2.1: 1e-5 for caps).
    #[must_use]
    pub fn mask_sr(&self, mask: &PixelMask<'_>) -> f64 {
        let mut sum = 0.0;
        for y in 0..mask.height() {
            let mut row = 0.0;
            for x in 0..mask.width() {
                if mask.at(i64::from(x), i64::from(y)) {
                    row += self.local_area_sr([f64::from(x) + 0.5, f64::from(y) + 0.5]).unwrap_or(0.0);
                }
            }
            sum += row;
        }
        sum
    }
}

/// Initial bearing of the great circle from one direction to another, in radians counter-clockwise from +x as the
/// observer sees it, 0 to below 2π; `None` where the two are the same or opposite, or the first is a pole of the
/// frame's y axis.
///
/// ```
/// use serrata_eye::{bearing_rad, Direction};
/// let up = bearing_rad(Direction::POLE, Direction::from_azimuth_elevation(0.0, 20.0)).unwrap();
/// assert!((up.to_degrees() - 90.0).abs() < 1e-12);
/// ```
#[must_use]
pub fn bearing_rad(from: Direction, to: Direction) -> Option<f64> {
    let a = from.xyz();
    // Up at `from`: the part of +y that lies in its tangent plane; right: up × towards the observer.
    let up = Direction::new(std::array::from_fn(|i| f64::from(u8::from(i == 1)) - a[1] * a[i]))?.xyz();
    let right = cross(up, a);
    let t = to.xyz();
    if dot(cross(a, t), cross(a, t)) < 1e-24 || a[1].abs() > 1.0 - 1e-15 {
        return None;
    }
    Some(dot(t, up).atan2(dot(t, right)).rem_euclid(std::f64::consts::TAU))
}

/// Angle at `corner` between the great circles to `a` and to `b`, radians, 0 to π; `None` where one is not defined.
///
/// Example: between 3 and 12 o'clock, seen from the fovea, π/2.
#[must_use]
pub fn corner_angle_rad(a: Direction, corner: Direction, b: Direction) -> Option<f64> {
    let (m, n) = (cross(corner.xyz(), a.xyz()), cross(corner.xyz(), b.xyz()));
    let (m, n) = (Direction::new(m)?, Direction::new(n)?);
    Some(angle_between(m, n))
}

/// What is measured: how it grows with the radius.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Quantity {
    /// A length in mm: grows with R.
    Length,
    /// An area in mm²: grows with R².
    Area,
}

/// A length or an area with its 95 % interval and everything that it assumes.
///
/// Its printed form names the assumption: `12.340 mm (95 %: 11.276 to 12.575 mm; R = 12 mm, half the axial length)`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measure {
    /// Length or area.
    pub quantity: Quantity,
    /// The value on the sphere of the radius, mm or mm².
    pub value: f64,
    /// The 95 % interval of what it is on the retina. It is not centred on the value: see [`Spread`].
    pub interval: [f64; 2],
    /// The radius with its source.
    pub radius: Radius,
}

/// How far the sphere may be from the retina.
///
/// The value is that of a sphere, as DICOM's wide-field objects and published areas have it. The retina differs:
/// what a maker's ray trace through a nodal sphere calls c is, on schematic eyes, nearer to the axis (published
/// models at 60° of visual angle: 15.2 to 16.7 mm), and no eye's retina has just half its axial length for radius.
/// So on the retina lengths are `centre` times the sphere's, with a relative standard deviation `sd`.
///
/// Found with Watson's cubic against the nodal sphere (J Vis 2014;14(7):15; R 12, N 16.67 mm), a maker's model taken to
/// lie anywhere between the two, and 2 % of scatter of R between eyes of one axial length (judgement). It is held
/// against another truth, the digitised curve of Drasdo & Fowler, in `tests/coverage.rs`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spread {
    /// Mean of true over spherical lengths.
    pub centre: f64,
    /// Relative standard deviation of a length.
    pub sd: f64,
}

impl Spread {
    /// At an eccentricity (radians of eye angle) for a quantity. Example: 0.97 ± 2.6 % for a length at the fovea.
    #[must_use]
    pub fn at(eccentricity_rad: f64, quantity: Quantity) -> Self {
        let t = (eccentricity_rad.abs() / 100f64.to_radians()).min(1.3);
        match quantity {
            Quantity::Length => Self { centre: 0.970 - 0.027 * t * t, sd: 0.0265 + 0.013 * t * t },
            Quantity::Area => Self { centre: 0.970 - 0.050 * t * t, sd: 0.0265 + 0.010 * t * t },
        }
    }
}

/// Two-sided 95 % of the normal distribution.
const Z95: f64 = 1.959_963_984_540_054;

impl Measure {
    /// A length from its angle at the sphere's centre (radians), at a mean eccentricity (radians), with the standard
    /// deviation (radians) that the drawn outline gives it.
    ///
    /// ```
    /// use serrata_eye::{Measure, Radius};
    /// let m = Measure::length(1.0, 0.5, 0.0, Radius::from_axial_length(24.0));
    /// assert_eq!(m.value, 12.0);
    /// assert!(m.interval[0] < 11.2 && m.interval[1] > 12.1 && m.interval[1] < 12.5);
    /// assert!(m.to_string().contains("R = 12 mm, half the axial length"));
    /// ```
    #[must_use]
    pub fn length(angle_rad: f64, eccentricity_rad: f64, outline_sd_rad: f64, radius: Radius) -> Self {
        Self::of(Quantity::Length, angle_rad, eccentricity_rad, outline_sd_rad, radius)
    }

    /// An area from steradians, at a mean eccentricity (radians), with the standard deviation (steradians) that the
    /// drawn outline gives it. Example: 6.2 sr at R = 11 mm are 750 mm².
    #[must_use]
    pub fn area(area_sr: f64, eccentricity_rad: f64, outline_sd_sr: f64, radius: Radius) -> Self {
        Self::of(Quantity::Area, area_sr, eccentricity_rad, outline_sd_sr, radius)
    }

    fn of(quantity: Quantity, angle: f64, eccentricity: f64, outline_sd: f64, radius: Radius) -> Self {
        let power = if quantity == Quantity::Area { 2.0 } else { 1.0 };
        let scale = radius.mm.powf(power);
        let value = scale * angle;
        let spread = Spread::at(eccentricity, quantity);
        let axial = if radius.mm > 0.0 { radius.axial_sd_mm() / radius.mm } else { 0.0 };
        let outline = if angle > 0.0 { outline_sd / angle } else { 0.0 };
        let sd = power * spread.sd.hypot(axial);
        let sd = sd.hypot(outline);
        let centre = value * spread.centre.powf(power);
        // In logarithms where the radius rules, so that no end is below zero.
        let interval = [centre * (-Z95 * sd).exp(), centre * (Z95 * sd).exp()];
        Self { quantity, value, interval, radius }
    }
}

impl std::fmt::Display for Measure {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let unit = if self.quantity == Quantity::Area { "mm²" } else { "mm" };
        let [low, high] = self.interval;
        let source = match self.radius.source {
            RadiusSource::Given => "as given",
            RadiusSource::AxialLength => "half the axial length",
            RadiusSource::Estimated => "half the estimated axial length",
            RadiusSource::Population => "the population's, as the axial length is not known",
        };
        let Self { value, radius, .. } = self;
        write!(f, "{value:.3} {unit} (95 %: {low:.3} to {high:.3} {unit}; R = {} mm, {source})", radius.mm)
    }
}

/// Standard deviation that jitter of the points gives a path's length, in radians: each point `sd_px` along x and y.
///
/// Every point counts with the change of length by its own move: the ends along their only arc, the others along
/// both. Example: two far points of 1 px and 0.05°: √2 · 0.05° in the middle of a picture.
///
/// # Errors
/// Where a point is not on the sphere.
pub fn path_jitter_rad(picture: &Picture, path: &[Point], sd_px: f64) -> Result<f64, DomainError> {
    jitter(path, sd_px, |p| picture.path_rad(p))
}

/// Standard deviation that jitter of the points gives an area, in steradians; as [`path_jitter_rad`].
///
/// # Errors
/// Where an edge leaves what the projection shows.
pub fn area_jitter_sr(picture: &Picture, ring: &[Point], sd_px: f64) -> Result<f64, DomainError> {
    let n = ring.len();
    let mut sum = 0.0;
    for i in 0..n {
        // Moving a point changes its two edges only: half the chord between its neighbours, times the move.
        let (a, b) = (ring[(i + n - 1) % n], ring[(i + 1) % n]);
        let half = (b[0] - a[0]).hypot(b[1] - a[1]) / 2.0;
        sum += (half * sd_px * picture.local_area_sr(ring[i])?).powi(2);
    }
    Ok(sum.sqrt())
}

/// Root of the sum of squares of the changes by moves of each coordinate.
fn jitter(
    points: &[Point],
    sd_px: f64,
    f: impl Fn(&[Point]) -> Result<f64, DomainError>,
) -> Result<f64, DomainError> {
    let mut sum = 0.0;
    for i in 0..points.len() {
        // Only the arcs at this point change.
        let low = i.saturating_sub(1);
        let mut near: Vec<Point> = points[low..(i + 2).min(points.len())].to_vec();
        for axis in 0..2 {
            let (k, was) = (i - low, points[i][axis]);
            near[k][axis] = was + 0.5;
            let more = f(&near)?;
            near[k][axis] = was - 0.5;
            let less = f(&near)?;
            near[k][axis] = was;
            sum += ((more - less) * sd_px).powi(2);
        }
    }
    Ok(sum.sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cap_area_sr;
    use proptest::prelude::*;

    fn picture(projection: Projection) -> Picture {
        Picture { width: 2000, height: 2000, deg_per_px: [0.1, 0.1], projection }
    }

    #[test]
    fn caps_have_their_area_in_every_projection() {
        let end = |p: &Projection| {
            if matches!(p, Projection::Orthographic | Projection::Gnomonic) { 40. } else { 60. }
        };
        for p in [
            Projection::Stereographic,
            Projection::Equidistant,
            Projection::EqualArea,
            Projection::Orthographic,
            Projection::Gnomonic,
        ] {
            let c = f64::to_radians(end(&p));
            let r = p.radius(c).unwrap().to_degrees() / 0.1;
            let ring: Vec<Point> = (0..7200)
                .map(|k| {
                    let (s, c) = (f64::from(k) * std::f64::consts::TAU / 7200.).sin_cos();
                    [1000. + r * c, 1000. + r * s]
                })
                .collect();
            let picture = picture(p);
            let area = picture.region_sr(&Region { polygons: vec![ring], holes: vec![] }).unwrap();
            assert!((area / cap_area_sr(c) - 1.0).abs() < 1e-6, "{:?} {area}", picture.projection);
            let mask = PixelMask::from_fn(2000, 2000, |x, y| {
                (f64::from(x) + 0.5 - 1000.).hypot(f64::from(y) + 0.5 - 1000.) < r
            });
            assert!((picture.mask_sr(&mask) / cap_area_sr(c) - 1.0).abs() < 1e-3, "{:?}", picture.projection);
        }
    }

    proptest! {
        #[test]
        fn picture_and_sphere_come_back(x in 400f64..1600., y in 400f64..1600.) {
            for p in [Projection::Stereographic, Projection::Equidistant, Projection::EqualArea, Projection::Gnomonic] {
                let picture = picture(p);
                let back = picture.to_picture(picture.to_direction([x, y]).unwrap()).unwrap();
                prop_assert!((back[0] - x).abs() < 1e-6 && (back[1] - y).abs() < 1e-6);
            }
        }

        #[test]
        fn bearings_turn_with_the_target(l in -60f64..60., p in -60f64..60., m in 0f64..359.9, e in 1f64..100.) {
            let from = Direction::from_azimuth_elevation(l, p);
            let frame = crate::Rotation::looking_at(l, p).inverse();
            let to = frame.apply(crate::RetinalPoint { eccentricity_deg: e, meridian_deg: m }.to_direction());
            let got = bearing_rad(from, to).unwrap().to_degrees();
            let off = (got - m).rem_euclid(360.0);
            prop_assert!(off.min(360.0 - off) < 1e-6, "{got} {m}");
            let three = frame.apply(crate::RetinalPoint { eccentricity_deg: 50., meridian_deg: 0. }.to_direction());
            let angle = corner_angle_rad(three, from, to).unwrap().to_degrees();
            prop_assert!((angle - m.min(360.0 - m)).abs() < 1e-6);
        }

        #[test]
        fn intervals_hold_the_sphere_and_grow(angle in 0.01f64..3., e in 0f64..1.9, al in 20f64..30.) {
            let known = Measure::length(angle, e, 0.0, Radius::from_axial_length(al));
            prop_assert!(known.interval[0] < known.value && known.value < known.interval[1]);
            let jittered = Measure::length(angle, e, 0.1 * angle, Radius::from_axial_length(al));
            prop_assert!(jittered.interval[1] - jittered.interval[0] > known.interval[1] - known.interval[0]);
            let unknown = Measure::area(angle, e, 0.0, Radius::population());
            prop_assert!(unknown.interval[1] / unknown.interval[0] > known.interval[1] / known.interval[0]);
        }
    }

    #[test]
    fn poles_and_equal_points_have_no_bearing() {
        let d = Direction::from_azimuth_elevation(5., 5.);
        assert_eq!(bearing_rad(d, d), None);
        assert_eq!(bearing_rad(d, d.opposite()), None);
        assert_eq!(bearing_rad(Direction::from_azimuth_elevation(0., 90.), d), None);
        assert_eq!(corner_angle_rad(d, d, Direction::POLE), None);
    }

    #[test]
    fn jitter_in_the_middle_is_that_of_flat_geometry() {
        let p = picture(Projection::Stereographic);
        let sd = path_jitter_rad(&p, &[[990., 1000.], [1010., 1000.]], 1.0).unwrap();
        assert!((sd - 2f64.sqrt() * 0.1f64.to_radians()).abs() < 1e-6, "{sd}");
        // A square of side 40: each corner counts half a diagonal of its neighbours.
        let square = [[980., 980.], [1020., 980.], [1020., 1020.], [980., 1020.]];
        let want = (4.0f64 * (40.0f64 * 2f64.sqrt() / 2.0).powi(2)).sqrt() * 0.1f64.to_radians().powi(2);
        assert!((area_jitter_sr(&p, &square, 1.0).unwrap() / want - 1.0).abs() < 2e-3);
    }
}
