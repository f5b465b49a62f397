//! Jumps of the eye during the sweep: vessels break at one row, or are sheared over some rows, and go on elsewhere.
//!
//! The picture's fine detail is compared between neighbouring rows. At a break the likeness of adjoining rows falls and
//! comes back when the lower rows are moved along. A slower jump leaves every pair of rows alike, but moved a little:
//! these small moves, added up over the rows where they stand out against the usual slant of vessels, are the jump.

use super::ramp;
use crate::{anatomy, filter, mask::Mask};
use serrata_frame::Plane;

/// The width is compared in this many parts, each of which says how alike it is, so that one vessel is one voice.
const PARTS: usize = 12;

/// Parts that have to hold enough detail: fewer agree by chance.
const LEAST: usize = 5;

/// Longest jump that is sought, as a share of the width.
const LONGEST: f32 = 0.085;

/// Size (share of the width) that breaks measuring: a third of a disc diameter. There the score is a half.
const SIZE: f64 = 0.0135;

/// Rows on each side of a break that are compared.
const STRIP: usize = 4;

/// Fall of likeness at a break, against the rows around, from which it is looked into.
const FALL: f32 = 0.15;

/// How many breaks are looked into, deepest first.
const MOST: usize = 10;

/// Likeness won by moving the rows: named from, and sure from. Untouched frames at hand reach 0.25, jumps of 2.7 % of the
/// width and more have 0.30 to 0.9.
const WON: (f64, f64) = (0.24, 0.38);

/// Share of the parts that are mended, each for itself: from here on counted, and in full.
const AGREE: (f32, f32) = (0.3, 0.6);

/// Rows between the two strips that slow jumps are told from, and the greatest move between them in pixels.
const LAG: usize = 6;
const MOVE: i64 = 7;

/// A slow jump has to stand this many times above what the slant of vessels alone adds up to: named from, sure from.
const ABOVE: (f64, f64) = (4.5, 9.0);

/// Longest slow jump as a share of the height (a saccade of 10° takes 43 ms of a sweep of some tenths of a second),
/// and the smallest as a share of the width.
const SLOW: (f32, f32) = (0.16, 0.006);

/// One jump: working rows during which the eye moved, and how far the picture moved along the row.
pub(super) struct Jump {
    pub(super) from: usize,
    pub(super) to: usize,
    /// Working pixels, to the right positive.
    pub(super) shift: f32,
    size: f64,
    sure: f64,
}

impl Jump {
    /// How sure and how grave.
    pub(super) fn score(&self) -> f64 {
        self.sure * ramp(self.size, 0.0, 2.0 * SIZE)
    }
}

/// Jumps within the retina, surest first. The sweep goes down the rows.
pub(super) fn jumps(detail: &Plane, retina: &Mask) -> Vec<Jump> {
    let (w, h) = (detail.width, detail.height);
    if w < 120 || h < 80 {
        return Vec::new();
    }
    let rows = Rows::new(detail, retina);
    let mut out = rows.breaks();
    for slow in rows.slow() {
        if out.iter().all(|b| b.from + 2 * LAG < slow.from || slow.to + 2 * LAG < b.from) {
            out.push(slow);
        }
    }
    out.sort_by(|a, b| b.score().total_cmp(&a.score()).then(a.from.cmp(&b.from)));
    out.truncate(6);
    out
}

/// Fine detail along the rows, 0 outside the retina.
struct Rows {
    fine: Plane,
    /// Energy below which a part of two rows says nothing.
    quiet: f32,
}

impl Rows {
    fn new(detail: &Plane, retina: &Mask) -> Self {
        let (w, h) = (detail.width, detail.height);
        // The outline itself does not move with the eye.
        let core = anatomy::core(retina, w as f32 / 70.0);
        // Wider than any vessel but the great ones: what is wider lies still in the picture, as shadows do.
        let slow = filter::rows_mean(detail, (w / 25).max(3));
        let mut some: Vec<f32> =
            slow.data.iter().zip(&core.data).step_by(7).filter(|(_, c)| **c).map(|(v, _)| *v).collect();
        let lift = (0.3 * filter::percentile(&mut some, 0.5)).max(0.01);
        let data = detail
            .data
            .iter()
            .zip(&slow.data)
            .zip(&core.data)
            .map(|((v, s), c)| if *c { ((v - s) / (s + lift)).clamp(-0.3, 0.3) } else { 0.0 })
            .collect();
        // Single pixels are noise.
        let fine = filter::rows_mean(&filter::rows_mean(&Plane { width: w, height: h, data }, 2), 2);
        let energy: f32 = fine.data.iter().map(|v| v * v).sum::<f32>() / core.count().max(1) as f32;
        Self { quiet: 0.15 * energy * (w / PARTS) as f32, fine }
    }

