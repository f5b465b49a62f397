//! From a mask to rings of points.

use crate::mask::Mask;
use serrata_words::{Point, Region, Ring, region::ring_area};

/// How far, in working pixels, a simplified outline may lie from the traced one. Below a pixel, so that the
/// outline says no less than the mask does.
const TOLERANCE: f64 = 0.7;

/// The outline of a mask as simple rings in full-frame pixels; `factor` frame pixels span one working pixel.
///
/// Outer rings turn clockwise on the screen. Pixels that touch by a corner only are joined first, so that no ring
/// meets itself.
pub(crate) fn region(mask: &Mask, factor: f64) -> Region {
    let mut out = Region::default();
    for ring in trace(&without_saddles(mask)) {
        let simple = simplify(&ring);
        let outer = ring_area(&ring) > 0.0;
        let scaled: Ring = simple.iter().map(|p| [p[0] * factor, p[1] * factor]).collect();
        if outer { out.polygons.push(scaled) } else { out.holes.push(scaled) }
    }
    out
}

/// The outline of cells row by row, `width` a row, each spanning `factor` pixels: simple rings in pixels.
///
/// Example: one set cell of a hundred with a factor of 4 is a square of 4 × 4 pixels.
#[must_use]
pub fn outline_of(cells: &[bool], width: usize, factor: f64) -> Region {
    let height = cells.len() / width.max(1);
    region(&Mask { width, height, data: cells[..width * height].to_vec() }, factor)
}

/// Fills 2 × 2 blocks of which only two opposite pixels are set, until there are none.
fn without_saddles(mask: &Mask) -> Mask {
    let mut out = mask.clone();
    let (w, h) = (mask.width, mask.height);
    let set = |y: &usize| mask.data[y * w..(y + 1) * w].contains(&true);
    let (Some(top), Some(bottom)) = ((0..h).find(set), (0..h).rev().find(set)) else { return out };
    let mut rows = top.max(1)..(bottom + 2).min(h);
    let mut again = true;
    while again {
        again = false;
        // The next round need only look where this one changed something.
        let (mut first, mut last) = (h, 0);
        for y in rows.clone() {
            let (above, below) = out.data.split_at_mut(y * w);
            let (up, row) = (&mut above[(y - 1) * w..], &mut below[..w]);
            // Most pairs of rows have no such block.
            let pairs = up.windows(2).zip(row.windows(2));
            if !pairs.fold(false, |any, (u, r)| any | ((u[0] == r[1]) & (u[1] == r[0]) & (u[0] != u[1]))) {
                continue;
            }
            for x in 1..w {
                let [a, b, c, d] = [up[x - 1], up[x], row[x - 1], row[x]];
                if a == d && b == c && a != b {
                    (up[x - 1], up[x], row[x - 1], row[x]) = (true, true, true, true);
                    again = true;
                    (first, last) = (first.min(y), last.max(y));
                }
            }
        }
        rows = first.saturating_sub(1).max(1)..(last + 2).min(h);
    }
    out
}

/// Follows the cracks between set and unset pixels. Set pixels lie to the right of the walk.
fn trace(mask: &Mask) -> Vec<Ring> {
    let (w, h) = (mask.width, mask.height);
    let set = |x: i64, y: i64| {
        let (Ok(x), Ok(y)) = (usize::try_from(x), usize::try_from(y)) else { return false };
        x < w && y < h && mask.at(x, y)
    };
    // Every ring walks at least one upper edge of a set pixel to the right: (x, y) -> (x+1, y).
    let mut used = vec![false; w * h];
    let mut rings = Vec::new();
    for y in 0..h {
        let row = &mask.data[y * w..(y + 1) * w];
        // Rows without an upper edge.
        if y > 0 && !row.iter().zip(&mask.data[(y - 1) * w..y * w]).fold(false, |any, (r, u)| any | (r & !u))
        {
            continue;
        }
        let Some(first) = row.iter().position(|b| *b) else { continue };
        for (x, set_here) in row.iter().enumerate().skip(first) {
            let i = y * w + x;
            if !set_here || (y > 0 && mask.data[i - w]) || used[i] {
                continue;
            }
            #[allow(clippy::cast_possible_wrap)] // far below the limits of i64
            let (sx, sy) = (x as i64, y as i64);
            let ring = walk(sx, sy, &set, |x, y| {
                if let (Ok(x), Ok(y)) = (usize::try_from(x), usize::try_from(y)) {
                    used[y * w + x] = true;
                }
            });
            rings.push(ring);
        }
    }
    rings
}

