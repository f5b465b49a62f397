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
    let (value, detail, inside) = if across {
        (turned(&scene.value), turned(&scene.detail), turned_mask(retina))
    } else {
        (scene.value.clone(), scene.detail.clone(), retina.clone())
    };
    let rows = Rows::new(&value, &detail, &inside);
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
        let mut f = Finding::new(FindingKind::Motion, ramp(jump.size, 0.004, 0.016).max(0.35) * jump.sure, 0.0);
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
    /// Log brightness.
    level: Plane,
    /// Log of the detail without its slow part along the row.
    fine: Plane,
    inside: &'a Mask,
    /// Share of the columns that change strongly between the rows before and after each row.
    step: Vec<f32>,
    /// Correlation of the fine detail between the rows before and after each row.
    likeness: Vec<f32>,
}

impl<'a> Rows<'a> {
    fn new(value: &Plane, detail: &Plane, inside: &'a Mask) -> Self {
        let (w, h) = (value.width, value.height);
        let mut seen: Vec<f32> = value.data.iter().zip(&inside.data).filter(|(_, i)| **i).map(|(v, _)| *v).collect();
        let lift = (0.3 * filter::percentile(&mut seen, 0.5)).max(0.004);
        let log = |p: &Plane| Plane { width: w, height: h, data: p.data.iter().map(|v| (v + lift).ln()).collect() };
        let level = filter::rows_mean(&log(value), (w / 200).max(1));
        let fine = log(detail);
        let slow = filter::rows_mean(&fine, (w / 60).max(2));
        let fine = Plane { width: w, height: h, data: fine.data.iter().zip(&slow.data).map(|(a, b)| a - b).collect() };
        let mut out = Self { level, fine, inside, step: vec![0.0; h], likeness: vec![1.0; h] };
        for y in 3..h.saturating_sub(3) {
            out.step[y] = out.change(y);
            out.likeness[y] = out.alike(y, 0).unwrap_or(1.0);
        }
        out
    }

    /// Share of the columns inside that change by more than a quarter (in logarithm) across row `y`.
    fn change(&self, y: usize) -> f32 {
        let (w, mut n, mut big) = (self.level.width, 0.0f32, 0.0f32);
        for x in 0..w {
            if self.inside.at(x, y - 2) && self.inside.at(x, y + 1) {
                n += 1.0;
                if (self.level.at(x, y + 1) - self.level.at(x, y - 2)).abs() > 0.25 {
                    big += 1.0;
                }
            }
        }
        if n * 4.0 < w as f32 { 0.0 } else { big / n }
    }

    /// Correlation between the two rows above the border before `y` and the two below, the latter moved by `shift`.
    fn alike(&self, y: usize, shift: i64) -> Option<f32> {
        let w = self.fine.width;
        let (a1, a2) = (self.fine.row(y - 2), self.fine.row(y - 1));
        let (b1, b2) = (self.fine.row(y), self.fine.row(y + 1));
        let (ia, ib) = (y * w - 2 * w, (y + 1) * w);
        let (mut ab, mut aa, mut bb, mut n) = (0.0f32, 0.0f32, 0.0f32, 0usize);
        let start = usize::try_from((-shift).max(0)).ok()?;
        let end = w.checked_sub(usize::try_from(shift.max(0)).ok()?)?;
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
        (n * 5 > w && aa > 0.0 && bb > 0.0).then(|| ab / (aa * bb).sqrt())
    }

    /// Bands between two rows (or a row and the picture's end) where nearly all columns change at once.
    fn blinks(&self) -> Vec<Band> {
        let h = self.level.height;
        let edges: Vec<usize> = (3..h.saturating_sub(3))
            .filter(|y| self.step[*y] > 0.55 && (y - 3..y + 4).all(|k| self.step[k] <= self.step[*y]))
            .collect();
        let mut bands: Vec<Band> = Vec::new();
        for pair in edges.windows(2) {
            let (from, to) = (pair[0], pair[1]);
            let free = bands.last().is_none_or(|b| b.to <= from);
            if free && to - from > 3 && 2 * (to - from) < h && self.differs(from, to) {
                let score = f64::from(self.step[from].min(self.step[to]));
                bands.push(Band { from, to, score });
            }
        }
        bands
    }

    /// Whether the rows between are unlike those on both sides, while those on both sides are like each other: the
    /// picture goes on after the band.
    fn differs(&self, from: usize, to: usize) -> bool {
        let w = self.level.width;
        if from < 4 || to + 4 > self.level.height {
            return false;
        }
        let (mut across, mut into, mut n) = (0.0f32, 0.0f32, 0.0f32);
        for x in 0..w {
            if self.inside.at(x, from - 3) && self.inside.at(x, to + 2) {
                let (a, b) = (self.level.at(x, from - 3), self.level.at(x, to + 2));
                let m = self.level.at(x, (from + to) / 2);
                across += (a - b).abs();
                into += (m - a).abs().min((m - b).abs());
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
            let mut around: Vec<f32> = (y - 12..y - 3).chain(y + 4..y + 12).map(|k| self.likeness[k]).collect();
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
                if let Some(c) = self.alike(y, shift) {
                    if c > best.0 {
                        best = (c, shift);
                    }
                }
            }
        }
        let gained = (best.0 - here) / (usual - here).max(0.05);
        (best.1 != 0 && gained > 0.5 && best.0 > 0.25).then(|| Jump {
            row: y,
            size: best.1.unsigned_abs() as f64 / w as f64,
            sure: ramp(f64::from(gained), 0.4, 0.8),
        })
    }
}
