//! The instrument's aperture: a barrel, wider below than above, with sides bowed outwards. Invented.

use std::ops::Range;

/// Half of the aperture's greatest width as a share of half of the picture's.
pub(crate) const END: f64 = 0.972;
/// Half of its height.
const TOP: f64 = 0.81;
/// Radius of the arcs that close the sides.
const BOW: f64 = 1.7;
/// How far below the middle the aperture is widest.
const LOW: f64 = 0.14;
/// Radius by which corners are rounded.
const ROUND: f64 = 0.12;

/// Signed distance to the aperture's rim at (x, y) from −1 to 1 across the picture; negative inside.
pub(crate) fn signed(x: f64, y: f64) -> f64 {
    let side = (x.abs() - (END - BOW)).hypot(y - LOW) - BOW;
    let edges = [side + ROUND, y.abs() - (TOP - ROUND)];
    // Distance to the shrunk shape, corners rounded by adding what two edges both claim.
    let most = edges[0].max(edges[1]);
    if most <= 0.0 {
        return most - ROUND;
    }
    edges[0].max(0.0).hypot(edges[1].max(0.0)) - ROUND
}

/// The columns of a row whose centres are inside; the shape is convex, so they are in one piece.
pub(crate) fn columns(row: u32, size: u32, height: u32) -> Range<u32> {
    columns_below(row, size, height, 0.0)
}

/// The columns of a row whose centres lie deeper inside than `level`, a signed distance of at most 0.
pub(crate) fn columns_below(row: u32, size: u32, height: u32, level: f64) -> Range<u32> {
    let half = f64::from(size) / 2.0;
    let y = (f64::from(row) + 0.5 - f64::from(height) / 2.0) / half;
    let inside = |x: u32| signed((f64::from(x) + 0.5) / half - 1.0, y) < level;
    let middle = size / 2;
    if !inside(middle) {
        return 0..0;
    }
    // Bisect for the last column inside; the shape is symmetric.
    let (mut a, mut b) = (middle, size);
    while b - a > 1 {
        let m = a + (b - a) / 2;
        if inside(m) { a = m } else { b = m }
    }
    size - 1 - a..a + 1
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn columns_are_those_whose_centres_are_inside(size in 16u32..400, share in 0f64..1.) {
            let row = (share * f64::from(size)) as u32;
            let got = columns(row, size, size);
            let half = f64::from(size) / 2.0;
            for x in 0..size {
                let inside = signed((f64::from(x) + 0.5) / half - 1.0, (f64::from(row) + 0.5) / half - 1.0) < 0.0;
                prop_assert_eq!(got.contains(&x), inside, "{} {}", x, row);
            }
        }
    }
}
