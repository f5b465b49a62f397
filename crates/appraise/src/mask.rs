//! Yes-or-no planes and what is done with them.

use serrata_frame::with_avx2;

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
        with_avx2!(both(&self.data, &self.data))
    }

    /// Pixels that are set, as a share of those of `whole`; 0 where `whole` is empty.
    pub(crate) fn share_of(&self, whole: &Self) -> f64 {
        let n = whole.count();
        if n == 0 { 0.0 } else { self.count() as f64 / n as f64 }
    }

    /// The share of the pixels set here that are set in `other` too; 0 where none is set here.
    pub(crate) fn shared_with(&self, other: &Self) -> f64 {
        let both = with_avx2!(both(&self.data, &other.data));
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
        let mut line = [vec![0u8; w + 2 * reach], vec![0u8; w + 2 * reach]];
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
            with_avx2!(near_set(&counts, reach, &mut line, &mut out.data[y * w..(y + 1) * w]));
        }
        out
    }

    /// Pixels whose whole window of `2·reach + 1` along both axes, cut at the border, is set.
    pub(crate) fn eroded(&self, reach: usize) -> Self {
        self.inverse().dilated(reach).inverse()
    }

    /// Pixels of whose window of `2·reach + 1` along both axes, cut at the border, more than a share is set.
    pub(crate) fn mostly(&self, reach: usize, share: f64) -> Self {
        let (w, h) = (self.width, self.height);
        let mut out = Self::new(w, h, false);
        // Set pixels in each column's part of the window.
        let mut counts = vec![0u32; w];
        let row = |y: usize| &self.data[y * w..(y + 1) * w];
        for y in 0..reach.min(h) {
            counts.iter_mut().zip(row(y)).for_each(|(c, set)| *c += u32::from(*set));
        }
        for y in 0..h {
            if y + reach < h {
                counts.iter_mut().zip(row(y + reach)).for_each(|(c, set)| *c += u32::from(*set));
            }
            if y > reach {
                counts.iter_mut().zip(row(y - reach - 1)).for_each(|(c, set)| *c -= u32::from(*set));
            }
            let rows = (y + reach + 1).min(h) - y.saturating_sub(reach);
            let mut sum: u32 = counts.iter().take(reach).sum();
            for (x, o) in out.data[y * w..(y + 1) * w].iter_mut().enumerate() {
                if x + reach < w {
                    sum += counts[x + reach];
                }
                if x > reach {
                    sum -= counts[x - reach - 1];
                }
                let columns = (x + reach + 1).min(w) - x.saturating_sub(reach);
                *o = f64::from(sum) > share * (rows * columns) as f64;
            }
        }
        out
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
        let w = self.width;
        // Runs of set pixels; each knows an earlier one of its part, and the first how many pixels there are.
        let (mut runs, mut part): (Vec<(usize, usize)>, Vec<usize>) = (Vec::new(), Vec::new());
        let mut above = 0..0;
        for (y, row) in self.data.chunks_exact(w.max(1)).enumerate() {
            let (first, mut x) = (runs.len(), 0);
            while let Some(start) = row[x..].iter().position(|b| *b).map(|i| i + x) {
                x = row[start..].iter().position(|b| !*b).map_or(w, |i| i + start);
                runs.push((y * w + start, y * w + x));
                part.push(part.len());
            }
            let mut up = above.clone();
            for k in first..runs.len() {
                let (from, to) = (runs[k].0 - w.min(runs[k].0), runs[k].1 - w.min(runs[k].1));
                while up.start < up.end && runs[up.start].1 <= from {
                    up.start += 1;
                }
                for other in up.clone().take_while(|u| runs[*u].0 < to) {
                    let (a, b) = (origin(&mut part, other), origin(&mut part, k));
                    part[a.max(b)] = a.min(b);
                }
            }
            above = first..runs.len();
        }
        let mut sizes = vec![0usize; runs.len()];
        for (k, (from, to)) in runs.iter().enumerate() {
            sizes[origin(&mut part, k)] += to - from;
        }
        let mut out = Self::new(w, self.height, false);
        for (k, (from, to)) in runs.into_iter().enumerate() {
            if sizes[origin(&mut part, k)] >= least {
                out.data[from..to].fill(true);
            }
        }
        out
    }
}

