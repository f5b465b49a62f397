//! What comes between the scanner and the retina: lids, the iris, lashes, a blink.

use crate::aperture;
use crate::contour::Mask;
use crate::lashes;
use crate::noise::{flat, ramp};
use crate::optics::Optics;
use crate::scene::{Fault, Scene};
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;
use serrata_words::{FindingKind, Side};
use std::ops::Range;

/// Covers on a coarse plane: they are far out of focus, so that a cell of some pixels is enough.
#[derive(Debug)]
pub(crate) struct Covers {
    /// Cells along a side.
    pub side: usize,
    /// Pixels of a cell's side.
    pub factor: u32,
    pub layers: Vec<Layer>,
    /// Lines of a blink.
    pub blinks: Vec<[u32; 2]>,
}

/// One cover.
#[derive(Debug)]
pub(crate) struct Layer {
    pub kind: FindingKind,
    pub from: Side,
    /// Rows and columns of pixels outside of which it is open.
    pub rows: Range<u32>,
    /// Columns, as `rows`.
    pub columns: Range<u32>,
    /// 0 open, 1 covered.
    pub alpha: Vec<f32>,
    /// Brightness relative to skin in focus, 0 to 1.
    pub tone: Vec<f32>,
}

impl Covers {
    pub fn new(scene: &Scene, optics: &Optics) -> Self {
        // 900 cells a side of a full-size picture, half as many of a small one.
        let factor = optics.size.div_ceil(900).max(1 + u32::from(optics.size >= 400));
        let side = optics.size.div_ceil(factor) as usize;
        let mut it = Self { side, factor, layers: Vec::new(), blinks: Vec::new() };
        let mut rng = Pcg64Mcg::seed_from_u64(scene.shot ^ scene.seed.rotate_left(17) ^ 0x11d5);
        if scene.everyday {
            it.everyday(&mut rng);
        }
        for fault in &scene.faults {
            match *fault {
                Fault::Lid { side, share } => it.lid(&mut rng, side, share),
                Fault::OffCentre { side, share } => it.iris(&mut rng, side, share),
                Fault::Lash { side, length, count } => {
                    let lean = rng.random_range(-0.5..0.5);
                    it.lashes(&mut rng, side, length, count, 0.0, lean, 0.95);
                }
                Fault::Blink { rows } => {
                    let rows = rows.map(|r| r.min(optics.size));
                    if rows[0] < rows[1] {
                        it.blinks.push(rows);
                    }
                }
                _ => {}
            }
        }
        it
    }

    /// A few lashes and a corner of lid at the lower edge, as most real pictures have.
    fn everyday(&mut self, rng: &mut Pcg64Mcg) {
        let corner: f64 = if rng.random_bool(0.5) { 1.0 } else { -1.0 };
        let share = rng.random_range(0.004..0.018);
        let grain: u32 = rng.random();
        self.cover(FindingKind::Lid, Side::Bottom, share, grain, 0.02, move |x, y| {
            2.0 - y - 0.85 * corner * x
        });
        for (at, n) in [(-corner, rng.random_range(4..9u32)), (corner, rng.random_range(1..5u32))] {
            let length = rng.random_range(0.10..0.20);
            self.lashes(rng, Side::Bottom, length, n, at * 0.6, -at * 0.5, 0.75);
        }
    }

    /// A lid from a side: its margin bends so that it covers the corners first.
    fn lid(&mut self, rng: &mut Pcg64Mcg, side: Side, share: f64) {
        let grain: u32 = rng.random();
        let slant = rng.random_range(-0.10..0.10);
        let bend = rng.random_range(0.18..0.34);
        self.cover(FindingKind::Lid, side, share, grain, 0.03, move |x, y| {
            let (u, v) = inwards(side, x, y);
            u - bend * v * v + slant * v
        });
        if matches!(side, Side::Top | Side::Bottom) && share > 0.08 {
            self.lashes(rng, side, 0.10 + share * 0.9, 9, 0.0, slant, 0.9);
        }
    }

    /// The iris, behind which a side is lost when the pupil is off the axis.
    fn iris(&mut self, rng: &mut Pcg64Mcg, side: Side, share: f64) {
        let grain: u32 = rng.random();
        self.cover(FindingKind::OffCentre, side, share, grain, 0.16, move |x, y| {
            let (u, v) = inwards(side, x, y);
            u - 0.22 * v * v
        });
    }

