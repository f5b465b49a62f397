//! Frames drawn as one picture, strip by strip.

use crate::field::seen;
use crate::{Pose, Source};
use rayon::prelude::*;
use serrata_eye::Stereographic;
use serrata_frame::{Frame, Plane, Working};
use serrata_words::{Point, Ring};

/// A stereographic picture of the sphere, centred on its +z.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Canvas {
    /// Width in pixels.
    pub width: u32,
    /// Height in pixels.
    pub height: u32,
    /// View angle of the pixel at the middle, degrees.
    pub degrees_per_pixel: f64,
    /// Where +z lies, pixels.
    pub middle: Point,
}

impl Canvas {
    /// The smallest canvas with +z in its middle that holds what all frames saw, its longer side at most `longest` pixels
    /// and no finer than the finest frame.
    ///
    /// `frames`: each with the outlines of what was seen in it, frame pixels; without any the whole frame counts. The corners
    /// of a turned frame lie far round the sphere and show nothing, so they would make a canvas thrice as large as what is
    /// drawn. The middle is fixed so that the picture is an ordinary stereographic one, which anything that reads a
    /// projection from a picture's size and its pixel's angle can measure.
    #[must_use]
    pub fn around(frames: &[(&Pose, &[Ring])], longest: u32) -> Option<Self> {
        let finest = frames.iter().map(|f| f.0.lens.projection.deg_per_px[0]).min_by(f64::total_cmp)?;
        let unit = Stereographic { width: 0, height: 0, deg_per_px: [1.0, 1.0] };
        let mut reach = [0f64; 2];
        for (pose, seen) in frames {
            let (w, h) = (f64::from(pose.lens.projection.width), f64::from(pose.lens.projection.height));
            let whole = [vec![[0.0, 0.0], [w, 0.0], [w, h], [0.0, h]]];
            let rings = if seen.is_empty() { &whole[..] } else { seen };
            for p in rings.iter().flat_map(|r| serrata_eye::densify(r, 0.05 * w.max(h))) {
                let q = unit.to_picture(pose.to_sphere(p));
                for c in 0..2 {
                    // 300 degrees of the plane are 110 degrees of the eye: no more is drawn.
                    reach[c] = reach[c].max(q[c].abs().min(300.0));
                }
            }
        }
        let d = finest.max(2.0 * reach[0].max(reach[1]) / f64::from(longest.max(16)));
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // cut to the longest side
        let side = |c: usize| ((2.0 * reach[c] / d).ceil() as u32).clamp(1, longest.max(16));
        let (width, height) = (side(0), side(1));
        let middle = [f64::from(width) / 2.0, f64::from(height) / 2.0];
        Some(Self { width, height, degrees_per_pixel: d, middle })
    }

    /// The projection whose own middle is +z; its pixels count from there.
    const fn plane(&self) -> Stereographic {
        Stereographic { width: 0, height: 0, deg_per_px: [self.degrees_per_pixel; 2] }
    }

    /// From the sphere to the canvas.
    #[must_use]
    pub fn to_canvas(&self, d: serrata_eye::Direction) -> Point {
        let p = self.plane().to_picture(d);
        [p[0] + self.middle[0], p[1] + self.middle[1]]
    }

    /// From the canvas to the sphere.
    #[must_use]
    pub fn to_sphere(&self, p: Point) -> serrata_eye::Direction {
        self.plane().to_direction([p[0] - self.middle[0], p[1] - self.middle[1]])
    }
}

/// One frame as it is drawn.
#[derive(Debug, Clone)]
pub struct Part<'a> {
    frame: &'a Frame,
    pose: Pose,
    /// The frame's broad light and shade.
    broad: Working,
    /// How much its pixels count: distance to the edge of what is seen, times sharpness; 0 where nothing is seen.
    weight: Plane,
    step: f64,
}

