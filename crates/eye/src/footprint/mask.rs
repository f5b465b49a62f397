use super::Footprint;
use super::cell::{Cell, TABLE, between, direction_between, share_of};
use crate::{Direction, Rotation, Stereographic};
use serrata_words::Point;
use std::borrow::Cow;

/// Pixels of a picture that are covered: one bit each, row after row, bit i in word i/64 at i mod 64.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PixelMask<'a> {
    width: u32,
    height: u32,
    bits: Cow<'a, [u64]>,
}

impl<'a> PixelMask<'a> {
    /// From bits as they lie in memory, or `None` where they are too few for the size. A frame's coverage has this
    /// order. Example: 100 × 40 pixels want 63 words.
    #[must_use]
    pub fn from_bits(width: u32, height: u32, bits: &'a [u64]) -> Option<Self> {
        let n = u64::from(width) * u64::from(height);
        (bits.len() as u64 * 64 >= n).then_some(Self { width, height, bits: Cow::Borrowed(bits) })
    }

    /// Covered where `f(x, y)` says so. Example: `|x, y| x < y` covers 6 of 4 × 4 pixels.
    #[must_use]
    pub fn from_fn(width: u32, height: u32, f: impl Fn(u32, u32) -> bool) -> Self {
        let mut bits = vec![0u64; (width as usize * height as usize).div_ceil(64)];
        let mut i = 0;
        for y in 0..height {
            for x in 0..width {
                if f(x, y) {
                    bits[i / 64] |= 1 << (i % 64);
                }
                i += 1;
            }
        }
        Self { width, height, bits: Cow::Owned(bits) }
    }

    /// Width in pixels. Example: 3900.
    #[must_use]
    pub const fn width(&self) -> u32 {
        self.width
    }

    /// Height in pixels. Example: 3072.
    #[must_use]
    pub const fn height(&self) -> u32 {
        self.height
    }

    /// Whether a pixel is covered, counted from (0, 0) at the upper left; outside the picture nothing is.
    #[must_use]
    pub fn at(&self, x: i64, y: i64) -> bool {
        if x < 0 || y < 0 || x >= i64::from(self.width) || y >= i64::from(self.height) {
            return false;
        }
        let i = u64::try_from(y * i64::from(self.width) + x).unwrap_or(0);
        usize::try_from(i / 64).is_ok_and(|w| self.bits[w] >> (i % 64) & 1 == 1)
    }

    /// How many of up to 64 pixels of a row are covered.
    pub(crate) fn count_row(&self, y: u32, x: u32, n: u32) -> u32 {
        let i = y as usize * self.width as usize + x as usize;
        let (word, shift) = (i / 64, i % 64);
        let mut bits = self.bits[word] >> shift;
        if shift > 0 && shift + n as usize > 64 {
            bits |= self.bits[word + 1] << (64 - shift);
        }
        if n < 64 {
            bits &= (1 << n) - 1;
        }
        bits.count_ones()
    }
}

/// Side of the blocks of pixels that are counted beforehand.
const BLOCK: u32 = 8;

/// Sums over blocks of pixels, from the upper left: answers whether a part of the picture is all covered or all not.
struct Blocks {
    across: usize,
    down: usize,
    sums: Vec<u32>,
    size: [i64; 2],
}

/// What a part of a picture holds.
#[derive(PartialEq, Eq)]
enum Holds {
    Nothing,
    Everything,
    Both,
}

impl Blocks {
    fn new(mask: &PixelMask<'_>) -> Self {
        let across = mask.width.div_ceil(BLOCK) as usize;
        let down = mask.height.div_ceil(BLOCK) as usize;
        let mut sums = vec![0u32; (across + 1) * (down + 1)];
        let mut rows = vec![0u32; across];
        for by in 0..down {
            rows.fill(0);
            let top = by as u32 * BLOCK;
            for y in top..(top + BLOCK).min(mask.height) {
                for (bx, count) in rows.iter_mut().enumerate() {
                    let x = bx as u32 * BLOCK;
                    *count += mask.count_row(y, x, BLOCK.min(mask.width - x));
                }
            }
            let mut run = 0;
            for (bx, count) in rows.iter().enumerate() {
                run += count;
                sums[(by + 1) * (across + 1) + bx + 1] = sums[by * (across + 1) + bx + 1] + run;
            }
        }
        Self { across, down, sums, size: [i64::from(mask.width), i64::from(mask.height)] }
    }

