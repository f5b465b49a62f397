//! Blinks: a lid that comes down while some rows are swept.
//!
//! Both margins of a lid that moves through the sweep run nearly straight across the whole picture, as flat arches.
//! They are sought as arches along which most of the width changes at once: in brightness, or in how much fine detail
//! there is. Between two of them the picture has to become something else and come back.

use super::ramp;
use crate::{filter, mask::Mask};
use serrata_frame::{Plane, with_avx2};

/// Columns are looked at in this many blocks, each wide enough that one vessel does not change it.
const BLOCKS: usize = 32;

/// Change of a block's brightness (natural logarithm) that counts in full: a third brighter or darker.
const CHANGE: f32 = 0.28;

/// Change of a block's fine detail (natural logarithm) that counts in full. Detail varies more than brightness.
const DETAIL: f32 = 1.1;

/// Strongest arch as a share of the height: the lid's margin hangs lower at the sides by up to this much (judgement).
const ARCH: f32 = 0.12;

/// Arches that are tried on each side of a straight line.
const ARCHES: i8 = 8;

/// Share of the change beside a step that is taken off it.
const FALL_OFF: f32 = 0.7;

/// Share of the width that has to change for an edge to be kept.
const EDGE: f32 = 0.42;

/// Share of the width over which the picture goes into something else and comes back: named from, and sure from. The two
/// margins' mean share has to be in the second range as well.
const BACK: (f64, f64) = (0.40, 0.70);
const MARGINS: (f64, f64) = (0.48, 0.66);

/// Two margins this clear are a blink even where its tone lies between those above and below: nothing in an eye runs straight
/// across the picture. The share of the weaker one: named from, and sure from.
const CLEAR: (f64, f64) = (0.52, 0.70);

/// Part of a difference between above and below that is taken off what comes back.
const UNLIKE: f32 = 0.35;

/// Margins this near the picture's end (share of the height) are its rim.
const RIM: f32 = 0.03;

/// Dark, as a share of the middle brightness: what the rim lets through at hand is up to a tenth of it, a dim lid a fifth
/// and more.
const DARK: f32 = 0.15;

/// Scores below are not told.
const TOLD: f64 = 0.1;

/// The shadow before a lid that hangs in: a dark strip of at most this share of the height, with at most this share of the
/// height beyond it, darker than both sides by this much (natural logarithm) over this share of the width (judgement).
const SHADOW: (f32, f32, f32, f32) = (0.09, 0.30, 0.20, 0.6);

/// Least share of the height between lids that hang in: with them closer no retina is left to be judged (judgement).
const APART: f32 = 0.30;

/// Shortest and longest blink as a share of the height. Shorter ones are lost in the soft edges.
const SPAN: (f32, f32) = (0.018, 0.60);

/// A lid that is down at the sweep's start or end: the margin has to be this straight (share of the height) and change
/// this share of the width, since lids that just hang in are arched; and the part that it takes.
const OPEN: (f32, f64, f64, f32) = (0.031, 0.60, 0.85, 0.45);

/// One margin: the row at which half of the width is covered, and how many rows lower the middle is than at that place.
#[derive(Clone, Copy)]
struct Edge {
    row: f32,
    arch: f32,
    share: f32,
}

impl Edge {
    /// The row at a place across, −1 to 1: a parabola that crosses `row` where half of the width lies inside.
    fn at(&self, across: f32) -> f32 {
        self.row + self.arch * (0.25 - across * across)
    }
}

/// A blink between two margins.
pub(super) struct Band {
    from: Edge,
    to: Edge,
    pub(super) score: f64,
}

impl Band {
    /// Rows of which at least half of the width is covered, half-open.
    pub(super) fn rows(&self, height: usize) -> (usize, usize) {
        (cut(self.from.row, height), cut(self.to.row, height))
    }

    /// What it covers.
    pub(super) fn mask(&self, width: usize, height: usize) -> Mask {
        let ends: Vec<(f32, f32)> = (0..width)
            .map(|x| {
                let across = 2.0 * (x as f32 + 0.5) / width as f32 - 1.0;
                (self.from.at(across), self.to.at(across))
            })
            .collect();
        Mask::from_fn(width, height, |x, y| {
            let (a, b) = ends[x];
            (a..b).contains(&(y as f32 + 0.5))
        })
    }
}

