//! ISO 15004-2:2007, group 1, retinal irradiance. The edition of 2024 supersedes it: no claim of conformity.
//!
//! Limits 5.4.1.3.a (220 µW/cm², A-weighted) and 5.4.1.6.a (0.7 W/cm², R-weighted) and the points of Table A.1 were
//! read as code in an open toolbox, not in the standard itself.

/// A-weighted retinal irradiance of group 1, µW/cm² (5.4.1.3.a), for exposures up to 2 h.
pub const GROUP1_A_UW_CM2: f64 = 220.0;
/// R-weighted retinal irradiance of group 1, W/cm² (5.4.1.6.a).
pub const GROUP1_R_W_CM2: f64 = 0.7;

const A: [(f64, f64); 12] = [
    (440.0, 1.0),
    (450.0, 0.94),
    (460.0, 0.8),
    (470.0, 0.62),
    (480.0, 0.45),
    (485.0, 0.40),
    (490.0, 0.22),
    (500.0, 0.10),
    (530.0, 0.025),
    (535.0, 0.0199),
    (600.0, 0.001),
    (700.0, 0.001),
];
const R: [(f64, f64); 7] =
    [(435.0, 1.0), (700.0, 1.0), (785.0, 0.68), (800.0, 0.63), (805.0, 0.62), (830.0, 0.55), (1050.0, 0.2)];

/// Photochemical weight, or none below 440 nm, where the points at hand end. Between points straight lines, which lie
/// above the curve there. Example: 0.292 at 488 nm; 0 above 700 nm.
#[must_use]
pub fn weight_a(nm: f64) -> Option<f64> {
    if nm > 700.0 { Some(0.0) } else { between(&A, nm) }
}

/// Thermal weight, or none below 435 nm. Example: 0.68 at 785 nm; 0.2 from 1050 nm on.
#[must_use]
pub fn weight_r(nm: f64) -> Option<f64> {
    if nm > 1050.0 { Some(0.2) } else { between(&R, nm) }
}

fn between(points: &[(f64, f64)], nm: f64) -> Option<f64> {
    points.windows(2).find(|w| nm >= w[0].0 && nm <= w[1].0).map(|w| {
        let t = (nm - w[0].0) / (w[1].0 - w[0].0);
        w[0].1 + t * (w[1].1 - w[0].1)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_weights_of_the_worked_examples() {
        for (nm, want) in [(488.0, 0.292), (532.0, 0.02296), (635.0, 0.001), (701.0, 0.0)] {
            assert!((weight_a(nm).unwrap() - want).abs() < 1e-9, "{nm}");
        }
        assert!((weight_r(785.0).unwrap() - 0.68).abs() < 1e-12);
        assert_eq!((weight_a(430.0), weight_r(f64::NAN)), (None, None));
    }
}
