use super::Footprint;
use super::cell::{Cell, SAMPLES, direction_between, sample, share_of};
use crate::direction::{cross, dot};
use crate::{Direction, RetinalPoint, Rotation, Stereographic, outline};
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
            let inside = is_inside(&all, outside.xyz(), cell.anchor().xyz());
            out.cut(cell, inside, &all);
        }
        out
    }

    /// From a region of a stereographic picture (pixels), with the rotation from its view frame to the retinal
    /// frame. Edges that are straight in the picture are cut into pieces of at most 0.25° at its centre.
    #[must_use]
    pub fn from_region(region: &Region, picture: &Stereographic, to_retina: Rotation) -> Self {
        let o = outline(region, picture, to_retina, 0.25);
        let rings: Vec<Vec<Direction>> = o
            .rings
            .iter()
            .chain(&o.holes)
            .map(|r| r.iter().map(|p: &RetinalPoint| p.to_direction()).collect())
            .collect();
        Self::from_rings(&rings, to_retina.apply(Direction::ANTERIOR))
    }

    /// Fills a cell: `inside` is what holds at its anchor, `edges` are those that may come near.
    fn cut(&mut self, cell: Cell, inside: bool, edges: &[&Edge]) {
        let (centre, radius) = cell.cap();
        let (centre, anchor) = (centre.xyz(), cell.anchor().xyz());
        let near: Vec<&Edge> = edges.iter().copied().filter(|e| e.may_touch(centre, radius)).collect();
        let flips = |to: [f64; 3]| near.iter().filter(|e| e.crosses(anchor, to)).count() % 2 == 1;
        if near.is_empty() {
            if inside {
                self.fill(cell, 255);
            }
        } else if cell.is_leaf() {
            let corners = cell.corners().map(Direction::xyz);
            let mut count = 0;
            for (u, v) in (0..SAMPLES).map(sample) {
                count += usize::from(inside != flips(direction_between(&corners, u, v).xyz()));
            }
            self.fill(cell, share_of(count));
        } else {
            for child in cell.children() {
                self.cut(child, inside != flips(child.anchor().xyz()), &near);
            }
        }
    }
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