impl<'a> Part<'a> {
    /// Prepares a frame. Its weight is the distance from the edge of the visible retina, from lids and lashes, as a
    /// share of the longer side, times the square root of its sharpness where that was observed.
    #[must_use]
    pub fn new(source: &Source<'a>, pose: Pose) -> Self {
        let small = source.frame.working(430);
        let (w, h, step) = (small.channels[0].width, small.channels[0].height, f64::from(small.factor));
        let mask = seen(source, w, h, step);
        let sharp = source.observation.map_or(1.0, |o| o.sharpness.value.max(0.05).sqrt());
        let weight = distance(&mask, w, h, sharp);
        let radius = (w.max(h) / 24).max(2);
        let solid =
            Plane { width: w, height: h, data: mask.iter().map(|s| f32::from(u8::from(*s))).collect() };
        let share = crate::filter::soft(&solid, radius);
        let channels = small.channels.iter().map(|c| {
            let inside = Plane {
                width: w,
                height: h,
                data: c.data.iter().zip(&mask).map(|(v, s)| if *s { *v } else { 0.0 }).collect(),
            };
            let mut soft = crate::filter::soft(&inside, radius);
            for (v, s) in soft.data.iter_mut().zip(&share.data) {
                *v /= s.max(1e-3);
            }
            soft
        });
        let broad = Working { factor: small.factor, channels: channels.collect() };
        Self { frame: source.frame, pose, broad, weight, step }
    }
}

/// Distance from what is not seen as a share of the longer side, by two passes (chamfer 3-4).
#[allow(clippy::cast_precision_loss, clippy::cast_possible_truncation)] // pixels
fn distance(mask: &[bool], w: usize, h: usize, sharp: f64) -> Plane {
    let mut d: Vec<i32> = mask.iter().map(|s| if *s { 1 << 20 } else { 0 }).collect();
    for y in 0..h {
        for x in 0..w {
            let i = y * w + x;
            let mut v = d[i].min(3 * (1 + x.min(w - 1 - x).min(y).min(h - 1 - y)) as i32);
            if x > 0 {
                v = v.min(d[i - 1] + 3);
            }
            if y > 0 {
                v = v.min(d[i - w] + 3);
            }
            if x > 0 && y > 0 {
                v = v.min(d[i - w - 1] + 4);
            }
            if x + 1 < w && y > 0 {
                v = v.min(d[i - w + 1] + 4);
            }
            d[i] = v;
        }
    }
    for y in (0..h).rev() {
        for x in (0..w).rev() {
            let i = y * w + x;
            let mut v = d[i];
            if x + 1 < w {
                v = v.min(d[i + 1] + 3);
            }
            if y + 1 < h {
                v = v.min(d[i + w] + 3);
            }
            if x + 1 < w && y + 1 < h {
                v = v.min(d[i + w + 1] + 4);
            }
            if x > 0 && y + 1 < h {
                v = v.min(d[i + w - 1] + 4);
            }
            d[i] = v;
        }
    }
    let unit = sharp as f32 / (3.0 * w.max(h) as f32);
    Plane { width: w, height: h, data: d.iter().map(|v| *v as f32 * unit).collect() }
}

/// Some rows of a mosaic.
#[derive(Debug, Clone)]
pub struct Strip {
    /// Samples 0 to 1, interleaved: the channels, then coverage (0 or 1).
    pub samples: Vec<f32>,
    /// Which part each pixel's detail comes from: 0 none, k the k-th part, from 1.
    pub provenance: Vec<u16>,
}

/// Canvas pixels between the nodes of a map.
const CELL: usize = 16;