/// One ring from the upper edge of (x, y), corners only. `top` is told of each upper edge walked.
fn walk(x: i64, y: i64, set: &impl Fn(i64, i64) -> bool, mut top: impl FnMut(i64, i64)) -> Ring {
    let (mut px, mut py, mut dx, mut dy) = (x, y, 1i64, 0i64);
    let mut ring = Vec::new();
    loop {
        if dx == 1 {
            top(px, py);
        }
        (px, py) = (px + dx, py + dy);
        // The pixels ahead of the corner (px, py): to the right and to the left of the walk.
        let right = set(px + (dx - dy - 1) / 2, py + (dx + dy - 1) / 2);
        let left = set(px + (dx + dy - 1) / 2, py + (dy - dx - 1) / 2);
        let turned = if !right {
            (-dy, dx)
        } else if left {
            (dy, -dx)
        } else {
            (dx, dy)
        };
        if turned != (dx, dy) {
            #[allow(clippy::cast_precision_loss)] // far below 2^52
            ring.push([px as f64, py as f64]);
        }
        (dx, dy) = turned;
        if (px, py) == (x, y) && (dx, dy) == (1, 0) {
            return ring;
        }
    }
}

/// Douglas–Peucker from two far points; where the result would cross itself, finer, at last not at all.
fn simplify(ring: &Ring) -> Ring {
    let mut tolerance = TOLERANCE;
    for _ in 0..3 {
        let thin = douglas_peucker(ring, tolerance);
        if thin.len() >= 3 && is_simple(&thin) && ring_area(&thin) * ring_area(ring) > 0.0 {
            return thin;
        }
        tolerance /= 2.0;
    }
    ring.clone()
}

fn douglas_peucker(ring: &Ring, tolerance: f64) -> Ring {
    let n = ring.len();
    if n < 5 {
        return ring.clone();
    }
    let far =
        (0..n).fold(0, |best, i| if gap2(ring[i], ring[0]) > gap2(ring[best], ring[0]) { i } else { best });
    let mut keep = vec![false; n + 1];
    (keep[0], keep[far], keep[n]) = (true, true, true);
    let mut work = vec![(0, far), (far, n)];
    while let Some((a, b)) = work.pop() {
        let mut worst = (tolerance * tolerance, 0);
        for i in a + 1..b {
            let d = distance2(ring[i], ring[a], ring[b % n]);
            if d > worst.0 {
                worst = (d, i);
            }
        }
        if worst.1 > 0 {
            keep[worst.1] = true;
            work.push((a, worst.1));
            work.push((worst.1, b));
        }
    }
    (0..n).filter(|i| keep[*i]).map(|i| ring[i]).collect()
}

/// Square of the distance between two points.
fn gap2(a: Point, b: Point) -> f64 {
    let (x, y) = (a[0] - b[0], a[1] - b[1]);
    x * x + y * y
}

/// Square of the distance of a point from a segment.
fn distance2(p: Point, a: Point, b: Point) -> f64 {
    let (ux, uy) = (b[0] - a[0], b[1] - a[1]);
    let long = ux * ux + uy * uy;
    let t =
        if long == 0.0 { 0.0 } else { (((p[0] - a[0]) * ux + (p[1] - a[1]) * uy) / long).clamp(0.0, 1.0) };
    gap2(p, [a[0] + t * ux, a[1] + t * uy])
}

