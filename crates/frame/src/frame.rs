use crate::{Coverage, Pixels, Plane, Samples, with_avx2};
use serrata_words::AcquisitionFacts;
use std::ops::{Add, ControlFlow};

/// One picture: pixels, coverage and acquisition facts. Cloning shares the pixels.
#[derive(Debug, Clone, PartialEq)]
pub struct Frame {
    /// The pixels, as they came.
    pub pixels: Pixels,
    /// Which of them were seen.
    pub coverage: Coverage,
    /// What is known apart from the pixels.
    pub facts: AcquisitionFacts,
}

/// A frame shrunk by a whole number for looking at its large features.
#[derive(Debug, Clone, PartialEq)]
pub struct Working {
    /// How many frame pixels one working pixel spans along each side.
    pub factor: u32,
    /// One plane a channel (1 or 3), values 0 to 1, means over the boxes.
    pub channels: Vec<Plane>,
}

impl Frame {
    /// A frame whose every pixel is covered and of which nothing else is known.
    #[must_use]
    pub fn bare(pixels: Pixels) -> Self {
        let coverage = Coverage::full(pixels.width(), pixels.height());
        Self { pixels, coverage, facts: AcquisitionFacts::default() }
    }

    /// Shrinks by the smallest whole factor that brings the longer side to at most `longest` pixels; a working
    /// pixel is the mean of its box. Rows and columns that do not fill a box are left out.
    ///
    /// ```
    /// use serrata_frame::{Frame, Pixels, Samples};
    /// let p = Pixels::new(4, 2, 1, Samples::U8(vec![0, 255, 0, 0, 255, 0, 0, 0].into())).unwrap();
    /// let w = Frame::bare(p).working(2);
    /// assert_eq!((w.factor, w.channels[0].data.clone()), (2, vec![0.5, 0.0]));
    /// ```
    #[must_use]
    pub fn working(&self, longest: u32) -> Working {
        let mut planes: Vec<Plane> = Vec::new();
        let factor = self.working_rows(longest, &mut |size, rows| {
            if planes.is_empty() {
                let empty =
                    || Plane { width: size.0, height: size.1, data: Vec::with_capacity(size.0 * size.1) };
                planes = rows.iter().map(|_| empty()).collect();
            }
            for (plane, row) in planes.iter_mut().zip(rows) {
                plane.data.extend_from_slice(row);
            }
            ControlFlow::Continue(())
        });
        Working { factor, channels: planes }
    }

    /// [`Frame::working`] row by row from above; `take` is given width and height of the working plane and one row a channel, and
    /// may stop early. Returns the factor.
    ///
    /// ```
    /// use serrata_frame::{Frame, Pixels, Samples};
    /// let p = Pixels::new(4, 4, 1, Samples::U8(vec![255; 16].into())).unwrap();
    /// let mut seen = 0;
    /// Frame::bare(p).working_rows(2, &mut |size, rows| {
    ///     assert_eq!((size, rows), ((2, 2), &[vec![1.0, 1.0]][..]));
    ///     seen += 1;
    ///     std::ops::ControlFlow::Break(())
    /// });
    /// assert_eq!(seen, 1);
    /// ```
    pub fn working_rows(&self, longest: u32, take: &mut TakeRow<'_>) -> u32 {
        let p = &self.pixels;
        let longest = longest.max(1);
        let factor = p.width().max(p.height()).div_ceil(longest).clamp(1, p.width().min(p.height()));
        // Sums of a box's column: as narrow as cannot overflow, for processors add more of those at a time. Of full samples 257 =
        // u16::MAX / u8::MAX just fit into 16 bits, and u32::MAX / u16::MAX = 65,537 into 32: no picture within any limits that
        // we set has so many rows and columns.
        let narrow = factor <= 257;
        match (p.samples(), p.channels()) {
            (Samples::U8(v), 3) if narrow => shrink::<u8, u16, 3>(v, p, factor, 255.0, take),
            (Samples::U8(v), _) if narrow => shrink::<u8, u16, 1>(v, p, factor, 255.0, take),
            (Samples::U8(v), 3) => shrink::<u8, u32, 3>(v, p, factor, 255.0, take),
            (Samples::U8(v), _) => shrink::<u8, u32, 1>(v, p, factor, 255.0, take),
            (Samples::U16(v), 3) => shrink::<u16, u32, 3>(v, p, factor, 65535.0, take),
            (Samples::U16(v), _) => shrink::<u16, u32, 1>(v, p, factor, 65535.0, take),
        }
        factor
    }
}

/// Is given width and height of a working plane and one of its rows, one slice a channel; says whether to go on.
pub type TakeRow<'a> = dyn FnMut((usize, usize), &[Vec<f32>]) -> ControlFlow<()> + 'a;