    /// What a box of the picture holds, or `Both` where whole blocks do not tell.
    fn ask(&self, low: Point, high: Point) -> Holds {
        let block = |p: f64, blocks: usize| {
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // kept to 0..=blocks
            let b = (p / f64::from(BLOCK)).clamp(0.0, blocks as f64) as usize;
            b
        };
        let (x0, y0) = (block(low[0].floor(), self.across), block(low[1].floor(), self.down));
        let (x1, y1) = (
            block(
                (high[0] / f64::from(BLOCK)).floor().mul_add(f64::from(BLOCK), f64::from(BLOCK)),
                self.across,
            ),
            block(
                (high[1] / f64::from(BLOCK)).floor().mul_add(f64::from(BLOCK), f64::from(BLOCK)),
                self.down,
            ),
        );
        if x1 <= x0 || y1 <= y0 {
            return Holds::Nothing;
        }
        let at = |x: usize, y: usize| i64::from(self.sums[y * (self.across + 1) + x]);
        let sum = at(x1, y1) - at(x0, y1) - at(x1, y0) + at(x0, y0);
        let pixels = |a: usize, b: usize, size: i64| {
            (b as i64 * i64::from(BLOCK)).min(size) - a as i64 * i64::from(BLOCK)
        };
        let whole = pixels(x0, x1, self.size[0]) * pixels(y0, y1, self.size[1]);
        let within =
            low[0] >= 0.0 && low[1] >= 0.0 && high[0] < self.size[0] as f64 && high[1] < self.size[1] as f64;
        match sum {
            0 => Holds::Nothing,
            s if s == whole && within => Holds::Everything,
            _ => Holds::Both,
        }
    }
}

/// Depth at which the sphere is first cut: cells of 3.7°, in which any projection is nearly linear.
const START: u8 = 4;
/// How far from the middle of its corners a cell's centre may lie in the picture, as a share of the cell's size
/// there, for the picture to count as nearly linear in it.
const BENT: f64 = 0.15;

struct Painter<'a, F> {
    mask: &'a PixelMask<'a>,
    blocks: Blocks,
    to_picture: F,
    out: Footprint,
}

impl Footprint {
    /// From the covered pixels of a stereographic picture, with the rotation from its view frame to the retinal
    /// frame.
    ///
    /// Cells that lie in wholly covered or wholly uncovered blocks of pixels are settled together; only those at a
    /// border are looked at closely, at 256 points each.
    ///
    /// Example: a picture of 400 × 400 pixels of 0.5° that is covered all over gives 6.119 sr.
    #[must_use]
    pub fn from_mask(mask: &PixelMask<'_>, picture: &Stereographic, to_retina: Rotation) -> Self {
        let back = to_retina.inverse();
        Self::from_mask_by(mask, |d| {
            let p = picture.to_picture(back.apply(d));
            (p[0].is_finite() && p[1].is_finite()).then_some(p)
        })
    }

    /// From the covered pixels of any picture: `to_picture` says where a direction of the retinal frame lies in it
    /// (pixels, edges at integers), or `None` where it has no image. Example: an empty mask gives 0 sr.
    #[must_use]
    pub fn from_mask_by(mask: &PixelMask<'_>, to_picture: impl Fn(Direction) -> Option<Point>) -> Self {
        let mut painter = Painter { mask, blocks: Blocks::new(mask), to_picture, out: Self::empty() };
        if mask.width > 0 && mask.height > 0 {
            for cell in Cell::all(START) {
                painter.paint(cell);
            }
        }
        painter.out
    }
}

