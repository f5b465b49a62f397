//! Vessels as ridges: bright ones in dye pictures, dark ones elsewhere.

use super::oriented;
use crate::{filter, mask::Mask, scene::Scene};
use serrata_frame::{Plane, with_avx2};
use serrata_words::Modality;

/// One point on a vessel, in working pixels.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Point {
    pub(crate) x: f32,
    pub(crate) y: f32,
    /// Contrast, cut at the strong vessels' level, 0 to 1.
    pub(crate) weight: f32,
    /// Unit vector along the vessel; its sign has no meaning.
    pub(crate) along: (f32, f32),
}

/// The vessels of a frame.
pub(crate) struct Vessels {
    /// Ridge contrast in units of the logarithm of brightness.
    pub(crate) strength: Plane,
    /// Ridge crests inside the retina, strongest kept, in order of rows.
    pub(crate) points: Vec<Point>,
    /// Contrast of the strong vessels (the crests' highest twentieth).
    pub(crate) contrast: f32,
}

/// How many crest points are kept.
const MOST: usize = 6000;

impl Vessels {
    /// Finds ridges by the eigenvalues of the second derivatives of log brightness (as Frangi et al. 1998 do, at one
    /// scale of about the width of a second-order vessel).
    pub(crate) fn find(scene: &Scene<'_>, retina: &Mask) -> Self {
        let (w, h) = (scene.width(), scene.height());
        let sigma = (scene.disc_radius * 0.098).max(0.8);
        let calm = filter::smooth(&scene.detail, sigma);
        let lift = (0.15 * filter::percentile_where(&calm, retina, 0.5)).max(0.004);
        let mut log = calm;
        log.data.iter_mut().for_each(|v| *v += lift);
        filter::ln_all(&mut log.data);
        let core = core(retina, (scene.long() * 0.012).max(4.0 * sigma));
        let sign = sign(scene.modality);
        let mut ridges =
            Ridges { strength: vec![0.0; w * h], along: [vec![0.0; w * h], vec![0.0; w * h]], sign, sigma };
        with_avx2!(ridges.measure(&log, &core));
        let strength = Plane { width: w, height: h, data: ridges.strength };
        let mut points = crests(&strength, &ridges.along);
        let mut all: Vec<f32> = points.iter().map(|p| p.weight).collect();
        let contrast = filter::percentile(&mut all, 0.95);
        if points.len() > MOST {
            let limit = filter::percentile(&mut all, 1.0 - MOST as f64 / points.len() as f64);
            points.retain(|p| p.weight >= limit);
        }
        for p in &mut points {
            p.weight = (p.weight / contrast.max(1e-6)).min(1.0);
        }
        Self { strength, points, contrast }
    }
}

/// Widths at which vessels are looked for when they are mapped, in usual disc radii: capillary branches to the great arcades.
const WIDTHS: [f32; 3] = [0.0185, 0.032, 0.055];

/// How strongly each working pixel looks like a vessel of any width: the strongest ridge over three scales, each weighted
/// with scale^1.5 (both chosen by area under the curve on the 14 pictures with vessel masks; scale² favours broad shadows).
pub(crate) fn map(scene: &Scene<'_>, retina: &Mask) -> Plane {
    let sign = sign(scene.modality);
    let mut log = over_ground(&scene.detail, scene, retina);
    let unit = unit(scene, retina, &log, sign);
    if scene.round && sign > 0.0 {
        // The wall of a wide vessel shines along its middle, which would make two of one.
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // some pixels
        let reach = (SHINE * unit * USUAL * scene.disc_radius) as usize;
        if reach > 0 {
            log = over_ground(&filter::opened(&scene.detail, reach), scene, retina);
        }
    }
    let mut best = Plane::new(log.width, log.height, 0.0);
    let mut sigmas = WIDTHS.map(|width| (unit * width * scene.disc_radius).max(0.7)).to_vec();
    // In wide frames the narrow ones are all as narrow as can be told.
    sigmas.dedup();
    for sigma in sigmas {
        let found = oriented::ridges(&log, sigma, sign);
        let scale = sigma.powf(1.5);
        for ((b, v), inside) in best.data.iter_mut().zip(&found.data).zip(&retina.data) {
            *b = if *inside { b.max(v * scale) } else { 0.0 };
        }
    }
    best
}

/// Widths of the ridges of [`ridges`], in usual disc radii: what is told by them has its limits with these.
const SHORT: [f32; 4] = [0.023, 0.038, 0.062, 0.1];

