//! From a mask to polygons.

use serrata_words::region::ring_area;
use serrata_words::{Point, Region, Ring};

/// A mask of cells, row by row; one cell spans `factor` pixels.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Mask {
    pub width: usize,
    pub height: usize,
    pub factor: u32,
    pub cells: Vec<bool>,
}

impl Mask {
    #[cfg(test)]
    pub fn from_fn(width: usize, height: usize, factor: u32, f: impl Fn(usize, usize) -> bool) -> Self {
        let cells = (0..width * height).map(|i| f(i % width, i / width)).collect();
        Self { width, height, factor, cells }
    }

    pub fn count(&self) -> usize {
        self.cells.iter().filter(|c| **c).count()
    }

    fn at(&self, x: i64, y: i64) -> bool {
        let (Ok(x), Ok(y)) = (usize::try_from(x), usize::try_from(y)) else { return false };
        x < self.width && y < self.height && self.cells[y * self.width + x]
    }

    /// Outlines in pixels: outer rings clockwise on the screen, holes the other way; straightened to within a cell,
    /// specks of less than `least` cells left out.
    pub fn region(&self, least: f64) -> Region {
        let mut seen = vec![false; self.width * self.height];
        let mut out = Region::default();
        for y in 0..self.height {
            for x in 0..self.width {
                let starts = self.cells[y * self.width + x] && !self.at(x as i64, y as i64 - 1);
                if !starts || seen[y * self.width + x] {
                    continue;
                }
                let ring = self.walk(x, y, &mut seen);
                let area = ring_area(&ring);
                if area.abs() < least {
                    continue;
                }
                let scaled =
                    straighten(&ring).into_iter().map(|p| p.map(|c| c * f64::from(self.factor))).collect();
                if area > 0.0 { out.polygons.push(scaled) } else { out.holes.push(scaled) }
            }
        }
        out
    }

    /// Follows a border with the inside on the right, from the upper left corner of a cell eastwards. At a corner
    /// where two cells touch, it keeps to the one it came from, so that no ring crosses itself.
    fn walk(&self, x: usize, y: usize, seen: &mut [bool]) -> Ring {
        const STEPS: [(i64, i64); 4] = [(1, 0), (0, 1), (-1, 0), (0, -1)];
        // Cells ahead to the left and to the right of a corner, by heading.
        const AHEAD: [((i64, i64), (i64, i64)); 4] =
            [((0, -1), (0, 0)), ((0, 0), (-1, 0)), ((-1, 0), (-1, -1)), ((-1, -1), (0, -1))];
        let start = (x as i64, y as i64);
        let (mut at, mut heading, mut ring) = (start, 0usize, Ring::new());
        loop {
            if heading == 0 {
                seen[at.1 as usize * self.width + at.0 as usize] = true;
            }
            let (dx, dy) = STEPS[heading];
            at = (at.0 + dx, at.1 + dy);
            let (left, right) = AHEAD[heading];
            let turn = if !self.at(at.0 + right.0, at.1 + right.1) {
                1
            } else if self.at(at.0 + left.0, at.1 + left.1) {
                3
            } else {
                0
            };
            if turn != 0 {
                #[allow(clippy::cast_precision_loss)] // picture sides
                ring.push([at.0 as f64, at.1 as f64]);
            }
            heading = (heading + turn) % 4;
            if at == start && heading == 0 {
                return ring;
            }
        }
    }
}

/// Leaves out points within a cell of the straight line (Douglas and Peucker), unless the ring would then cross
/// itself.
fn straighten(ring: &[Point]) -> Ring {
    for tolerance in [0.8, 0.4] {
        let mut keep = vec![false; ring.len()];
        let far = (0..ring.len())
            .max_by(|a, b| distance(ring[0], ring[*a]).total_cmp(&distance(ring[0], ring[*b])))
            .unwrap_or(0);
        keep[0] = true;
        keep[far] = true;
        peel(ring, 0, far, tolerance, &mut keep);
        peel(ring, far, ring.len(), tolerance, &mut keep);
        let out: Ring = ring.iter().zip(&keep).filter(|(_, k)| **k).map(|(p, _)| *p).collect();
        if out.len() >= 3 && is_simple(&out) {
            return out;
        }
    }
    ring.to_vec()
}

