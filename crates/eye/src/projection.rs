use crate::{Direction, RadialPolynomial, Rotation};

/// Why a point has no image, or a place in the plane no point, with the value and what was expected. Example: a point 100°
/// from the centre of a gnomonic projection, which ends below 90°.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum DomainError {
    /// The angle from the projection's centre is beyond its domain.
    #[error(
        "a point {eccentricity_deg:.3}° from the centre of the projection has no image in it; expected {expected}"
    )]
    Beyond {
        /// The angle, degrees of eye angle.
        eccentricity_deg: f64,
        /// What the projection can show, for example "below 90°".
        expected: &'static str,
    },
    /// The place in the plane is not the image of any point.
    #[error(
        "no point of the sphere is shown at {radius:.6} radii from the centre of the picture; expected {expected}"
    )]
    Outside {
        /// Distance from the centre, in radii of the sphere at the centre's scale.
        radius: f64,
        /// What the projection can show.
        expected: &'static str,
    },
    /// A number is not finite.
    #[error("a coordinate is not a number; expected finite numbers")]
    NotFinite,
}

/// How angles from the centre become distances from it: the azimuthal projections.
///
/// Distances are those of a sphere of radius 1, at true scale in the centre. Formulas: Snyder, *Map Projections: A
/// Working Manual*, USGS PP 1395 (1987), from memory, and held against PROJ.
#[derive(Debug, Clone, PartialEq)]
pub enum Projection {
    /// r = 2·tan(c/2), below 180°: conformal, circles stay circles. Example: 90° → 2.
    Stereographic,
    /// r = c, up to 180°: distances from the centre are true. Example: 90° → 1.570 796.
    Equidistant,
    /// r = 2·sin(c/2), up to 180° (the opposite point is a circle): areas are true. Example: 90° → 1.414 214.
    EqualArea,
    /// r = sin c, up to 90°. Example: 90° → 1.
    Orthographic,
    /// r = tan c, below 90°: great circles are straight. Example: 45° → 1.
    Gnomonic,
    /// An instrument's own polynomial.
    Radial(RadialPolynomial),
}

impl Projection {
    /// Distance from the centre in the plane, for an angle c from it in radians.
    ///
    /// # Errors
    /// Where the angle is beyond the domain or not a number.
    ///
    /// ```
    /// use serrata_eye::Projection;
    /// let r = Projection::Stereographic.radius(60f64.to_radians()).unwrap();
    /// assert!((r - 1.154_700_538).abs() < 1e-9);
    /// assert!(Projection::Gnomonic.radius(100f64.to_radians()).is_err());
    /// ```
    pub fn radius(&self, c: f64) -> Result<f64, DomainError> {
        if !c.is_finite() {
            return Err(DomainError::NotFinite);
        }
        let r = match self {
            Self::Stereographic if c < Self::STEREOGRAPHIC_END => 2.0 * (c / 2.0).tan(),
            Self::Equidistant => c,
            Self::EqualArea => 2.0 * (c / 2.0).sin(),
            Self::Orthographic if c <= Self::QUARTER => c.sin(),
            Self::Gnomonic if c < Self::GNOMONIC_END => c.tan(),
            Self::Radial(p) => return p.radius(c),
            _ => return Err(self.beyond(c)),
        };
        Ok(r)
    }

    /// Angle from the centre in radians, for a distance in the plane: the inverse of [`Self::radius`].
    ///
    /// # Errors
    /// Where nothing is shown at that distance. Example: 1.5 in the orthographic projection.
    pub fn angle(&self, r: f64) -> Result<f64, DomainError> {
        if !r.is_finite() {
            return Err(DomainError::NotFinite);
        }
        let outside = |expected| Err(DomainError::Outside { radius: r, expected });
        match self {
            Self::Stereographic => Ok(2.0 * (r / 2.0).atan()),
            Self::Equidistant if r <= std::f64::consts::PI => Ok(r),
            Self::Equidistant => outside("at most π"),
            Self::EqualArea if r <= 2.0 => Ok(2.0 * (r / 2.0).asin()),
            Self::EqualArea => outside("at most 2"),
            Self::Orthographic if r <= 1.0 => Ok(r.asin()),
            Self::Orthographic => outside("at most 1"),
            Self::Gnomonic => Ok(r.atan()),
            Self::Radial(p) => p.angle(r),
        }
    }