    /// Adds a cover of a share of the aperture: where `depth` is below the level that gives that share.
    fn cover(
        &mut self,
        kind: FindingKind,
        from: Side,
        share: f64,
        grain: u32,
        soft: f64,
        depth: impl Fn(f64, f64) -> f64,
    ) {
        let n = self.side;
        #[allow(clippy::cast_precision_loss)] // cells of a picture
        let place = |i: usize| (2.0 * (i as f64 + 0.5) / n as f64) - 1.0;
        let wobble = |x: f64, y: f64| {
            #[allow(clippy::cast_possible_truncation)] // about one
            let (x, y) = (x as f32, y as f32);
            f64::from(0.025 * flat(x * 3.0, y * 3.0, grain) + 0.008 * flat(x * 11.0, y * 11.0, grain))
        };
        let mut field = Vec::with_capacity(n * n);
        let mut inside = Vec::new();
        for j in 0..n {
            for i in 0..n {
                let (x, y) = (place(i), place(j));
                let d = depth(x, y) + wobble(x, y);
                if aperture::signed(x, y) < 0.0 {
                    inside.push(d);
                }
                field.push(d);
            }
        }
        inside.sort_by(f64::total_cmp);
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, clippy::cast_precision_loss)]
        // cut to 0..=1
        let k = (share.clamp(0.0, 1.0) * inside.len() as f64) as usize;
        if k == 0 {
            return;
        }
        let level = inside[(k - 1).min(inside.len() - 1)];
        #[allow(clippy::cast_possible_truncation)] // about one
        let over = |d: f64| ((level - d) / soft) as f32;
        let alpha = field.iter().map(|d| ramp(-0.5, 0.5, over(*d))).collect();
        // Skin is brightest well inside and throws a shadow at its margin.
        let furrows = |k: usize, d: f64| {
            #[allow(clippy::cast_possible_truncation, clippy::cast_precision_loss)] // about one
            let (x, deep) = ((k % n) as f32 / n as f32, d as f32);
            1.0 + 0.10 * flat(x * 4.0, deep * 16.0, grain ^ 7) + 0.05 * flat(x * 40.0, deep * 50.0, grain ^ 8)
        };
        let tone = field.iter().enumerate();
        let tone = tone.map(|(k, d)| (0.10 + 0.80 * ramp(0.2, 7.0, over(*d))) * furrows(k, *d)).collect();
        self.add(kind, from, alpha, tone);
    }

    #[allow(clippy::too_many_arguments)] // the parameters of one brush
    fn lashes(
        &mut self,
        rng: &mut Pcg64Mcg,
        side: Side,
        length: f64,
        count: u32,
        at: f64,
        lean: f64,
        dark: f32,
    ) {
        let alpha = lashes::draw(rng, self.side, side, &lashes::Bunch { length, count, at, lean, dark });
        let tone = vec![0.0; alpha.len()];
        self.add(FindingKind::Lash, side, alpha, tone);
    }

    fn add(&mut self, kind: FindingKind, from: Side, alpha: Vec<f32>, tone: Vec<f32>) {
        let n = self.side;
        // A cell reaches into its neighbours by the interpolation.
        let span = |hit: &dyn Fn(usize) -> bool| {
            let first = (0..n).find(|i| hit(*i)).unwrap_or(n).saturating_sub(1);
            let last = (0..n).rev().find(|i| hit(*i)).map_or(0, |i| i + 2);
            #[allow(clippy::cast_possible_truncation)] // cells of a picture
            {
                first as u32 * self.factor..last as u32 * self.factor
            }
        };
        let rows = span(&|j| alpha[j * n..(j + 1) * n].iter().any(|a| *a > 0.0));
        let columns = span(&|i| (0..n).any(|j| alpha[j * n + i] > 0.0));
        self.layers.push(Layer { kind, from, rows, columns, alpha, tone });
    }

    /// Value of a plane between cells at a pixel.
    #[allow(clippy::cast_precision_loss, clippy::cast_possible_truncation, clippy::cast_sign_loss)] // cut to the plane
    pub fn between(&self, plane: &[f32], x: u32, y: u32) -> f32 {
        let (f, n) = (self.factor as f32, self.side);
        let u = ((x as f32 + 0.5) / f - 0.5).clamp(0.0, n as f32 - 1.0);
        let v = ((y as f32 + 0.5) / f - 0.5).clamp(0.0, n as f32 - 1.0);
        let (i, j) = (u as usize, v as usize);
        let (i2, j2) = ((i + 1).min(n - 1), (j + 1).min(n - 1));
        let (s, t) = (u - i as f32, v - j as f32);
        let top = plane[j * n + i] * (1.0 - s) + plane[j * n + i2] * s;
        let low = plane[j2 * n + i] * (1.0 - s) + plane[j2 * n + i2] * s;
        top * (1.0 - t) + low * t
    }

    /// Cells of the aperture.
    pub fn aperture(&self) -> Mask {
        #[allow(clippy::cast_precision_loss)] // cells of a picture
        let place = |i: usize| (2.0 * (i as f64 + 0.5) / self.side as f64) - 1.0;
        Mask::from_fn(self.side, self.side, self.factor, |i, j| aperture::signed(place(i), place(j)) < 0.0)
    }

    /// Whether a cell's middle lies in one of the lines of a blink.
    pub fn blinked(&self, i: usize, j: usize, sideways: bool) -> bool {
        #[allow(clippy::cast_possible_truncation)] // cells of a picture
        let line = (if sideways { i } else { j }) as u32 * self.factor + self.factor / 2;
        self.blinks.iter().any(|b| (b[0]..b[1]).contains(&line))
    }
}

/// How far in from a side (0 to 2), and the place along that side (−1 to 1).
pub(crate) fn inwards(side: Side, x: f64, y: f64) -> (f64, f64) {
    match side {
        Side::Top => (1.0 + y, x),
        Side::Bottom => (1.0 - y, x),
        Side::Left => (1.0 + x, y),
        Side::Right => (1.0 - x, y),
    }
}
