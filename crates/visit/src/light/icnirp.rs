//! Limits for lasers, ICNIRP.
//!
//! Coefficients C_A, C_B, T1, T2 and γ: the annex of the European directive 2006/25/EC as republished (table 4.5).
//! The limits' own numbers (100 C_B J/m², 10⁶ C_B J m⁻² sr⁻¹, 18 C_A C_E t^0.75 J/m²) are *from memory*; the table of
//! worked examples in the tests was computed from the same formulas.

/// Angular size of a point source, mrad.
const ALPHA_MIN: f64 = 1.5;
/// Angular size from which thermal limits no longer grow in proportion, mrad (exposures from 0.25 s).
const ALPHA_MAX: f64 = 100.0;

/// C_A: 1 below 700 nm, 10^(0.002 (λ − 700)) to 1050 nm, then 5. Example: 1.4791 at 785 nm.
#[must_use]
pub fn c_a(nm: f64) -> f64 {
    if nm < 700.0 { 1.0 } else { 10f64.powf(0.002 * (nm - 700.0)).min(5.0) }
}

/// C_B: 1 below 450 nm, then 10^(0.02 (λ − 450)). Example: 5.7544 at 488 nm.
#[must_use]
pub fn c_b(nm: f64) -> f64 {
    10f64.powf(0.02 * (nm - 450.0).max(0.0))
}

/// T1 in seconds: 10 s at 450 nm to 100 s at 500 nm. Example: 57.54 s at 488 nm.
#[must_use]
pub fn t1_s(nm: f64) -> f64 {
    10.0 * 10f64.powf(0.02 * (nm - 450.0).clamp(0.0, 50.0))
}

/// T2 in seconds for a source of `alpha` mrad. Example: 12.487 s for 11 mrad.
#[must_use]
pub fn t2_s(alpha: f64) -> f64 {
    10.0 * 10f64.powf((alpha.clamp(ALPHA_MIN, ALPHA_MAX) - 1.5) / 98.5)
}

/// γ in mrad: the cone over which a source is averaged: 11 to 100 s, 1.1 √t to 10⁴ s, then 110.
#[must_use]
pub fn gamma_mrad(t_s: f64) -> f64 {
    if t_s <= 100.0 { 11.0 } else { (1.1 * t_s.sqrt()).min(110.0) }
}

/// C_E for a source of `alpha` mrad.
fn c_e(alpha: f64) -> f64 {
    let a = alpha.max(ALPHA_MIN);
    if a > ALPHA_MAX { a * a / (ALPHA_MIN * ALPHA_MAX) } else { a / ALPHA_MIN }
}

/// A limit at the cornea for a steady beam.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SourceLimit {
    /// Photochemical limit as mean irradiance, W/m², from 400 to 600 nm and from 10 s on; none elsewhere.
    pub photochemical_w_m2: Option<f64>,
    /// Thermal limit as mean irradiance, W/m².
    pub thermal_w_m2: f64,
}

impl SourceLimit {
    /// The lower of the two, W/m².
    #[must_use]
    pub fn w_m2(&self) -> f64 {
        self.photochemical_w_m2.map_or(self.thermal_w_m2, |p| p.min(self.thermal_w_m2))
    }
}

/// Limits at the cornea for a steady beam of `nm` over `t_s` seconds from a source of `alpha` mrad, or `None` outside
/// 400 to 1400 nm or 0.25 s to 30 000 s, where these formulas do not hold.
///
/// Photochemical limits are those of a point source; for extended sources they are a radiance, see
/// [`crate::light_record`].
///
/// ```
/// let l = serrata_visit::laser_limit(488.0, 100.0, 1.5).unwrap();
/// assert!((l.w_m2() - 5.7544).abs() < 1e-3);
/// ```
#[must_use]
pub fn laser_limit(nm: f64, t_s: f64, alpha: f64) -> Option<SourceLimit> {
    if !(400.0..=1400.0).contains(&nm) || !(0.25..=30_000.0).contains(&t_s) || alpha.is_nan() || alpha < 0.0 {
        return None;
    }
    let photochemical_w_m2 = (nm <= 600.0 && t_s >= 10.0).then(|| {
        // As J/m² up to 100 s, as W/m² after; mean irradiance is the same expression up to there.
        100.0 * c_b(nm) / t_s.min(100.0)
    });
    // Above 1050 nm C_C ≥ 1 would raise the limit; leaving it out is on the careful side.
    let base = 18.0 * c_a(nm) * c_e(alpha);
    let t2 = t2_s(alpha);
    let thermal_w_m2 = if t_s < t2 { base * t_s.powf(-0.25) } else { base * t2.powf(-0.25) };
    Some(SourceLimit { photochemical_w_m2, thermal_w_m2 })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Worked examples, computed from the published formulas: nm, limit of a point source at 100 s in W/m².
    #[test]
    fn the_point_source_limits_at_100_seconds() {
        for (nm, want) in [
            (450.0, 1.0),
            (488.0, 5.7544),
            (532.0, 10.122),
            (635.0, 10.122),
            (785.0, 14.972),
            (802.0, 16.191),
        ] {
            let got = laser_limit(nm, 100.0, 1.5).unwrap().w_m2();
            assert!((got / want - 1.0).abs() < 1e-4, "{nm}: {got} for {want}");
        }
        assert!((c_b(532.0) - 43.652).abs() < 1e-3 && (t1_s(488.0) - 57.54).abs() < 1e-2);
        // Power through a pupil of 7 mm (38.4845 mm²) in µW.
        let pupil = std::f64::consts::PI * 3.5e-3 * 3.5e-3;
        for (nm, want) in [(450.0, 38.48), (488.0, 221.46), (532.0, 389.5), (785.0, 576.2), (802.0, 623.1)] {
            let got = laser_limit(nm, 100.0, 1.5).unwrap().w_m2() * pupil * 1e6;
            assert!((got / want - 1.0).abs() < 2e-4, "{nm}: {got} for {want}");
        }
    }

    #[test]
    fn the_limits_of_785_nm_by_size_of_the_source() {
        for (alpha, want) in [(1.5, 14.972), (11.0, 103.863), (50.0, 375.885), (100.0, 561.282)] {
            let got = laser_limit(785.0, 100.0, alpha).unwrap().thermal_w_m2;
            assert!((got / want - 1.0).abs() < 1e-4, "{alpha}: {got}");
        }
        assert!((t2_s(11.0) - 12.487).abs() < 1e-3 && (t2_s(50.0) - 31.073).abs() < 1e-3);
    }

    proptest! {
        #[test]
        fn energy_never_falls_with_time_nor_irradiance_with_size(nm in 400f64..1400.0, t in 0.25f64..1000.0, f in 1f64..10.0, a in 0f64..200.0) {
            let l = |t: f64, a: f64| laser_limit(nm, t, a).unwrap();
            prop_assert!(l(t * f, a).thermal_w_m2 * t * f >= l(t, a).thermal_w_m2 * t * 0.999_999);
            prop_assert!(l(t, a + 1.0).thermal_w_m2 >= l(t, a).thermal_w_m2 * 0.97, "{} {}", l(t, a + 1.0).thermal_w_m2, l(t, a).thermal_w_m2);
        }

        #[test]
        fn any_numbers_are_answered(nm in prop::num::f64::ANY, t in prop::num::f64::ANY, a in prop::num::f64::ANY) {
            if let Some(l) = laser_limit(nm, t, a) { prop_assert!(l.w_m2() > 0.0); }
        }
    }
}
