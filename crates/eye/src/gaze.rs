use crate::{Direction, RetinalPoint};
use serrata_words::{Eye, Gaze};

/// How far a gaze is turned, told by where the posterior pole lies in the view frame: eye angle, degrees. Example: a pole 24° below
/// the middle is a gaze of 24° up.
///
/// The pole goes the other way than the retina that is looked at: looking up moves it down in the picture, looking to the
/// patient's right moves it to the picture's right (common practice, no source).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GazeTurn {
    /// Towards the patient's right; negative to the left. Example: 25.
    pub right_deg: f64,
    /// Upwards; negative downwards. Example: −3.
    pub up_deg: f64,
}

/// Below this a gaze counts as straight ahead (judgement: people fixate to a degree or two, a fovea is found to three).
const AHEAD_DEG: f64 = 8.0;
/// From here on it counts as turned (judgement: a step of half of what targets usually ask for, 25°).
const TURNED_DEG: f64 = 12.0;

impl GazeTurn {
    /// From the fovea where it was found, else from the disc of a known eye, which lies where it lies in the mean of people;
    /// none without either. `ahead` is where this instrument shows the fovea when the eye looks straight ahead.
    ///
    /// ```
    /// use serrata_eye::{Direction, GazeTurn};
    /// let ahead = Direction::from_azimuth_elevation(0.0, 0.0);
    /// let low = Direction::from_azimuth_elevation(1.0, -24.0);
    /// let turn = GazeTurn::of(Some(low), None, None, ahead).unwrap();
    /// assert!((turn.up_deg - 24.0).abs() < 1e-9 && (turn.right_deg - 1.0).abs() < 1e-9);
    /// assert_eq!(turn.gaze(), Some(serrata_words::Gaze::Up));
    /// ```
    #[must_use]
    pub fn of(
        fovea: Option<Direction>,
        disc: Option<Direction>,
        eye: Option<Eye>,
        ahead: Direction,
    ) -> Option<Self> {
        let from = |at: Direction, usual: (f64, f64)| {
            let (azimuth, elevation) = at.azimuth_elevation();
            let (x, y) = ahead.azimuth_elevation();
            Self { right_deg: azimuth - usual.0 - x, up_deg: -(elevation - usual.1 - y) }
        };
        match (fovea, disc, eye) {
            (Some(fovea), _, _) => Some(from(fovea, (0.0, 0.0))),
            (None, Some(disc), Some(eye)) => {
                Some(from(disc, RetinalPoint::mean_disc(eye).to_direction().azimuth_elevation()))
            }
            _ => None,
        }
    }

    /// The gaze in words, or none where it is neither straight ahead nor clearly turned. Example: 24° up is `Up`, 10° is none.
    #[must_use]
    pub fn gaze(self) -> Option<Gaze> {
        let far = self.right_deg.hypot(self.up_deg);
        if far <= AHEAD_DEG {
            return Some(Gaze::Primary);
        }
        if far < TURNED_DEG {
            return None;
        }
        // Sectors of 45° about the eight directions, counter-clockwise from the patient's right.
        const SECTORS: [Gaze; 8] = [
            Gaze::Right,
            Gaze::UpRight,
            Gaze::Up,
            Gaze::UpLeft,
            Gaze::Left,
            Gaze::DownLeft,
            Gaze::Down,
            Gaze::DownRight,
        ];
        let turn = self.up_deg.atan2(self.right_deg).to_degrees().rem_euclid(360.0);
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // 0 to 8
        SECTORS.get((turn / 45.0).round() as usize % 8).copied()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Rotation;

    #[test]
    fn every_commanded_gaze_is_told_back_by_fovea_and_by_disc() {
        let ahead = Direction::POLE;
        for eye in [Eye::R, Eye::L] {
            for gaze in Gaze::ALL {
                let turn = Rotation::from_gaze(*gaze, 25.0).inverse();
                let fovea = turn.apply(ahead);
                let disc = turn.apply(RetinalPoint::mean_disc(eye).to_direction());
                let by_fovea = GazeTurn::of(Some(fovea), None, None, ahead).unwrap();
                let by_disc = GazeTurn::of(None, Some(disc), Some(eye), ahead).unwrap();
                assert_eq!((by_fovea.gaze(), by_disc.gaze()), (Some(*gaze), Some(*gaze)), "{eye:?}");
                assert!((by_fovea.right_deg - by_disc.right_deg).abs() < 4.0);
            }
        }
        assert_eq!(GazeTurn::of(None, Some(ahead), None, ahead), None);
        assert_eq!(GazeTurn { right_deg: 0.0, up_deg: 10.0 }.gaze(), None);
    }

    #[test]
    fn where_the_instrument_puts_the_fovea_is_straight_ahead() {
        let ahead = Direction::from_azimuth_elevation(-4.0, 9.0);
        let turn = GazeTurn::of(Some(ahead), None, None, ahead).unwrap();
        assert!(turn.right_deg.abs() < 1e-9 && turn.up_deg.abs() < 1e-9);
    }
}