    /// Beyond this the stereographic image is farther than 10^9 radii away.
    const STEREOGRAPHIC_END: f64 = std::f64::consts::PI - 2e-9;
    /// Exactly at 90°, and what rounding may add.
    const QUARTER: f64 = std::f64::consts::FRAC_PI_2 + 1e-12;
    /// Beyond this the gnomonic image is farther than 10^9 radii away.
    const GNOMONIC_END: f64 = std::f64::consts::FRAC_PI_2 - 1e-9;

    fn beyond(&self, c: f64) -> DomainError {
        let expected = match self {
            Self::Stereographic => "below 180°",
            Self::Orthographic => "at most 90°",
            Self::Gnomonic => "below 90°",
            _ => "at most 180°",
        };
        DomainError::Beyond { eccentricity_deg: c.to_degrees(), expected }
    }
}

/// A projection onto a plane about any centre.
///
/// The plane's +x is towards growing azimuth at the centre and +y towards growing elevation (east and north, where
/// azimuth and elevation are taken as longitude and latitude), or as its rotation says.
///
/// ```
/// use serrata_eye::{Direction, Plane, Projection};
/// let plane = Plane::centred(Projection::EqualArea, 0.0, 0.0);
/// let [x, y] = plane.project(Direction::from_azimuth_elevation(15.5, 1.5)).unwrap();
/// assert!((x - 0.269_632_113).abs() < 1e-9 && (y - 0.026_420_477).abs() < 1e-9); // as PROJ's laea
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Plane {
    /// How angles become distances. Example: equal-area, 90° → 1.414.
    pub projection: Projection,
    /// From the sphere's frame to the one whose +z, (0, 0, 1), is the projection's centre.
    pub to_view: Rotation,
}

impl Plane {
    /// About the point of an azimuth and an elevation, degrees; the elevation's direction is up. Example: (0, 0) is
    /// about +z.
    #[must_use]
    pub fn centred(projection: Projection, azimuth_deg: f64, elevation_deg: f64) -> Self {
        Self { projection, to_view: Rotation::looking_at(azimuth_deg, elevation_deg) }
    }

    /// Where a direction lies in the plane, in radii of the sphere from the centre, +x right and +y up. Example: the centre
    /// itself at (0, 0).
    ///
    /// # Errors
    /// Where the direction is beyond the projection's domain.
    pub fn project(&self, d: Direction) -> Result<[f64; 2], DomainError> {
        let v = self.to_view.apply(d);
        let s = v.x().hypot(v.y());
        let c = s.atan2(v.z());
        let r = self.projection.radius(c)?;
        if s == 0.0 && c > 1.0 {
            return Err(DomainError::Beyond { eccentricity_deg: 180.0, expected: "below 180°" });
        }
        // At the centre every projection has the scale 1, so r/s is 1 there.
        let k = if s == 0.0 { 1.0 } else { r / s };
        Ok([k * v.x(), k * v.y()])
    }

