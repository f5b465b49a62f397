//! Faults that belong to rows, because the picture is swept row by row: blinks and jumps of the eye.

use super::ramp;
use crate::{contour, filter, mask::Mask, scene::Scene};
use serrata_frame::Plane;
use serrata_words::{Finding, FindingKind, Instrument, SlowAxis};

/// What happened during the sweep.
pub(crate) struct Sweep {
    pub(crate) findings: Vec<Finding>,
    /// Where a blink replaced the retina.
    pub(crate) blinked: Mask,
}

/// Blinks and jumps. Without an instrument the sweep is taken to go down the rows.
pub(crate) fn sweep(scene: &Scene<'_>, retina: &Mask, instrument: Option<&Instrument>) -> Sweep {
    let across = instrument.is_some_and(|i| matches!(i.slow_axis, SlowAxis::Left | SlowAxis::Right));
    let turn = |p: &Plane| if across { turned(p) } else { p.clone() };
    let detail = turn(&scene.detail);
    let inside = if across { turned_mask(retina) } else { retina.clone() };
    let rows = Rows::new(&detail, scene.red.as_ref().map(turn).as_ref(), &inside);
    let bands = rows.blinks();
    let mut findings = Vec::new();
    let mut blinked = Mask::new(inside.width, inside.height, false);
    for band in &bands {
        let mut part = Mask::new(inside.width, inside.height, false);
        for y in band.from..band.to {
            for x in 0..inside.width {
                let i = y * inside.width + x;
                part.data[i] = inside.data[i];
                blinked.data[i] |= inside.data[i];
            }
        }
        let part = if across { turned_mask(&part) } else { part };
        let mut f = Finding::new(FindingKind::Blink, band.score, part.share_of(&scene.aperture));
        f.place = contour::region(&part, scene.factor);
        f.rows = Some(span(band.from, band.to, scene.factor, across, scene));
        timed(&mut f, instrument, across, scene);
        findings.push(f);
    }
    for jump in rows.jumps(&bands) {
        let mut f =
            Finding::new(FindingKind::Motion, ramp(jump.size, 0.004, 0.016).max(0.35) * jump.sure, 0.0);
        f.rows = Some(span(jump.row, jump.row + 1, scene.factor, across, scene));
        timed(&mut f, instrument, across, scene);
        f.duration_ms = None;
        findings.push(f);
    }
    Sweep { findings, blinked: if across { turned_mask(&blinked) } else { blinked } }
}

/// Half-open rows of the full frame.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // within the frame
fn span(from: usize, to: usize, factor: f64, across: bool, scene: &Scene<'_>) -> [u32; 2] {
    let p = &scene.frame.pixels;
    let most = if across { p.width() } else { p.height() };
    let full = |v: usize| ((v as f64 * factor).round() as u32).min(most);
    [full(from), full(to)]
}

fn timed(f: &mut Finding, instrument: Option<&Instrument>, across: bool, scene: &Scene<'_>) {
    let (Some(i), Some([from, to])) = (instrument, f.rows) else { return };
    let p = &scene.frame.pixels;
    let lines = if across { p.width() } else { p.height() };
    let (a, b) = (i.line_ms(f64::from(from), lines), i.line_ms(f64::from(to), lines));
    f.onset_ms = Some(a.min(b));
    f.duration_ms = Some((a - b).abs());
}

fn turned(p: &Plane) -> Plane {
    Plane::from_fn(p.height, p.width, |x, y| p.at(y, x))
}

fn turned_mask(m: &Mask) -> Mask {
    Mask::from_fn(m.height, m.width, |x, y| m.at(y, x))
}

/// A blink: working rows `from..to`.
struct Band {
    from: usize,
    to: usize,
    score: f64,
}

/// A jump before working row `row`, by `size` (share of the row's length).
struct Jump {
    row: usize,
    size: f64,
    sure: f64,
}

struct Rows<'a> {
    /// Log brightness of each channel, smoothed.
    levels: Vec<Plane>,
    /// Log of the detail without its slow part along the row.
    fine: Plane,
    inside: &'a Mask,
    /// Rows on each side of a border that a soft edge may take.
    gap: usize,
    /// Share of the columns that change strongly between the rows before and after each row.
    step: Vec<f32>,
    /// Correlation of the fine detail between the rows before and after each row.
    likeness: Vec<f32>,
}

