//! Regions of a picture as polygons.

use serde::{Deserialize, Serialize};

/// A point in pixel coordinates: x right, y down, edges at integers (pixel (i, j) has its centre at (i+½, j+½)).
pub type Point = [f64; 2];

/// A simple ring of points, not closed (the last point joins the first).
pub type Ring = Vec<Point>;

/// What the outer rings enclose, minus the holes.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Region {
    /// Outer rings.
    #[serde(default, serialize_with = "crate::round::rings")]
    pub polygons: Vec<Ring>,
    /// Holes in them.
    #[serde(default, serialize_with = "crate::round::rings")]
    pub holes: Vec<Ring>,
}

impl Region {
    /// The flat area in square pixels: outer rings minus holes.
    ///
    /// ```
    /// use serrata_words::Region;
    /// let r = Region { polygons: vec![vec![[0., 0.], [4., 0.], [4., 2.], [0., 2.]]], holes: vec![] };
    /// assert_eq!(r.flat_area(), 8.0);
    /// ```
    #[must_use]
    pub fn flat_area(&self) -> f64 {
        let sum = |rings: &[Ring]| rings.iter().map(|r| ring_area(r).abs()).sum::<f64>();
        sum(&self.polygons) - sum(&self.holes)
    }

    /// Whether a point lies in it: within an outer ring and in no hole, by the even-odd rule.
    ///
    /// ```
    /// use serrata_words::Region;
    /// let square = |a: f64, b: f64| vec![[a, a], [b, a], [b, b], [a, b]];
    /// let r = Region { polygons: vec![square(0., 9.)], holes: vec![square(3., 6.)] };
    /// assert!(r.contains([1., 1.]) && !r.contains([4., 4.]) && !r.contains([10., 1.]));
    /// ```
    #[must_use]
    pub fn contains(&self, [x, y]: Point) -> bool {
        let crosses = |[a, b]: [Point; 2]| {
            (a[1] > y) != (b[1] > y) && x < a[0] + (y - a[1]) / (b[1] - a[1]) * (b[0] - a[0])
        };
        let edges = |r: &Ring| (0..r.len()).filter(|&i| crosses([r[i], r[(i + 1) % r.len()]])).count();
        self.polygons.iter().chain(&self.holes).map(edges).sum::<usize>() % 2 == 1
    }

    /// Whether there is nothing in it.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.polygons.is_empty()
    }
}

/// Signed flat area of a ring by the shoelace sum, in square pixels; positive where the ring turns clockwise on
/// the screen (y down).
#[must_use]
pub fn ring_area(ring: &[Point]) -> f64 {
    let n = ring.len();
    (0..n)
        .map(|i| {
            let (a, b) = (ring[i], ring[(i + 1) % n]);
            a[0] * b[1] - b[0] * a[1]
        })
        .sum::<f64>()
        / 2.0
}

/// Things that have a place in the picture.
pub trait RegionLike {
    /// The place.
    fn region(&self) -> &Region;
}
