//! The part of the retina that frames show, on an equal-area grid of the sphere.

mod bytes;
mod cell;
mod mask;
mod polygon;
mod reach;

pub use bytes::FootprintBytesError;
pub use mask::PixelMask;
pub use reach::{QuadrantReach, Sector};

use crate::Direction;
use cell::Cell;

/// The part of the retina that one or more frames show: the covered share of each cell of a HEALPix grid.
///
/// nside 256, nested order, retinal frame: the grid's north pole is the fovea and its longitude is the meridian, so
/// that footprints from any store can be united. There are 786 432 cells of equal area, 1.598e-5 sr (2.3 mm² per
/// 1000 cells at R = 12 mm), about 0.23° wide. A share is a whole number of 255ths.
///
/// Grid: Górski et al., Astrophys J 2005;622:759, by way of the `cdshealpix` crate.
///
/// ```
/// use serrata_eye::{cap_area_sr, Direction, Footprint, RetinalPoint};
/// let at = |m: u32| RetinalPoint { eccentricity_deg: 40.0, meridian_deg: f64::from(m) }.to_direction();
/// let ring: Vec<Direction> = (0..360).map(at).collect();
/// let f = Footprint::from_rings(&[ring], Direction::ANTERIOR);
/// assert!((f.area_sr() / cap_area_sr(40f64.to_radians()) - 1.0).abs() < 5e-4); // 1.47 sr
/// assert!((f.reach_per_clock_hour()[0] - 40.0).abs() < 0.3);
/// ```
#[derive(Clone, PartialEq, Eq)]
pub struct Footprint {
    cells: Box<[u8]>,
}

impl std::fmt::Debug for Footprint {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Footprint({:.6} sr)", self.area_sr())
    }
}

impl Default for Footprint {
    fn default() -> Self {
        Self::empty()
    }
}

impl Footprint {
    /// Cells along the side of one of the 12 base cells.
    pub const NSIDE: u32 = 256;
    /// The grid's depth: nside = 2^depth.
    pub const DEPTH: u8 = 8;
    /// Number of cells on the whole sphere: 12 · 256².
    pub const CELLS: usize = 12 * 256 * 256;
    /// Area of each cell in steradians: 4π/786 432 = 1.597 918 2e-5.
    pub const CELL_SR: f64 = 4.0 * std::f64::consts::PI / Self::CELLS as f64;

    /// Nothing is seen: 0 sr.
    #[must_use]
    pub fn empty() -> Self {
        Self { cells: vec![0; Self::CELLS].into_boxed_slice() }
    }

    /// From the covered share of every cell in 255ths, nested order, or `None` where there are not
    /// [`Self::CELLS`] of them.
    #[must_use]
    pub fn from_cells(cells: Vec<u8>) -> Option<Self> {
        (cells.len() == Self::CELLS).then(|| Self { cells: cells.into_boxed_slice() })
    }

    /// The covered share of every cell in 255ths, in nested order.
    #[must_use]
    pub fn cells(&self) -> &[u8] {
        &self.cells
    }

    /// The covered share, 0 to 1, of the cell in which a direction of the retinal frame lies.
    #[must_use]
    pub fn share_at(&self, d: Direction) -> f64 {
        f64::from(self.cells[cell::index_of(d)]) / 255.0
    }

    /// The area that is seen, in steradians; times R² it is mm² ([`crate::Measure::area`]).
    ///
    /// Within 5e-4 of the truth for regions beyond 30° across (held against closed forms in the tests).
    #[must_use]
    pub fn area_sr(&self) -> f64 {
        let sum: u64 = self.cells.iter().map(|c| u64::from(*c)).sum();
        #[allow(clippy::cast_precision_loss)] // at most 2^28
        let sum = sum as f64;
        sum / 255.0 * Self::CELL_SR
    }

    /// Whether nothing is seen: all shares are 0.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.cells.iter().all(|c| *c == 0)
    }

    /// What either footprint shows. Example: of the shares 100 and 255, 255.
    ///
    /// Of two partial shares the larger counts. So uniting is idempotent and its order does not matter, and
    /// area(A ∪ B) + area(A ∩ B) = area(A) + area(B) exactly; the price is a cell's width of error where two borders
    /// run in the same cell.
    #[must_use]
    pub fn union(&self, other: &Self) -> Self {
        self.with(other, u8::max)
    }

    /// What both footprints show: the smaller of two shares. Example: of 100 and 255, 100.
    #[must_use]
    pub fn intersection(&self, other: &Self) -> Self {
        self.with(other, u8::min)
    }

    /// What this footprint shows and the other does not: the share minus the other's, 0 at least. Example: 255 less 100 is
    /// 155.
    #[must_use]
    pub fn difference(&self, other: &Self) -> Self {
        self.with(other, u8::saturating_sub)
    }

    /// Adds to this footprint what another shows; as [`Self::union`], in place. Example: a frame of 6 sr added to itself stays
    /// 6 sr.
    pub fn add(&mut self, other: &Self) {
        for (a, b) in self.cells.iter_mut().zip(&other.cells) {
            *a = (*a).max(*b);
        }
    }

    fn with(&self, other: &Self, f: impl Fn(u8, u8) -> u8) -> Self {
        Self { cells: self.cells.iter().zip(&other.cells).map(|(a, b)| f(*a, *b)).collect() }
    }

    /// Sets a cell of any depth, and so all cells of the grid in it, to one share.
    fn fill(&mut self, cell: Cell, share: u8) {
        self.cells[cell.range()].fill(share);
    }
}

#[cfg(test)]
mod tests;