impl<'a> Rows<'a> {
    fn new(detail: &Plane, red: Option<&Plane>, inside: &'a Mask) -> Self {
        let (w, h) = (detail.width, detail.height);
        let gap = (h / 120).max(2);
        let mut seen: Vec<f32> =
            detail.data.iter().zip(&inside.data).filter(|(_, i)| **i).map(|(v, _)| *v).collect();
        let lift = (0.3 * filter::percentile(&mut seen, 0.5)).max(0.004);
        let log =
            |p: &Plane| Plane { width: w, height: h, data: p.data.iter().map(|v| (v + lift).ln()).collect() };
        let level = |p: &Plane| filter::columns_mean(&filter::rows_mean(&log(p), w / 60), gap / 2);
        let levels: Vec<Plane> = std::iter::once(detail).chain(red).map(level).collect();
        let fine = log(detail);
        let slow = filter::rows_mean(&fine, (w / 60).max(2));
        let fine = Plane {
            width: w,
            height: h,
            data: fine.data.iter().zip(&slow.data).map(|(a, b)| a - b).collect(),
        };
        let mut out = Self { levels, fine, inside, gap, step: vec![0.0; h], likeness: vec![1.0; h] };
        for y in gap + 1..h.saturating_sub(gap + 1) {
            out.step[y] = out.change(y);
            out.likeness[y] = out.alike(y, 0).unwrap_or(1.0);
        }
        out
    }

    /// Share of the columns inside that change by more than a quarter (in logarithm) across row `y`.
    fn change(&self, y: usize) -> f32 {
        let (w, mut n, mut big) = (self.fine.width, 0.0f32, 0.0f32);
        for x in 0..w {
            if self.inside.at(x, y - self.gap) && self.inside.at(x, y + self.gap) {
                n += 1.0;
                if self.apart(x, y - self.gap, y + self.gap) > 0.25 {
                    big += 1.0;
                }
            }
        }
        if n * 4.0 < w as f32 { 0.0 } else { big / n }
    }

    /// How far apart two rows are at a column: the larger difference of the channels.
    fn apart(&self, x: usize, a: usize, b: usize) -> f32 {
        self.levels.iter().map(|l| (l.at(x, a) - l.at(x, b)).abs()).fold(0.0, f32::max)
    }

    /// Correlation between the two rows above the border before `y` and the two below, the latter moved by `shift`.
    fn alike(&self, y: usize, shift: i64) -> Option<f32> {
        self.alike_within(y, shift, 0, self.fine.width)
    }

    /// The same for columns `from..to` of the rows above.
    fn alike_within(&self, y: usize, shift: i64, from: usize, to: usize) -> Option<f32> {
        let w = self.fine.width;
        let (a1, a2) = (self.fine.row(y - 2), self.fine.row(y - 1));
        let (b1, b2) = (self.fine.row(y), self.fine.row(y + 1));
        let (ia, ib) = (y * w - 2 * w, (y + 1) * w);
        let (mut ab, mut aa, mut bb, mut n) = (0.0f32, 0.0f32, 0.0f32, 0usize);
        let start = usize::try_from((-shift).max(0)).ok()?.max(from);
        let end = w.checked_sub(usize::try_from(shift.max(0)).ok()?)?.min(to);
        for x in start..end {
            let k = usize::try_from(x as i64 + shift).ok()?;
            if self.inside.data[ia + x] && self.inside.data[ib + k] {
                let (p, q) = (a1[x] + a2[x], b1[k] + b2[k]);
                ab += p * q;
                aa += p * p;
                bb += q * q;
                n += 1;
            }
        }
        (n * 5 > to - from && aa > 0.0 && bb > 0.0).then(|| ab / (aa * bb).sqrt())
    }

