//! A plain canvas: pixels, lines, discs and text.

use font8x8::{BASIC_FONTS, LATIN_FONTS, UnicodeFonts as _};
use serrata_words::Ring;

pub(super) type Colour = [u8; 3];

pub(super) struct Canvas {
    pub(super) width: usize,
    pub(super) height: usize,
    pub(super) data: Vec<u8>,
}

impl Canvas {
    pub(super) fn new(width: usize, height: usize, colour: Colour) -> Self {
        Self { width, height, data: colour.repeat(width * height) }
    }

    pub(super) fn set(&mut self, x: i64, y: i64, colour: Colour) {
        let (Ok(x), Ok(y)) = (usize::try_from(x), usize::try_from(y)) else { return };
        if x < self.width && y < self.height {
            let i = 3 * (y * self.width + x);
            self.data[i..i + 3].copy_from_slice(&colour);
        }
    }

    pub(super) fn block(&mut self, x: i64, y: i64, w: i64, h: i64, colour: Colour) {
        for j in y..y + h {
            for i in x..x + w {
                self.set(i, j, colour);
            }
        }
    }

    /// A line of the given width between two points.
    pub(super) fn line(&mut self, a: [f64; 2], b: [f64; 2], width: i64, colour: Colour) {
        let steps = (b[0] - a[0]).abs().max((b[1] - a[1]).abs()).ceil().max(1.0);
        #[allow(clippy::cast_possible_truncation)] // within a canvas
        for k in 0..=steps as i64 {
            let t = k as f64 / steps;
            let (x, y) = (a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1]));
            self.block(x.round() as i64 - width / 2, y.round() as i64 - width / 2, width, width, colour);
        }
    }

    pub(super) fn ring(&mut self, ring: &Ring, scale: f64, top: f64, width: i64, colour: Colour) {
        for i in 0..ring.len() {
            let (a, b) = (ring[i], ring[(i + 1) % ring.len()]);
            self.line([a[0] * scale, a[1] * scale + top], [b[0] * scale, b[1] * scale + top], width, colour);
        }
    }

    pub(super) fn circle(&mut self, x: f64, y: f64, r: f64, width: i64, colour: Colour) {
        let n = 72;
        let at = |k: i32| {
            let a = f64::from(k) / f64::from(n) * std::f64::consts::TAU;
            [x + r * a.cos(), y + r * a.sin()]
        };
        for k in 0..n {
            self.line(at(k), at(k + 1), width, colour);
        }
    }

    /// A disc of which the lower `share` is filled, with its rim.
    pub(super) fn disc(&mut self, x: f64, y: f64, r: f64, share: f64, colour: Colour) {
        #[allow(clippy::cast_possible_truncation)] // within a canvas
        let (cx, cy, n) = (x as i64, y as i64, r as i64);
        for j in -n..=n {
            for i in -n..=n {
                let d = (i as f64).hypot(j as f64);
                let filled = d <= r && j as f64 >= r - 2.0 * r * share;
                if filled || (d <= r && d > r - 3.0) {
                    self.set(cx + i, cy + j, colour);
                }
            }
        }
    }

    /// Text with its upper left corner at (x, y), each dot of the 8 × 8 font `dot` pixels wide; on a dark ground.
    pub(super) fn text(&mut self, x: i64, y: i64, dot: i64, text: &str, colour: Colour) {
        self.block(x - dot, y - dot, width(text, dot) + 2 * dot, 10 * dot, [12, 12, 14]);
        for (k, c) in (0i64..).zip(text.chars()) {
            let rows = BASIC_FONTS.get(c).or_else(|| LATIN_FONTS.get(c)).or_else(|| BASIC_FONTS.get('?'));
            for (j, row) in (0i64..).zip(rows.into_iter().flatten()) {
                for i in 0..8 {
                    if row >> i & 1 == 1 {
                        self.block(x + (8 * k + i) * dot, y + j * dot, dot, dot, colour);
                    }
                }
            }
        }
    }
}

/// Width of a text in pixels.
pub(super) fn width(text: &str, dot: i64) -> i64 {
    8 * dot * i64::try_from(text.chars().count()).unwrap_or(0)
}
