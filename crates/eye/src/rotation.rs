use crate::direction::{cross, dot};
use crate::{Direction, RetinalPoint, angle_between};
use serrata_words::{Eye, Gaze};

/// A rotation of the sphere, as a matrix (3 × 3, determinant 1) whose rows are the new axes in the old frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rotation([[f64; 3]; 3]);

/// How far the gaze is turned when a patient is asked to look aside, 25° of eye angle: what is assumed where
/// nobody measured it (judgement, no source).
pub const GAZE_DEG: f64 = 25.0;

impl Rotation {
    /// No rotation: the matrix with 1 on its diagonal.
    pub const NONE: Self = Self([[1., 0., 0.], [0., 1., 0.], [0., 0., 1.]]);

    /// The rotation that brings `pole` to +z and `other` to a meridian (degrees counter-clockwise from +x), or
    /// `None` where the two points do not span a plane. Example: the pole and any point, to its own meridian, is no rotation but
    /// for 1e-15.
    #[must_use]
    pub fn bringing(pole: Direction, other: Direction, meridian_deg: f64) -> Option<Self> {
        let z = pole.xyz();
        let o = other.xyz();
        let along = dot(o, z);
        let e = Direction::new([o[0] - along * z[0], o[1] - along * z[1], o[2] - along * z[2]])?.xyz();
        if 1.0 - along.abs() < 1e-12 {
            return None;
        }
        let n = cross(z, e);
        let (s, c) = meridian_deg.to_radians().sin_cos();
        let x = [c * e[0] - s * n[0], c * e[1] - s * n[1], c * e[2] - s * n[2]];
        let y = [s * e[0] + c * n[0], s * e[1] + c * n[1], s * e[2] + c * n[2]];
        Some(Self([x, y, z]))
    }

    /// The rotation into the frame whose +z is at an azimuth and an elevation (degrees), with growing elevation up.
    ///
    /// Example: looking at (0, 0) is no rotation.
    #[must_use]
    pub fn looking_at(azimuth_deg: f64, elevation_deg: f64) -> Self {
        let (sl, cl) = azimuth_deg.to_radians().sin_cos();
        let (sp, cp) = elevation_deg.to_radians().sin_cos();
        Self([[cl, 0., -sl], [-sp * sl, cp, -sp * cl], [cp * sl, sp, cp * cl]])
    }

    /// The rotation by an angle (degrees) that carries +z towards the meridian `towards_deg`, about the axis at right angles to
    /// both. Example: (90, 25) carries the pole 25° up.
    #[must_use]
    pub fn tilting(towards_deg: f64, angle_deg: f64) -> Self {
        // Rodrigues' formula about the axis (−sin m, cos m, 0), written out.
        let (s, c) = towards_deg.to_radians().sin_cos();
        let (sa, ca) = angle_deg.to_radians().sin_cos();
        let k = 1.0 - ca;
        Self([
            [ca + s * s * k, -s * c * k, c * sa],
            [-s * c * k, ca + c * c * k, s * sa],
            [-c * sa, -s * sa, ca],
        ])
    }

    /// The rotation about +z, counter-clockwise as the observer sees it, in degrees: torsion. Example: 90 brings +x to +y.
    #[must_use]
    pub fn turning(angle_deg: f64) -> Self {
        let (s, c) = angle_deg.to_radians().sin_cos();
        Self([[c, -s, 0.], [s, c, 0.], [0., 0., 1.]])
    }

    /// From the view frame to the retinal frame, out of where fovea and disc lie in the view frame: the fovea goes
    /// to +z, the disc to the meridian of [`RetinalPoint::mean_disc`] for that eye, since the disc is the only mark of torsion.
    ///
    /// `None` where the two coincide. The residual torsion is that of the population: ± 3.3° (same source).
    #[must_use]
    pub fn from_landmarks(fovea: Direction, disc: Direction, eye: Eye) -> Option<Self> {
        let mean = RetinalPoint::mean_disc(eye);
        (angle_between(fovea, disc) > 1e-6).then(|| Self::bringing(fovea, disc, mean.meridian_deg))?
    }

    /// From the view frame to the retinal frame, out of the commanded gaze alone, turned by `turn_deg` degrees of eye angle
    /// ([`GAZE_DEG`], 25, where unknown): coarse, for plans and where no fovea is seen.
    ///
    /// The posterior pole goes the other way than the gaze: looking up moves it down in the picture, and the
    /// patient's right is the picture's left.
    #[must_use]
    pub fn from_gaze(gaze: Gaze, turn_deg: f64) -> Self {
        match pole_of_gaze(gaze) {
            Some(meridian) => Self::tilting(meridian, turn_deg).inverse(),
            None => Self::NONE,
        }
    }

