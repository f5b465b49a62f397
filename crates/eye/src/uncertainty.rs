use crate::retina::AXIAL_MM;
use crate::{Radius, RadiusSource, Spread};

/// What is measured: how it grows with the radius, with power 1 or 2.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Quantity {
    /// A length in mm: grows with R.
    Length,
    /// An area in mm²: grows with R².
    Area,
}

/// A length or an area with its 95 % interval and everything that it assumes.
///
/// Its printed form names the assumption: `12.340 mm (95 %: 11.276 to 12.575 mm; R = 12 mm, half the axial length)`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measure {
    /// Length or area. Example: an area, such as 450 mm².
    pub quantity: Quantity,
    /// The value on the sphere of the radius, mm or mm². Example: 1 radian at R = 12 mm is 12 mm.
    pub value: f64,
    /// The 95 % interval of what it is on the retina. It is not centred on the value: see [`Spread`].
    pub interval: [f64; 2],
    /// The radius with its source. Example: 12 mm, half the axial length.
    pub radius: Radius,
}

/// How far from the middle of an interval of width 2h, all of it equally likely, with normal scatter of standard deviation
/// `sd` on top, 2.5 % of all lie beyond on either side.
///
/// The distribution is G(x) = sd/2h · (g((x+h)/sd) − g((x−h)/sd)) with g(z) = z·Φ(z) + φ(z); found by halving.
fn reach_95(h: f64, sd: f64) -> f64 {
    if h < 1e-3 * sd {
        return Z95 * sd;
    }
    if sd < 1e-3 * h {
        return 0.95 * h;
    }
    let g = |z: f64| z * normal_share(z) + (-0.5 * z * z).exp() / std::f64::consts::TAU.sqrt();
    let below = |x: f64| sd / (2.0 * h) * (g((x + h) / sd) - g((x - h) / sd));
    let (mut low, mut high) = (0.0, h + Z95 * sd);
    for _ in 0..50 {
        let middle = 0.5 * (low + high);
        if below(middle) < 0.975 { low = middle } else { high = middle }
    }
    0.5 * (low + high)
}

/// Share of the standard normal distribution below z, to 1e-7 (Abramowitz & Stegun, Handbook of Mathematical Functions,
/// 26.2.17).
fn normal_share(z: f64) -> f64 {
    const B: [f64; 5] = [0.319_381_530, -0.356_563_782, 1.781_477_937, -1.821_255_978, 1.330_274_429];
    let t = 1.0 / (1.0 + 0.231_641_9 * z.abs());
    let tail = (-0.5 * z * z).exp() / std::f64::consts::TAU.sqrt()
        * B.iter().rev().fold(0.0, |sum, b| (sum + b) * t);
    if z < 0.0 { tail } else { 1.0 - tail }
}

/// Two-sided 95 % of the normal distribution.
const Z95: f64 = 1.959_963_984_540_054;

impl Measure {
    /// A length from its angle at the sphere's centre (radians), with the spread between models and the standard
    /// deviation (radians) that the drawn points give it.
    ///
    /// ```
    /// use serrata_eye::{Measure, Radius, Spread};
    /// let spread = Spread { makers: [0.94, 1.0], sd: 0.02, growth: 1.0 };
    /// let m = Measure::length(1.0, spread, 0.0, Radius::from_axial_length(24.0));
    /// assert_eq!(m.value, 12.0);
    /// assert!(m.interval[0] < 11.1 && m.interval[1] > 12.1 && m.interval[1] < 12.5);
    /// assert!(m.to_string().contains("R = 12 mm, half the axial length"));
    /// ```
    #[must_use]
    pub fn length(angle_rad: f64, spread: Spread, outline_sd_rad: f64, radius: Radius) -> Self {
        Self::of(Quantity::Length, angle_rad, spread, outline_sd_rad, radius)
    }

    /// An area from steradians, with the spread between models and the standard deviation (steradians) that the drawn
    /// outline gives it. Example: 6.2 sr at R = 11 mm are 750 mm².
    #[must_use]
    pub fn area(area_sr: f64, spread: Spread, outline_sd_sr: f64, radius: Radius) -> Self {
        Self::of(Quantity::Area, area_sr, spread, outline_sd_sr, radius)
    }

    fn of(quantity: Quantity, angle: f64, spread: Spread, outline_sd: f64, radius: Radius) -> Self {
        let power = if quantity == Quantity::Area { 2.0 } else { 1.0 };
        let value = radius.mm.powf(power) * angle;
        let outline = if angle > 0.0 { outline_sd / angle } else { 0.0 };
        let (axial, grown) = if radius.mm > 0.0 {
            let size = 2.0 * radius.mm / AXIAL_MM;
            (radius.axial_sd_mm() / radius.mm, size.powf(spread.growth - power))
        } else {
            (0.0, 1.0)
        };
        let sd = spread.sd.hypot(spread.growth * axial).hypot(outline);
        // In logarithms, since all of it is relative: so no end is below zero.
        let [low, high] = spread.makers.map(|m| m.max(f64::MIN_POSITIVE).ln());
        let centre = value * grown * (0.5 * (low + high)).exp();
        let reach = reach_95(0.5 * (high - low), sd);
        Self { quantity, value, interval: [centre * (-reach).exp(), centre * reach.exp()], radius }
    }