/// Marks points between two kept ones; `to` may be the ring's length, which is its first point again.
fn peel(ring: &[Point], from: usize, to: usize, tolerance: f64, keep: &mut [bool]) {
    let mut todo = vec![(from, to)];
    while let Some((i, j)) = todo.pop() {
        let (a, b) = (ring[i], ring[j % ring.len()]);
        let worst = (i + 1..j).map(|k| (k, off_line(ring[k], a, b))).max_by(|p, q| p.1.total_cmp(&q.1));
        if let Some((k, d)) = worst
            && d > tolerance
        {
            keep[k] = true;
            todo.push((i, k));
            todo.push((k, j));
        }
    }
}

fn distance(a: Point, b: Point) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

fn off_line(p: Point, a: Point, b: Point) -> f64 {
    let d = [b[0] - a[0], b[1] - a[1]];
    let long = d[0] * d[0] + d[1] * d[1];
    let t =
        if long > 0.0 { (((p[0] - a[0]) * d[0] + (p[1] - a[1]) * d[1]) / long).clamp(0.0, 1.0) } else { 0.0 };
    distance(p, [a[0] + t * d[0], a[1] + t * d[1]])
}

/// Whether no two edges of a ring cross or touch except neighbours at their common end.
pub(crate) fn is_simple(ring: &[Point]) -> bool {
    let n = ring.len();
    let turn = |a: Point, b: Point, c: Point| (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);
    (0..n).all(|i| {
        let (a, b) = (ring[i], ring[(i + 1) % n]);
        (i + 2..n).filter(|j| (j + 1) % n != i).all(|j| {
            let (c, d) = (ring[j], ring[(j + 1) % n]);
            turn(a, b, c) * turn(a, b, d) > 0.0 || turn(c, d, a) * turn(c, d, b) > 0.0
        })
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn mask(rows: &[&str]) -> Mask {
        let cells = rows.iter().flat_map(|r| r.chars().map(|c| c == '#')).collect();
        Mask { width: rows[0].len(), height: rows.len(), factor: 4, cells }
    }

    #[test]
    fn a_block_with_a_hole() {
        let r = mask(&["......", ".####.", ".#..#.", ".#..#.", ".####.", "......"]).region(1.0);
        assert_eq!(r.polygons.len(), 1);
        assert_eq!(r.holes.len(), 1);
        assert_eq!(r.flat_area(), 12.0 * 16.0);
        assert!(ring_area(&r.polygons[0]) > 0.0 && ring_area(&r.holes[0]) < 0.0);
    }

    proptest! {
        /// What the outlines enclose is what was marked, up to the straightening.
        #[test]
        fn outlines_enclose_what_was_marked(seed in any::<u32>(), level in -0.2f32..0.4) {
            let m = Mask::from_fn(60, 50, 1, |x, y| crate::noise::flat(x as f32 / 9.0, y as f32 / 9.0, seed) > level);
            let r = m.region(0.0);
            for ring in r.polygons.iter().chain(&r.holes) {
                prop_assert!(ring.len() >= 3);
            }
            let border = r.polygons.iter().chain(&r.holes).map(Vec::len).sum::<usize>() as f64;
            prop_assert!((r.flat_area() - m.count() as f64).abs() <= 10.0 + 6.0 * border);
        }
    }

    #[test]
    fn cells_that_touch_at_a_corner_are_two_rings() {
        let r = mask(&["#.", ".#"]).region(0.0);
        assert_eq!(r.polygons.len(), 2);
        assert_eq!(r.flat_area(), 32.0);
    }

    #[test]
    fn crossing_rings_are_seen() {
        assert!(is_simple(&[[0., 0.], [2., 0.], [2., 2.], [0., 2.]]));
        assert!(!is_simple(&[[0., 0.], [2., 2.], [2., 0.], [0., 2.]]));
    }
}