    /// The rotation back: after both, 0°.
    #[must_use]
    pub const fn inverse(self) -> Self {
        let m = self.0;
        Self([[m[0][0], m[1][0], m[2][0]], [m[0][1], m[1][1], m[2][1]], [m[0][2], m[1][2], m[2][2]]])
    }

    /// This rotation, then another. Example: turning by 30° and then by 60° turns by 90°.
    #[must_use]
    pub fn then(self, next: Self) -> Self {
        let columns = self.inverse().0;
        Self(next.0.map(|row| columns.map(|column| dot(row, column))))
    }

    /// Turns a direction; angles between directions stay (1e-15).
    #[must_use]
    pub fn apply(self, d: Direction) -> Direction {
        let v = d.xyz();
        Direction::unit(self.0.map(|row| dot(row, v)))
    }

    /// The matrix, 3 × 3, row by row.
    #[must_use]
    pub const fn rows(self) -> [[f64; 3]; 3] {
        self.0
    }
}

/// Towards which meridian of the picture the posterior pole goes, or `None` straight ahead.
const fn pole_of_gaze(gaze: Gaze) -> Option<f64> {
    Some(match gaze {
        Gaze::Primary => return None,
        Gaze::Up => 270.0,
        Gaze::Down => 90.0,
        Gaze::Right => 0.0,
        Gaze::Left => 180.0,
        Gaze::UpRight => 315.0,
        Gaze::UpLeft => 225.0,
        Gaze::DownRight => 45.0,
        Gaze::DownLeft => 135.0,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn direction() -> impl Strategy<Value = Direction> {
        (-179f64..179., -85f64..85.).prop_map(|(l, p)| Direction::from_azimuth_elevation(l, p))
    }

    fn near(a: Direction, b: Direction) -> bool {
        angle_between(a, b) < 1e-9
    }

    proptest! {
        #[test]
        fn rotations_keep_angles_and_come_back(a in direction(), b in direction(), m in 0f64..360., t in -90f64..90., u in -180f64..180.) {
            let r = Rotation::tilting(m, t).then(Rotation::turning(u));
            prop_assert!((angle_between(r.apply(a), r.apply(b)) - angle_between(a, b)).abs() < 1e-12);
            prop_assert!(near(r.inverse().apply(r.apply(a)), a));
            prop_assert!(near(r.apply(a), Rotation::turning(u).apply(Rotation::tilting(m, t).apply(a))));
        }

        #[test]
        fn bringing_brings(pole in direction(), other in direction(), m in 0f64..360.) {
            prop_assume!((0.01..3.1).contains(&angle_between(pole, other)));
            let r = Rotation::bringing(pole, other, m).unwrap();
            prop_assert!(near(r.apply(pole), Direction::POLE));
            let got = RetinalPoint::from_direction(r.apply(other));
            let off = (got.meridian_deg - m).rem_euclid(360.0);
            prop_assert!(off.min(360.0 - off) < 1e-6, "{} {m}", got.meridian_deg);
            // A rotation, not a mirror image.
            let [x, y, z] = r.rows();
            prop_assert!((dot(cross(x, y), z) - 1.0).abs() < 1e-12);
        }
    }

    #[test]
    fn tilting_carries_the_pole_there() {
        let d = RetinalPoint::from_direction(Rotation::tilting(30.0, 20.0).apply(Direction::POLE));
        assert!((d.meridian_deg - 30.0).abs() < 1e-9 && (d.eccentricity_deg - 20.0).abs() < 1e-9);
    }

    #[test]
    fn looking_up_shows_more_superior_retina() {
        // The picture's centre then lies above the fovea on the retina, and the fovea below it in the picture.
        let r = Rotation::from_gaze(Gaze::Up, 25.0);
        let centre = RetinalPoint::from_direction(r.apply(Direction::POLE));
        assert!((centre.meridian_deg - 90.0).abs() < 1e-9 && (centre.eccentricity_deg - 25.0).abs() < 1e-9);
        assert!(r.inverse().apply(Direction::POLE).y() < -0.4);
        // Looking to the patient's right shows more of the picture's left: temporal in a right eye.
        let r = Rotation::from_gaze(Gaze::Right, 25.0);
        let centre = RetinalPoint::from_direction(r.apply(Direction::POLE));
        assert_eq!(centre.side(Eye::R), crate::HorizontalSide::Temporal);
        assert_eq!(centre.side(Eye::L), crate::HorizontalSide::Nasal);
    }

    #[test]
    fn coinciding_landmarks_give_no_pose() {
        assert_eq!(Rotation::from_landmarks(Direction::POLE, Direction::POLE, Eye::R), None);
    }
}
