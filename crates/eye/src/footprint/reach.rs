use super::Footprint;
use crate::RetinalPoint;
use serrata_words::Eye;

/// A part of the retina between two eccentricities and two meridians, in the retinal frame. Example: 30° to 60° within 15°
/// of meridian 90, 12 o'clock.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sector {
    /// Nearer and farther eccentricity, degrees of eye angle, 0 to 180.
    pub eccentricity_deg: [f64; 2],
    /// Meridian in its middle, degrees counter-clockwise from 3 o'clock.
    pub meridian_deg: f64,
    /// From there to either side, degrees, up to 180.
    pub half_width_deg: f64,
}

impl Sector {
    /// The 30° about a clock hour (1 to 12) as the observer sees the fundus. Example: hour 12 is at meridian 90.
    #[must_use]
    pub fn clock_hour(hour: u8, eccentricity_deg: [f64; 2]) -> Self {
        let meridian_deg = (90.0 - 30.0 * f64::from(hour)).rem_euclid(360.0);
        Self { eccentricity_deg, meridian_deg, half_width_deg: 15.0 }
    }

    /// Its area in steradians. Example: the whole sphere, 0° to 180° and 180° to either side, is 4π.
    #[must_use]
    pub fn area_sr(&self) -> f64 {
        let [a, b] = self.eccentricity_deg.map(|e| e.clamp(0.0, 180.0).to_radians().cos());
        (a - b).max(0.0) * 2.0 * self.half_width_deg.clamp(0.0, 180.0).to_radians()
    }
}

/// Reach in the four quadrants, degrees of eye angle from the fovea; 0 where nothing is seen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct QuadrantReach {
    /// Within 45° of 12 o'clock.
    pub superior: f64,
    /// Within 45° of 6 o'clock.
    pub inferior: f64,
    /// Within 45° of the horizontal on the nose's side.
    pub nasal: f64,
    /// Within 45° of the horizontal on the temple's side.
    pub temporal: f64,
}

/// Steps along a meridian, degrees: half a cell.
const STEP_DEG: f64 = 0.1;

impl Footprint {
    /// Eccentricity of the edge of what is seen, per clock hour from 1 to 12 o'clock as the observer sees the
    /// fundus, in degrees of eye angle: the median, over 31 meridians within 15° of the hour, of the farthest point
    /// that is seen (a gap on the way, as behind a lash, does not shorten it). 0 where nothing is seen.
    ///
    /// It is known to a cell's width, 0.23°. Example: a cap of 40° about the fovea has 40 everywhere.
    #[must_use]
    pub fn reach_per_clock_hour(&self) -> [f64; 12] {
        std::array::from_fn(|i| {
            #[allow(clippy::cast_precision_loss)] // below 12
            let meridian = 90.0 - 30.0 * (i as f64 + 1.0);
            self.reach(meridian, 15)
        })
    }

    /// As [`Self::reach_per_clock_hour`], for the four quadrants of an eye (91 meridians each).
    #[must_use]
    pub fn reach_per_quadrant(&self, eye: Eye) -> QuadrantReach {
        let (right, left) = (self.reach(0.0, 45), self.reach(180.0, 45));
        let (nasal, temporal) = if eye == Eye::R { (right, left) } else { (left, right) };
        QuadrantReach { superior: self.reach(90.0, 45), inferior: self.reach(270.0, 45), nasal, temporal }
    }

    /// Share of a sector that is seen, 0 to 1; 0 for a sector without area.
    ///
    /// Sampled every 0.1° of eccentricity and 1° of meridian with the weight of the area there.
    #[must_use]
    pub fn share_of(&self, sector: &Sector) -> f64 {
        let [from, to] = sector.eccentricity_deg.map(|e| e.clamp(0.0, 180.0));
        let (mut seen, mut all) = (0.0, 0.0);
        let n = |width: f64, step: f64| (width / step).ceil().clamp(1.0, 4000.0);
        let (ne, nm) = (n(to - from, STEP_DEG), n(2.0 * sector.half_width_deg, 1.0));
        let mut k = 0.5;
        while k < ne {
            let e = from + (to - from) * k / ne;
            let weight = e.to_radians().sin();
            let mut j = 0.5;
            while j < nm {
                let m = sector.meridian_deg + sector.half_width_deg * (2.0 * j / nm - 1.0);
                seen += weight
                    * self.share_at(RetinalPoint { eccentricity_deg: e, meridian_deg: m }.to_direction());
                all += weight;
                j += 1.0;
            }
            k += 1.0;
        }
        if all > 0.0 && sector.area_sr() > 0.0 { seen / all } else { 0.0 }
    }

    /// Median over the meridians within `half` degrees of one.
    fn reach(&self, meridian_deg: f64, half: i32) -> f64 {
        let mut all: Vec<f64> = (-half..=half).map(|d| self.farthest(meridian_deg + f64::from(d))).collect();
        all.sort_by(f64::total_cmp);
        all[all.len() / 2]
    }

    /// The farthest eccentricity along a meridian at which at least half a cell is covered.
    fn farthest(&self, meridian_deg: f64) -> f64 {
        let at =
            |e: f64| self.share_at(RetinalPoint { eccentricity_deg: e, meridian_deg }.to_direction()) >= 0.5;
        (0..1800).rev().map(|k| STEP_DEG * (f64::from(k) + 0.5)).find(|e| at(*e)).unwrap_or(0.0)
    }
}
