//! Jumps of the eye during the sweep: vessels break at one row and go on elsewhere along it.
//!
//! The picture's fine detail is compared between neighbouring rows. At a break the likeness of adjoining rows falls and
//! comes back when the lower rows are moved along. A jump that takes many rows leaves every pair of rows alike: for that
//! see `slow_jump`.

use super::ramp;
use crate::{anatomy, filter, mask::Mask};
use serrata_frame::Plane;
use serrata_words::Modality;

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
const FALL: f32 = 0.10;

/// How many breaks are looked into, deepest first.
const MOST: usize = 14;

/// Share of the retina's height at its upper and lower end in which no break is sought: what lies beyond it there is too little to be
/// compared, and a jump there leaves the picture whole.
const END: f32 = 0.08;

/// Likeness won by moving the rows: named from, and sure from. Untouched frames at hand reach 0.25, most jumps of 2.7 % of
/// the width and more have 0.30 to 0.9.
const WON: (f64, f64) = (0.18, 0.36);

/// The same in autofluorescence, of which no real frame was at hand: still simulated ones, whose grain is all that many parts
/// have, reach 0.4 and more.
const WON_FAF: (f64, f64) = (0.36, 0.52);

/// Share of the parts that are mended, each for itself: from here on counted, and in full.
const AGREE: (f32, f32) = (0.3, 0.6);

/// Where the gain alone is not sure, this share of the parts has to like the same move best, each for itself, to within so many
/// pixels: a chance move is the mean of parts that want to go elsewhere (judgement; its effect is in `docs/appraisal.md`).
const OWN: f64 = 0.3;
const NEAR: u64 = 3;

/// One jump: the first working row after it, and how far the picture moved along the row.
pub(super) struct Jump {
    pub(super) row: usize,
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
pub(super) fn jumps(rows: &Rows, modality: Modality) -> Vec<Jump> {
    let (w, h) = (rows.fine.width, rows.fine.height);
    if w < 120 || h < 80 {
        return Vec::new();
    }
    let mut out = rows.breaks(if modality == Modality::Faf { WON_FAF } else { WON });
    out.sort_by(|a, b| b.score().total_cmp(&a.score()).then(a.row.cmp(&b.row)));
    out.truncate(6);
    out
}

/// Fine detail along the rows, 0 outside the retina.
pub(super) struct Rows {
    pub(super) fine: Plane,
    /// The retina without its margin.
    pub(super) core: Mask,
    /// Energy below which a part of two rows says nothing.
    quiet: f32,
}

impl Rows {
    pub(super) fn new(detail: &Plane, retina: &Mask) -> Self {
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
        Self { quiet: 0.15 * energy * (w / PARTS) as f32, fine, core }
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
            let [ab, aa, bb] = products(p, q);
            // Both strips are sums of rows that are much alike: their energy grows with the square.
            if aa.min(bb) > self.quiet * rows * rows * 0.5 {
                *o = Some(ab / (aa * bb).sqrt());
            }
        }
        out
    }

    /// Breaks between two rows, or over very few.
    fn breaks(&self, enough: (f64, f64)) -> Vec<Jump> {
        let h = self.fine.height;
        let within = self.within();
        let likeness: Vec<Option<f32>> = (0..h)
            .map(|y| {
                let whole = (STRIP..=h - STRIP).contains(&y);
                whole.then(|| mean(&self.parts(&self.above(y), &self.below(y), 0, STRIP as f32))).flatten()
            })
            .collect();
        let mut dips: Vec<(f32, usize)> = Vec::new();
        for y in within.start.max(14)..within.end.min(h - 14) {
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
        dips.iter().filter_map(|(_, y)| self.mended(*y, enough)).collect()
    }

    /// The rows of the retina without its ends.
    fn within(&self) -> std::ops::Range<usize> {
        let lit = |y: &usize| self.core.data[y * self.core.width..][..self.core.width].contains(&true);
        let (Some(first), Some(last)) = ((0..self.core.height).find(lit), (0..self.core.height).rfind(lit))
        else {
            return 0..0;
        };
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // below the height
        let end = (END * (last - first) as f32) as usize;
        first + end..last + 1 - end
    }

    fn above(&self, y: usize) -> Vec<f32> {
        self.strip(y - STRIP, STRIP)
    }

    fn below(&self, y: usize) -> Vec<f32> {
        self.strip(y, STRIP)
    }

    /// The move that mends the break before row `y`, where there is one.
    fn mended(&self, y: usize, enough: (f64, f64)) -> Option<Jump> {
        let w = self.fine.width;
        let (a, b) = (self.above(y), self.below(y));
        let here = self.parts(&a, &b, 0, STRIP as f32);
        let before = mean(&here)?;
        #[allow(clippy::cast_possible_truncation)] // a small positive number
        let most = (LONGEST * w as f32) as i64;
        let mut best = (f32::NEG_INFINITY, 0i64);
        let mut own = [(f32::NEG_INFINITY, 0i64); PARTS];
        for s in 3..=most {
            for shift in [s, -s] {
                let parts = self.parts(&a, &b, shift, STRIP as f32);
                for (own, part) in own.iter_mut().zip(&parts) {
                    if let Some(c) = part.filter(|c| *c > own.0) {
                        *own = (c, shift);
                    }
                }
                let c = mean(&parts).unwrap_or(-1.0);
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
        let sure = ramp(f64::from(won), enough.0, enough.1);
        let said = there.iter().flatten().count().max(1);
        let same =
            own.iter().zip(&there).filter(|(o, t)| t.is_some() && o.1.abs_diff(best.1) <= NEAR).count();
        let backed = same as f64 / said as f64;
        let sure = if sure < 1.0 { sure * (backed / OWN).min(1.0) } else { sure };
        // Between whole pixels by the parabola through the best and its neighbours.
        let beside = [best.1 - 1, best.1 + 1].map(|s| mean(&self.parts(&a, &b, s, STRIP as f32)));
        let part = match beside {
            [Some(l), Some(r)] if l + r < 2.0 * best.0 => 0.5 * (l - r) / (l + r - 2.0 * best.0),
            _ => 0.0,
        };
        let shift = best.1 as f32 + part.clamp(-0.5, 0.5);
        (sure > 0.0).then(|| Jump { row: y, shift, size: f64::from(shift.abs()) / w as f64, sure })
    }
}

/// Sums of the products of two rows with one another and with themselves, in eight sums each that do not wait for one another.
fn products(p: &[f32], q: &[f32]) -> [f32; 3] {
    let mut sums = [[0.0f32; 8]; 3];
    let mut add = |p: &[f32], q: &[f32]| {
        let [ab, aa, bb] = &mut sums;
        for ((((ab, aa), bb), x), y) in ab.iter_mut().zip(aa).zip(bb).zip(p).zip(q) {
            *ab += x * y;
            *aa += x * x;
            *bb += y * y;
        }
    };
    let (eights, other) = (p.chunks_exact(8), q.chunks_exact(8));
    let rest = (eights.remainder(), other.remainder());
    eights.zip(other).for_each(|(p, q)| add(p, q));
    add(rest.0, rest.1);
    sums.map(|s| s.iter().sum())
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