/// The same of ridges that need not go on, dark (`sign` +1) or bright ones (−1): the curvature at each pixel alone.
pub(crate) fn ridges(scene: &Scene<'_>, retina: &Mask, sign: f32) -> Plane {
    let log = over_ground(&scene.detail, scene, retina);
    let unit = unit(scene, retina, &log, sign);
    let mut best = Plane::new(log.width, log.height, 0.0);
    for width in SHORT {
        let sigma = (unit * width * scene.disc_radius).max(0.7);
        each_curve(&log, retina, sigma, sign, |i, c| best.data[i] = best.data[i].max(c * sigma.powf(1.5)));
    }
    best
}

/// Logarithm of light over that of its surroundings; outside the retina that of the rim, farther out 0.
fn over_ground(light: &Plane, scene: &Scene<'_>, retina: &Mask) -> Plane {
    let (w, h) = (light.width, light.height);
    let inside =
        Plane { width: w, height: h, data: retina.data.iter().map(|b| f32::from(u8::from(*b))).collect() };
    let lit = Plane {
        width: w,
        height: h,
        data: light.data.iter().zip(&inside.data).map(|(v, i)| v * i).collect(),
    };
    let wide = 0.46 * scene.disc_radius;
    let (ground, share) = (filter::smooth(&lit, wide), filter::smooth(&inside, wide));
    let mut log = Plane::from_fn(w, h, |x, y| {
        let i = y * w + x;
        let ground = ground.data[i] / share.data[i].max(1e-3);
        if retina.data[i] { ((light.data[i] + 0.02) / (ground + 0.02)).ln() } else { 0.0 }
    });
    // Outside, what lies at the rim goes on, so that the outline is no vessel.
    let near = 0.1 * scene.disc_radius;
    let (rim, share) = (filter::smooth(&log, near), filter::smooth(&inside, near));
    for (i, v) in log.data.iter_mut().enumerate() {
        if !retina.data[i] && share.data[i] > 1e-3 {
            *v = rim.data[i] / share.data[i];
        }
    }
    log
}

/// How much wider vessels are than those that [`WIDTHS`] are made for. Narrow fields are of 30° to 50°: how wide their vessels are
/// against the field is not known beforehand.
fn unit(scene: &Scene<'_>, retina: &Mask, log: &Plane, sign: f32) -> f32 {
    if scene.round { usual_width(scene, retina, log, sign) / USUAL } else { 1.0 }
}

/// +1 where vessels are darker than their ground, −1 where they are brighter.
fn sign(modality: Modality) -> f32 {
    if modality.is_dye() { -1.0 } else { 1.0 }
}

/// Half of the widest bright strip within a vessel, in the scale of its strongest ridge (it takes a third to a quarter of the
/// vessel's width; chosen on the same pictures).
const SHINE: f32 = 0.38;

/// Width of the strongest vessels for which [`WIDTHS`] are made, in usual disc radii: that of pictures of 45°.
const USUAL: f32 = 0.06;

/// Width, in usual disc radii, at which the strongest ridges of a picture are strongest.
fn usual_width(scene: &Scene<'_>, retina: &Mask, log: &Plane, sign: f32) -> f32 {
    let strongest = |width: f32| {
        let sigma = (width * scene.disc_radius).max(0.7);
        let mut all = Vec::new();
        each_curve(log, retina, sigma, sign, |_, c| all.push(c * sigma * sigma));
        filter::percentile(&mut all, 0.98)
    };
    let widths = [0.75, 1.0, 1.33, 1.75, 2.3].map(|k| k * USUAL);
    // Where nothing stands out the usual width is kept.
    let first = (USUAL, strongest(USUAL));
    widths.map(|w| (w, strongest(w))).into_iter().fold(first, |best, w| if w.1 > best.1 { w } else { best }).0
}

/// Calls `take` with the index of every pixel of the retina and the curvature across the ridge there, at one scale.
fn each_curve(log: &Plane, retina: &Mask, sigma: f32, sign: f32, mut take: impl FnMut(usize, f32)) {
    let calm = filter::gauss(log, sigma);
    let (w, h) = (calm.width, calm.height);
    for y in 1..h.saturating_sub(1) {
        for x in 1..w.saturating_sub(1) {
            if retina.data[y * w + x] {
                take(y * w + x, curve(&calm, x, y, sign));
            }
        }
    }
}

/// Curvature across the ridge less half of that along it.
fn curve(p: &Plane, x: usize, y: usize, sign: f32) -> f32 {
    let (w, i) = (p.width, y * p.width + x);
    let d = &p.data;
    let xx = sign * (d[i - 1] - 2.0 * d[i] + d[i + 1]);
    let yy = sign * (d[i - w] - 2.0 * d[i] + d[i + w]);
    let xy = 0.25 * (d[i + w + 1] - d[i + w - 1] - d[i - w + 1] + d[i - w - 1]);
    let (mean, half) = (0.5 * (xx + yy), 0.5 * (xx - yy));
    let spread = (half * half + xy * xy).sqrt();
    (mean + spread - 0.5 * (mean - spread).abs()).max(0.0)
}