    /// The direction that is shown at a place of the plane, in radii of the sphere; the inverse of [`Self::project`]. Example:
    /// (0, 0) shows the centre.
    ///
    /// # Errors
    /// Where none is.
    pub fn unproject(&self, [x, y]: [f64; 2]) -> Result<Direction, DomainError> {
        let r = x.hypot(y);
        let (s, c) = self.projection.angle(r)?.sin_cos();
        let k = if r == 0.0 { 1.0 } else { s / r };
        Ok(self.to_view.inverse().apply(Direction::unit([k * x, k * y, c])))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::angle_between;
    use proptest::prelude::*;

    fn kinds() -> Vec<(Projection, f64)> {
        vec![
            (Projection::Stereographic, 179.0),
            (Projection::Equidistant, 180.0),
            (Projection::EqualArea, 179.9),
            (Projection::Orthographic, 89.9),
            (Projection::Gnomonic, 89.9),
            (Projection::Radial(RadialPolynomial::new(&[1.0, 0.0, 0.08], 120.0).unwrap()), 120.0),
        ]
    }

    proptest! {
        #[test]
        fn plane_and_sphere_come_back(l0 in -180f64..180., p0 in -90f64..90., m in 0f64..360., share in 0f64..1.) {
            for (kind, end) in kinds() {
                let plane = Plane::centred(kind, l0, p0);
                let d = plane.to_view.inverse().apply(
                    crate::RetinalPoint { eccentricity_deg: share * end, meridian_deg: m }.to_direction());
                let back = plane.unproject(plane.project(d).unwrap()).unwrap();
                // Near 90° the orthographic scale vanishes: half the digits are gone.
                let tolerance = if plane.projection == Projection::Orthographic || end == 179.9 { 1e-6 } else { 1e-9 };
                prop_assert!(angle_between(d, back) < tolerance, "{:?}", plane.projection);
            }
        }

        #[test]
        fn nothing_panics(x in prop::num::f64::ANY, y in prop::num::f64::ANY) {
            for (kind, _) in kinds() {
                let plane = Plane::centred(kind, 10., 20.);
                let _ = plane.unproject([x, y]);
                let _ = plane.projection.radius(x);
                if let Some(d) = Direction::new([x, y, 0.5]) { let _ = plane.project(d); }
            }
        }
    }

    /// PROJ's values (brief on published figures, §8, pyproj 3.7.2): r = 2·tan(c/2), 2·sin(c/2), c.
    #[test]
    fn the_vectors_of_proj() {
        let at = |kind, l, p| {
            Plane::centred(kind, 0., 0.).project(Direction::from_azimuth_elevation(l, p)).unwrap()
        };
        for (kind, l, p, x, y) in [
            (Projection::Stereographic, 15.5, 1.5, 0.272_140_546, 0.026_666_271),
            (Projection::EqualArea, 15.5, 1.5, 0.269_632_113, 0.026_420_477),
            (Projection::Equidistant, 15.5, 1.5, 0.270_463_617, 0.026_501_954),
            (Projection::Stereographic, 80., 30., 1.482_754_854, 0.869_275_157),
            (Projection::Stereographic, 100., 0., 2.383_507_185, 0.),
            (Projection::Stereographic, -45., -60., -0.522_407_750, -1.279_632_425),
        ] {
            let [gx, gy] = at(kind.clone(), l, p);
            assert!((gx - x).abs() < 1e-9 && (gy - y).abs() < 1e-9, "{kind:?} {l} {p}: {gx} {gy}");
        }
    }

    /// IOVS abstract 2774109: at 60° the stereographic picture overstates distances by 33 % and areas by 78 %, the
    /// equidistant one widths by 21 %.
    #[test]
    fn the_published_errors_at_60_degrees() {
        let c = 60f64.to_radians();
        let along = |p: &Projection| (p.radius(c + 1e-6).unwrap() - p.radius(c - 1e-6).unwrap()) / 2e-6;
        let across = |p: &Projection| p.radius(c).unwrap() / c.sin();
        let s = Projection::Stereographic;
        assert!((along(&s) - 1.333_33).abs() < 1e-5 && (across(&s) - 1.333_33).abs() < 1e-5);
        assert!((along(&s) * across(&s) - 1.777_78).abs() < 1e-5);
        assert!((across(&Projection::Equidistant) - 1.209_20).abs() < 1e-5);
        let a = Projection::EqualArea;
        assert!((along(&a) * across(&a) - 1.0).abs() < 1e-9);
    }

    #[test]
    fn beyond_the_domain_is_an_error_that_says_so() {
        let far = Direction::from_azimuth_elevation(120., 0.);
        for kind in [Projection::Orthographic, Projection::Gnomonic] {
            let e = Plane::centred(kind, 0., 0.).project(far).unwrap_err();
            assert!(e.to_string().contains("120.000°") && e.to_string().contains("90°"), "{e}");
        }
        for kind in [Projection::Stereographic, Projection::Equidistant, Projection::EqualArea] {
            assert!(Plane::centred(kind, 0., 0.).project(Direction::ANTERIOR).is_err());
        }
        assert!(Projection::Orthographic.angle(1.5).unwrap_err().to_string().contains("at most 1"));
        assert_eq!(Projection::Equidistant.angle(f64::NAN), Err(DomainError::NotFinite));
    }
}