/// How many pixels are set in both.
#[allow(clippy::inline_always)] // see `with_avx2`
#[inline(always)]
fn both(a: &[bool], b: &[bool]) -> usize {
    // As many at a time as one byte can count.
    let (a, b) = (a.chunks(255), b.chunks(255));
    a.zip(b).map(|(a, b)| usize::from(a.iter().zip(b).map(|(a, b)| u8::from(a & b)).sum::<u8>())).sum()
}

/// The first run of a run's part; the way there is made shorter.
fn origin(part: &mut [usize], run: usize) -> usize {
    let mut run = run;
    while part[run] != run {
        part[run] = part[part[run]];
        run = part[run];
    }
    run
}

/// Where one of the counts within `reach` to both sides is not 0. `line`: room for as many values with their margins.
#[allow(clippy::inline_always)] // see `with_avx2`
#[inline(always)]
fn near_set(counts: &[u16], reach: usize, line: &mut [Vec<u8>; 2], to: &mut [bool]) {
    let [from, next] = line;
    from.fill(0);
    for (f, c) in from[reach..].iter_mut().zip(counts) {
        *f = u8::from(*c > 0);
    }
    // Windows of two, four, eight pixels ..., until two of them cover the whole window.
    let (mut wide, whole) = (1, 2 * reach + 1);
    while 2 * wide <= whole {
        let n = from.len() - wide;
        for ((o, a), b) in next.iter_mut().zip(&from[..n]).zip(&from[wide..]) {
            *o = a | b;
        }
        std::mem::swap(from, next);
        wide *= 2;
    }
    for ((o, a), b) in to.iter_mut().zip(from.iter()).zip(&from[whole - wide..]) {
        *o = a | b != 0;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// More set pixels in a row than a byte counts, also behind ones that are not set.
    #[test]
    fn full_masks_are_counted_whole() {
        let full = Mask::new(1000, 1000, true);
        assert_eq!(full.count(), 1_000_000);
        let half = Mask::from_fn(1000, 1000, |_, y| y < 500);
        assert_eq!((half.count(), full.shared_with(&half), half.share_of(&full)), (500_000, 0.5, 0.5));
        for n in [254, 255, 256, 257, 510, 511] {
            assert_eq!(Mask::new(n, 1, true).count(), n);
        }
        let (a, b) =
            (Mask::from_fn(997, 3, |x, _| x % 7 != 0), Mask::from_fn(997, 3, |x, y| (x + y) % 5 != 0));
        let want = a.data.iter().zip(&b.data).filter(|(a, b)| **a && **b).count();
        assert_eq!((both(&a.data, &b.data), with_avx2!(both(&a.data, &b.data))), (want, want));
    }

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

        /// The plain reference: the lists of pixels that hang together.
        #[test]
        fn only_parts_of_enough_pixels_are_kept(w in 1usize..16, h in 1usize..16, least in 0usize..9, bits in any::<u128>()) {
            let m = Mask::from_fn(w, h, |x, y| bits >> ((y * w + x) % 128) & 1 == 1);
            let mut want = Mask::new(w, h, false);
            for i in m.parts().into_iter().filter(|p| p.len() >= least).flatten() {
                want.data[i] = true;
            }
            prop_assert_eq!(m.without_specks(least), want);
        }

        /// The plain reference: every pixel of every window is counted.
        #[test]
        fn a_pixel_is_kept_where_most_of_its_window_is_set(w in 1usize..16, h in 1usize..16, reach in 0usize..6, bits in any::<u128>(), share in 0.3f64..1.0) {
            let m = Mask::from_fn(w, h, |x, y| bits >> ((y * w + x) % 128) & 1 == 1 || (x + y) % 3 == 0);
            let kept = |x: usize, y: usize| {
                let window = (y.saturating_sub(reach)..(y + reach + 1).min(h))
                    .flat_map(|j| (x.saturating_sub(reach)..(x + reach + 1).min(w)).map(move |i| (i, j)));
                let all: Vec<bool> = window.map(|(i, j)| m.at(i, j)).collect();
                all.iter().filter(|b| **b).count() as f64 > share * all.len() as f64
            };
            prop_assert_eq!(m.mostly(reach, share), Mask::from_fn(w, h, kept));
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
