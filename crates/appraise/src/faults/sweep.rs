//! Faults that belong to rows, because the picture is swept row by row: blinks and jumps of the eye.

use super::{blink, motion, slow_jump::slow_jump};
use crate::{contour, mask::Mask, scene::Scene};
use serrata_frame::Plane;
use serrata_words::{Finding, FindingKind, Instrument, SlowAxis};

/// Share of the aperture below which a blink took nothing from the retina.
const LEAST: f64 = 0.004;

/// The most that a slow jump may score: the shipped rules count jumps from 0.5.
const HINT: f64 = 0.45;

/// How the sweep runs over the working plane.
pub(crate) struct Sweep<'a> {
    instrument: Option<&'a Instrument>,
    /// Whether columns are swept one after the other, and not rows.
    pub(crate) across: bool,
    bands: Vec<blink::Band>,
    /// Everything that blinks cover, retina or not.
    pub(crate) covered: Mask,
}

impl<'a> Sweep<'a> {
    /// Looks for blinks. Without an instrument the sweep is taken to go down the rows.
    pub(crate) fn new(scene: &Scene<'_>, instrument: Option<&'a Instrument>) -> Self {
        let across = instrument.is_some_and(|i| matches!(i.slow_axis, SlowAxis::Left | SlowAxis::Right));
        let none = Mask::new(scene.width(), scene.height(), false);
        // A round field without an instrument is a flash camera's: it has no sweep.
        if scene.round && instrument.is_none() {
            return Self { instrument, across, bands: Vec::new(), covered: none };
        }
        let bands = if across {
            let channels: Vec<Plane> = std::iter::once(&scene.detail).chain(&scene.red).map(turned).collect();
            blink::blinks(&channels.iter().collect::<Vec<_>>(), &turned_mask(&scene.aperture))
        } else {
            let channels: Vec<&Plane> = std::iter::once(&scene.detail).chain(&scene.red).collect();
            blink::blinks(&channels, &scene.aperture)
        };
        let mut it = Self { instrument, across, bands, covered: none };
        for band in &it.bands {
            let part = it.mask_of(band, scene);
            for (c, p) in it.covered.data.iter_mut().zip(&part.data) {
                *c |= p;
            }
        }
        it
    }

    fn mask_of(&self, band: &blink::Band, scene: &Scene<'_>) -> Mask {
        let (w, h) = (scene.width(), scene.height());
        if self.across { turned_mask(&band.mask(h, w)) } else { band.mask(w, h) }
    }

    /// Blinks over what would be retina, and jumps within what is left of it.
    pub(crate) fn findings(&self, scene: &Scene<'_>, whole: &Mask) -> Vec<Finding> {
        let lines = if self.across { scene.width() } else { scene.height() };
        let mut findings = Vec::new();
        for band in &self.bands {
            let part = self.mask_of(band, scene).and(whole);
            let (from, to) = band.rows(lines);
            let share = part.share_of(&scene.aperture);
            if share < LEAST {
                continue;
            }
            let mut f = Finding::new(FindingKind::Blink, band.score, share);
            f.place = contour::region(&part, scene.factor);
            self.timed(&mut f, from, to, scene);
            findings.push(f);
        }
        if scene.round && self.instrument.is_none() {
            return findings;
        }
        let retina = whole.and_not(&self.covered);
        let rows = if self.across {
            motion::Rows::new(&turned(&scene.detail), &turned_mask(&retina))
        } else {
            motion::Rows::new(&scene.detail, &retina)
        };
        let jumps = motion::jumps(&rows, scene.modality);
        let surest = jumps.iter().map(motion::Jump::score).fold(0.0, f64::max);
        // Rows that break by a jump lean by it too. How far a slow one went is not told: what lies still in the picture hides half.
        if let Some(slow) = slow_jump(&rows).filter(|s| HINT * s.sure > surest) {
            let mut f = Finding::new(FindingKind::Motion, HINT * slow.sure, 0.0);
            self.timed(&mut f, slow.rows[0], slow.rows[1], scene);
            findings.push(f);
        }
        for jump in jumps {
            let mut f = Finding::new(FindingKind::Motion, jump.score(), 0.0);
            self.timed(&mut f, jump.row, jump.row + 1, scene);
            f.duration_ms = None;
            self.moved(&mut f, jump.shift, scene);
            findings.push(f);
        }
        findings
    }

    /// How far the picture moved, in full-frame pixels and, where the instrument is known, in degrees.
    fn moved(&self, f: &mut Finding, shift: f32, scene: &Scene<'_>) {
        // A tenth of a pixel, as all pixels in a contract.
        let pixels = (f64::from(shift) * scene.factor * 10.0).round() / 10.0;
        // To the right and down the picture.
        f.shift_px = Some(if self.across { [0.0, pixels] } else { [pixels, 0.0] });
        let p = &scene.frame.pixels;
        f.shift_deg = self.instrument.and_then(|i| {
            let scale = f64::from(i.width) / f64::from(p.width().max(1));
            i.degrees_per_pixel.map(|d| (pixels * scale * d).abs())
        });
    }

    /// Rows of the full frame, half-open, and their times where the instrument is known.
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // within the frame
    fn timed(&self, f: &mut Finding, from: usize, to: usize, scene: &Scene<'_>) {
        let p = &scene.frame.pixels;
        let lines = if self.across { p.width() } else { p.height() };
        let full = |v: usize| ((v as f64 * scene.factor).round() as u32).min(lines);
        let (from, to) = (full(from), full(to));
        f.rows = Some([from, to]);
        if let Some(i) = self.instrument {
            let (a, b) = (i.line_ms(f64::from(from), lines), i.line_ms(f64::from(to), lines));
            f.onset_ms = Some(a.min(b));
            f.duration_ms = Some((a - b).abs());
        }
    }
}

fn turned(p: &Plane) -> Plane {
    Plane::from_fn(p.height, p.width, |x, y| p.at(y, x))
}

fn turned_mask(m: &Mask) -> Mask {
    Mask::from_fn(m.height, m.width, |x, y| m.at(y, x))
}
