//! The vessels of a frame as a field of directions.

use crate::filter::{gauss, soft};
use crate::source::Source;
use rustfft::num_complex::Complex;
use serrata_frame::Plane;
use serrata_words::{FindingKind, Modality};

/// A number whose length is the local contrast of a vessel and whose angle is twice the vessel's.
pub(crate) type C = Complex<f32>;

/// Vessels of one frame at one size.
///
/// Twice the angle, since a vessel has no sense: two fields that have nothing to do with each other then correlate to
/// about zero, where plain ridge maps correlate to something positive.
#[derive(Debug, Clone)]
pub(crate) struct Field {
    pub width: usize,
    pub height: usize,
    /// Frame pixels that one field pixel spans.
    pub step: f64,
    pub data: Vec<C>,
    /// Where the retina is seen.
    pub seen: Vec<bool>,
}

/// Longest side of the largest field in pixels: a second-order vessel is then two pixels wide.
pub(crate) const LONGEST: u32 = 860;
/// Standard deviations of the smoothing at which ridges are looked for, in pixels of the field.
const SCALES: [f32; 3] = [1.2, 1.9, 2.9];

impl Field {
    /// Looks for vessels: ridges of log brightness by the second derivatives at three scales (Frangi et al. 1998,
    /// LNCS 1496:130), dark ones or bright ones, in units of the ridge strength round about.
    pub fn of(source: &Source<'_>) -> Self {
        let working = source.frame.working(LONGEST);
        let plane = match working.channels.get(1) {
            Some(green) => green,
            None => &working.channels[0],
        };
        let (w, h) = (plane.width, plane.height);
        let step = f64::from(working.factor);
        let seen = seen(source, w, h, step);
        let mut levels: Vec<f32> =
            plane.data.iter().zip(&seen).filter(|(_, s)| **s).map(|(v, _)| *v).collect();
        let lift = (0.2 * median(&mut levels)).max(0.004);
        let log = Plane { width: w, height: h, data: plane.data.iter().map(|v| (v + lift).ln()).collect() };
        let (dark, bright) = (ridges(&log, 1.0), ridges(&log, -1.0));
        let mut data = match polarity(source) {
            Some(true) => bright,
            Some(false) => dark,
            None => stronger(dark, bright, &seen),
        };
        even(&mut data, &seen, w, h);
        Self { width: w, height: h, step, data, seen }
    }

    /// Half the size, by means of four. A single row or column stays.
    #[must_use]
    pub fn half(&self) -> Self {
        let (w, h) = ((self.width / 2).max(1), (self.height / 2).max(1));
        let (mut data, mut seen) = (Vec::with_capacity(w * h), Vec::with_capacity(w * h));
        for y in 0..h {
            for x in 0..w {
                let (y1, x1) = ((2 * y + 1).min(self.height - 1), (2 * x + 1).min(self.width - 1));
                let four =
                    [(x1 - 1.min(x1), y1 - 1.min(y1)), (x1, y1 - 1.min(y1)), (x1 - 1.min(x1), y1), (x1, y1)]
                        .map(|(x, y)| y * self.width + x);
                data.push(four.iter().map(|i| self.data[*i]).sum::<C>() * 0.25);
                seen.push(four.iter().filter(|i| self.seen[**i]).count() > 2);
            }
        }
        Self { width: w, height: h, step: self.step * 2.0, data, seen }
    }

    /// The field at a place in its own pixels (edges at integers), and whether it is seen there.
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, clippy::cast_precision_loss)] // pixels
    pub fn at(&self, x: f64, y: f64) -> (C, bool) {
        let (x, y) = (x - 0.5, y - 0.5);
        if !(x >= 0.0 && y >= 0.0 && x < (self.width - 1) as f64 && y < (self.height - 1) as f64) {
            return (C::default(), false);
        }
        let (i, j) = (x as usize, y as usize);
        let (fx, fy) = ((x - i as f64) as f32, (y - j as f64) as f32);
        let k = j * self.width + i;
        let (a, b) = (self.data[k], self.data[k + 1]);
        let (c, d) = (self.data[k + self.width], self.data[k + self.width + 1]);
        let top = a + (b - a) * fx;
        let low = c + (d - c) * fx;
        let near = k + usize::from(fx > 0.5) + if fy > 0.5 { self.width } else { 0 };
        (top + (low - top) * fy, self.seen[near])
    }
}

/// Whether vessels are bright in this kind of picture; none where the kind is not known.
fn polarity(source: &Source<'_>) -> Option<bool> {
    match source.modality {
        Some(Modality::Fa | Modality::Icg) => Some(true),
        Some(_) => Some(false),
        None if source.frame.pixels.channels() == 3 => Some(false),
        None => None,
    }
}

/// The set of ridges whose strong ones stand out more.
fn stronger(dark: Vec<C>, bright: Vec<C>, seen: &[bool]) -> Vec<C> {
    let peak = |v: &[C]| {
        let mut s: Vec<f32> = v.iter().zip(seen).filter(|(_, s)| **s).map(|(c, _)| c.norm()).collect();
        let n = s.len();
        if n == 0 {
            return 0.0;
        }
        *s.select_nth_unstable_by(n - 1 - n / 50, f32::total_cmp).1
    };
    if peak(&bright) > peak(&dark) { bright } else { dark }
}

fn median(v: &mut [f32]) -> f32 {
    let n = v.len();
    if n == 0 { 0.0 } else { *v.select_nth_unstable_by(n / 2, f32::total_cmp).1 }
}

