/// Where a radius comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RadiusSource {
    /// The radius itself was given.
    Given,
    /// Half of this eye's axial length.
    AxialLength,
    /// Half of an axial length that was estimated from other measures of this eye.
    Estimated,
    /// Half of the population's axial length, since this eye's is not known.
    Population,
}

impl RadiusSource {
    /// The word as contracts write it: `given`, `axial_length`, `estimated`, `population`.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Given => "given",
            Self::AxialLength => "axial_length",
            Self::Estimated => "estimated",
            Self::Population => "population",
        }
    }
}

/// The radius of the sphere that stands for an eye, with how sure it is.
///
/// R = axial length / 2: normative in DICOM only for 3-D coordinates (PS3.3 C.8.17.12), our reading for
/// stereographic pictures. The standard deviation of R has two parts, added in squares:
/// * half of the axial length's: 0.04 mm where measured (repeatability of optical biometry, judgement), 1.57 mm for
///   the population (24.5 ± 1.57 mm, Nagra et al., J Anat 2017;231:319, n = 73);
/// * 1 % of R, because no eye is a sphere (judgement).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Radius {
    /// Radius in mm.
    pub mm: f64,
    /// Its standard deviation in mm.
    pub sd_mm: f64,
    /// Where it comes from.
    pub source: RadiusSource,
}

/// A measured number with its 95 % interval, in mm or mm².
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measured {
    /// The value.
    pub value: f64,
    /// Its 95 % interval.
    pub interval: [f64; 2],
}

/// Share of R by which an eye departs from a sphere.
const SHAPE: f64 = 0.01;
/// Two-sided 95 % of the normal distribution.
const Z95: f64 = 1.959_963_984_540_054;

impl Radius {
    /// Mean axial length of the population in mm (Nagra et al. 2017).
    pub const POPULATION_AXIAL_MM: f64 = 24.5;
    /// Its standard deviation in mm.
    pub const POPULATION_AXIAL_SD_MM: f64 = 1.57;
    /// Standard deviation of an estimated axial length in mm.
    pub const ESTIMATED_AXIAL_SD_MM: f64 = 0.6;
    /// Standard deviation of a measured axial length in mm.
    pub const MEASURED_AXIAL_SD_MM: f64 = 0.04;

    /// A radius as given, for example the 11 mm of published ultra-widefield areas.
    #[must_use]
    pub fn given(mm: f64) -> Self {
        Self { mm, sd_mm: SHAPE * mm, source: RadiusSource::Given }
    }

    /// Half of this eye's axial length in mm.
    #[must_use]
    pub fn from_axial_length(axial_mm: f64) -> Self {
        Self::half(axial_mm, Self::MEASURED_AXIAL_SD_MM, RadiusSource::AxialLength)
    }

    /// Half of an axial length (mm) that was estimated from surrogate measures of this eye, such as its refraction:
    /// ± 0.6 mm (judgement). Example: 24 mm → R = 12 ± 0.32 mm.
    #[must_use]
    pub fn estimated(axial_mm: f64) -> Self {
        Self::half(axial_mm, Self::ESTIMATED_AXIAL_SD_MM, RadiusSource::Estimated)
    }

    /// Standard deviation of R that comes from the axial length alone, in mm: 0 where R was given.
    #[must_use]
    pub const fn axial_sd_mm(self) -> f64 {
        match self.source {
            RadiusSource::Given => 0.0,
            RadiusSource::AxialLength => Self::MEASURED_AXIAL_SD_MM / 2.0,
            RadiusSource::Estimated => Self::ESTIMATED_AXIAL_SD_MM / 2.0,
            RadiusSource::Population => Self::POPULATION_AXIAL_SD_MM / 2.0,
        }
    }

    /// Half of the population's axial length: R = 12.25 ± 0.79 mm.
    #[must_use]
    pub fn population() -> Self {
        Self::half(Self::POPULATION_AXIAL_MM, Self::POPULATION_AXIAL_SD_MM, RadiusSource::Population)
    }

    fn half(axial_mm: f64, sd: f64, source: RadiusSource) -> Self {
        let mm = axial_mm / 2.0;
        Self { mm, sd_mm: (sd / 2.0).hypot(SHAPE * mm), source }
    }

    /// Length of an arc in mm, from its angle at the sphere's centre in radians: R·angle, the interval from R's.
    #[must_use]
    pub fn length(self, angle_rad: f64) -> Measured {
        self.spread(|r| r * angle_rad)
    }

    /// Area in mm² from steradians: R²·area, the interval from R's ends (the square is monotone, so its ends are
    /// the images of R's ends; no linearisation).
    ///
    /// ```
    /// use serrata_eye::{cap_area_sr, Radius};
    /// let a = Radius::given(11.0).area(cap_area_sr(100f64.to_radians()));
    /// assert!((a.value - 892.284).abs() < 1e-3); // 892.3 mm² as published for 200° (Eye 2018)
    /// ```
    #[must_use]
    pub fn area(self, area_sr: f64) -> Measured {
        self.spread(|r| r * r * area_sr)
    }

    fn spread(self, f: impl Fn(f64) -> f64) -> Measured {
        let low = (self.mm - Z95 * self.sd_mm).max(0.0);
        Measured { value: f(self.mm), interval: [f(low), f(self.mm + Z95 * self.sd_mm)] }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_population_is_less_sure_than_a_measurement() {
        let (p, m) = (Radius::population(), Radius::from_axial_length(24.5));
        assert_eq!(p.mm, m.mm);
        let width = |r: Radius| r.area(1.0).interval[1] - r.area(1.0).interval[0];
        assert!(width(p) > 5.0 * width(m));
        // Without the share for the shape, 95 % of the population's R is 12.25 ± 1.54 mm.
        let only_axial = Z95 * Radius::POPULATION_AXIAL_SD_MM / 2.0;
        assert!((only_axial - 1.5386).abs() < 1e-4 && Z95 * p.sd_mm > only_axial);
    }

    #[test]
    fn intervals_hold_the_value() {
        for r in
            [Radius::given(11.0), Radius::from_axial_length(23.1), Radius::population(), Radius::given(0.0)]
        {
            for m in [r.length(0.7), r.area(2.0)] {
                assert!(m.interval[0] <= m.value && m.value <= m.interval[1]);
            }
        }
    }
}
