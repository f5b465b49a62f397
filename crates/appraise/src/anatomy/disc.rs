//! The optic disc: where the vessels converge, and (in pictures by reflected light) where it is bright.
//!
//! Convergence as evidence follows Hoover and Goldbaum (IEEE Trans. Med. Imaging 2003;22:951, from memory): each vessel
//! votes along its own direction. Here votes are kept by sector, so that one long vessel cannot outvote a star.

use super::vessels::{Point, Vessels};
use crate::{filter, mask::Mask, scene::Scene};
use serrata_frame::Plane;

/// A disc in working pixels.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Found {
    pub(crate) x: f32,
    pub(crate) y: f32,
    pub(crate) radius: f32,
    pub(crate) probability: f32,
    /// Convergence: mean radial weight over the sectors, 0 to about 1.
    pub(crate) convergence: f32,
}

const SECTORS: usize = 12;

pub(crate) fn find(scene: &Scene<'_>, retina: &Mask, vessels: &Vessels) -> Option<Found> {
    if vessels.points.len() < 30 {
        return None;
    }
    if let Some(diameter) = scene.diameter.filter(|_| !scene.modality.is_dye()) {
        return narrow(scene, retina, vessels, diameter);
    }
    let radius = scene.disc_radius;
    let glow = Glow::new(scene, radius);
    let mut best: Option<(f32, f32, f32, f32)> = None;
    let mut scores = Vec::new();
    for (x, y) in candidates(scene, retina, vessels) {
        let c = convergence(&vessels.points, x, y, radius);
        let score = c * glow.factor(x, y);
        scores.push((score, x, y));
        if best.is_none_or(|b| score > b.0) {
            best = Some((score, x, y, c));
        }
    }
    let (mut score, mut x, mut y, mut c) = best?;
    let first = score;
    let rival = scores
        .iter()
        .filter(|(_, rx, ry)| (rx - x).hypot(ry - y) > 3.0 * radius)
        .map(|s| s.0)
        .fold(0.0, f32::max);
    // Refine in ever smaller steps around the best candidate.
    let mut step = radius / 2.0;
    while step > 0.6 {
        let (cx, cy) = (x, y);
        for (dx, dy) in [
            (-1.0, -1.0),
            (0.0, -1.0),
            (1.0, -1.0),
            (-1.0, 0.0),
            (1.0, 0.0),
            (-1.0, 1.0),
            (0.0, 1.0),
            (1.0, 1.0),
        ] {
            let (px, py) = (cx + dx * step, cy + dy * step);
            let conv = convergence(&vessels.points, px, py, radius);
            let s = conv * glow.factor(px, py);
            if s > score {
                (score, x, y, c) = (s, px, py, conv);
            }
        }
        step *= 0.7;
    }
    // A disc stands out both by itself and against the best place elsewhere.
    let clear = ((score - 0.25) / 0.25).clamp(0.0, 1.0);
    let probability = clear * ((first / rival.max(1e-3) - 1.0) / 0.25).clamp(0.0, 1.0).max(0.2);
    Some(Found { x, y, radius, probability, convergence: c })
}

/// Radii of the disc as shares of the aperture's diameter: fields of 30° to 60°.
const RADII: [f32; 6] = [0.042, 0.052, 0.063, 0.076, 0.092, 0.11];

/// The disc in a narrow field of unknown angle: the bright place of any usual size to which the vessels lead.
fn narrow(scene: &Scene<'_>, retina: &Mask, vessels: &Vessels, diameter: f32) -> Option<Found> {
    let mut all: Vec<(f32, Found)> = Vec::new();
    for share in RADII {
        let radius = share * diameter;
        let light = Blob::new(scene, retina, radius);
        let mut places = light.places(retina, radius);
        places.sort_by(|a, b| b.0.total_cmp(&a.0));
        let least = 0.5 * places.first().map_or(0.0, |p| p.0);
        for (bright, x, y) in places.into_iter().filter(|p| p.0 > least).take(40) {
            let c = convergence(&vessels.points, x, y, radius);
            all.push(((0.15 + c) * bright, Found { x, y, radius, probability: 0.0, convergence: c }));
        }
    }
    let (score, mut found) = all
        .iter()
        .fold(None, |b: Option<(f32, Found)>, a| if b.is_none_or(|b| a.0 > b.0) { Some(*a) } else { b })?;
    let rival = all
        .iter()
        .filter(|(_, f)| (f.x - found.x).hypot(f.y - found.y) > 2.0 * found.radius.max(f.radius))
        .map(|a| a.0)
        .fold(1e-6, f32::max);
    // Where the disc is cut by the rim, the vessels' order shows elsewhere.
    found.convergence = all.iter().map(|a| a.1.convergence).fold(0.0, f32::max);
    found.probability = ((score / rival - 1.0) / 0.5).clamp(0.1, 1.0);
    Some(found)
}

