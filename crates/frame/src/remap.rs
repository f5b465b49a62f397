use crate::{Coverage, Frame, Pixels, PixelsError, Samples};
use serrata_words::Point;

/// Draws a frame anew on another grid, picture and coverage together.
///
/// `from` says for a place in the new picture (pixels, edges at integers) which place of the old one is seen there, or
/// `None` where none is. Samples are bilinear between pixel centres; a new pixel is covered only where all old pixels
/// that it is mixed from are covered, and uncovered pixels are 0. Facts of acquisition stay, save the view angle, which
/// the new grid no longer has.
///
/// Generic over the mapping, so that this crate needs to know nothing of spheres: from one projection to another it is
/// `|p| old.to_picture(turn.apply(new.to_direction(p).ok()?)).ok()` with two of `serrata_eye`'s pictures.
///
/// ```
/// use serrata_frame::{remap, Frame, Pixels, Samples};
/// let old = Frame::bare(Pixels::new(2, 1, 1, Samples::U8(vec![10, 20].into())).unwrap());
/// let new = remap(&old, 3, 1, |[x, y]| Some([x - 0.5, y])).unwrap(); // half a pixel to the right
/// assert_eq!(new.pixels.at(1, 0, 0), 15.0 / 255.0);
/// assert!(!new.coverage.at(0, 0) && new.coverage.at(1, 0) && !new.coverage.at(2, 0));
/// ```
///
/// # Errors
/// Where a side of the new grid is zero.
pub fn remap(
    old: &Frame,
    width: u32,
    height: u32,
    from: impl Fn(Point) -> Option<Point>,
) -> Result<Frame, PixelsError> {
    let channels = old.pixels.channels();
    let places: Vec<Option<Mix>> = (0..height)
        .flat_map(|y| (0..width).map(move |x| [f64::from(x) + 0.5, f64::from(y) + 0.5]))
        .map(|p| from(p).and_then(|at| Mix::at(old, at)))
        .collect();
    let samples = match old.pixels.samples() {
        Samples::U8(v) => {
            Samples::U8(draw(v, channels, &places, |s| s.round().clamp(0.0, 255.0) as u8).into())
        }
        Samples::U16(v) => {
            Samples::U16(draw(v, channels, &places, |s| s.round().clamp(0.0, 65535.0) as u16).into())
        }
    };
    let coverage =
        Coverage::from_fn(width, height, |x, y| places[y as usize * width as usize + x as usize].is_some());
    let mut facts = old.facts.clone();
    facts.centre_view_angle_deg = None;
    Ok(Frame { pixels: Pixels::new(width, height, channels, samples)?, coverage, facts })
}

/// Four pixels and how much of each.
struct Mix {
    index: [usize; 4],
    weight: [f32; 4],
}

impl Mix {
    /// `None` where a pixel that counts is not covered, or lies outside.
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // kept to the picture
    fn at(old: &Frame, [x, y]: Point) -> Option<Self> {
        let (w, h) = (old.pixels.width(), old.pixels.height());
        // Half a pixel beyond the outermost centres is still within the picture.
        if !(x >= 0.0 && y >= 0.0 && x <= f64::from(w) && y <= f64::from(h)) {
            return None;
        }
        let split = |p: f64, n: u32| {
            let p = (p - 0.5).clamp(0.0, f64::from(n - 1));
            let low = p.floor() as u32;
            (low, (low + 1).min(n - 1), (p - p.floor()) as f32)
        };
        let ((x0, x1, u), (y0, y1, v)) = (split(x, w), split(y, h));
        let places = [(x0, y0), (x1, y0), (x0, y1), (x1, y1)];
        let weight = [(1.0 - u) * (1.0 - v), u * (1.0 - v), (1.0 - u) * v, u * v];
        let counted = |k: usize| weight[k] <= 0.0 || old.coverage.at(places[k].0, places[k].1);
        (0..4)
            .all(counted)
            .then(|| Self { index: places.map(|(x, y)| y as usize * w as usize + x as usize), weight })
    }
}

fn draw<T: Copy + Into<f32> + Default>(
    old: &[T],
    channels: u8,
    places: &[Option<Mix>],
    to: impl Fn(f32) -> T,
) -> Vec<T> {
    let c = usize::from(channels);
    let mut out = vec![T::default(); places.len() * c];
    for (pixel, place) in out.chunks_exact_mut(c).zip(places) {
        let Some(mix) = place else { continue };
        for (k, sample) in pixel.iter_mut().enumerate() {
            let sum = (0..4).map(|i| mix.weight[i] * old[mix.index[i] * c + k].into()).sum();
            *sample = to(sum);
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn frame(w: u32, h: u32, c: u8) -> Frame {
        let n = w as usize * h as usize * c as usize;
        let v: Vec<u8> = (0..n).map(|i| (i * 37 % 251) as u8).collect();
        Frame::bare(Pixels::new(w, h, c, Samples::U8(v.into())).unwrap())
    }

    proptest! {
        #[test]
        fn the_same_grid_gives_the_same_picture(w in 1u32..30, h in 1u32..30, grey in any::<bool>()) {
            let f = frame(w, h, if grey { 1 } else { 3 });
            prop_assert_eq!(remap(&f, w, h, Some).unwrap(), f);
        }

        /// Turning by a quarter four times is no turn.
        #[test]
        fn four_quarters_come_back(n in 1u32..25) {
            let f = frame(n, n, 3);
            let turn = |f: &Frame| remap(f, n, n, |[x, y]| Some([y, f64::from(n) - x])).unwrap();
            prop_assert_eq!(turn(&turn(&turn(&turn(&f)))), f);
        }
    }

    #[test]
    fn what_was_not_seen_stays_unseen() {
        let mut f = frame(6, 6, 1);
        f.coverage = Coverage::from_fn(6, 6, |x, _| x != 3);
        let moved = remap(&f, 6, 6, |[x, y]| Some([x + 0.25, y])).unwrap();
        let row: Vec<bool> = (0..6).map(|x| moved.coverage.at(x, 0)).collect();
        assert_eq!(row, [true, true, false, false, true, true]);
        assert_eq!(moved.pixels.at(3, 0, 0), 0.0);
        let none = remap(&f, 2, 2, |_| None).unwrap();
        assert_eq!(none.coverage.count(), 0);
        assert!(remap(&f, 2, 2, |_| Some([f64::NAN, 0.0])).unwrap().coverage.count() == 0);
        assert!(remap(&f, 0, 2, Some).is_err());
    }
}
