use crate::{Direction, Radius, angle_between};
use serrata_words::Eye;

/// A point of the retina in the retinal frame, in degrees of eye angle. Example: (60, 90) lies 60° above the fovea.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RetinalPoint {
    /// Angle from the fovea at the sphere's centre, degrees, 0 to 180.
    pub eccentricity_deg: f64,
    /// Degrees counter-clockwise from 3 o'clock as the observer sees the fundus, 0 to below 360.
    pub meridian_deg: f64,
}

/// Towards the nose or towards the temple. Example: the disc, at meridian 5.6° of a right eye, is nasal.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum HorizontalSide {
    /// Towards the nose, where the disc lies.
    Nasal,
    /// Towards the temple.
    Temporal,
}

impl RetinalPoint {
    /// From a direction of the retinal frame. At the fovea itself the meridian is 0.
    ///
    /// ```
    /// use serrata_eye::{Direction, RetinalPoint};
    /// let p = RetinalPoint::from_direction(Direction::from_azimuth_elevation(0.0, 40.0));
    /// assert!((p.eccentricity_deg - 40.0).abs() < 1e-12 && (p.meridian_deg - 90.0).abs() < 1e-12); // 12 o'clock
    /// ```
    #[must_use]
    pub fn from_direction(d: Direction) -> Self {
        let meridian = d.y().atan2(d.x()).to_degrees().rem_euclid(360.0);
        Self {
            eccentricity_deg: angle_between(Direction::POLE, d).to_degrees(),
            meridian_deg: if meridian >= 360.0 { 0.0 } else { meridian },
        }
    }

    /// The direction in the retinal frame; the inverse of [`Self::from_direction`]. Example: (0, any) is the fovea, +z.
    #[must_use]
    pub fn to_direction(self) -> Direction {
        let (se, ce) = self.eccentricity_deg.to_radians().sin_cos();
        let (sm, cm) = self.meridian_deg.to_radians().sin_cos();
        Direction::unit([se * cm, se * sm, ce])
    }

    /// Where the disc's centre lies in the mean of people.
    ///
    /// * Distance: 4.76 ± 0.34 mm along the retina (Jonas et al., PLoS One 2015 e0138701, n = 2836), which on the
    ///   population's radius of 12.25 mm is 22.26° of *eye* angle. The 15.5° that one reads more often (Rohrschneider,
    ///   IOVS 2004;45:3257) are visual angle.
    /// * Direction: 5.6 ± 3.3° above 3 o'clock for a right eye (Rohrschneider, 104 eyes: the fovea 15.5° beside and
    ///   1.5° below the disc); a left eye is its mirror. It is the same in both kinds of angle.
    #[must_use]
    pub fn mean_disc(eye: Eye) -> Self {
        let rise = Self::from_direction(Direction::from_azimuth_elevation(15.5, 1.5)).meridian_deg;
        Self {
            eccentricity_deg: (4.76 / Radius::population().mm).to_degrees(),
            meridian_deg: match eye {
                Eye::R => rise,
                Eye::L => 180.0 - rise,
            },
        }
    }

    /// The nearest clock hour as the observer sees the fundus, 1 to 12.
    ///
    /// ```
    /// use serrata_eye::RetinalPoint;
    /// assert_eq!(RetinalPoint { eccentricity_deg: 60.0, meridian_deg: 90.0 }.clock_hour(), 12);
    /// assert_eq!(RetinalPoint { eccentricity_deg: 60.0, meridian_deg: 350.0 }.clock_hour(), 3);
    /// ```
    #[must_use]
    pub fn clock_hour(self) -> u8 {
        let h = (3.0 - (self.meridian_deg / 30.0).round()).rem_euclid(12.0);
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // a whole number from 0 to 11
        let h = h as u8;
        if h == 0 { 12 } else { h }
    }

    /// Nasal or temporal of the fovea: nasal is on the picture's right for a right eye, left for a left eye.
    ///
    /// Example: meridian 0 is nasal in a right eye, temporal in a left one.
    #[must_use]
    pub fn side(self, eye: Eye) -> HorizontalSide {
        let right = self.meridian_deg.to_radians().cos() >= 0.0;
        if right == (eye == Eye::R) { HorizontalSide::Nasal } else { HorizontalSide::Temporal }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn points_come_back(e in 0.001f64..179.9, m in 0f64..359.999) {
            let p = RetinalPoint { eccentricity_deg: e, meridian_deg: m };
            let q = RetinalPoint::from_direction(p.to_direction());
            prop_assert!((p.eccentricity_deg - q.eccentricity_deg).abs() < 1e-9);
            let off = (p.meridian_deg - q.meridian_deg).abs();
            prop_assert!(off < 1e-9 || (360.0 - off) < 1e-9);
        }

        #[test]
        fn clock_hours_are_on_the_dial_and_mirror(m in 0f64..360.) {
            let p = RetinalPoint { eccentricity_deg: 50.0, meridian_deg: m };
            prop_assert!((1..=12).contains(&p.clock_hour()));
            prop_assert!(p.side(Eye::R) != p.side(Eye::L));
        }
    }

    /// A point at (15.5°, 1.5°): great circle 15.570640°, 5.5964° above the horizontal (Rohrschneider, IOVS
    /// 2004;45:3257 gives −5.6 ± 3.3° for the fovea seen from the disc), 2.989348 mm at R = 11 mm (published
    /// figures, §1.4, computed).
    #[test]
    fn the_published_vector_from_fovea_to_disc() {
        let p = RetinalPoint::from_direction(Direction::from_azimuth_elevation(15.5, 1.5));
        assert!((p.eccentricity_deg - 15.570_640).abs() < 5e-7);
        assert!((p.meridian_deg - 5.5964).abs() < 5e-5);
        assert!((11.0 * p.eccentricity_deg.to_radians() - 2.989_348).abs() < 5e-7);
    }

    #[test]
    fn the_mean_disc_is_nasal_and_mirrored() {
        let (right, left) = (RetinalPoint::mean_disc(Eye::R), RetinalPoint::mean_disc(Eye::L));
        assert!((right.eccentricity_deg - 22.264).abs() < 1e-3);
        assert!((left.meridian_deg - (180.0 - right.meridian_deg)).abs() < 1e-9);
        assert_eq!((right.side(Eye::R), left.side(Eye::L)), (HorizontalSide::Nasal, HorizontalSide::Nasal));
    }

    #[test]
    fn the_dial_goes_clockwise() {
        let hour = |m| RetinalPoint { eccentricity_deg: 40.0, meridian_deg: m }.clock_hour();
        assert_eq!([0., 30., 60., 90., 180., 270., 330., 359.].map(hour), [3, 2, 1, 12, 9, 6, 4, 3]);
    }
}
