use crate::direction::{cross, dot};
use crate::{Direction, DomainError, PixelMask, Plane, Projection, Stereographic, angle_between, densify};
use serrata_words::{Point, Region};

/// A picture whose projection is known: pixels to the view frame and back. Its middle shows the view frame's +z; edges lie
/// at integers, so pixel (0, 0) has its centre at (0.5, 0.5).
#[derive(Debug, Clone, PartialEq)]
pub struct Picture {
    /// Width in pixels. Example: 4000.
    pub width: u32,
    /// Height in pixels. Example: 4000.
    pub height: u32,
    /// View angle of the centre pixel along x and y, degrees at the sphere's centre; not zero. Example: 0.05.
    pub deg_per_px: [f64; 2],
    /// The projection, centred on the picture's middle; true to scale there (1 radius a radian).
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

    /// Length of a path that is straight in the sphere between its points (great-circle arcs), in radians of eye angle.
    ///
    /// Example: from the middle to the right edge of 4000 px of 0.05°, stereographic, 82.22°.
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
/// Every point counts with half the chord between its neighbours. Example: a square of side 40 px with 1 px: 57 px².
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
