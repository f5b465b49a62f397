/// A point on the unit sphere: a vector of length 1, without unit.
///
/// Which frame of reference it is in, view or retinal, follows from where it came from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Direction([f64; 3]);

impl Direction {
    /// +z, (0, 0, 1): the centre of the picture, or the fovea.
    pub const POLE: Self = Self([0.0, 0.0, 1.0]);

    /// −z, (0, 0, −1): opposite the centre of the picture, or the fovea; towards the pupil, where no retina is.
    pub const ANTERIOR: Self = Self([0.0, 0.0, -1.0]);

    /// The direction of a vector of any length, or `None` where it has no direction (zero or not finite).
    ///
    /// ```
    /// use serrata_eye::Direction;
    /// assert_eq!(Direction::new([0.0, 0.0, 3.0]), Some(Direction::POLE));
    /// assert_eq!(Direction::new([0.0; 3]), None);
    /// ```
    #[must_use]
    pub fn new(v: [f64; 3]) -> Option<Self> {
        let n = v.iter().map(|c| c * c).sum::<f64>().sqrt();
        (n > 0.0 && n.is_finite()).then(|| Self(v.map(|c| c / n)))
    }

    /// A vector that is of unit length by construction.
    pub(crate) const fn unit(v: [f64; 3]) -> Self {
        Self(v)
    }

    /// From azimuth λ (towards +x) and elevation φ (towards +y), degrees of eye angle, as DICOM PS3.3 C.8.17.11 counts
    /// them.
    ///
    /// ```
    /// use serrata_eye::Direction;
    /// let d = Direction::from_azimuth_elevation(90.0, 0.0); // to the right, at right angles to the centre
    /// assert!((d.x() - 1.0).abs() < 1e-15);
    /// ```
    #[must_use]
    pub fn from_azimuth_elevation(azimuth_deg: f64, elevation_deg: f64) -> Self {
        let (sl, cl) = azimuth_deg.to_radians().sin_cos();
        let (sp, cp) = elevation_deg.to_radians().sin_cos();
        Self([cp * sl, sp, cp * cl])
    }

    /// Azimuth λ, −180 to 180, and elevation φ, −90 to 90, in degrees of eye angle. Example: the pole is at (0, 0).
    #[must_use]
    pub fn azimuth_elevation(self) -> (f64, f64) {
        let [x, y, z] = self.0;
        (x.atan2(z).to_degrees(), y.atan2(x.hypot(z)).to_degrees())
    }

    /// The unit vector (x, y, z) in the direction's own frame. Example: (0, 0, 1) for the pole.
    #[must_use]
    pub const fn xyz(self) -> [f64; 3] {
        self.0
    }

    /// The point on the other side of the sphere, 180° away.
    #[must_use]
    pub fn opposite(self) -> Self {
        Self(self.0.map(|c| -c))
    }

    /// Towards the right of the picture, or 3 o'clock; −1 to 1.
    #[must_use]
    pub const fn x(self) -> f64 {
        self.0[0]
    }

    /// Up in the picture, or 12 o'clock; −1 to 1.
    #[must_use]
    pub const fn y(self) -> f64 {
        self.0[1]
    }

    /// Away from the observer; −1 to 1, the cosine of the angle from the pole. Example: 0.5 at 60°.
    #[must_use]
    pub const fn z(self) -> f64 {
        self.0[2]
    }
}

pub(crate) fn dot(a: [f64; 3], b: [f64; 3]) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

pub(crate) fn cross(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
}

/// Great-circle angle between two directions, in radians, 0 to π.
///
/// The atan2 form (Vincenty's, for a sphere) keeps its digits for small and for nearly opposite angles, where the
/// law of cosines loses half of them.
///
/// ```
/// use serrata_eye::{angle_between, Direction};
/// let disc = Direction::from_azimuth_elevation(15.5, 1.5);
/// assert!((angle_between(Direction::POLE, disc).to_degrees() - 15.570640).abs() < 1e-6);
/// ```
#[must_use]
pub fn angle_between(a: Direction, b: Direction) -> f64 {
    let c = cross(a.0, b.0);
    dot(c, c).sqrt().atan2(dot(a.0, b.0))
}

/// Length of a path of great-circle arcs through the points in turn, in radians of eye angle; 0 for fewer than two points.
///
/// ```
/// use serrata_eye::{path_length_rad, Direction};
/// let on = [0.0, 30.0, 50.0].map(|l| Direction::from_azimuth_elevation(l, 0.0));
/// assert!((path_length_rad(&on).to_degrees() - 50.0).abs() < 1e-12);
/// ```
#[must_use]
pub fn path_length_rad(points: &[Direction]) -> f64 {
    points.windows(2).map(|w| angle_between(w[0], w[1])).sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn azimuth_and_elevation_come_back(l in -179.9f64..179.9, p in -89.9f64..89.9) {
            let (l2, p2) = Direction::from_azimuth_elevation(l, p).azimuth_elevation();
            prop_assert!((l - l2).abs() < 1e-9 && (p - p2).abs() < 1e-9);
        }

        #[test]
        fn the_angle_agrees_with_the_law_of_cosines(l in -170f64..170., p in -80f64..80., m in -170f64..170., q in -80f64..80.) {
            let (a, b) = (Direction::from_azimuth_elevation(l, p), Direction::from_azimuth_elevation(m, q));
            let plain = dot(a.xyz(), b.xyz()).clamp(-1.0, 1.0).acos();
            prop_assert!((angle_between(a, b) - plain).abs() < 2e-8);
            prop_assert_eq!(angle_between(a, b), angle_between(b, a));
        }
    }

    #[test]
    fn small_angles_keep_their_digits() {
        let a = Direction::from_azimuth_elevation(40.0, 20.0);
        let b = Direction::from_azimuth_elevation(40.0, 20.0 + 1e-9);
        assert!((angle_between(a, b).to_degrees() / 1e-9 - 1.0).abs() < 1e-5);
    }

    #[test]
    fn nothing_has_no_direction() {
        assert_eq!(Direction::new([0.0; 3]), None);
        assert_eq!(Direction::new([f64::NAN, 0.0, 1.0]), None);
        assert_eq!(Direction::new([0.0, 0.0, 3.0]), Some(Direction::POLE));
    }
}