/// Box means of interleaved samples, row by row. The rows of a box are added first, sample by sample, which is what
/// processors do fastest; then the columns. `S`: sums of a column, `C`: channels of a pixel.
fn shrink<T, S, const C: usize>(v: &[T], p: &Pixels, factor: u32, top: f32, take: &mut TakeRow<'_>)
where
    T: Copy,
    S: Copy + Default + From<T> + Add<Output = S> + Into<u64>,
{
    let f = factor as usize;
    let (w, h) = (p.width() as usize / f, p.height() as usize / f);
    let stride = p.width() as usize * C;
    #[allow(clippy::cast_precision_loss)] // a box has far fewer than 2^24 pixels
    let scale = 1.0 / (top * (f * f) as f32);
    let mut sums = vec![S::default(); stride];
    let mut row = vec![vec![0.0f32; w]; C];
    for rows in v.chunks_exact(f * stride).take(h) {
        with_avx2!(add_rows(&mut sums, rows));
        with_avx2!(box_means::<S, C>(&sums, f, scale, &mut row));
        if take((w, h), &row).is_break() {
            return;
        }
    }
}

/// Sums of the samples above one another.
#[allow(clippy::inline_always)] // see `with_avx2`
#[inline(always)]
fn add_rows<T: Copy, S: Copy + Default + From<T> + Add<Output = S>>(sums: &mut [S], rows: &[T]) {
    let stride = sums.len();
    sums.fill(S::default());
    // Five rows at a time, then two, then one, so that the sums are fetched and stored less often.
    let mut rest = rows;
    while rest.len() >= 5 * stride {
        let (five, more) = rest.split_at(5 * stride);
        let (ab, cde) = five.split_at(2 * stride);
        let ((a, b), (c, de)) = (ab.split_at(stride), cde.split_at(stride));
        let (d, e) = de.split_at(stride);
        for (((((s, a), b), c), d), e) in sums.iter_mut().zip(a).zip(b).zip(c).zip(d).zip(e) {
            *s = *s + (S::from(*a) + S::from(*b)) + (S::from(*c) + S::from(*d)) + S::from(*e);
        }
        rest = more;
    }
    while rest.len() >= 2 * stride {
        let (two, more) = rest.split_at(2 * stride);
        let (a, b) = two.split_at(stride);
        for ((s, a), b) in sums.iter_mut().zip(a).zip(b) {
            *s = *s + S::from(*a) + S::from(*b);
        }
        rest = more;
    }
    for (s, a) in sums.iter_mut().zip(rest) {
        *s = *s + S::from(*a);
    }
}

/// From the sums of columns to the means of boxes of `f` pixels, one row a channel.
#[allow(clippy::inline_always)] // see `with_avx2`
#[inline(always)]
fn box_means<S: Copy + Into<u64>, const C: usize>(sums: &[S], f: usize, scale: f32, to: &mut [Vec<f32>]) {
    for (x, pixels) in sums.chunks_exact(f * C).take(to[0].len()).enumerate() {
        let mut sum = [0u64; C];
        for pixel in pixels.chunks_exact(C) {
            for (s, v) in sum.iter_mut().zip(pixel) {
                *s += (*v).into();
            }
        }
        for (row, sum) in to.iter_mut().zip(sum) {
            // Signed, for processors without AVX-512 have no instruction from unsigned 64 bits to f32; a sum is far below 2^63.
            #[allow(clippy::cast_precision_loss)] // rounding to f32 is meant
            {
                row[x] = sum.cast_signed() as f32 * scale;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// The plain reference: one pixel at a time.
        #[test]
        fn shrinking_equals_the_plain_mean(w in 1u32..30, h in 1u32..30, c in prop::sample::select(vec![1u8, 3]), longest in 1u32..30, seed in any::<u32>()) {
            let n = (w * h * u32::from(c)) as usize;
            let data: Vec<u8> = (0..n).map(|i| ((i as u32).wrapping_mul(2_654_435_761).wrapping_add(seed) >> 24) as u8).collect();
            let f = Frame::bare(Pixels::new(w, h, c, Samples::U8(data.into())).unwrap());
            let got = f.working(longest);
            prop_assert!(got.factor >= 1);
            for (k, plane) in got.channels.iter().enumerate() {
                for y in 0..plane.height { for x in 0..plane.width {
                    let mut sum = 0.0;
                    for j in 0..got.factor { for i in 0..got.factor {
                        sum += f.pixels.at(x as u32 * got.factor + i, y as u32 * got.factor + j, k as u8);
                    } }
                    let want = sum / (got.factor * got.factor) as f32;
                    prop_assert!((plane.at(x, y) - want).abs() < 1e-4);
                } }
            }
        }
    }

    /// One row more than 257 overflows sums of 16 bits.
    #[test]
    fn white_stays_white_at_any_factor() {
        for (side, longest, factor) in
            [(257, 1, 257), (258, 1, 258), (514, 2, 257), (516, 2, 258), (300, 1, 300)]
        {
            for channels in [1u8, 3] {
                let n = (side * side * u32::from(channels)) as usize;
                for white in [Samples::U8(vec![u8::MAX; n].into()), Samples::U16(vec![u16::MAX; n].into())] {
                    let w = Frame::bare(Pixels::new(side, side, channels, white).unwrap()).working(longest);
                    assert_eq!((w.factor, w.channels.len()), (factor, usize::from(channels)));
                    for v in w.channels.iter().flat_map(|c| &c.data) {
                        assert!((v - 1.0).abs() < 1e-6, "{side} by {factor}: {v}");
                    }
                }
            }
        }
    }

    #[test]
    fn rows_add_up_to_the_same_bits_with_avx2_and_without() {
        let stride = 3 * 101;
        // Five, two and one at a time.
        for n in 1..12usize {
            let rows: Vec<u8> =
                (0..n * stride).map(|i| ((i as u32).wrapping_mul(2_654_435_761) >> 24) as u8).collect();
            let (mut plain, mut fast) = (vec![0u16; stride], vec![7u16; stride]);
            add_rows(&mut plain, &rows);
            with_avx2!(add_rows(&mut fast, &rows));
            let one_by_one =
                |x: usize| rows.iter().skip(x).step_by(stride).map(|v| u16::from(*v)).sum::<u16>();
            assert_eq!(plain, (0..stride).map(one_by_one).collect::<Vec<_>>(), "{n}");
            assert_eq!(plain, fast, "{n}");
            let (mut a, mut b) = (vec![vec![0.0f32; 20]; 3], vec![vec![0.0f32; 20]; 3]);
            box_means::<u16, 3>(&plain, 5, 0.013, &mut a);
            with_avx2!(box_means::<u16, 3>(&plain, 5, 0.013, &mut b));
            assert_eq!(a, b, "{n}");
        }
    }
}
