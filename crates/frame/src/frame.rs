use crate::{Coverage, Pixels, Plane, Samples};
use serrata_words::AcquisitionFacts;

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
        let p = &self.pixels;
        let longest = longest.max(1);
        let factor = p.width().max(p.height()).div_ceil(longest).clamp(1, p.width().min(p.height()));
        let channels = match p.samples() {
            Samples::U8(v) if p.channels() == 3 => shrink::<u8, 3>(v, p, factor, 255.0),
            Samples::U8(v) => shrink::<u8, 1>(v, p, factor, 255.0),
            Samples::U16(v) if p.channels() == 3 => shrink::<u16, 3>(v, p, factor, 65535.0),
            Samples::U16(v) => shrink::<u16, 1>(v, p, factor, 65535.0),
        };
        Working { factor, channels }
    }
}

/// Box means of interleaved samples, one plane a channel. The rows of a box are added first, sample by sample, which
/// is what processors do fastest; then the columns. `C`: channels of a pixel.
fn shrink<T: Copy + Into<u32>, const C: usize>(v: &[T], p: &Pixels, factor: u32, top: f32) -> Vec<Plane> {
    let f = factor as usize;
    let (w, h) = (p.width() as usize / f, p.height() as usize / f);
    let stride = p.width() as usize * C;
    #[allow(clippy::cast_precision_loss)] // a box has far fewer than 2^24 pixels
    let scale = 1.0 / (top * (f * f) as f32);
    let mut planes = vec![Plane::new(w, h, 0.0); C];
    let mut sums = vec![0u32; stride];
    for y in 0..h {
        sums.fill(0);
        // Four rows at a time, so that the sums are fetched and stored less often. At most 65535 rows of 65535: no wrap.
        let mut fours = v[y * f * stride..(y + 1) * f * stride].chunks_exact(4 * stride);
        for rows in &mut fours {
            let (ab, cd) = rows.split_at(2 * stride);
            let ((a, b), (c, d)) = (ab.split_at(stride), cd.split_at(stride));
            for ((((s, a), b), c), d) in sums.iter_mut().zip(a).zip(b).zip(c).zip(d) {
                let (a, b, c, d): (u32, u32, u32, u32) = ((*a).into(), (*b).into(), (*c).into(), (*d).into());
                *s = s.wrapping_add(a.wrapping_add(b).wrapping_add(c).wrapping_add(d));
            }
        }
        for row in fours.remainder().chunks_exact(stride) {
            for (s, v) in sums.iter_mut().zip(row) {
                *s = s.wrapping_add((*v).into());
            }
        }
        for (x, pixels) in sums.chunks_exact(f * C).take(w).enumerate() {
            let mut sum = [0u64; C];
            for pixel in pixels.chunks_exact(C) {
                for (s, v) in sum.iter_mut().zip(pixel) {
                    *s += u64::from(*v);
                }
            }
            for (plane, sum) in planes.iter_mut().zip(sum) {
                #[allow(clippy::cast_precision_loss)] // rounding to f32 is meant
                {
                    plane.data[y * w + x] = sum as f32 * scale;
                }
            }
        }
    }
    planes
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
}
