use crate::{Direction, Footprint, Radius, RetinalPoint, Rotation};
use serrata_words::Eye;

/// How far from the fovea a share of the retina is counted: 32.2°, some 60° to 90°, or 108.9° of eye angle
/// ([`Landmark::ring`] has the sources).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Landmark {
    /// The posterior pole, which the large temporal vessels enclose.
    Arcades,
    /// The equator, where the ampullae of the vortex veins lie.
    Equator,
    /// The far edge of the retina.
    Ora,
}

/// A share with what it becomes where the landmark lies nearer or farther by 1.96 standard deviations.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LandmarkShare {
    /// Share of the retina up to the landmark that is seen, 0 to 1.
    pub share: f64,
    /// The same with the landmark nearer and farther, the smaller first. Example: [0.71, 0.86].
    pub interval: [f64; 2],
    /// Area up to the landmark in steradians. Example: 8.3 up to the ora.
    pub area_sr: f64,
}

/// Meridians, degrees about the disc from 3 o'clock for a right eye, and distances of the vortex ampullae in mm along
/// the retina from the disc: upper nasal, upper lateral, lower lateral, lower nasal (Funatsu et al., Sci Rep
/// 2021;11:8916, 74 eyes). They are placed at the middles of the quadrants: the paper gives sectors.
const AMPULLAE: [(f64, f64); 4] = [(45.0, 13.29), (135.0, 14.04), (225.0, 15.55), (315.0, 13.66)];
/// Standard deviation between eyes in mm: 13.6 ± 1.4 mm in 65 eyes, upper lateral (Ophthalmol Sci, December 2023).
const AMPULLAE_SD_MM: f64 = 1.4;
/// The posterior pole's field is some 50° of visual angle (a review cited with Choudhry et al., Ophthalmol Retina
/// 2019;3:843): its half on the curve of Drasdo & Fowler, 6.72 mm of an eye of 24 mm, is 32.2° of eye angle.
const ARCADES_DEG: f64 = 32.2;
/// Judgement.
const ARCADES_SD_DEG: f64 = 3.0;
/// Half-angle of the cap whose share of the sphere the retina has: 1363 of 2058 mm² by MRI (Nagra et al., J Anat
/// 2017;231:319, 73 eyes): 108.9°.
const ORA_DEG: f64 = 108.9;
/// From ± 160 mm² of retina at a fixed whole surface: d(angle) = 2·(160/2058)/sin(108.9°).
const ORA_SD_DEG: f64 = 9.4;

impl Landmark {
    /// The landmark's outline in the retinal frame of an eye, moved outwards by a number of standard deviations.
    ///
    /// * Arcades: a circle about the fovea, 32.2 ± 3° of eye angle.
    /// * Equator: through the ampullae, about the disc, smoothly between their four distances; mm become eye angle by
    ///   the radius. The disc lies where it lies in the mean of people ([`RetinalPoint::mean_disc`]).
    /// * Ora: a circle of 108.9 ± 9.4° about the middle between fovea and disc, since the vessels end as far from there
    ///   to the temple's side as to the nose's (Sadda et al., EURETINA 2015: 22.45 and 17.37 mm from the disc).
    ///
    /// ```
    /// use serrata_eye::{Landmark, Radius};
    /// use serrata_words::Eye;
    /// let ring = Landmark::Equator.ring(Eye::R, Radius::given(12.0), 0.0);
    /// let up = ring.iter().map(|d| d.y().asin().to_degrees()).fold(0.0, f64::max);
    /// assert!((up - 68.6).abs() < 1.5, "{up}"); // some 66° above the disc, which lies 2° above the fovea
    /// ```
    #[must_use]
    pub fn ring(self, eye: Eye, radius: Radius, sd: f64) -> Vec<Direction> {
        let disc = RetinalPoint::mean_disc(Eye::R);
        let about = |share: f64| Rotation::tilting(disc.meridian_deg, disc.eccentricity_deg * share);
        let (turn, far): (Rotation, Box<dyn Fn(f64) -> f64>) = match self {
            Self::Arcades => (Rotation::NONE, Box::new(|_| ARCADES_DEG + sd * ARCADES_SD_DEG)),
            Self::Ora => (about(0.5), Box::new(|_| ORA_DEG + sd * ORA_SD_DEG)),
            Self::Equator => (
                about(1.0),
                Box::new(|m| ((ampullae_mm(m) + sd * AMPULLAE_SD_MM) / radius.mm.max(1.0)).to_degrees()),
            ),
        };
        (0..360)
            .map(|k| {
                let meridian_deg = f64::from(k);
                let at = RetinalPoint { eccentricity_deg: far(meridian_deg).clamp(1.0, 179.0), meridian_deg };
                let [x, y, z] = turn.apply(at.to_direction()).xyz();
                Direction::unit([if eye == Eye::R { x } else { -x }, y, z])
            })
            .collect()
    }
}