impl Canvas {
    /// Draws the rows `from..to` of all parts, blended in two bands: broad light and shade over wide seams, so that
    /// exposure evens out, detail over narrow ones, so that nothing is seen twice.
    #[must_use]
    pub fn strip(&self, parts: &[Part<'_>], channels: usize, from: u32, to: u32) -> Strip {
        let width = self.width as usize;
        let (across, rows) = (width.div_ceil(CELL) + 1, (to - from) as usize);
        let down = rows.div_ceil(CELL) + 1;
        #[allow(clippy::cast_precision_loss)] // pixels
        let maps: Vec<Vec<Point>> = parts
            .par_iter()
            .map(|part| {
                (0..across * down)
                    .map(|i| {
                        let p = [(i % across * CELL) as f64, (i / across * CELL) as f64 + f64::from(from)];
                        part.pose.to_frame(self.to_sphere(p))
                    })
                    .collect()
            })
            .collect();
        let depth = channels + 1;
        let mut samples = vec![0f32; width * rows * depth];
        let mut provenance = vec![0u16; width * rows];
        samples.par_chunks_mut(width * depth).zip(provenance.par_chunks_mut(width)).enumerate().for_each(
            |(y, (row, from))| {
                for (x, (out, from)) in row.chunks_exact_mut(depth).zip(from).enumerate() {
                    *from = pixel(parts, &maps, across, x, y, out);
                }
            },
        );
        Strip { samples, provenance }
    }
}

/// Blends one pixel; says which part its detail comes from.
#[allow(clippy::cast_precision_loss, clippy::cast_possible_truncation)] // pixels
fn pixel(parts: &[Part<'_>], maps: &[Vec<Point>], across: usize, x: usize, y: usize, out: &mut [f32]) -> u16 {
    let channels = out.len() - 1;
    let (i, j) = (x / CELL, y / CELL);
    let (fx, fy) = (((x % CELL) as f64 + 0.5) / CELL as f64, ((y % CELL) as f64 + 0.5) / CELL as f64);
    let (mut soft, mut sharp, mut best, mut who) = (0f32, 0f32, 0f32, 0u16);
    let mut detail = [0f32; 3];
    let mut broad = [0f32; 3];
    for (k, (part, nodes)) in parts.iter().zip(maps).enumerate() {
        let n = j * across + i;
        let (p, q, r, s) = (nodes[n], nodes[n + 1], nodes[n + across], nodes[n + across + 1]);
        let mix = |c: usize| {
            let (top, low) = (p[c] + (q[c] - p[c]) * fx, r[c] + (s[c] - r[c]) * fx);
            top + (low - top) * fy
        };
        let at = [mix(0), mix(1)];
        if !part.pose.holds(at) {
            continue;
        }
        let small = [at[0] / part.step - 0.5, at[1] / part.step - 0.5];
        let w = bilinear(&part.weight, small);
        if w <= 0.0 {
            continue;
        }
        let narrow = w.powi(16).max(1e-30);
        soft += w;
        sharp += narrow;
        if w > best {
            best = w;
            who = u16::try_from(k + 1).unwrap_or(u16::MAX);
        }
        for c in 0..channels {
            let own = c.min(part.broad.channels.len() - 1);
            let low = bilinear(&part.broad.channels[own], small);
            let value = sample(part.frame, at, own as u8);
            broad[c] += w * low;
            detail[c] += narrow * (value - low);
        }
    }
    if soft > 0.0 {
        for c in 0..channels {
            out[c] = (broad[c] / soft + detail[c] / sharp).clamp(0.0, 1.0);
        }
        out[channels] = 1.0;
    }
    who
}

#[allow(clippy::cast_precision_loss, clippy::cast_possible_truncation, clippy::cast_sign_loss)] // pixels
fn bilinear(p: &Plane, at: Point) -> f32 {
    let x = at[0].clamp(0.0, (p.width - 1) as f64);
    let y = at[1].clamp(0.0, (p.height - 1) as f64);
    let (i, j) = ((x as usize).min(p.width.saturating_sub(2)), (y as usize).min(p.height.saturating_sub(2)));
    let (fx, fy) = ((x - i as f64) as f32, (y - j as f64) as f32);
    let (i1, j1) = ((i + 1).min(p.width - 1), (j + 1).min(p.height - 1));
    let (a, b, c, d) = (p.at(i, j), p.at(i1, j), p.at(i, j1), p.at(i1, j1));
    let (top, low) = (a + (b - a) * fx, c + (d - c) * fx);
    top + (low - top) * fy
}

#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // pixels inside the frame
fn sample(f: &Frame, at: Point, channel: u8) -> f32 {
    let (x, y) = ((at[0] - 0.5).max(0.0), (at[1] - 0.5).max(0.0));
    let (i, j) = (x as u32, y as u32);
    let (fx, fy) = ((x - f64::from(i)) as f32, (y - f64::from(j)) as f32);
    let v = |dx, dy| f.pixels.at(i + dx, j + dy, channel);
    let (top, low) = (v(0, 0) + (v(1, 0) - v(0, 0)) * fx, v(0, 1) + (v(1, 1) - v(0, 1)) * fx);
    top + (low - top) * fy
}