#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // cut to the plane
fn cut(row: f32, height: usize) -> usize {
    (row.round().max(0.0) as usize).min(height)
}

/// What each block shows at each row: planes of [`BLOCKS`] columns.
struct Blocks {
    /// Log brightness per channel, then log of the fine detail; each in units of a change that counts in full.
    shown: Vec<Plane>,
    /// Whether enough of the block lies inside the aperture.
    inside: Mask,
    /// Brightness, the stronger channel.
    light: Plane,
    /// The middle brightness of the aperture.
    typical: f32,
    /// Rows from an edge at which the picture is compared, on both sides.
    off: usize,
}

/// All blinks, from above downwards.
pub(super) fn blinks(channels: &[&Plane], inside: &Mask) -> Vec<Band> {
    let h = inside.height;
    if inside.width < 2 * BLOCKS || h < 64 {
        return Vec::new();
    }
    let blocks = Blocks::new(channels, inside);
    let edges = blocks.edges();
    let mut pairs: Vec<(f64, usize, usize)> = Vec::new();
    for (i, from) in edges.iter().enumerate() {
        for (j, to) in edges.iter().enumerate().skip(i + 1) {
            let span = (to.row - from.row) / h as f32;
            if !(SPAN.0..=SPAN.1).contains(&span) {
                continue;
            }
            let back = ramp(blocks.goes_and_comes_back(from, to), BACK.0, BACK.1);
            let both = ramp(f64::from(0.5 * (from.share + to.share)), MARGINS.0, MARGINS.1);
            let clear = ramp(f64::from(from.share.min(to.share)), CLEAR.0, CLEAR.1);
            let score = (back * both).max(clear);
            if score > TOLD && !blocks.shadow_of_lid(from, to) && !blocks.between_lids(from, to) {
                pairs.push((score, i, j));
            }
        }
    }
    let clearer = |(_, i, j): &(f64, usize, usize)| edges[*i].share + edges[*j].share;
    pairs.sort_by(|a, b| b.0.total_cmp(&a.0).then(clearer(b).total_cmp(&clearer(a))).then(a.1.cmp(&b.1)));
    let (mut kept, mut used): (Vec<Band>, Vec<usize>) = (Vec::new(), Vec::new());
    for (score, i, j) in pairs {
        let (from, to) = (edges[i], edges[j]);
        if kept.iter().all(|k| to.row <= k.from.row || from.row >= k.to.row) {
            kept.push(Band { from, to, score });
            used.extend([i, j]);
        }
    }
    for e in edges.iter().enumerate().filter(|(i, _)| !used.contains(i)).map(|(_, e)| e) {
        if let Some(band) = blocks.open_ended(e)
            && kept.iter().all(|k| band.to.row <= k.from.row || band.from.row >= k.to.row)
        {
            kept.push(band);
        }
    }
    kept.sort_by(|a, b| a.from.row.total_cmp(&b.from.row));
    kept
}