    /// The sum of `n` rows from `from` on.
    fn strip(&self, from: usize, n: usize) -> Vec<f32> {
        let mut out = self.fine.row(from).to_vec();
        for y in from + 1..from + n {
            for (o, v) in out.iter_mut().zip(self.fine.row(y)) {
                *o += v;
            }
        }
        out
    }

    /// Likeness of each part of strip `a` with strip `b` moved by `shift`; none where there is too little to compare.
    fn parts(&self, a: &[f32], b: &[f32], shift: i64, rows: f32) -> [Option<f32>; PARTS] {
        let w = a.len();
        let mut out = [None; PARTS];
        for (k, o) in out.iter_mut().enumerate() {
            let (from, to) = (k * w / PARTS, (k + 1) * w / PARTS);
            let moved = |x: usize| usize::try_from(i64::try_from(x).unwrap_or(0) + shift).unwrap_or(0);
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // a small positive number
            let from = from.max((-shift).max(0) as usize);
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // as above
            let to = to.min(w.saturating_sub(shift.max(0) as usize));
            if from >= to {
                continue;
            }
            let (p, q) = (&a[from..to], &b[moved(from)..moved(to)]);
            let (mut ab, mut aa, mut bb) = (0.0f32, 0.0f32, 0.0f32);
            for (x, y) in p.iter().zip(q) {
                ab += x * y;
                aa += x * x;
                bb += y * y;
            }
            // Both strips are sums of rows that are much alike: their energy grows with the square.
            if aa.min(bb) > self.quiet * rows * rows * 0.5 {
                *o = Some(ab / (aa * bb).sqrt());
            }
        }
        out
    }

    /// Breaks between two rows, or over very few.
    fn breaks(&self) -> Vec<Jump> {
        let h = self.fine.height;
        let likeness: Vec<Option<f32>> = (0..h)
            .map(|y| {
                let within = (STRIP..=h - STRIP).contains(&y);
                within.then(|| mean(&self.parts(&self.above(y), &self.below(y), 0, STRIP as f32))).flatten()
            })
            .collect();
        let mut dips: Vec<(f32, usize)> = Vec::new();
        for y in 14..h - 14 {
            let Some(here) = likeness[y] else { continue };
            if likeness[y - 2..y + 3].iter().flatten().any(|v| *v < here) {
                continue;
            }
            let mut around: Vec<f32> =
                likeness[y - 13..y - 5].iter().chain(&likeness[y + 6..y + 14]).flatten().copied().collect();
            let fall = filter::percentile(&mut around, 0.5) - here;
            if fall > FALL {
                dips.push((fall, y));
            }
        }
        dips.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
        dips.truncate(MOST);
        dips.iter().filter_map(|(_, y)| self.mended(*y)).collect()
    }

    fn above(&self, y: usize) -> Vec<f32> {
        self.strip(y - STRIP, STRIP)
    }

    fn below(&self, y: usize) -> Vec<f32> {
        self.strip(y, STRIP)
    }

    /// The move that mends the break before row `y`, where there is one.
    fn mended(&self, y: usize) -> Option<Jump> {
        let w = self.fine.width;
        let (a, b) = (self.above(y), self.below(y));
        let here = self.parts(&a, &b, 0, STRIP as f32);
        let before = mean(&here)?;
        #[allow(clippy::cast_possible_truncation)] // a small positive number
        let most = (LONGEST * w as f32) as i64;
        let mut best = (f32::NEG_INFINITY, 0i64);
        for s in 3..=most {
            for shift in [s, -s] {
                let c = mean(&self.parts(&a, &b, shift, STRIP as f32)).unwrap_or(-1.0);
                if c > best.0 {
                    best = (c, shift);
                }
            }
        }
        let there = self.parts(&a, &b, best.1, STRIP as f32);
        let both: Vec<(f32, f32)> = here.iter().zip(&there).filter_map(|(a, b)| a.zip(*b)).collect();
        // The whole row has moved, not one vessel.
        let agree = both.iter().filter(|(a, b)| *b > a + 0.1).count() as f32 / both.len().max(1) as f32;
        // Few parts agree by chance more easily.
        let won = (best.0 - before) * (both.len() as f32 / PARTS as f32).sqrt();
        let won = won * ((agree - AGREE.0) / (AGREE.1 - AGREE.0)).clamp(0.0, 1.0);
        let sure = ramp(f64::from(won), WON.0, WON.1);
        let shift = best.1 as f32;
        (sure > 0.0).then(|| Jump { from: y, to: y + 1, shift, size: f64::from(shift.abs()) / w as f64, sure })
    }