/// Whether no two sides of the ring touch, apart from neighbours at their shared corner.
pub(crate) fn is_simple(ring: &Ring) -> bool {
    let n = ring.len();
    // Sides whose rows do not overlap cannot touch, which spares nearly all pairs.
    let rows: Vec<(f64, f64)> = (0..n)
        .map(|i| (ring[i][1].min(ring[(i + 1) % n][1]), ring[i][1].max(ring[(i + 1) % n][1])))
        .collect();
    for i in 0..n {
        let (a, b) = (ring[i], ring[(i + 1) % n]);
        for j in i + 2..n {
            if rows[j].0 > rows[i].1 || rows[j].1 < rows[i].0 || (i == 0 && j == n - 1) {
                continue;
            }
            if touch(a, b, ring[j], ring[(j + 1) % n]) {
                return false;
            }
        }
    }
    true
}

fn touch(a: Point, b: Point, c: Point, d: Point) -> bool {
    let side = |p: Point, q: Point, r: Point| (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0]);
    let within = |p: Point, q: Point, r: Point| {
        r[0] >= p[0].min(q[0]) && r[0] <= p[0].max(q[0]) && r[1] >= p[1].min(q[1]) && r[1] <= p[1].max(q[1])
    };
    let (s1, s2, s3, s4) = (side(a, b, c), side(a, b, d), side(c, d, a), side(c, d, b));
    if s1 * s2 < 0.0 && s3 * s4 < 0.0 {
        return true;
    }
    (s1 == 0.0 && within(a, b, c))
        || (s2 == 0.0 && within(a, b, d))
        || (s3 == 0.0 && within(c, d, a))
        || (s4 == 0.0 && within(c, d, b))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Whether a point lies in a region, by counting crossings.
    fn inside(region: &Region, p: Point) -> bool {
        let hit = |ring: &Ring| {
            let n = ring.len();
            (0..n)
                .filter(|i| {
                    let (a, b) = (ring[*i], ring[(i + 1) % n]);
                    (a[1] > p[1]) != (b[1] > p[1])
                        && p[0] < (b[0] - a[0]) * (p[1] - a[1]) / (b[1] - a[1]) + a[0]
                })
                .count()
        };
        region.polygons.iter().chain(&region.holes).map(hit).sum::<usize>() % 2 == 1
    }

    proptest! {
        #[test]
        fn traced_rings_hold_exactly_the_set_pixels(w in 1usize..12, h in 1usize..12, bits in any::<u128>()) {
            let m = Mask::from_fn(w, h, |x, y| bits >> ((y * w + x) % 128) & 1 == 1);
            let mut r = Region::default();
            for ring in trace(&m) {
                if ring_area(&ring) > 0.0 { r.polygons.push(ring) } else { r.holes.push(ring) }
            }
            prop_assert_eq!(r.flat_area(), m.count() as f64);
            for y in 0..h { for x in 0..w {
                prop_assert_eq!(inside(&r, [x as f64 + 0.5, y as f64 + 0.5]), m.at(x, y));
            } }
        }

        #[test]
        fn no_ring_meets_itself(w in 2usize..12, h in 2usize..12, bits in any::<u128>()) {
            let m = Mask::from_fn(w, h, |x, y| bits >> ((y * w + x) % 128) & 1 == 1);
            let r = region(&m, 1.0);
            for ring in r.polygons.iter().chain(&r.holes) { prop_assert!(is_simple(ring), "{:?}", ring); }
        }

        #[test]
        fn simplified_rings_are_simple_and_keep_the_area(r in 3.0f64..40.0, k in 0.0f64..0.3, n in 1u32..7) {
            let m = Mask::from_fn(90, 90, |x, y| {
                let (u, v) = (x as f64 - 44.5, y as f64 - 44.5);
                u.hypot(v) < r * (1.0 + k * (v.atan2(u) * f64::from(n)).cos())
            });
            let got = region(&m, 2.0);
            for ring in got.polygons.iter().chain(&got.holes) { prop_assert!(is_simple(ring)); }
            let want = 4.0 * m.count() as f64;
            prop_assert!((got.flat_area() - want).abs() <= 0.03 * want + 40.0);
        }
    }
}
