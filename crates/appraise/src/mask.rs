//! Yes-or-no planes and what is done with them.

/// A yes-or-no plane, rows from top to bottom.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Mask {
    pub(crate) width: usize,
    pub(crate) height: usize,
    pub(crate) data: Vec<bool>,
}

impl Mask {
    pub(crate) fn new(width: usize, height: usize, value: bool) -> Self {
        Self { width, height, data: vec![value; width * height] }
    }

    pub(crate) fn from_fn(width: usize, height: usize, f: impl Fn(usize, usize) -> bool) -> Self {
        let mut data = Vec::with_capacity(width * height);
        for y in 0..height {
            data.extend((0..width).map(|x| f(x, y)));
        }
        Self { width, height, data }
    }

    pub(crate) fn at(&self, x: usize, y: usize) -> bool {
        self.data[y * self.width + x]
    }

    pub(crate) fn count(&self) -> usize {
        self.data.iter().filter(|b| **b).count()
    }

    /// Pixels that are set, as a share of those of `whole`; 0 where `whole` is empty.
    pub(crate) fn share_of(&self, whole: &Self) -> f64 {
        let n = whole.count();
        if n == 0 { 0.0 } else { self.count() as f64 / n as f64 }
    }

    /// The share of the pixels set here that are set in `other` too; 0 where none is set here.
    pub(crate) fn shared_with(&self, other: &Self) -> f64 {
        let both = self.data.iter().zip(&other.data).filter(|(a, b)| **a && **b).count();
        let n = self.count();
        if n == 0 { 0.0 } else { both as f64 / n as f64 }
    }

    pub(crate) fn and(&self, other: &Self) -> Self {
        self.zip(other, |a, b| a && b)
    }

    pub(crate) fn and_not(&self, other: &Self) -> Self {
        self.zip(other, |a, b| a && !b)
    }

    fn zip(&self, other: &Self, f: impl Fn(bool, bool) -> bool) -> Self {
        let data = self.data.iter().zip(&other.data).map(|(a, b)| f(*a, *b)).collect();
        Self { width: self.width, height: self.height, data }
    }

    /// Set pixels that hang together (by edges) with a set pixel for which `seed` holds.
    pub(crate) fn connected_to(&self, seed: impl Fn(usize, usize) -> bool) -> Self {
        let (w, h) = (self.width, self.height);
        let mut out = Self::new(w, h, false);
        let mut work = Vec::new();
        for y in 0..h {
            for x in 0..w {
                if self.at(x, y) && !out.at(x, y) && seed(x, y) {
                    work.push((x, y));
                }
                // Run by run: the whole row about a pixel at once, then what lies above and below it.
                while let Some((x, y)) = work.pop() {
                    let row = &self.data[y * w..(y + 1) * w];
                    if out.at(x, y) {
                        continue;
                    }
                    let from = row[..x].iter().rposition(|b| !*b).map_or(0, |i| i + 1);
                    let to = row[x..].iter().position(|b| !*b).map_or(w, |i| i + x);
                    out.data[y * w + from..y * w + to].fill(true);
                    for next in [y.checked_sub(1), Some(y + 1).filter(|j| *j < h)].into_iter().flatten() {
                        let open = |i: usize| self.at(i, next) && !out.at(i, next);
                        work.extend(
                            (from..to)
                                .filter(|i| open(*i) && (*i == from || !open(*i - 1)))
                                .map(|i| (i, next)),
                        );
                    }
                }
            }
        }
        out
    }

    /// Set pixels that hang together with the picture's border.
    pub(crate) fn connected_to_border(&self) -> Self {
        let (w, h) = (self.width, self.height);
        self.connected_to(|x, y| x == 0 || y == 0 || x + 1 == w || y + 1 == h)
    }

    /// The pixels that are not set.
    pub(crate) fn inverse(&self) -> Self {
        Self { width: self.width, height: self.height, data: self.data.iter().map(|b| !b).collect() }
    }