    /// How far the detail moves from row to row, pixels a row; its own slant is in it.
    fn slant(&self) -> Vec<f32> {
        let h = self.fine.height;
        let n = (2 * MOVE + 1) as usize;
        let mut curves = vec![[0.0f32; 15]; h];
        for (y, curve) in curves.iter_mut().enumerate().take(h - 5).skip(5) {
            let (a, b) = (self.strip(y - 4, 3), self.strip(y + 2, 3));
            for (k, c) in curve.iter_mut().enumerate() {
                *c = mean(&self.parts(&a, &b, k as i64 - MOVE, 3.0)).unwrap_or(0.0);
            }
        }
        let mut out = vec![0.0f32; h];
        for (y, o) in out.iter_mut().enumerate() {
            let mut sum = [0.0f32; 15];
            for c in &curves[y.saturating_sub(3)..(y + 4).min(h)] {
                sum.iter_mut().zip(c).for_each(|(s, v)| *s += v);
            }
            if sum.iter().all(|s| *s <= 0.0) {
                continue;
            }
            let k = (1..n - 1).fold(1, |b, k| if sum[k] > sum[b] { k } else { b });
            let bend = sum[k - 1] - 2.0 * sum[k] + sum[k + 1];
            let part = if bend < 0.0 { 0.5 * (sum[k - 1] - sum[k + 1]) / bend } else { 0.0 };
            *o = (k as f32 + part.clamp(-0.5, 0.5) - MOVE as f32) / LAG as f32;
        }
        out
    }

    /// Jumps that take many rows.
    fn slow(&self) -> Vec<Jump> {
        let (w, h) = (self.fine.width, self.fine.height);
        let slant = self.slant();
        let wide = h / 8;
        // What stands out against the rows around.
        let own: Vec<f32> = (0..h)
            .map(|y| {
                let mut around: Vec<f32> = slant[y.saturating_sub(wide)..(y + wide).min(h)].to_vec();
                slant[y] - filter::percentile(&mut around, 0.5)
            })
            .collect();
        let mut spread: Vec<f32> = own.iter().map(|v| v.abs()).collect();
        let usual = 1.4826 * filter::percentile(&mut spread, 0.5).max(0.004);
        let least = (1.5 * usual).max(0.03);
        let mut out = Vec::new();
        let mut y = 8;
        while y + 8 < h {
            if own[y].abs() < least {
                y += 1;
                continue;
            }
            let sign = own[y].signum();
            let end = (y..h - 8).find(|k| own[*k] * sign < 0.3 * least).unwrap_or(h - 8);
            let shift: f32 = own[y..end].iter().sum();
            let size = shift.abs() / w as f32;
            if (end - y) as f32 <= SLOW.0 * h as f32 && size > SLOW.1 {
                // Sums of as many rows elsewhere: what the slant of vessels alone makes.
                let mut sums: Vec<f32> = own.windows(end - y).map(|v| v.iter().sum::<f32>().abs()).collect();
                let other = 1.4826 * filter::percentile(&mut sums, 0.5).max(0.5);
                let sure = ramp(f64::from(shift.abs() / other), ABOVE.0, ABOVE.1);
                if sure > 0.0 {
                    out.push(Jump { from: y, to: end, shift, size: f64::from(size), sure });
                }
            }
            y = end + 1;
        }
        out
    }
}

/// Mean over the parts that say something; none where too few do.
fn mean(parts: &[Option<f32>; PARTS]) -> Option<f32> {
    let (mut sum, mut n) = (0.0f32, 0usize);
    for p in parts.iter().flatten() {
        sum += p;
        n += 1;
    }
    (n >= LEAST).then(|| sum / n as f32)
}
