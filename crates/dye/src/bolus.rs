/// First passage of a dye and what stays in the blood, fitted to a curve of brightness.
///
/// base + first · g(t − start) + stays · (1 − e^(−(t − start)/τ)), where g is the gamma variate u^α·e^(α(1−u)) of u = t/peak
/// (Thompson et al., Circ Res 1964;14:502, from memory), and the second part stands for recirculation and mixing (from memory).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bolus {
    /// Seconds at which the passage begins.
    pub start: f64,
    /// Seconds from there to the gamma variate's peak.
    pub peak: f64,
    /// How steep it rises.
    pub alpha: f64,
    /// Brightness of the first passage.
    pub first: f64,
    /// Brightness of what stays.
    pub stays: f64,
    /// Brightness before.
    pub base: f64,
}

/// Time constant of mixing, seconds (from memory).
const MIXING_S: f64 = 16.0;

fn gamma(u: f64, alpha: f64) -> f64 {
    if u <= 0.0 { 0.0 } else { (alpha * (u.ln() + 1.0 - u)).exp() }
}

impl Bolus {
    /// Brightness above the base at a second.
    #[must_use]
    pub fn above(&self, t: f64) -> f64 {
        let u = t - self.start;
        if u <= 0.0 {
            return 0.0;
        }
        self.first * gamma(u / self.peak, self.alpha) + self.stays * (1.0 - (-u / MIXING_S).exp())
    }

    /// The second at which that share of the peak is first reached. Example: of a tenth, the arrival that published
    /// arm-to-retina times mean.
    #[must_use]
    pub fn reaches(&self, share: f64) -> f64 {
        let step = 0.02;
        let at = |k: u32| self.start + f64::from(k) * step;
        let top = (0..2500).map(|k| self.above(at(k))).fold(0.0, f64::max);
        (0..2500).map(at).find(|t| self.above(*t) >= share * top).unwrap_or(self.start)
    }

    /// Fits a curve of (second, brightness, weight) up to 20 s after its peak; none of fewer than six points, or where
    /// nothing rises.
    #[must_use]
    pub fn fit(curve: &[[f64; 3]]) -> Option<Self> {
        let top = curve.iter().filter(|p| p[2] > 0.0).max_by(|a, b| a[1].total_cmp(&b[1]))?;
        let until = top[0] + 20.0;
        let used: Vec<[f64; 3]> = curve.iter().filter(|p| p[0] <= until && p[2] > 0.0).copied().collect();
        if used.len() < 6 {
            return None;
        }
        let begin = used[0][0] - 2.0;
        let mut best: Option<(f64, Self)> = None;
        let mut look = |start: f64, peak: f64, alpha: f64| {
            if let Some((cost, b)) = linear(&used, start, peak, alpha)
                && best.as_ref().is_none_or(|(c, _)| cost < *c)
            {
                best = Some((cost, b));
            }
        };
        let mut start = begin;
        while start < top[0] {
            for peak in [5.0, 8.0, 11.0, 15.0] {
                for alpha in [1.5, 2.2, 3.2] {
                    look(start, peak, alpha);
                }
            }
            start += 0.5;
        }
        let mut width = [0.4, 2.0, 0.6];
        for _ in 0..14 {
            let Some((_, b)) = best else { return None };
            for k in 0..27 {
                let d = [k % 3, k / 3 % 3, k / 9].map(|v| f64::from(v) - 1.0);
                let (peak, alpha) = (
                    (b.peak + d[1] * width[1]).clamp(2.0, 25.0),
                    (b.alpha + d[2] * width[2]).clamp(0.8, 6.0),
                );
                if let Some((cost, n)) = linear(&used, b.start + d[0] * width[0], peak, alpha)
                    && best.as_ref().is_none_or(|(c, _)| cost < *c)
                {
                    best = Some((cost, n));
                }
            }
            width = width.map(|w| w * 0.7);
        }
        best.map(|b| b.1).filter(|b| b.first + b.stays > 1e-6)
    }
}

/// The three brightnesses by least squares, none of them below 0 but the base.
fn linear(used: &[[f64; 3]], start: f64, peak: f64, alpha: f64) -> Option<(f64, Bolus)> {
    let parts = |t: f64| {
        let u = t - start;
        if u <= 0.0 { [1.0, 0.0, 0.0] } else { [1.0, gamma(u / peak, alpha), 1.0 - (-u / MIXING_S).exp()] }
    };
    let solve = |mask: [bool; 3]| {
        let mut a = [[0.0; 3]; 3];
        let mut b = [0.0; 3];
        for [t, v, w] in used {
            let p = parts(*t);
            for i in 0..3 {
                b[i] += w * p[i] * v;
                for j in 0..3 {
                    a[i][j] += w * p[i] * p[j];
                }
            }
        }
        for i in 0..3 {
            if !mask[i] {
                a[i] = [0.0; 3];
                (0..3).for_each(|j| a[j][i] = 0.0);
                a[i][i] = 1.0;
                b[i] = 0.0;
            }
            a[i][i] += 1e-9;
        }
        solve3(a, b)
    };
    let mut x = solve([true; 3])?;
    if x[1] < 0.0 {
        x = solve([true, false, true])?;
    } else if x[2] < 0.0 {
        x = solve([true, true, false])?;
    }
    if x[1] < 0.0 || x[2] < 0.0 {
        return None;
    }
    let cost = used
        .iter()
        .map(|[t, v, w]| {
            let p = parts(*t);
            w * (v - x[0] * p[0] - x[1] * p[1] - x[2] * p[2]).powi(2)
        })
        .sum();
    Some((cost, Bolus { start, peak, alpha, base: x[0], first: x[1], stays: x[2] }))
}

/// Cramer's rule.
fn solve3(a: [[f64; 3]; 3], b: [f64; 3]) -> Option<[f64; 3]> {
    let det = |m: [[f64; 3]; 3]| {
        m[0][0] * (m[1][1] * m[2][2] - m[1][2] * m[2][1]) - m[0][1] * (m[1][0] * m[2][2] - m[1][2] * m[2][0])
            + m[0][2] * (m[1][0] * m[2][1] - m[1][1] * m[2][0])
    };
    let d = det(a);
    if d.abs() < 1e-18 {
        return None;
    }
    Some([0, 1, 2].map(|k| {
        let mut m = a;
        (0..3).for_each(|i| m[i][k] = b[i]);
        det(m) / d
    }))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]
        #[test]
        fn a_bolus_is_found_again(start in 6f64..25., peak in 6f64..14., alpha in 1.5f64..3.5, stays in 0.1f64..0.6) {
            let truth = Bolus { start, peak, alpha, first: 0.7, stays, base: 0.05 };
            let curve: Vec<[f64; 3]> = (0..50).map(|k| {
                let t = 4.0 + 0.8 * f64::from(k);
                [t, truth.base + truth.above(t), 1.0]
            }).collect();
            let fit = Bolus::fit(&curve).unwrap();
            prop_assert!((fit.reaches(0.1) - truth.reaches(0.1)).abs() < 0.15, "{fit:?} {truth:?}");
        }
    }

    #[test]
    fn nothing_that_rises_is_no_bolus() {
        let flat: Vec<[f64; 3]> = (0..20).map(|k| [f64::from(k), 0.2, 1.0]).collect();
        assert!(Bolus::fit(&flat).is_none_or(|b| b.above(30.0) < 1e-3));
        assert!(Bolus::fit(&flat[..4]).is_none());
    }
}