impl Blocks {
    fn new(channels: &[&Plane], inside: &Mask) -> Self {
        let (w, h) = (inside.width, inside.height);
        let mut share = Plane::new(BLOCKS, h, 0.0);
        let wide = w as f32 / BLOCKS as f32;
        for y in 0..h {
            let lit = &inside.data[y * w..(y + 1) * w];
            for b in 0..BLOCKS {
                let n = lit[ends(b, w)].iter().filter(|l| **l).count();
                share.data[y * BLOCKS + b] = n as f32 / wide;
            }
        }
        let half = (h / 150).max(1);
        let calm = |sum: &Plane| {
            let (mut top, low) = (filter::columns_mean(sum, half), filter::columns_mean(&share, half));
            for (t, l) in top.data.iter_mut().zip(&low.data) {
                *t /= l.max(1e-3);
            }
            top
        };
        let mut shown: Vec<Plane> = Vec::new();
        let mut light = Plane::new(BLOCKS, h, 0.0);
        for (k, channel) in channels.iter().enumerate() {
            let (mut level, mut detail) = (Plane::new(BLOCKS, h, 0.0), Plane::new(BLOCKS, h, 0.0));
            let (mut lights, mut squares) = (vec![0.0f32; w], vec![0.0f32; w]);
            for y in 0..h {
                let (row, lit) = (channel.row(y), &inside.data[y * w..(y + 1) * w]);
                with_avx2!(lit_of(row, lit, &mut lights, &mut squares));
                for b in 0..BLOCKS {
                    level.data[y * BLOCKS + b] = sum(&lights[ends(b, w)]) / wide;
                    detail.data[y * BLOCKS + b] = sum(&squares[ends(b, w)]) / wide;
                }
            }
            let (mut level, mut detail) = (calm(&level), calm(&detail));
            let mut some = level.data.clone();
            let lift = (0.25 * filter::percentile(&mut some, 0.5)).max(0.006);
            for (d, l) in detail.data.iter_mut().zip(&level.data) {
                *d = ((d.max(0.0).sqrt() + 0.004) / (l + lift)).ln() / DETAIL;
            }
            for (most, l) in light.data.iter_mut().zip(&mut level.data) {
                *most = most.max(*l);
                *l = (*l + lift).ln() / CHANGE;
            }
            shown.push(level);
            if k == 0 {
                shown.push(detail);
            }
        }
        let inside = Mask { width: BLOCKS, height: h, data: share.data.iter().map(|s| *s > 0.5).collect() };
        let mut some: Vec<f32> =
            light.data.iter().zip(&inside.data).filter(|(_, i)| **i).map(|(v, _)| *v).collect();
        let typical = filter::percentile(&mut some, 0.5);
        Self { shown, inside, light, typical, off: half + (h / 180).max(2) }
    }

    const fn height(&self) -> usize {
        self.inside.height
    }

    /// Margins along which much of the width changes at once, from above downwards.
    fn edges(&self) -> Vec<Edge> {
        let (h, o) = (self.height(), self.off);
        let mut change = Plane::new(BLOCKS, h, -1.0);
        for y in o..h - o {
            // Where the light just falls off towards the rim, it goes on falling: only a step counts.
            let far = [y.saturating_sub(3 * o), (y + 3 * o - 1).min(h - 1)];
            for b in 0..BLOCKS {
                let (up, down) = ((y - o) * BLOCKS + b, (y + o - 1) * BLOCKS + b);
                if self.inside.data[up] && self.inside.data[down] {
                    let [above, below] = far.map(|f| f * BLOCKS + b);
                    let step = |s: &Plane| {
                        let v = |i: usize| s.data[i];
                        let slope = |near: usize, far: usize| {
                            if self.inside.data[far] { (v(near) - v(far)).abs() } else { 0.0 }
                        };
                        (v(up) - v(down)).abs() - FALL_OFF * slope(up, above).max(slope(down, below))
                    };
                    let most = self.shown.iter().map(step).fold(0.0, f32::max);
                    change.data[y * BLOCKS + b] = most.min(1.0);
                }
            }
        }
        let arches: Vec<(f32, [i64; BLOCKS])> = (-ARCHES..=ARCHES)
            .map(|k| {
                let arch = ARCH * f32::from(k) / f32::from(ARCHES) * h as f32;
                let e = Edge { row: 0.0, arch, share: 0.0 };
                #[allow(clippy::cast_possible_truncation)] // within the picture's height
                (arch, std::array::from_fn(|b| e.at(across(b)).round() as i64))
            })
            .collect();
        let best: Vec<Edge> = (0..h)
            .map(|y| {
                let mut here = Edge { row: y as f32, arch: 0.0, share: 0.0 };
                for (arch, rows) in &arches {
                    // A straight line is the likelier one.
                    let share = along(&change, y, rows) - 0.13 * (arch / h as f32).abs();
                    if share > here.share {
                        here = Edge { share, arch: *arch, ..here };
                    }
                }
                here
            })
            .collect();
        let rim = cut(RIM * h as f32, h).max(1);
        let mut edges: Vec<Edge> = (rim..h - rim)
            .filter(|y| {
                let here = best[*y].share;
                let around = y.saturating_sub(2 * o)..(y + 2 * o + 1).min(h);
                here > EDGE
                    && around.clone().all(|k| best[k].share < here || best[k].share <= here && k >= *y)
            })
            .map(|y| best[y])
            .collect();
        edges.retain(|e| !self.dark_beyond(e, true) && !self.dark_beyond(e, false));
        edges.sort_by(|a, b| b.share.total_cmp(&a.share).then(a.row.total_cmp(&b.row)));
        edges.truncate(16);
        edges.sort_by(|a, b| a.row.total_cmp(&b.row));
        edges
    }