/// How much brighter a disc is than the ring around it, in logarithm, at half the working size.
struct Blob {
    contrast: Plane,
    step: f32,
}

impl Blob {
    fn new(scene: &Scene<'_>, retina: &Mask, radius: f32) -> Self {
        let source = &scene.half.detail;
        let (w, h, step) = (source.width, source.height, scene.half.step);
        let inside = filter::half(&Plane {
            width: retina.width,
            height: retina.height,
            data: retina.data.iter().map(|b| f32::from(u8::from(*b))).collect(),
        });
        let log = Plane {
            width: w,
            height: h,
            data: source.data.iter().zip(&inside.data).map(|(v, i)| (v + 0.03).ln() * i).collect(),
        };
        let mean = |r: f32| {
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // a small positive number
            let r = (r / step).round() as usize;
            (filter::box_mean(&log, r), filter::box_mean(&inside, r))
        };
        let ((near, n), (far, m)) = (mean(0.75 * radius), mean(2.4 * radius));
        // The ring is the large box less the small one; areas go with the square of the sides.
        let part = (0.75f32 / 2.4).powi(2);
        let contrast = Plane::from_fn(w, h, |x, y| {
            let i = y * w + x;
            let ring = m.data[i] - part * n.data[i];
            if n.data[i] < 0.7 || ring < 0.2 {
                return 0.0;
            }
            (near.data[i] / n.data[i] - (far.data[i] - part * near.data[i]) / ring).clamp(0.0, 1.5)
        });
        Self { contrast, step }
    }

    /// Local maxima in working pixels, with their contrast.
    fn places(&self, retina: &Mask, radius: f32) -> Vec<(f32, f32, f32)> {
        let p = &self.contrast;
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // a small positive number
        let r = ((0.5 * radius / self.step) as usize).max(1);
        let mut out = Vec::new();
        for y in 0..p.height {
            for x in 0..p.width {
                let v = p.at(x, y);
                let (px, py) = ((x as f32 + 0.5) * self.step, (y as f32 + 0.5) * self.step);
                #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // cut to the plane
                let seen =
                    retina.at((px as usize).min(retina.width - 1), (py as usize).min(retina.height - 1));
                if v <= 0.05 || !seen {
                    continue;
                }
                let rows = y.saturating_sub(r)..(y + r + 1).min(p.height);
                let columns = x.saturating_sub(r)..(x + r + 1).min(p.width);
                if rows.clone().all(|j| p.row(j)[columns.clone()].iter().all(|o| *o <= v)) {
                    out.push((v, px, py));
                }
            }
        }
        out
    }
}

/// How bright a place is against its surroundings, at the size of a disc.
struct Glow {
    inner: Plane,
    outer: Plane,
    step: f32,
    weight: f32,
}

impl Glow {
    fn new(scene: &Scene<'_>, radius: f32) -> Self {
        let mut log = Plane {
            width: scene.half.value.width,
            height: scene.half.value.height,
            data: scene
                .half
                .value
                .data
                .iter()
                .zip(&scene.half.detail.data)
                .map(|(v, d)| 0.5 * (v + d) + 0.03)
                .collect(),
        };
        filter::ln_all(&mut log.data);
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // small positive numbers
        let (near, far) =
            ((0.8 * radius / scene.half.step) as usize, (3.0 * radius / scene.half.step) as usize);
        let weight = if scene.modality.is_dye() { 0.5 } else { 1.0 };
        Self {
            inner: filter::box_mean(&log, near),
            outer: filter::box_mean(&log, far),
            step: scene.half.step,
            weight,
        }
    }

    fn factor(&self, x: f32, y: f32) -> f32 {
        let (w, h) = (self.inner.width, self.inner.height);
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // cut to the plane
        let (x, y) =
            (((x / self.step).max(0.0) as usize).min(w - 1), ((y / self.step).max(0.0) as usize).min(h - 1));
        1.0 + self.weight * (self.inner.at(x, y) - self.outer.at(x, y)).clamp(-0.5, 1.0)
    }
}

