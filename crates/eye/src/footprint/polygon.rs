use super::Footprint;
use super::cell::{Cell, Place, TABLE, between, share_of};
use crate::direction::{cross, dot};
use crate::{Direction, DomainError, Picture, RetinalPoint, Rotation, outline};
use serrata_words::Region;

/// Depth at which the sphere is first cut: 192 cells of 15°, so that few rings meet many of them.
const START: u8 = 2;

/// A great-circle edge of a ring, with what is asked of it often.
struct Edge {
    a: [f64; 3],
    b: [f64; 3],
    normal: [f64; 3],
    middle: [f64; 3],
    half: f64,
}

impl Edge {
    /// `None` where both ends are the same, or opposite: there is no edge, or none that is meant.
    fn new(a: Direction, b: Direction) -> Option<Self> {
        let normal = Direction::new(cross(a.xyz(), b.xyz()))?.xyz();
        let middle = Direction::new(std::array::from_fn(|i| a.xyz()[i] + b.xyz()[i]))?;
        let half = crate::angle_between(a, middle);
        Some(Self { a: a.xyz(), b: b.xyz(), normal, middle: middle.xyz(), half })
    }

    /// Whether the edge may come into a cap; says yes rather too often.
    fn may_touch(&self, centre: [f64; 3], radius: f64) -> bool {
        dot(self.normal, centre).abs() <= radius.sin()
            && dot(self.middle, centre) >= (self.half + radius).min(std::f64::consts::PI).cos()
    }

    /// Whether the edge comes into a cap and ends beyond it at both ends.
    fn goes_through(&self, centre: [f64; 3], radius: f64) -> bool {
        let height = dot(self.normal, centre);
        let foot: [f64; 3] = std::array::from_fn(|i| centre[i] - height * self.normal[i]);
        // The cosine of twice the radius less: a chord of the cap spans no more.
        dot(self.middle, foot) >= (self.half - 2.0 * radius).cos() && self.half > 2.0 * radius
    }

    /// Whether the short arc from `p` to `q` crosses the edge. A point on an arc counts as left of it, so that a
    /// path through a corner crosses one of its two edges or none, never half of each.
    fn crosses(&self, p: [f64; 3], q: [f64; 3]) -> bool {
        let (sp, sq) = (dot(self.normal, p), dot(self.normal, q));
        if (sp >= 0.0) == (sq >= 0.0) {
            return false;
        }
        let n = cross(p, q);
        let (sa, sb) = (dot(n, self.a), dot(n, self.b));
        if (sa >= 0.0) == (sb >= 0.0) {
            return false;
        }
        // Both great circles cut each other's arc; they do so at one place, or at places opposite each other.
        let at: [f64; 3] = std::array::from_fn(|i| self.a[i] * sb.abs() + self.b[i] * sa.abs());
        dot(at, std::array::from_fn(|i| p[i] + q[i])) > 0.0
    }
}

impl Footprint {
    /// From rings of great-circle arcs in the retinal frame, not closed: a point is covered where a path to it from
    /// `outside` crosses the rings an odd number of times. So holes are rings too, in any order and of any
    /// orientation, and regions may be larger than a hemisphere.
    ///
    /// `outside` is a point that is known not to be covered: [`Direction::ANTERIOR`], the pupil, for any retina.
    /// Edges between equal or opposite points are left out; a ring of fewer than three points encloses nothing.
    ///
    /// Example: a ring at 40° about the fovea gives 1.470 sr.
    #[must_use]
    pub fn from_rings(rings: &[Vec<Direction>], outside: Direction) -> Self {
        let edges: Vec<Edge> = rings
            .iter()
            .filter(|r| r.len() > 2)
            .flat_map(|r| (0..r.len()).filter_map(|i| Edge::new(r[i], r[(i + 1) % r.len()])))
            .collect();
        let mut out = Self::empty();
        if edges.is_empty() {
            return out;
        }
        let all: Vec<&Edge> = edges.iter().collect();
        for cell in Cell::all(START) {
            let place = Place::of(cell);
            let inside = is_inside(&all, outside.xyz(), place.anchor);
            out.cut(cell, &place, inside, &all);
        }
        out
    }

