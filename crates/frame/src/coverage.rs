use std::sync::Arc;

/// Which pixels of a picture were really seen: one bit a pixel, or all of them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Coverage {
    width: u32,
    height: u32,
    /// `None`: every pixel is covered.
    bits: Option<Arc<Vec<u64>>>,
}

impl Coverage {
    /// Every pixel is covered.
    #[must_use]
    pub const fn full(width: u32, height: u32) -> Self {
        Self { width, height, bits: None }
    }

    /// Covered where `f(x, y)` says so.
    #[must_use]
    pub fn from_fn(width: u32, height: u32, f: impl Fn(u32, u32) -> bool) -> Self {
        let n = width as usize * height as usize;
        let mut bits = vec![0u64; n.div_ceil(64)];
        for y in 0..height {
            for x in 0..width {
                if f(x, y) {
                    let i = y as usize * width as usize + x as usize;
                    bits[i / 64] |= 1 << (i % 64);
                }
            }
        }
        Self { width, height, bits: Some(Arc::new(bits)) }
    }

    /// Whether a pixel is covered; outside the picture nothing is.
    #[must_use]
    pub fn at(&self, x: u32, y: u32) -> bool {
        if x >= self.width || y >= self.height {
            return false;
        }
        let i = y as usize * self.width as usize + x as usize;
        self.bits.as_ref().is_none_or(|b| b[i / 64] >> (i % 64) & 1 == 1)
    }

    /// Whether every pixel is covered.
    #[must_use]
    pub fn is_full(&self) -> bool {
        self.count() == u64::from(self.width) * u64::from(self.height)
    }

    /// How many pixels are covered.
    #[must_use]
    pub fn count(&self) -> u64 {
        self.bits.as_ref().map_or(u64::from(self.width) * u64::from(self.height), |b| {
            b.iter().map(|w| u64::from(w.count_ones())).sum()
        })
    }

    /// Width in pixels.
    #[must_use]
    pub const fn width(&self) -> u32 {
        self.width
    }

    /// Height in pixels.
    #[must_use]
    pub const fn height(&self) -> u32 {
        self.height
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn bits_say_what_the_function_said(w in 1u32..40, h in 1u32..40, k in 2u32..7) {
            let said = |x: u32, y: u32| (x * 3 + y * 5).is_multiple_of(k);
            let c = Coverage::from_fn(w, h, said);
            let mut n = 0;
            for y in 0..h { for x in 0..w {
                prop_assert_eq!(c.at(x, y), said(x, y));
                n += u64::from(said(x, y));
            } }
            prop_assert_eq!(c.count(), n);
            prop_assert!(!c.at(w, 0) && !c.at(0, h));
        }
    }

    #[test]
    fn full_is_full() {
        assert!(Coverage::full(3, 2).is_full());
        assert_eq!(Coverage::full(3, 2).count(), 6);
    }
}