impl<F: Fn(Direction) -> Option<Point>> Painter<'_, F> {
    fn paint(&mut self, cell: Cell) {
        let corners = cell.corners();
        let image = self.image(cell, &corners);
        if let Some((image, low, high)) = &image {
            match self.blocks.ask(*low, *high) {
                Holds::Nothing => return,
                Holds::Everything => return self.out.fill(cell, 255),
                Holds::Both if cell.is_leaf() => {
                    if let Some(share) = self.even(image) {
                        return self.out.fill(cell, share);
                    }
                    let count = self.count(|u, v| Some(between(image, u, v)));
                    return self.out.fill(cell, share_of(count));
                }
                Holds::Both => {}
            }
        }
        if cell.is_leaf() {
            let xyz = corners.map(Direction::xyz);
            let count = self.count(|u, v| (self.to_picture)(direction_between(&xyz, u, v)));
            self.out.fill(cell, share_of(count));
        } else {
            for child in cell.children() {
                self.paint(child);
            }
        }
    }

    /// The corners in the picture and a box that holds the cell there, or `None` where the picture is not nearly
    /// linear in the cell: near the point opposite the centre, or at the end of a projection's domain.
    fn image(&self, cell: Cell, corners: &[Direction; 4]) -> Option<([Point; 4], Point, Point)> {
        let mut image = [[0.0; 2]; 4];
        for (to, c) in image.iter_mut().zip(corners) {
            *to = (self.to_picture)(*c)?;
        }
        let centre = (self.to_picture)(cell.centre())?;
        let end = |i: usize, f: fn(f64, f64) -> f64| image.iter().map(|p| p[i]).fold(image[0][i], f);
        let (low, high) = ([end(0, f64::min), end(1, f64::min)], [end(0, f64::max), end(1, f64::max)]);
        let size = (high[0] - low[0]).max(high[1] - low[1]);
        let middle = |i: usize| image.iter().map(|p| p[i]).sum::<f64>() / 4.0;
        let off = (middle(0) - centre[0]).hypot(middle(1) - centre[1]);
        let margin = 0.25 * size + 1.0;
        (off <= BENT * size).then(|| (image, low.map(|c| c - margin), high.map(|c| c + margin)))
    }

    /// The share of a leaf whose pixels are all alike, by a look at each row of them; `None` where they differ.
    fn even(&self, image: &[Point; 4]) -> Option<u8> {
        let end = |i: usize, f: fn(f64, f64) -> f64| image.iter().map(|p| p[i]).fold(image[0][i], f).floor();
        let [x0, y0, x1, y1] = [end(0, f64::min), end(1, f64::min), end(0, f64::max), end(1, f64::max)];
        if x0 < 0.0
            || y0 < 0.0
            || x1 >= f64::from(self.mask.width)
            || y1 >= f64::from(self.mask.height)
            || x1 - x0 > 63.0
        {
            return None;
        }
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // within the picture
        let [x0, y0, x1, y1] = [x0 as u32, y0 as u32, x1 as u32, y1 as u32];
        let n = x1 - x0 + 1;
        let first = self.mask.count_row(y0, x0, n);
        let alike =
            (first == 0 || first == n) && (y0 + 1..=y1).all(|y| self.mask.count_row(y, x0, n) == first);
        alike.then_some(if first == 0 { 0 } else { 255 })
    }

    fn count(&self, at: impl Fn(f64, f64) -> Option<Point>) -> usize {
        let mut count = 0;
        for p in TABLE.iter().filter_map(|(u, v)| at(*u, *v)) {
            #[allow(clippy::cast_possible_truncation)] // a cast keeps to the ends, which lie outside
            let (x, y) = (p[0].floor() as i64, p[1].floor() as i64);
            count += usize::from(self.mask.at(x, y));
        }
        count
    }
}
