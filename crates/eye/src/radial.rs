use crate::projection::DomainError;

/// Why coefficients are no radial polynomial, with the value and what was expected. Example: an end at 200°.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum RadialError {
    /// A number is not finite, or there are none.
    #[error(
        "the radial polynomial has {0} usable coefficients; expected at least one, all of them finite numbers"
    )]
    Coefficients(usize),
    /// The end is no angle.
    #[error("the radial polynomial ends at {0}°; expected more than 0° and at most 180°")]
    End(f64),
    /// It does not grow all the way.
    #[error("the radial polynomial stops growing at {0:.2}°; expected it to grow up to its end")]
    NotGrowing(f64),
}

/// An instrument's own projection: r = k1·c + k2·c² + k3·c³ + …, c the eye angle from the centre in radians, r in
/// radii of the sphere at the centre's scale (so k1 = 1 unless the profile says otherwise).
#[derive(Debug, Clone, PartialEq)]
pub struct RadialPolynomial {
    k: Vec<f64>,
    end: f64,
    edge: f64,
}

impl RadialPolynomial {
    /// From the coefficients of c, c², c³, … and the angle (degrees) up to which they hold.
    ///
    /// # Errors
    /// Where they are not finite, or the polynomial does not grow all the way to its end: it would have no inverse.
    ///
    /// ```
    /// use serrata_eye::RadialPolynomial;
    /// let p = RadialPolynomial::new(&[1.0, 0.0, 1.0 / 12.0], 110.0).unwrap(); // near tan: r at 60° is 1.142895
    /// assert!((p.radius(60f64.to_radians()).unwrap() - 1.142_895).abs() < 1e-6);
    /// assert!(RadialPolynomial::new(&[1.0, 0.0, -1.0], 110.0).is_err());
    /// ```
    pub fn new(coefficients: &[f64], end_deg: f64) -> Result<Self, RadialError> {
        let usable = coefficients.iter().filter(|k| k.is_finite()).count();
        if usable == 0 || usable < coefficients.len() {
            return Err(RadialError::Coefficients(usable));
        }
        if !(end_deg > 0.0 && end_deg <= 180.0) {
            return Err(RadialError::End(end_deg));
        }
        let mut out = Self { k: coefficients.to_vec(), end: end_deg.to_radians(), edge: 0.0 };
        let slope_ends = (0..=1800).map(|i| f64::from(i) / 1800.0).find(|t| out.slope(out.end * t) <= 1e-6);
        if let Some(t) = slope_ends {
            return Err(RadialError::NotGrowing(end_deg * t));
        }
        out.edge = out.value(out.end);
        Ok(out)
    }

    /// The coefficients of c, c², c³, … Example: `[1.0, 0.0, 0.083]`.
    #[must_use]
    pub fn coefficients(&self) -> &[f64] {
        &self.k
    }

    /// The angle up to which they hold, degrees. Example: 110.
    #[must_use]
    pub fn end_deg(&self) -> f64 {
        self.end.to_degrees()
    }

    fn value(&self, c: f64) -> f64 {
        self.k.iter().rev().fold(0.0, |sum, k| (sum + k) * c)
    }

    fn slope(&self, c: f64) -> f64 {
        let mut power = 1.0;
        let mut n = 1.0;
        let mut sum = 0.0;
        for k in &self.k {
            sum += n * k * power;
            power *= c;
            n += 1.0;
        }
        sum
    }

    /// Distance from the centre in radii of the sphere, for an angle in radians. Example: 0 → 0.
    ///
    /// # Errors
    /// Beyond the angle up to which the polynomial holds.
    pub fn radius(&self, c: f64) -> Result<f64, DomainError> {
        match c {
            _ if !c.is_finite() => Err(DomainError::NotFinite),
            _ if c <= self.end + 1e-12 => Ok(self.value(c)),
            _ => Err(DomainError::Beyond {
                eccentricity_deg: c.to_degrees(),
                expected: "at most the angle up to which the profile's polynomial holds",
            }),
        }
    }

    /// Angle in radians for a distance from the centre in radii; by halving, to 1e-15.
    ///
    /// # Errors
    /// Beyond the image of the end.
    pub fn angle(&self, r: f64) -> Result<f64, DomainError> {
        if !r.is_finite() {
            return Err(DomainError::NotFinite);
        }
        if r > self.edge * (1.0 + 1e-12) {
            let expected = "at most the distance at which the profile's polynomial ends";
            return Err(DomainError::Outside { radius: r, expected });
        }
        let (mut low, mut high) = (0.0, self.end);
        for _ in 0..60 {
            let middle = 0.5 * (low + high);
            if self.value(middle) < r {
                low = middle;
            } else {
                high = middle;
            }
        }
        Ok(0.5 * (low + high))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn coefficients_that_cannot_be_used_are_refused() {
        assert_eq!(RadialPolynomial::new(&[], 90.), Err(RadialError::Coefficients(0)));
        assert_eq!(RadialPolynomial::new(&[1., f64::NAN], 90.), Err(RadialError::Coefficients(1)));
        assert_eq!(RadialPolynomial::new(&[1.], 200.), Err(RadialError::End(200.)));
        let e = RadialPolynomial::new(&[1., 0., -0.2], 110.).unwrap_err();
        // 1 − 0.6 c² ends at 73.96°.
        assert!(matches!(e, RadialError::NotGrowing(at) if (at - 73.96).abs() < 0.1), "{e}");
        let p = RadialPolynomial::new(&[1., 0., 0.05], 100.).unwrap();
        assert!(
            p.radius(101f64.to_radians()).is_err() && p.angle(9.0).is_err() && p.angle(f64::NAN).is_err()
        );
    }
}
