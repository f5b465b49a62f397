//! How the instrument was set and what storing left of the picture: these differ from shot to shot and from house to
//! house.

use crate::noise::ramp;
use crate::params::{ParamError, within};
use crate::scene::Scene;
use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, Normal};
use rand_pcg::Pcg64Mcg;

/// Settings of one shot.
///
/// ```
/// use serrata_phantom::Setup;
/// assert!(Setup::PLAIN.check().is_ok());
/// let dim = Setup { exposure: [0.0, 1.0], ..Setup::PLAIN };
/// assert_eq!(dim.check().unwrap_err().to_string(), "setup's exposure is 0: it must lie from 0.1 to 10");
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Setup {
    /// Factor on the red and the green signal; grey pictures take the second. 0.1 to 10.
    pub exposure: [f64; 2],
    /// Exponent of the tone curve about a level of a third: above 1 harder. 0.3 to 3.
    pub contrast: f64,
    /// Factor on shot and read noise. 0 to 50.
    pub noise: f64,
    /// Standard deviation of the spot together with what storing smooths, pixels of the full-size picture. 0 to 20.
    pub spot: f64,
}

impl Setup {
    /// As the instrument leaves the bench.
    pub const PLAIN: Self = Self { exposure: [1.0; 2], contrast: 1.0, noise: 1.0, spot: 0.8 };

    /// Settings of an everyday shot: exposure ± 12 %, channels ± 4 % apart, a tone curve from 0.95 to 1.25, noise from
    /// half to four times the bench's, a spot from 0.7 to 1.3 pixels. The ranges were set by how levels, noise and
    /// power spectra of real ultra-widefield frames spread (seven eyes).
    #[must_use]
    pub fn everyday(seed: u64) -> Self {
        Self::draw(seed, [1.0, 1.0], 0.12, [0.95, 1.25], [0.5, 4.0], [0.7, 1.3])
    }

    /// Draws settings: exposure log-normal about `level` with that spread, the rest evenly from its range (noise and
    /// spot on a log scale).
    #[must_use]
    pub fn draw(
        seed: u64,
        level: [f64; 2],
        spread: f64,
        contrast: [f64; 2],
        noise: [f64; 2],
        spot: [f64; 2],
    ) -> Self {
        let mut rng = Pcg64Mcg::seed_from_u64(seed ^ 0x5e7_0a91);
        let mut bell =
            |sd: f64| Normal::new(0.0, sd).map_or(0.0, |n| n.sample(&mut rng).clamp(-2.0 * sd, 2.0 * sd));
        let both = bell(spread);
        let exposure = level.map(|l| l * (both + bell(0.3 * spread)).exp());
        let mut between = |[a, b]: [f64; 2]| a + (b - a) * rng.random_range(0.0..1.0);
        let contrast = between(contrast);
        let mut logs = |[a, b]: [f64; 2]| between([a.max(1e-3).ln(), b.max(1e-3).ln()]).exp();
        Self { exposure, contrast, noise: logs(noise), spot: logs(spot) }
    }

    /// The settings of a scene: its own, or everyday ones of its shot, or plain ones.
    pub(crate) fn of(scene: &Scene) -> Self {
        scene.setup.unwrap_or_else(|| {
            if scene.everyday { Self::everyday(scene.seed ^ scene.shot.rotate_left(32)) } else { Self::PLAIN }
        })
    }

    /// Says which setting is impossible.
    ///
    /// # Errors
    /// The first setting out of its range.
    pub fn check(&self) -> Result<(), ParamError> {
        self.exposure.iter().try_for_each(|e| within("setup's exposure", *e, 0.1..=10.0))?;
        within("setup's contrast", self.contrast, 0.3..=3.0)?;
        within("setup's noise", self.noise, 0.0..=50.0)?;
        within("setup's spot in pixels", self.spot, 0.0..=20.0)
    }
}

/// Steps of a tone curve from 0 to 2.
const STEPS: usize = 1024;

/// A tone curve as a table: light to stored level, both 0 to 1.
pub(crate) struct Tone(Vec<f32>);

impl Tone {
    pub fn new(contrast: f64) -> Self {
        #[allow(clippy::cast_possible_truncation, clippy::cast_precision_loss)] // levels
        let level = |k: usize| {
            let v = 2.0 * k as f64 / STEPS as f64;
            let hard = (v / 0.33).powf(contrast.clamp(0.3, 3.0)) * 0.33;
            // The highest levels are pressed together, as stored pictures do.
            let knee = f64::from(ramp(0.55, 1.3, hard as f32));
            (hard + (0.72 + 0.28 * hard - hard).min(0.0) * knee) as f32
        };
        Self((0..=STEPS + 1).map(level).collect())
    }

    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, clippy::cast_precision_loss)] // cut to the table
    pub fn at(&self, v: f32) -> f32 {
        let s = (v * (STEPS as f32 / 2.0)).clamp(0.0, STEPS as f32);
        let k = s as usize;
        self.0[k] + (self.0[k + 1] - self.0[k]) * (s - k as f32)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tone_curve_rises_and_keeps_its_middle() {
        for contrast in [0.8, 1.0, 1.3] {
            let t = Tone::new(contrast);
            assert!((t.at(0.33) - 0.33).abs() < 2e-3, "{contrast}");
            assert!(
                (0..200).all(|k| t.at(k as f32 / 100.0) <= t.at((k + 1) as f32 / 100.0) + 1e-6),
                "{contrast}"
            );
        }
        assert!(Tone::new(1.3).at(0.1) < Tone::new(1.0).at(0.1));
    }

    #[test]
    fn everyday_settings_are_possible_ones() {
        assert!((0..500).all(|s| Setup::everyday(s).check().is_ok()));
    }
}