    /// From a region of a picture (pixels), with the rotation from its view frame to the retinal frame. Edges that are
    /// straight in the picture are cut into pieces of at most 0.25° at its centre.
    ///
    /// # Errors
    /// Where an edge leaves what the projection shows.
    pub fn from_region(region: &Region, picture: &Picture, to_retina: Rotation) -> Result<Self, DomainError> {
        let o = outline(region, picture, to_retina, 0.25)?;
        let rings: Vec<Vec<Direction>> = o
            .rings
            .iter()
            .chain(&o.holes)
            .map(|r| r.iter().map(|p: &RetinalPoint| p.to_direction()).collect())
            .collect();
        Ok(Self::from_rings(&rings, to_retina.apply(Direction::ANTERIOR)))
    }

    /// Fills a cell: `inside` is what holds at its anchor, `edges` are those that may come near.
    fn cut(&mut self, cell: Cell, place: &Place, inside: bool, edges: &[&Edge]) {
        let near: Vec<&Edge> =
            edges.iter().copied().filter(|e| e.may_touch(place.anchor, place.radius)).collect();
        let flips = |to: [f64; 3]| near.iter().filter(|e| e.crosses(place.anchor, to)).count() % 2 == 1;
        if near.is_empty() {
            if inside {
                self.fill(cell, 255);
            }
        } else if cell.is_leaf() {
            let share = through(place, inside, &near).unwrap_or_else(|| {
                let covered = |s: &(f64, f64)| inside != flips(between(&place.corners, s.0, s.1));
                share_of(TABLE.iter().filter(|s| covered(s)).count())
            });
            self.fill(cell, share);
        } else {
            for child in cell.children() {
                let at = Place::of(child);
                self.cut(child, &at, inside != flips(at.anchor), &near);
            }
        }
    }
}

/// Share of a leaf all of whose edges go right through its cap, or `None` where one does not.
///
/// Then the side of an edge's great circle decides alone, and its height over that circle is known everywhere in the
/// leaf from its corners. (Points between corners need no unit length: only signs are asked of them.)
fn through(place: &Place, inside: bool, near: &[&Edge]) -> Option<u8> {
    if !near.iter().all(|e| e.goes_through(place.anchor, place.radius)) {
        return None;
    }
    // Heights over each circle, counted from the anchor's side.
    let heights: Vec<[[f64; 1]; 4]> = near
        .iter()
        .map(|e| {
            let sign = if dot(e.normal, place.anchor) >= 0.0 { 1.0 } else { -1.0 };
            place.corners.map(|c| [sign * dot(e.normal, c)])
        })
        .filter(|h| h.iter().any(|c| c[0] < 0.0))
        .collect();
    if heights.is_empty() {
        return Some(if inside { 255 } else { 0 });
    }
    let beyond = |s: &(f64, f64)| heights.iter().filter(|h| between(h, s.0, s.1)[0] < 0.0).count() % 2 == 1;
    Some(share_of(TABLE.iter().filter(|s| inside != beyond(s)).count()))
}

/// Even-odd rule along the path from `outside`, in two legs where the two points are nearly opposite.
fn is_inside(edges: &[&Edge], outside: [f64; 3], to: [f64; 3]) -> bool {
    let count = |p, q| edges.iter().filter(|e| e.crosses(p, q)).count();
    if dot(outside, to) > -0.9 {
        return count(outside, to) % 2 == 1;
    }
    // Any third point will do that is far from both.
    let axis = if outside[0].abs() < 0.7 { [1.0, 0.0, 0.0] } else { [0.0, 1.0, 0.0] };
    let by = Direction::new(cross(outside, axis)).map_or(axis, Direction::xyz);
    (count(outside, by) + count(by, to)) % 2 == 1
}
