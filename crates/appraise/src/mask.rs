//! Yes-or-no planes and what is done with them.

use std::collections::VecDeque;

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
        let mut queue = VecDeque::new();
        for y in 0..h {
            for x in 0..w {
                if self.at(x, y) && seed(x, y) {
                    out.data[y * w + x] = true;
                    queue.push_back((x, y));
                }
            }
        }
        while let Some((x, y)) = queue.pop_front() {
            let mut visit = |x: usize, y: usize| {
                let i = y * w + x;
                if self.data[i] && !out.data[i] {
                    out.data[i] = true;
                    queue.push_back((x, y));
                }
            };
            if x > 0 {
                visit(x - 1, y);
            }
            if x + 1 < w {
                visit(x + 1, y);
            }
            if y > 0 {
                visit(x, y - 1);
            }
            if y + 1 < h {
                visit(x, y + 1);
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