    /// Bands between two rows (or a row and the picture's end) where nearly all columns change at once.
    fn blinks(&self) -> Vec<Band> {
        let (h, g) = (self.fine.height, self.gap);
        let edges: Vec<usize> = (g + 1..h.saturating_sub(g + 1))
            .filter(|y| {
                let around = y.saturating_sub(2 * g)..(y + 2 * g + 1).min(h);
                let here = self.step[*y];
                here > 0.6 && around.clone().all(|k| self.step[k] < here || (self.step[k] <= here && k >= *y))
            })
            .collect();
        let mut bands: Vec<Band> = Vec::new();
        for (i, from) in edges.iter().enumerate() {
            if bands.last().is_some_and(|b| b.to > *from) {
                continue;
            }
            let end = edges[i + 1..].iter().find(|to| 2 * (**to - from) < h && self.differs(*from, **to));
            if let Some(to) = end {
                bands.push(Band {
                    from: *from,
                    to: *to,
                    score: f64::from(self.step[*from].min(self.step[*to])),
                });
            }
        }
        bands
    }

    /// Whether the rows between are unlike those on both sides, while those on both sides are like each other: the
    /// picture goes on after the band.
    fn differs(&self, from: usize, to: usize) -> bool {
        let (w, g) = (self.fine.width, self.gap);
        if from < 2 * g || to + 2 * g > self.fine.height || to - from < 2 * g {
            return false;
        }
        let (mut across, mut into, mut n) = (0.0f32, 0.0f32, 0.0f32);
        for x in 0..w {
            if self.inside.at(x, from - 2 * g) && self.inside.at(x, to + 2 * g - 1) {
                let (a, b, m) = (from - 2 * g, to + 2 * g - 1, (from + to) / 2);
                across += self.apart(x, a, b);
                into += self.apart(x, a, m).min(self.apart(x, b, m));
                n += 1.0;
            }
        }
        n * 4.0 > w as f32 && into > 0.25 * n && into > 0.7 * across
    }

    /// Rows at which the detail breaks and goes on elsewhere along the row.
    fn jumps(&self, bands: &[Band]) -> Vec<Jump> {
        let h = self.fine.height;
        let near_band = |y: usize| bands.iter().any(|b| y + 5 > b.from && y < b.to + 5);
        let mut out = Vec::new();
        for y in 12..h.saturating_sub(12) {
            let here = self.likeness[y];
            if (y - 2..y + 3).any(|k| self.likeness[k] < here) || near_band(y) {
                continue;
            }
            let mut around: Vec<f32> =
                (y - 12..y - 3).chain(y + 4..y + 12).map(|k| self.likeness[k]).collect();
            let usual = filter::percentile(&mut around, 0.5);
            if usual - here < 0.2 {
                continue;
            }
            if let Some(j) = self.jump(y, here, usual) {
                out.push(j);
            }
        }
        out.sort_by(|a, b| b.sure.total_cmp(&a.sure).then(a.row.cmp(&b.row)));
        out.truncate(8);
        out
    }

    /// The shift that mends the break before row `y`, where there is one.
    fn jump(&self, y: usize, here: f32, usual: f32) -> Option<Jump> {
        let w = self.fine.width;
        let most = i64::try_from(w / 12).ok()?;
        let mut best = (here, 0i64);
        for s in 2..=most {
            for shift in [s, -s] {
                let c = self.alike(y, shift).unwrap_or(-1.0);
                if c > best.0 {
                    best = (c, shift);
                }
            }
        }
        let gained = (best.0 - here) / (usual - here).max(0.05);
        // The whole row has moved, not one vessel: two thirds of it have to say so, each for itself.
        let agree = (0..3)
            .filter(|k| {
                let (from, to) = (k * w / 3, (k + 1) * w / 3);
                let mended = self.alike_within(y, best.1, from, to).unwrap_or(-1.0);
                mended > 0.3 && mended > self.alike_within(y, 0, from, to).unwrap_or(1.0) + 0.15
            })
            .count();
        (best.1 != 0 && gained > 0.5 && best.0 > 0.3 && agree >= 2).then(|| Jump {
            row: y,
            size: best.1.unsigned_abs() as f64 / w as f64,
            sure: ramp(f64::from(gained), 0.4, 0.8),
        })
    }
}