    /// What to say where the value lies beside its own interval, which is the retina's: far from the axis spheres overstate.
    ///
    /// ```
    /// use serrata_eye::{Measure, Radius, Spread};
    /// let far = Spread { makers: [0.8, 0.95], sd: 0.03, growth: 0.8 };
    /// assert!(Measure::length(0.2, far, 0.0, Radius::from_axial_length(24.0)).warning().is_some());
    /// assert!(Measure::length(0.2, far, 0.0, Radius::population()).warning().is_none()); // wider, and 2.45 mm lie in it
    /// ```
    #[must_use]
    pub fn warning(&self) -> Option<&'static str> {
        if self.value > self.interval[1] {
            Some(
                "The sphere reads more here than eye models say of the retina; the interval is the retina's.",
            )
        } else if self.value < self.interval[0] {
            Some(
                "The sphere reads less here than eye models say of the retina; the interval is the retina's.",
            )
        } else {
            None
        }
    }
}

impl std::fmt::Display for Measure {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let unit = if self.quantity == Quantity::Area { "mm²" } else { "mm" };
        let [low, high] = self.interval;
        let source = match self.radius.source {
            RadiusSource::Given => "as given",
            RadiusSource::AxialLength => "half the axial length",
            RadiusSource::Estimated => "half the estimated axial length",
            RadiusSource::Population => "the population's, as the axial length is not known",
        };
        let Self { value, radius, .. } = self;
        write!(f, "{value:.3} {unit} (95 %: {low:.3} to {high:.3} {unit}; R = {} mm, {source})", radius.mm)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn intervals_grow_with_what_is_not_known(angle in 0.01f64..3., al in 20f64..30.) {
            let spread = Spread { makers: [0.94, 1.0], sd: 0.02, growth: 1.0 };
            let known = Measure::length(angle, spread, 0.0, Radius::from_axial_length(al));
            prop_assert!(known.interval[0] < known.value && known.value < known.interval[1]);
            let ratio = |m: Measure| m.interval[1] / m.interval[0];
            prop_assert!(ratio(Measure::length(angle, spread, 0.1 * angle, Radius::from_axial_length(al))) > ratio(known));
            prop_assert!(ratio(Measure::area(angle, spread, 0.0, Radius::population())) > ratio(known));
            prop_assert!(ratio(Measure::length(angle, spread, 0.0, Radius::estimated(al))) > ratio(known));
        }
    }

    #[test]
    fn the_normal_and_the_even_part_add_up_to_95_percent() {
        assert!(
            (normal_share(1.959_964) - 0.975).abs() < 1e-6 && (normal_share(-1.0) - 0.158_655).abs() < 1e-6
        );
        assert!((reach_95(0.0, 0.02) - Z95 * 0.02).abs() < 1e-12);
        assert!((reach_95(0.02, 0.0) - 0.019).abs() < 1e-12);
        // By brute force: 2000 places of the even part.
        for (h, sd) in [(0.01, 0.02), (0.03, 0.01), (0.02, 0.02)] {
            let x = reach_95(h, sd);
            let places = (0..2000).map(|k| h * ((f64::from(k) + 0.5) / 1000.0 - 1.0));
            let below = places.map(|m| normal_share((x - m) / sd)).sum::<f64>() / 2000.0;
            assert!((below - 0.975).abs() < 1e-5, "{h} {sd} {below}");
        }
    }

    #[test]
    fn a_longer_eye_has_a_wider_far_retina_by_less() {
        let far = Spread { makers: [0.9, 1.0], sd: 0.03, growth: 0.6 };
        let middle = |al: f64| {
            let m = Measure::length(0.3, far, 0.0, Radius::from_axial_length(al));
            (m.interval[0] * m.interval[1]).sqrt()
        };
        assert!((middle(27.0) / middle(24.0) - (27.0f64 / 24.0).powf(0.6)).abs() < 1e-9);
    }

    #[test]
    fn printed_with_what_it_assumes() {
        let m = Measure::area(
            6.2,
            Spread { makers: [0.88, 0.98], sd: 0.03, growth: 1.8 },
            0.0,
            Radius::population(),
        );
        let text = m.to_string();
        assert!(text.contains("mm²") && text.contains("R = 12.25 mm, the population's"), "{text}");
    }
}