/// The retina without a margin of working pixels, within which the outline itself would look like a vessel.
pub(crate) fn core(retina: &Mask, margin: f32) -> Mask {
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // a small positive number
    let margin = margin.round() as usize;
    // A pixel that is missing here and there is no margin.
    retina.mostly(margin, 0.995)
}

/// Ridges of every pixel, row by row.
struct Ridges {
    strength: Vec<f32>,
    /// Unit vector along the ridge, where there is one: its parts along and down the picture.
    along: [Vec<f32>; 2],
    /// +1 for dark ridges, −1 for bright ones.
    sign: f32,
    /// Standard deviation of the smoothing, in pixels. Second derivatives fall with its square: times that, ridges of small and
    /// large pictures compare (Lindeberg, Int. J. Comput. Vis. 1998;30:79, from memory).
    sigma: f32,
}

impl Ridges {
    /// Ridges of a plane, 0 outside the core and at the picture's border.
    #[allow(clippy::inline_always)] // see `with_avx2`
    #[inline(always)]
    fn measure(&mut self, p: &Plane, core: &Mask) {
        let (w, h) = (p.width, p.height);
        if w < 3 {
            return;
        }
        let n = w - 2;
        for y in 1..h.saturating_sub(1) {
            let i = y * w;
            // Left, middle and right neighbours of each pixel, as rows of the same length.
            let [up, row, down] = [y - 1, y, y + 1].map(|y| p.row(y));
            let (ul, um, ur) = (&up[..n], &up[1..=n], &up[2..n + 2]);
            let (l, m, r) = (&row[..n], &row[1..=n], &row[2..n + 2]);
            let (dl, dm, dr) = (&down[..n], &down[1..=n], &down[2..n + 2]);
            let inside = &core.data[i + 1..=i + n];
            let strength = &mut self.strength[i + 1..=i + n];
            let [cos, sin] = &mut self.along;
            let (cos, sin) = (&mut cos[i + 1..=i + n], &mut sin[i + 1..=i + n]);
            for x in 0..n {
                let xx = self.sign * (l[x] - 2.0 * m[x] + r[x]);
                let yy = self.sign * (um[x] - 2.0 * m[x] + dm[x]);
                let xy = self.sign * 0.25 * (dr[x] - dl[x] - ur[x] + ul[x]);
                let (mean, half) = (0.5 * (xx + yy), 0.5 * (xx - yy));
                let spread = (half * half + xy * xy).sqrt();
                let (across, other) = (mean + spread, mean - spread);
                let here = (across - other.abs()).max(0.0) * self.sigma * self.sigma;
                let is_ridge = inside[x] & (across > 0.0) & (spread > 0.0);
                strength[x] = if is_ridge { here } else { 0.0 };
                // Twice the angle of the direction across is (half, xy); along is a quarter turn further.
                let (c2, s2) = (-half / spread, -xy / spread);
                cos[x] = (0.5 * (1.0 + c2)).max(0.0).sqrt();
                sin[x] = (0.5 * (1.0 - c2)).max(0.0).sqrt().copysign(s2);
            }
        }
    }
}

/// Pixels that are at least as strong as both neighbours across the ridge.
fn crests(strength: &Plane, along: &[Vec<f32>; 2]) -> Vec<Point> {
    let (w, h) = (strength.width, strength.height);
    let mut out = Vec::new();
    for y in 1..h.saturating_sub(1) {
        for x in 1..w.saturating_sub(1) {
            let i = y * w + x;
            let s = strength.data[i];
            if s <= 0.0 {
                continue;
            }
            let (c, v) = (along[0][i], along[1][i]);
            // Neighbours across: nearest of the eight along (−v, c).
            let step = |t: f32| i64::from(t > 0.38) - i64::from(t < -0.38);
            #[allow(clippy::cast_possible_wrap)] // rows are short
            let off = step(c) * w as i64 + step(-v);
            #[allow(clippy::cast_possible_wrap, clippy::cast_possible_truncation, clippy::cast_sign_loss)]
            // inside by one pixel on each side
            let (a, b) = ((i as i64 + off) as usize, (i as i64 - off) as usize);
            if (s >= strength.data[a]) & (s >= strength.data[b]) {
                out.push(Point { x: x as f32 + 0.5, y: y as f32 + 0.5, weight: s, along: (c, v) });
            }
        }
    }
    out
}