/// Distance of the equator from the disc in mm, by the meridian about the disc of a right eye: a smooth step from
/// one quadrant's middle to the next.
fn ampullae_mm(meridian_deg: f64) -> f64 {
    let m = (meridian_deg - AMPULLAE[0].0).rem_euclid(360.0) / 90.0;
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // 0 to 3
    let k = (m.floor() as usize).min(3);
    let t = m - m.floor();
    let (a, b) = (AMPULLAE[k].1, AMPULLAE[(k + 1) % 4].1);
    a + (b - a) * t * t * (3.0 - 2.0 * t)
}

impl Footprint {
    /// Share of the retina up to a landmark that is seen, with the landmark's published spread between people.
    ///
    /// Example: a cap of 32.2° about the fovea shows all of what the arcades enclose.
    #[must_use]
    pub fn share_up_to(&self, landmark: Landmark, eye: Eye, radius: Radius) -> LandmarkShare {
        let at = |sd: f64| {
            let zone = Self::from_rings(&[landmark.ring(eye, radius, sd)], Direction::ANTERIOR);
            let area = zone.area_sr();
            let share = if area > 0.0 { self.intersection(&zone).area_sr() / area } else { 0.0 };
            (share, area)
        };
        let ((share, area_sr), (near, _), (far, _)) = (at(0.0), at(-1.96), at(1.96));
        LandmarkShare { share, interval: [near.min(far).min(share), near.max(far).max(share)], area_sr }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cap_area_sr;

    #[test]
    fn landmarks_lie_within_each_other_and_mirror() {
        let r = Radius::given(12.0);
        for eye in [Eye::R, Eye::L] {
            let zone = |l: Landmark| Footprint::from_rings(&[l.ring(eye, r, 0.0)], Direction::ANTERIOR);
            let (a, e, o) = (zone(Landmark::Arcades), zone(Landmark::Equator), zone(Landmark::Ora));
            assert!(a.difference(&e).is_empty() && e.difference(&o).is_empty());
            assert!((o.area_sr() / cap_area_sr(ORA_DEG.to_radians()) - 1.0).abs() < 5e-4);
            // 0.662 of the sphere is retina (Nagra et al. 2017).
            assert!((o.area_sr() / (4.0 * std::f64::consts::PI) - 1363.0 / 2058.0).abs() < 2e-3);
        }
        // Published distances in eye angle at R = 12 mm: 63.5, 67.0, 74.3, 65.2° (brief, §1.4).
        for ((_, mm), deg) in AMPULLAE.iter().zip([63.5, 67.0, 74.3, 65.2]) {
            assert!(((mm / 12.0f64).to_degrees() - deg).abs() < 0.06);
        }
        assert_eq!([45., 135., 225., 315.].map(ampullae_mm), AMPULLAE.map(|a| a.1));
    }

    #[test]
    fn a_cap_of_the_arcades_shows_all_of_them_and_less_beyond() {
        let ring = Landmark::Arcades.ring(Eye::R, Radius::population(), 0.0);
        let f = Footprint::from_rings(&[ring], Direction::ANTERIOR);
        let share = |l| f.share_up_to(l, Eye::R, Radius::population());
        let (a, e, o) = (share(Landmark::Arcades), share(Landmark::Equator), share(Landmark::Ora));
        assert!(a.share > 0.9999 && a.interval[0] < 0.8 && a.interval[1] <= 1.0);
        assert!(e.share < 0.35 && o.share < e.share && o.interval[0] < o.share && o.share < o.interval[1]);
    }
}
