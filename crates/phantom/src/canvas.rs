//! Soft round strokes onto a float plane, band by band, so that bands can be drawn by any number of threads: a pixel
//! is the maximum over strokes, which knows no order.

use std::ops::Range;

/// Rows of one band.
pub(crate) const BAND: u32 = 32;

/// A stroke from `a` to `b` in pixels with its half width at both ends.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Stroke {
    pub a: [f32; 2],
    pub b: [f32; 2],
    pub half: [f32; 2],
    /// Paint where it is fully covered, 0 to 1.
    pub strength: f32,
    /// How much more paint the rim takes than the middle, as a share; below zero less.
    pub rim: f32,
}

/// Strokes sorted into bands.
#[derive(Debug)]
pub(crate) struct Canvas {
    width: u32,
    height: u32,
    /// Width of the soft rim in pixels.
    soft: f32,
    strokes: Vec<(Stroke, Clip)>,
    bands: Vec<Vec<u32>>,
}

/// Where a stroke may leave paint.
#[derive(Debug, Clone)]
pub(crate) struct Clip {
    pub rows: Range<u32>,
    pub columns: Range<u32>,
}

impl Canvas {
    pub fn new(width: u32, height: u32, soft: f32) -> Self {
        Self {
            width,
            height,
            soft,
            strokes: Vec::new(),
            bands: vec![Vec::new(); height.div_ceil(BAND) as usize],
        }
    }

    /// Adds a stroke. What is wholly outside is dropped.
    pub fn push(&mut self, stroke: Stroke, clip: &Clip) {
        let reach = stroke.half[0].max(stroke.half[1]) + self.soft + 1.0;
        let (low, high) = (stroke.a[1].min(stroke.b[1]) - reach, stroke.a[1].max(stroke.b[1]) + reach);
        let (left, right) = (stroke.a[0].min(stroke.b[0]) - reach, stroke.a[0].max(stroke.b[0]) + reach);
        #[allow(clippy::cast_precision_loss)] // picture sides
        let (w, h) = (self.width as f32, self.height as f32);
        #[allow(clippy::cast_precision_loss)] // picture sides
        let reached = low < clip.rows.end as f32
            && high > clip.rows.start as f32
            && left < clip.columns.end as f32
            && right > clip.columns.start as f32;
        let inside = reached && low < h && high > 0.0 && left < w && right > 0.0;
        if !(inside && [low, high, left, right].iter().all(|v| v.is_finite())) {
            return;
        }
        #[allow(clippy::cast_possible_truncation)] // far fewer than 2^32 strokes
        let id = self.strokes.len() as u32;
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // cut to the picture
        let (first, last) = (low.max(0.0) as u32 / BAND, high.min(h - 1.0) as u32 / BAND);
        for band in first..=last {
            self.bands[band as usize].push(id);
        }
        self.strokes.push((stroke, clip.clone()));
    }

    /// Whether nothing was pushed.
    pub fn is_empty(&self) -> bool {
        self.strokes.is_empty()
    }

    /// Draws one band into `out` (rows of `width`), 0 to 1.
    pub fn draw(&self, band: usize, out: &mut [f32]) {
        out.fill(0.0);
        for id in &self.bands[band] {
            let (stroke, clip) = &self.strokes[*id as usize];
            self.draw_one(stroke, clip, band, out);
        }
    }

    #[allow(clippy::cast_precision_loss, clippy::cast_possible_truncation, clippy::cast_sign_loss)] // cut to the picture
    fn draw_one(&self, s: &Stroke, clip: &Clip, band: usize, out: &mut [f32]) {
        let top = band as u32 * BAND;
        let widest = s.half[0].max(s.half[1]).max(0.5);
        let reach = widest + self.soft;
        let rows =
            (s.a[1].min(s.b[1]) - reach).max(0.0) as u32..((s.a[1].max(s.b[1]) + reach).max(0.0) as u32 + 1);
        let columns =
            (s.a[0].min(s.b[0]) - reach).max(0.0) as u32..((s.a[0].max(s.b[0]) + reach).max(0.0) as u32 + 1);
        let rows = rows.start.max(top).max(clip.rows.start)
            ..rows.end.min(top + BAND).min(self.height).min(clip.rows.end);
        let columns =
            columns.start.max(clip.columns.start)..columns.end.min(self.width).min(clip.columns.end);
        let d = [s.b[0] - s.a[0], s.b[1] - s.a[1]];
        let long = 1.0 / (d[0] * d[0] + d[1] * d[1]).max(1e-9);
        if columns.is_empty() {
            return;
        }
        for y in rows {
            let v = y as f32 + 0.5 - s.a[1];
            let line = &mut out[((y - top) * self.width) as usize..][..self.width as usize];
            // No branch in here, so that it is done several pixels at a time.
            for (x, o) in columns.clone().zip(&mut line[columns.start as usize..]) {
                let u = x as f32 + 0.5 - s.a[0];
                let t = ((u * d[0] + v * d[1]) * long).clamp(0.0, 1.0);
                let off = ((u - t * d[0]).powi(2) + (v - t * d[1]).powi(2)).sqrt();
                let half = s.half[0] + t * (s.half[1] - s.half[0]);
                // A line thinner than a pixel covers its share of it.
                let strength = (2.0 * half).min(1.0) * s.strength;
                let across = (off / half.max(0.5)).min(1.0);
                let paint = strength * (1.0 + s.rim * (across * across - 0.5));
                let covered = ((half.max(0.5) - off) / self.soft + 0.5).clamp(0.0, 1.0) * paint.min(1.0);
                *o = o.max(covered);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_stroke_covers_its_width_and_stays_in_its_clip() {
        let mut c = Canvas::new(100, 64, 1.0);
        let stroke = Stroke { a: [10.0, 20.0], b: [90.0, 20.0], half: [4.0, 4.0], strength: 1.0, rim: 0.0 };
        c.push(stroke, &Clip { rows: 0..64, columns: 0..50 });
        c.push(Stroke { a: [f32::NAN, 0.0], ..stroke }, &Clip { rows: 0..64, columns: 0..100 });
        let mut out = vec![9.0; 100 * BAND as usize];
        c.draw(0, &mut out);
        let column = |x: usize| (0..BAND as usize).map(|y| out[y * 100 + x]).sum::<f32>();
        assert!((column(30) - 8.0).abs() < 0.01, "{}", column(30));
        assert_eq!(column(50), 0.0);
        c.draw(1, &mut out);
        assert!(out.iter().all(|v| *v == 0.0));
    }
}
