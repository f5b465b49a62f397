//! A region corrected by a person's brush.

use super::filled;
use serde::{Deserialize, Serialize};
use serrata_words::{Point, Region};

/// One stroke of a round brush, in pixels of the picture.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Stroke {
    /// Whether it adds to the region; else it takes away.
    pub add: bool,
    /// Radius, pixels.
    pub radius: f64,
    /// Where the brush went; one point is a dab.
    pub points: Vec<Point>,
}

/// Longest side that a region is painted at, pixels: fine enough for an outline drawn by hand.
const LONGEST: f64 = 2000.0;

/// A region after strokes, in their order. `size`: of the picture, pixels.
///
/// The outline follows the cells of at most 2000 along the longer side.
///
/// ```
/// use serrata_station::dye::{Stroke, brushed};
/// use serrata_words::Region;
/// let dab = Stroke { add: true, radius: 10.0, points: vec![[50.0, 50.0]] };
/// let area = brushed(&Region::default(), &[dab], [100, 100]).flat_area();
/// assert!((area / (std::f64::consts::PI * 100.0) - 1.0).abs() < 0.03);
/// ```
#[allow(clippy::cast_precision_loss, clippy::cast_possible_truncation, clippy::cast_sign_loss)] // pixels
#[must_use]
pub fn brushed(region: &Region, strokes: &[Stroke], size: [u32; 2]) -> Region {
    let factor = (f64::from(size[0].max(size[1])) / LONGEST).max(1.0);
    let [w, h] = size.map(|s| (f64::from(s) / factor).ceil().max(1.0) as usize);
    let small = |rings: &[Vec<Point>]| -> Vec<Vec<Point>> {
        rings.iter().map(|r| r.iter().map(|p| p.map(|v| v / factor)).collect()).collect()
    };
    let start = Region { polygons: small(&region.polygons), holes: small(&region.holes) };
    let mut cells = filled(&start, w, h);
    for stroke in strokes {
        let radius = stroke.radius / factor;
        let points: Vec<Point> = stroke.points.iter().map(|p| p.map(|v| v / factor)).collect();
        let ends = points.windows(2).map(|p| [p[0], p[1]]).chain(match points.as_slice() {
            [one] => Some([*one, *one]),
            _ => None,
        });
        for [a, b] in ends {
            let bound = |low: f64, limit: usize| (low.max(0.0) as usize).min(limit);
            let (x0, x1) = (bound(a[0].min(b[0]) - radius, w), bound(a[0].max(b[0]) + radius + 1.0, w));
            let (y0, y1) = (bound(a[1].min(b[1]) - radius, h), bound(a[1].max(b[1]) + radius + 1.0, h));
            for y in y0..y1 {
                for x in x0..x1 {
                    if away([x as f64 + 0.5, y as f64 + 0.5], a, b) <= radius {
                        cells[y * w + x] = stroke.add;
                    }
                }
            }
        }
    }
    serrata_appraise::outline_of(&cells, w, factor)
}

/// Distance of a point from a stretch.
fn away(p: Point, a: Point, b: Point) -> f64 {
    let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
    let long = dx * dx + dy * dy;
    let t = if long > 0.0 { (((p[0] - a[0]) * dx + (p[1] - a[1]) * dy) / long).clamp(0.0, 1.0) } else { 0.0 };
    (p[0] - a[0] - t * dx).hypot(p[1] - a[1] - t * dy)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn square() -> Region {
        let ring = vec![[20.0, 20.0], [60.0, 20.0], [60.0, 60.0], [20.0, 60.0]];
        Region { polygons: vec![ring], holes: Vec::new() }
    }

    #[test]
    fn no_stroke_changes_nothing_but_the_cells_grain() {
        assert!((brushed(&square(), &[], [100, 80]).flat_area() - 1600.0).abs() < 1e-9);
    }

    #[test]
    fn what_is_taken_from_the_middle_is_a_hole() {
        let rub = Stroke { add: false, radius: 5.0, points: vec![[40.0, 40.0]] };
        let left = brushed(&square(), &[rub], [100, 80]);
        assert_eq!((left.polygons.len(), left.holes.len()), (1, 1));
    }

    proptest! {
        #[test]
        fn what_was_added_last_is_in_and_what_was_taken_last_is_out(
            x in 5f64..95., y in 5f64..75., radius in 2f64..20., add in any::<bool>(),
        ) {
            let to = [x + 3.0, y - 2.0];
            let stroke = Stroke { add, radius, points: vec![[x, y], to] };
            let cells = filled(&brushed(&square(), &[stroke], [100, 80]), 100, 80);
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
            let at = y as usize * 100 + x as usize;
            prop_assert_eq!(cells[at], add);
        }
    }
}
