use crate::{Direction, GAZE_DEG, Rotation};
use serrata_words::{Eye, Gaze};

/// Where a picture shows the eye's optic axis, about which models of the eye are symmetric, and how sure that is.
///
/// Who looks straight ahead brings the fovea to the middle of the picture, and not the optic axis: the two differ by angle
/// alpha, some 5° of visual angle, the axis on the disc's side (textbooks of physiological optics, from memory), in most people
/// within a range of 4° (4° to 8° in lecture notes): ± 1°. Who looks aside takes both along.
///
/// ```
/// use serrata_eye::EyeAxis;
/// use serrata_words::{Eye, Gaze};
/// let axis = EyeAxis::of(Gaze::Primary, Some(Eye::R));
/// assert!((axis.at.azimuth_elevation().0 - 6.75).abs() < 1e-9); // to the right: nasal in a right eye
/// assert_eq!(axis.sd_deg, [1.35, 1.35]);
/// assert_eq!(EyeAxis::of(Gaze::Primary, None).sd_deg[0].round(), 7.0); // the side is not known
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EyeAxis {
    /// Its direction in the view frame. Example: 6.75° to the right in a right eye that looks straight ahead.
    pub at: Direction,
    /// Standard deviations along the picture's x and y, degrees of eye angle. Example: 1.35 and 1.35.
    pub sd_deg: [f64; 2],
}

/// Angle alpha's mean, degrees of eye angle: 5° of visual angle, 1.35° each near the axis.
const ALPHA_DEG: f64 = 6.75;
/// Its spread, sideways and up: 1° of visual angle.
const ALPHA_SD_DEG: f64 = 1.35;
/// How far a gaze aside may be from [`GAZE_DEG`] (judgement).
const GAZE_SD_DEG: f64 = 5.0;

impl EyeAxis {
    /// The picture's middle, of which nothing is unsure: 0°. For model eyes.
    pub const MIDDLE: Self = Self { at: Direction::POLE, sd_deg: [0.0, 0.0] };

    /// For a commanded gaze and an eye, whose side may not be known: then the axis lies in the middle, give or take
    /// 7° sideways. A gaze aside is taken as [`GAZE_DEG`] ± 5°.
    #[must_use]
    pub fn of(gaze: Gaze, eye: Option<Eye>) -> Self {
        let (alpha, sideways) = match eye {
            Some(Eye::R) => (ALPHA_DEG, ALPHA_SD_DEG),
            Some(Eye::L) => (-ALPHA_DEG, ALPHA_SD_DEG),
            None => (0.0, ALPHA_DEG.hypot(ALPHA_SD_DEG)),
        };
        let aside = if gaze == Gaze::Primary { 0.0 } else { GAZE_SD_DEG };
        let on_retina = Direction::from_azimuth_elevation(alpha, 0.0);
        Self {
            at: Rotation::from_gaze(gaze, GAZE_DEG).inverse().apply(on_retina),
            sd_deg: [sideways.hypot(aside), ALPHA_SD_DEG.hypot(aside)],
        }
    }

    /// Where it is after a move by one standard deviation along x (0) or y (1).
    pub(crate) fn moved(self, along: usize) -> Direction {
        let (l, p) = self.at.azimuth_elevation();
        let by = |k: usize| if k == along { self.sd_deg[k] } else { 0.0 };
        Direction::from_azimuth_elevation(l + by(0), p + by(1))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::RetinalPoint;

    #[test]
    fn the_axis_goes_with_the_gaze_and_lies_on_the_discs_side() {
        let up = RetinalPoint::from_direction(EyeAxis::of(Gaze::Up, Some(Eye::R)).at);
        // The posterior pole goes down in the picture.
        assert!(
            (up.eccentricity_deg - 25.85).abs() < 0.05 && (270.0..300.0).contains(&up.meridian_deg),
            "{up:?}"
        );
        for gaze in [Gaze::Primary, Gaze::UpLeft, Gaze::Down] {
            let of = |eye| EyeAxis::of(gaze, Some(eye));
            assert!(of(Eye::R).at.x() > of(Eye::L).at.x());
            assert_eq!(of(Eye::R).sd_deg, of(Eye::L).sd_deg);
        }
        assert_eq!(EyeAxis::MIDDLE.moved(1), Direction::POLE);
    }
}
