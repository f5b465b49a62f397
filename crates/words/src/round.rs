//! Rounding of printed numbers: pixels and ms 0.1, shares and scores 1e-4, degrees 1e-3, mm and mm² to six
//! significant digits. Used by `serialize_with`, so that no writer can forget it.

use crate::region::Ring;
use serde::{Serialize, Serializer};

/// Rounds to a number of decimals; never gives −0.
///
/// ```
/// assert_eq!(serrata_words::round::decimals(0.123456, 4), 0.1235);
/// ```
#[must_use]
pub fn decimals(v: f64, n: i32) -> f64 {
    let k = 10f64.powi(n);
    (v * k).round() / k + 0.0
}

/// Rounds to six significant digits.
///
/// ```
/// assert_eq!(serrata_words::round::six_digits(892.28412), 892.284);
/// ```
#[must_use]
pub fn six_digits(v: f64) -> f64 {
    if v == 0.0 || !v.is_finite() {
        return v;
    }
    #[allow(clippy::cast_possible_truncation)] // a decimal exponent fits in i32
    let n = 5 - v.abs().log10().floor() as i32;
    decimals(v, n)
}

/// Serializes pixels (and milliseconds) to 0.1.
pub fn pixel<S: Serializer>(v: &f64, s: S) -> Result<S::Ok, S::Error> {
    s.serialize_f64(decimals(*v, 1))
}

/// Serializes optional pixels (and milliseconds) to 0.1.
pub fn pixel_opt<S: Serializer>(v: &Option<f64>, s: S) -> Result<S::Ok, S::Error> {
    v.map(|v| decimals(v, 1)).serialize(s)
}

/// Serializes shares, scores and probabilities to 1e-4.
pub fn share<S: Serializer>(v: &f64, s: S) -> Result<S::Ok, S::Error> {
    s.serialize_f64(decimals(*v, 4))
}

/// Serializes optional shares, scores and probabilities to 1e-4.
pub fn share_opt<S: Serializer>(v: &Option<f64>, s: S) -> Result<S::Ok, S::Error> {
    v.map(|v| decimals(v, 4)).serialize(s)
}

/// Serializes degrees to 1e-3.
pub fn degrees<S: Serializer>(v: &f64, s: S) -> Result<S::Ok, S::Error> {
    s.serialize_f64(decimals(*v, 3))
}

/// Serializes optional degrees to 1e-3.
pub fn degrees_opt<S: Serializer>(v: &Option<f64>, s: S) -> Result<S::Ok, S::Error> {
    v.map(|v| decimals(v, 3)).serialize(s)
}

/// Serializes an optional interval of degrees to 1e-3.
pub fn degrees_interval_opt<S: Serializer>(v: &Option<[f64; 2]>, s: S) -> Result<S::Ok, S::Error> {
    v.map(|v| v.map(|v| decimals(v, 3))).serialize(s)
}

/// Serializes optional mm or mm² to six significant digits.
pub fn mm_opt<S: Serializer>(v: &Option<f64>, s: S) -> Result<S::Ok, S::Error> {
    v.map(six_digits).serialize(s)
}

/// Serializes an optional interval of mm or mm² to six significant digits.
pub fn mm_interval_opt<S: Serializer>(v: &Option<[f64; 2]>, s: S) -> Result<S::Ok, S::Error> {
    v.map(|v| v.map(six_digits)).serialize(s)
}

/// Serializes a line of pixel coordinates to 0.1.
pub fn ring<S: Serializer>(ring: &[crate::Point], s: S) -> Result<S::Ok, S::Error> {
    s.collect_seq(ring.iter().map(|p| p.map(|c| decimals(c, 1))))
}

/// Serializes rings of pixel coordinates to 0.1.
pub fn rings<S: Serializer>(rings: &[Ring], s: S) -> Result<S::Ok, S::Error> {
    s.collect_seq(rings.iter().map(|r| r.iter().map(|p| p.map(|c| decimals(c, 1))).collect::<Vec<_>>()))
}