    /// Pixels in whose window of `2·reach + 1` along both axes at least one pixel is set.
    pub(crate) fn dilated(&self, reach: usize) -> Self {
        let (w, h) = (self.width, self.height);
        let mut out = Self::new(w, h, false);
        // Set pixels in each column's part of the window; below 2^16 in any picture's working plane.
        let mut counts = vec![0u16; w];
        let add = |counts: &mut [u16], y: usize| {
            for (c, set) in counts.iter_mut().zip(&self.data[y * w..(y + 1) * w]) {
                *c += u16::from(*set);
            }
        };
        for y in 0..reach.min(h) {
            add(&mut counts, y);
        }
        for y in 0..h {
            if y + reach < h {
                add(&mut counts, y + reach);
            }
            if y > reach {
                for (c, set) in counts.iter_mut().zip(&self.data[(y - reach - 1) * w..(y - reach) * w]) {
                    *c -= u16::from(*set);
                }
            }
            let row = &mut out.data[y * w..(y + 1) * w];
            let mut x = 0;
            while let Some(start) = counts[x..].iter().position(|c| *c > 0).map(|i| i + x) {
                x = counts[start..].iter().position(|c| *c == 0).map_or(w, |i| i + start);
                row[start.saturating_sub(reach)..(x + reach).min(w)].fill(true);
            }
        }
        out
    }

    /// Pixels whose whole window of `2·reach + 1` along both axes, cut at the border, is set.
    pub(crate) fn eroded(&self, reach: usize) -> Self {
        self.inverse().dilated(reach).inverse()
    }

    /// Parts that hang together by edges, as lists of indices; largest first, ties in order of rows.
    pub(crate) fn parts(&self) -> Vec<Vec<usize>> {
        let (w, h) = (self.width, self.height);
        let mut parts = Vec::new();
        if !self.data.contains(&true) {
            return parts;
        }
        let mut seen = vec![false; w * h];
        for start in 0..w * h {
            if !self.data[start] || seen[start] {
                continue;
            }
            seen[start] = true;
            let mut part = vec![start];
            let mut k = 0;
            while k < part.len() {
                let (x, y) = (part[k] % w, part[k] / w);
                k += 1;
                let mut visit = |i: usize| {
                    if self.data[i] && !seen[i] {
                        seen[i] = true;
                        part.push(i);
                    }
                };
                if x > 0 {
                    visit(y * w + x - 1);
                }
                if x + 1 < w {
                    visit(y * w + x + 1);
                }
                if y > 0 {
                    visit((y - 1) * w + x);
                }
                if y + 1 < h {
                    visit((y + 1) * w + x);
                }
            }
            parts.push(part);
        }
        parts.sort_by_key(|p| (std::cmp::Reverse(p.len()), p[0]));
        parts
    }

    /// Only the parts with at least `least` pixels.
    pub(crate) fn without_specks(&self, least: usize) -> Self {
        let mut out = Self::new(self.width, self.height, false);
        for part in self.parts().into_iter().take_while(|p| p.len() >= least) {
            for i in part {
                out.data[i] = true;
            }
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// The plain reference: spread by one pixel until nothing changes.
        #[test]
        fn what_hangs_together_with_the_border(w in 1usize..16, h in 1usize..16, bits in any::<u128>()) {
            let m = Mask::from_fn(w, h, |x, y| bits >> ((y * w + x) % 128) & 1 == 1 || (x * y) % 5 == 1);
            let mut want = Mask::from_fn(w, h, |x, y| m.at(x, y) && (x == 0 || y == 0 || x + 1 == w || y + 1 == h));
            loop {
                let next = Mask::from_fn(w, h, |x, y| {
                    m.at(x, y)
                        && (want.at(x, y)
                            || (x > 0 && want.at(x - 1, y))
                            || (x + 1 < w && want.at(x + 1, y))
                            || (y > 0 && want.at(x, y - 1))
                            || (y + 1 < h && want.at(x, y + 1)))
                });
                if next == want {
                    break;
                }
                want = next;
            }
            prop_assert_eq!(m.connected_to_border(), want);
        }

        /// The plain reference: every pixel of every window.
        #[test]
        fn a_dilated_mask_holds_every_pixel_near_a_set_one(w in 1usize..16, h in 1usize..16, reach in 0usize..6, bits in any::<u128>()) {
            let m = Mask::from_fn(w, h, |x, y| bits >> ((y * w + x) % 128) & 1 == 1 && (x + y) % 3 == 0);
            let near = |m: &Mask, x: usize, y: usize, v: bool| {
                (y.saturating_sub(reach)..(y + reach + 1).min(h))
                    .any(|j| (x.saturating_sub(reach)..(x + reach + 1).min(w)).any(|i| m.at(i, j) == v))
            };
            prop_assert_eq!(m.dilated(reach), Mask::from_fn(w, h, |x, y| near(&m, x, y, true)));
            prop_assert_eq!(m.eroded(reach), Mask::from_fn(w, h, |x, y| !near(&m, x, y, false)));
        }
    }
}
