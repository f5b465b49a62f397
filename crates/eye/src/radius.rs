/// Where a radius comes from. Example: 12.25 mm from the population, where nothing is known of the eye.
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
    /// The word as contracts write it: `given`, `axial_length`, `estimated`, `population` (schema
    /// `serrata.measure/1`).
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

/// The radius of the sphere that stands for an eye, with where it comes from.
///
/// R = axial length / 2: normative in DICOM only for 3-D coordinates (PS3.3 C.8.17.12), our reading for
/// stereographic pictures. How sure the step to mm is, is said by [`crate::Measure`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Radius {
    /// Radius in mm. Example: 12.
    pub mm: f64,
    /// Where it comes from; decides its standard deviation, 0 to 0.785 mm.
    pub source: RadiusSource,
}

impl Radius {
    /// Mean axial length of the population, 24.5 mm (Nagra et al., J Anat 2017;231:319, n = 73).
    pub const POPULATION_AXIAL_MM: f64 = 24.5;
    /// Its standard deviation, 1.57 mm (same source).
    pub const POPULATION_AXIAL_SD_MM: f64 = 1.57;
    /// Standard deviation of an estimated axial length, 0.6 mm (judgement).
    pub const ESTIMATED_AXIAL_SD_MM: f64 = 0.6;
    /// Standard deviation of a measured axial length, 0.04 mm (repeatability of optical biometry, judgement).
    pub const MEASURED_AXIAL_SD_MM: f64 = 0.04;

    /// A radius as given, for example the 11 mm of published ultra-widefield areas.
    #[must_use]
    pub fn given(mm: f64) -> Self {
        Self { mm, source: RadiusSource::Given }
    }

    /// Half of this eye's axial length in mm. Example: 24 mm → R = 12 ± 0.02 mm.
    #[must_use]
    pub fn from_axial_length(axial_mm: f64) -> Self {
        Self { mm: axial_mm / 2.0, source: RadiusSource::AxialLength }
    }

    /// Half of an axial length (mm) that was estimated from surrogate measures of this eye, such as its refraction:
    /// ± 0.6 mm (judgement). Example: 24 mm → R = 12 ± 0.3 mm.
    #[must_use]
    pub fn estimated(axial_mm: f64) -> Self {
        Self { mm: axial_mm / 2.0, source: RadiusSource::Estimated }
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
        Self { mm: Self::POPULATION_AXIAL_MM / 2.0, source: RadiusSource::Population }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_population_is_less_sure_than_an_estimate_and_that_than_a_measurement() {
        let sd = [Radius::population(), Radius::estimated(24.5), Radius::from_axial_length(24.5)];
        assert!(sd.iter().all(|r| r.mm == 12.25));
        assert_eq!(sd.map(Radius::axial_sd_mm), [0.785, 0.3, 0.02]);
        assert_eq!(Radius::given(11.0).axial_sd_mm(), 0.0);
    }
}