    /// Whether there is nothing but dark from an edge to the picture's end: then it is the rim of what can be seen.
    fn dark_beyond(&self, e: &Edge, up: bool) -> bool {
        let h = self.height();
        let (mut dark, mut n) = (0usize, 0usize);
        for b in 0..BLOCKS {
            let y = cut(e.at(across(b)) + if up { -(self.off as f32) } else { self.off as f32 }, h);
            for k in if up { 0..y } else { y..h } {
                let i = k * BLOCKS + b;
                dark += usize::from(!self.inside.data[i] || self.light.data[i] < DARK * self.typical);
                n += 1;
            }
        }
        dark * 10 >= n * 7
    }

    /// Values of one plane beside an edge (`up`: above it), none outside.
    fn beside(&self, e: &Edge, block: usize, up: bool) -> Option<usize> {
        let o = self.off as f32;
        let y = e.at(across(block)).round() + if up { -o } else { o - 1.0 };
        if y < 0.0 || y >= self.height() as f32 {
            return None;
        }
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // checked just above
        let i = y as usize * BLOCKS + block;
        self.inside.data[i].then_some(i)
    }

    /// Share of the width over which the rows between are unlike those on both sides, in the same sense.
    fn goes_and_comes_back(&self, from: &Edge, to: &Edge) -> f64 {
        let (mut sum, mut n) = (0.0f32, 0usize);
        for b in 0..BLOCKS {
            let ends = (self.beside(from, b, true), self.beside(to, b, false));
            let within = (self.beside(from, b, false), self.beside(to, b, true));
            let ((Some(above), Some(below)), (Some(first), Some(last))) = (ends, within) else { continue };
            let both = self.shown.iter().map(|s| {
                let (into, out) = (s.data[first] - s.data[above], s.data[last] - s.data[below]);
                let unlike = UNLIKE * (s.data[above] - s.data[below]).abs();
                if into * out > 0.0 { (into.abs().min(out.abs()) - unlike).max(0.0) } else { 0.0 }
            });
            sum += both.fold(0.0, f32::max).min(1.0);
            n += 1;
        }
        f64::from(sum) / n.max(BLOCKS / 2) as f64
    }

    /// Whether what lies between two edges is but the dark line between the retina and a lid that hangs in.
    fn shadow_of_lid(&self, from: &Edge, to: &Edge) -> bool {
        let h = self.height() as f32;
        let beyond = from.row.min(h - to.row) / h;
        if to.row - from.row > SHADOW.0 * h || beyond > SHADOW.1 {
            return false;
        }
        let (mut darker, mut n) = (0usize, 0usize);
        for b in 0..BLOCKS {
            let (Some(above), Some(below)) = (self.beside(from, b, true), self.beside(to, b, false)) else {
                continue;
            };
            let (first, last) =
                (cut(from.at(across(b)), self.height()), cut(to.at(across(b)), self.height()));
            let dark = (first..last.max(first + 1).min(self.height()))
                .map(|y| self.light.data[y * BLOCKS + b])
                .fold(f32::INFINITY, f32::min);
            let beside = self.light.data[above].min(self.light.data[below]);
            darker += usize::from(dark < beside * (-SHADOW.2).exp());
            n += 1;
        }
        darker as f32 > SHADOW.3 * n.max(BLOCKS / 2) as f32
    }