/// Mean over the sectors of the root of the radially directed vessel weight around a place.
fn convergence(points: &[Point], x: f32, y: f32, radius: f32) -> f32 {
    let (near, far) = (1.0 * radius, 7.0 * radius);
    let mut sums = [0.0f32; SECTORS];
    for p in points {
        let (u, v) = (p.x - x, p.y - y);
        let r2 = u * u + v * v;
        if r2 < near * near || r2 > far * far {
            continue;
        }
        let r = r2.sqrt();
        let cos = (u * p.along.0 + v * p.along.1) / r;
        // Counts fully within about 10°, against it beyond 35°.
        let radial = (1.0 - 3.0 * (1.0 - cos * cos)).max(-0.5);
        sums[sector(u, v)] += p.weight * radial / r * radius;
    }
    // A straight strong vessel through the whole ring gives radius × ln 7 ≈ 2 radii.
    sums.iter().map(|s| (s.max(0.0) / (2.0 * radius)).sqrt()).sum::<f32>() / SECTORS as f32
}

/// Sector of a direction; symmetric under mirroring but on the axes, which belong to the right and to the lower side.
fn sector(u: f32, v: f32) -> usize {
    const { assert!(SECTORS == 12) }
    /// Tangents of 30° and 60°.
    const STEEP: [f32; 2] = [0.577_350_26, 1.732_050_8];
    let (across, down) = (u.abs(), v.abs());
    let third = STEEP.iter().filter(|t| down >= **t * across).count();
    let quarter = SECTORS / 4;
    match (u < 0.0, v < 0.0) {
        (false, false) => third,
        (true, false) => 2 * quarter - 1 - third,
        (true, true) => 2 * quarter + third,
        (false, true) => 4 * quarter - 1 - third,
    }
}

/// Places worth a closer look: where vessels, drawn on along their own direction, meet most.
fn candidates(scene: &Scene<'_>, retina: &Mask, vessels: &Vessels) -> Vec<(f32, f32)> {
    let cell = (scene.disc_radius * 0.26).max(1.0);
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // small positive numbers
    let (gw, gh) =
        ((scene.width() as f32 / cell).ceil() as usize, (scene.height() as f32 / cell).ceil() as usize);
    let reach = scene.disc_radius * 8.0;
    let bins = 6;
    let mut votes = vec![vec![0.0f32; gw * gh]; bins];
    for p in &vessels.points {
        let bin = {
            let turn = (p.along.1.atan2(p.along.0) / std::f32::consts::PI).rem_euclid(1.0);
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // 0 to bins
            let b = (turn * bins as f32) as usize % bins;
            b
        };
        let mut r = -reach;
        while r <= reach {
            let (x, y) = (p.x + r * p.along.0, p.y + r * p.along.1);
            if x >= 0.0 && y >= 0.0 {
                #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // checked
                let (gx, gy) = ((x / cell) as usize, (y / cell) as usize);
                if gx < gw && gy < gh {
                    votes[bin][gy * gw + gx] += p.weight;
                }
            }
            r += cell;
        }
    }
    let mut score = Plane::new(gw, gh, 0.0);
    for v in votes {
        let calm = filter::box_mean(&Plane { width: gw, height: gh, data: v }, 2);
        for (s, c) in score.data.iter_mut().zip(&calm.data) {
            *s += c.max(0.0).sqrt();
        }
    }
    peaks(&score, cell, retina)
}

/// Local maxima inside the retina, best forty.
fn peaks(score: &Plane, cell: f32, retina: &Mask) -> Vec<(f32, f32)> {
    let (w, h) = (score.width, score.height);
    let mut found = Vec::new();
    for y in 0..h {
        for x in 0..w {
            let (px, py) = ((x as f32 + 0.5) * cell, (y as f32 + 0.5) * cell);
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // positive
            let (ix, iy) = ((px as usize).min(retina.width - 1), (py as usize).min(retina.height - 1));
            let s = score.at(x, y);
            if s <= 0.0 || !retina.at(ix, iy) {
                continue;
            }
            let top = (y.saturating_sub(2)..(y + 3).min(h))
                .all(|j| score.row(j)[x.saturating_sub(2)..(x + 3).min(w)].iter().all(|v| *v <= s));
            if top {
                found.push((s, px, py));
            }
        }
    }
    found.sort_by(|a, b| b.0.total_cmp(&a.0));
    found.into_iter().take(40).map(|(_, x, y)| (x, y)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sectors_go_round_by_thirty_degrees() {
        for tenth in (0..3600).filter(|t| t % 300 != 0) {
            let a = f64::from(tenth).to_radians() / 10.0;
            for r in [0.3, 80.0] {
                let (u, v) = ((r * a.cos()) as f32, (r * a.sin()) as f32);
                assert_eq!(sector(u, v), tenth as usize / 300, "{tenth}");
            }
        }
        let axes = [(1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0)];
        assert_eq!(axes.map(|(u, v)| sector(u, v)), [0, 2, 5, 9]);
    }
}