/// Retina that is seen, without a margin within which its outline itself would look like a vessel.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, clippy::cast_precision_loss)] // pixels
pub(crate) fn seen(source: &Source<'_>, w: usize, h: usize, step: f64) -> Vec<bool> {
    let mut solid = Plane::new(w, h, 1.0);
    if let Some(o) = source.observation {
        solid.data.fill(0.0);
        crate::raster::fill(&mut solid, &o.visible_retina.place.polygons, step, 1.0);
        crate::raster::fill(&mut solid, &o.visible_retina.place.holes, step, 0.0);
        for f in o.findings.iter().filter(|f| hides(f.kind) && f.score >= 0.3) {
            crate::raster::fill(&mut solid, &f.place.polygons, step, 0.0);
        }
    }
    let c = &source.frame.coverage;
    if !c.is_full() {
        for y in 0..h {
            for x in 0..w {
                let (fx, fy) = ((x as f64 + 0.5) * step, (y as f64 + 0.5) * step);
                if !c.at(fx as u32, fy as u32) {
                    solid.data[y * w + x] = 0.0;
                }
            }
        }
    }
    let margin = (w.max(h) as f32 * 0.012).round().max(1.0) as usize;
    // The picture's own border is an edge too.
    for y in 0..h {
        for x in 0..w {
            if x < margin || y < margin || x + margin >= w || y + margin >= h {
                solid.data[y * w + x] = 0.0;
            }
        }
    }
    soft(&solid, margin.div_ceil(2)).data.iter().map(|v| *v > 0.995).collect()
}

/// Faults in whose place nothing is to be matched.
const fn hides(kind: FindingKind) -> bool {
    matches!(kind, FindingKind::Lid | FindingKind::Lash | FindingKind::Blink | FindingKind::Reflex)
}

/// Ridges at all scales: the strongest answer of each pixel. Dark ones where `sign` is +1, bright ones where −1.
fn ridges(log: &Plane, sign: f32) -> Vec<C> {
    let (w, h) = (log.width, log.height);
    let mut out = vec![C::default(); w * h];
    if w < 3 || h < 3 {
        return out;
    }
    for sigma in SCALES {
        let p = gauss(log, sigma);
        let gain = sign * sigma.powf(1.6);
        for y in 1..h - 1 {
            for x in 1..w - 1 {
                let i = y * w + x;
                let d = &p.data;
                let xx = gain * (d[i - 1] - 2.0 * d[i] + d[i + 1]);
                let yy = gain * (d[i - w] - 2.0 * d[i] + d[i + w]);
                let xy = gain * 0.25 * (d[i + w + 1] - d[i + w - 1] - d[i - w + 1] + d[i - w - 1]);
                let (mean, half) = (0.5 * (xx + yy), 0.5 * (xx - yy));
                let spread = (half * half + xy * xy).sqrt();
                let strength = mean + spread - (mean - spread).abs();
                if strength > 0.0 && spread > 0.0 && strength * strength > out[i].norm_sqr() {
                    // (half, xy) has twice the angle across the ridge; along it is the opposite.
                    out[i] = C::new(-half, -xy) * (strength / spread);
                }
            }
        }
    }
    out
}

/// Divides by the strength round about, so that a faint picture counts like a brilliant one, and bends the strongest
/// down, so that no single vessel decides.
fn even(data: &mut [C], seen: &[bool], w: usize, h: usize) {
    let strength = Plane {
        width: w,
        height: h,
        data: data.iter().zip(seen).map(|(c, s)| if *s { c.norm() } else { 0.0 }).collect(),
    };
    let there = Plane { width: w, height: h, data: seen.iter().map(|s| f32::from(u8::from(*s))).collect() };
    let radius = (w.max(h) / 28).max(4);
    let (mean, share) = (soft(&strength, radius), soft(&there, radius));
    let (mut sum, mut n) = (0.0f64, 0.0f64);
    for (v, s) in strength.data.iter().zip(seen).filter(|(_, s)| **s) {
        sum += f64::from(*v);
        n += f64::from(u8::from(*s));
    }
    #[allow(clippy::cast_possible_truncation)] // a mean
    let floor = (0.3 * sum / n.max(1.0)) as f32 + 1e-6;
    for (i, c) in data.iter_mut().enumerate() {
        if !seen[i] {
            *c = C::default();
            continue;
        }
        let unit = mean.data[i] / share.data[i].max(0.05) + floor;
        let k = c.norm() / unit;
        // Below one and a half times the surroundings it is texture.
        let k2 = (k - 1.0).max(0.0);
        *c *= if k > 0.0 { k2 / (1.0 + 0.35 * k2) / (k * unit) } else { 0.0 };
    }
}

impl Field {
    /// The field in a mirror: x runs the other way.
    #[must_use]
    pub fn mirrored(&self) -> Self {
        let mut out = self.clone();
        for y in 0..self.height {
            for x in 0..self.width {
                let from = y * self.width + self.width - 1 - x;
                out.data[y * self.width + x] = self.data[from].conj();
                out.seen[y * self.width + x] = self.seen[from];
            }
        }
        out
    }

    /// The field moved by whole pixels; what comes in is not seen.
    #[must_use]
    #[allow(clippy::cast_possible_wrap, clippy::cast_sign_loss)] // pixels
    pub fn moved(&self, dx: isize, dy: isize) -> Self {
        let mut out =
            Self { data: vec![C::default(); self.data.len()], seen: vec![false; self.seen.len()], ..*self };
        for y in 0..self.height {
            for x in 0..self.width {
                let (fx, fy) = (x as isize - dx, y as isize - dy);
                if fx >= 0 && fy >= 0 && (fx as usize) < self.width && (fy as usize) < self.height {
                    let from = fy as usize * self.width + fx as usize;
                    out.data[y * self.width + x] = self.data[from];
                    out.seen[y * self.width + x] = self.seen[from];
                }
            }
        }
        out
    }
}