    /// Whether what lies between two edges is the retina, left open by lids that hang in from above and below: the part with the
    /// most fine detail.
    fn between_lids(&self, from: &Edge, to: &Edge) -> bool {
        let h = self.height();
        if to.row - from.row < APART * h as f32 {
            return false;
        }
        let (mut sums, mut cells) = ([0.0f32; 3], [0usize; 3]);
        for b in 0..BLOCKS {
            let (first, last) = (cut(from.at(across(b)), h), cut(to.at(across(b)), h));
            for y in 0..h {
                let i = y * BLOCKS + b;
                if self.inside.data[i] {
                    let part = usize::from(y >= first) + usize::from(y >= last);
                    // As it is, and not against the brightness: lids in their shadow have much detail for their light.
                    sums[part] += DETAIL * self.shown[1].data[i] + CHANGE * self.shown[0].data[i];
                    cells[part] += 1;
                }
            }
        }
        let [above, within, below] = std::array::from_fn(|k| sums[k] / cells[k].max(1) as f32);
        cells.iter().all(|n| *n > 0) && within > above.max(below)
    }

    /// A blink from the sweep's start to this edge, or from it to the sweep's end.
    fn open_ended(&self, e: &Edge) -> Option<Band> {
        let h = self.height() as f32;
        if e.arch.abs() > OPEN.0 * h || f64::from(e.share) < OPEN.1 {
            return None;
        }
        let start = e.row < 0.5 * h;
        let taken = if start { e.row / h } else { 1.0 - e.row / h };
        if !(2.0 * SPAN.0..=OPEN.3).contains(&taken) {
            return None;
        }
        // On the covered side the fine detail of the retina is gone.
        let (mut lost, mut n) = (0usize, 0usize);
        for b in 0..BLOCKS {
            let (Some(out), Some(within)) = (self.beside(e, b, !start), self.beside(e, b, start)) else {
                continue;
            };
            lost += usize::from(self.shown[1].data[out] > self.shown[1].data[within]);
            n += 1;
        }
        if n < BLOCKS / 2 || lost * 4 < n * 3 {
            return None;
        }
        let end = Edge { row: if start { 0.0 } else { h }, arch: 0.0, share: 1.0 };
        let (from, to) = if start { (end, *e) } else { (*e, end) };
        Some(Band { from, to, score: ramp(f64::from(e.share), OPEN.1, OPEN.2) })
    }
}

/// What is lit of a row, and of its squared steps over four pixels. A row has at least two pixels, for which the caller answers
/// ([`blinks`] looks at none narrower than two pixels a block).
#[allow(clippy::inline_always)] // see `with_avx2`
#[inline(always)]
fn lit_of(row: &[f32], lit: &[bool], shown: &mut [f32], squares: &mut [f32]) {
    let w = row.len();
    let mut at = |x: usize, left: f32, right: f32| {
        let (lit, step) = (f32::from(u8::from(lit[x])), right - left);
        shown[x] = lit * row[x];
        squares[x] = lit * step * step;
    };
    for (x, ends) in row.windows(5).enumerate() {
        at(x + 2, ends[0], ends[4]);
    }
    for x in (0..2).chain(w - 2..w) {
        at(x, row[x.saturating_sub(2)], row[(x + 2).min(w - 1)]);
    }
}

/// The sum of a block, as eight sums that do not wait for one another.
fn sum(values: &[f32]) -> f32 {
    let mut sums = [0.0f32; 8];
    for eight in values.chunks(8) {
        for (s, v) in sums.iter_mut().zip(eight) {
            *s += v;
        }
    }
    sums.iter().sum()
}

/// The columns of a block.
fn ends(block: usize, width: usize) -> std::ops::Range<usize> {
    block * width / BLOCKS..(block + 1) * width / BLOCKS
}

/// The block's place across, −1 to 1.
fn across(block: usize) -> f32 {
    2.0 * (block as f32 + 0.5) / BLOCKS as f32 - 1.0
}

/// Mean change along an arch through row `y`, given by its rows against that one; blocks outside do not count, but half of
/// the width has to be inside.
fn along(change: &Plane, y: usize, rows: &[i64; BLOCKS]) -> f32 {
    let (mut sum, mut n) = (0.0, 0usize);
    for (b, off) in rows.iter().enumerate() {
        let Ok(row) = usize::try_from(i64::try_from(y).unwrap_or(0) + off) else { continue };
        if row >= change.height {
            continue;
        }
        let v = change.data[row * BLOCKS + b];
        if v >= 0.0 {
            sum += v;
            n += 1;
        }
    }
    sum / n.max(BLOCKS / 2) as f32
}
