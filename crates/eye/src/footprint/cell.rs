use super::Footprint;
use crate::direction::dot;
use crate::{Direction, angle_between};
use cdshealpix::nested;
use std::ops::Range;

/// A cell of the grid at any depth up to that of footprints.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Cell {
    depth: u8,
    number: u64,
}

/// The grid's index of the cell in which a direction lies.
pub(super) fn index_of(d: Direction) -> usize {
    let lon = d.y().atan2(d.x()).rem_euclid(std::f64::consts::TAU);
    let lat = d.z().atan2(d.x().hypot(d.y()));
    usize::try_from(nested::hash(Footprint::DEPTH, lon, lat)).unwrap_or(0)
}

fn direction((lon, lat): (f64, f64)) -> Direction {
    let ((sl, cl), (sp, cp)) = (lon.sin_cos(), lat.sin_cos());
    Direction::unit([cp * cl, cp * sl, sp])
}

impl Cell {
    /// The cells of a coarse depth that cover the sphere.
    pub(super) fn all(depth: u8) -> impl Iterator<Item = Self> {
        (0..nested::n_hash(depth)).map(move |number| Self { depth, number })
    }

    /// Whether this is a cell of the footprints' grid, which is not cut further.
    pub(super) const fn is_leaf(self) -> bool {
        self.depth >= Footprint::DEPTH
    }

    /// The four cells in it.
    pub(super) fn children(self) -> impl Iterator<Item = Self> {
        (0..4).map(move |k| Self { depth: self.depth + 1, number: 4 * self.number + k })
    }

    /// The cells of the grid in it, by index.
    pub(super) fn range(self) -> Range<usize> {
        let shift = 2 * u32::from(Footprint::DEPTH - self.depth);
        let at = |n: u64| usize::try_from(n << shift).unwrap_or(Footprint::CELLS);
        at(self.number)..at(self.number + 1)
    }

    pub(super) fn centre(self) -> Direction {
        direction(nested::center(self.depth, self.number))
    }

    /// A point in the cell that lies on no meridian or parallel that a ring is likely to follow, nor on its corners.
    pub(super) fn anchor(self) -> Direction {
        direction_between(&self.corners().map(Direction::xyz), 0.463_721, 0.541_853)
    }

    /// South, east, north and west corner.
    pub(super) fn corners(self) -> [Direction; 4] {
        nested::vertices(self.depth, self.number).map(direction)
    }

    /// Centre and radius (radians) of a cap that holds the cell. Its sides bulge a little beyond the corners' cap
    /// near the grid's poles, hence the margin.
    pub(super) fn cap(self) -> (Direction, f64) {
        let centre = self.centre();
        let far = self.corners().iter().map(|c| angle_between(centre, *c)).fold(0.0, f64::max);
        (centre, 1.15 * far)
    }
}

/// Points of a leaf at which it is asked what is covered, some 0.015° apart.
pub(super) const SAMPLES: usize = SIDE * SIDE;
const SIDE: usize = 16;

/// The k-th sample of a leaf, as shares along its sides: 16 × 16 places, each moved within its place by the other
/// coordinate's bits reversed. So they lie on few common lines and are symmetric about the middle. On a plain lattice
/// all cells along a circle about the fovea err the same way: 1e-3 of a cap of 15° with 8 × 8 of them.
#[allow(clippy::cast_precision_loss, clippy::cast_possible_truncation)] // below 256
pub(super) const fn sample(k: usize) -> (f64, f64) {
    const fn moved(by: usize) -> f64 {
        (((by as u8).reverse_bits() >> 4) as f64 + 0.5) / SIDE as f64
    }
    let (i, j) = (k % SIDE, k / SIDE % SIDE);
    ((i as f64 + moved(j)) / SIDE as f64, (j as f64 + moved(i)) / SIDE as f64)
}

/// Between four corners (south, east, north, west), by the shares along south–east and south–west.
pub(super) fn between<const N: usize>(corners: &[[f64; N]; 4], u: f64, v: f64) -> [f64; N] {
    let [s, e, n, w] = corners;
    std::array::from_fn(|i| {
        (1.0 - u) * (1.0 - v) * s[i] + u * (1.0 - v) * e[i] + u * v * n[i] + (1.0 - u) * v * w[i]
    })
}

/// The direction between four corners of a small cell.
pub(super) fn direction_between(corners: &[[f64; 3]; 4], u: f64, v: f64) -> Direction {
    let d = between(corners, u, v);
    let n = dot(d, d).sqrt();
    Direction::unit(d.map(|c| c / n))
}

/// A count of samples as a share in 255ths.
#[allow(clippy::cast_possible_truncation)] // at most 255
pub(super) const fn share_of(count: usize) -> u8 {
    ((count * 255 + SAMPLES / 2) / SAMPLES) as u8
}
