//! What comes between the scanner and the retina: lids, the iris, lashes, a blink, shadows, reflections, dirt.

use crate::aperture;
use crate::contour::Mask;
use crate::lashes;
use crate::noise::{flat, ramp};
use crate::optics::Optics;
use crate::scene::{Fault, Scene};
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;
use serrata_words::{FindingKind, Modality, Side};
use std::ops::Range;

/// Covers on a coarse plane: they are far out of focus, so that a cell of some pixels is enough.
#[derive(Debug)]
pub(crate) struct Covers {
    /// Cells along the width and the height.
    pub cells: [usize; 2],
    /// Pixels of a cell's side.
    pub factor: u32,
    pub layers: Vec<Layer>,
    pub blinks: Vec<Blink>,
    /// Width and height of the picture in pixels.
    picture: [u32; 2],
}

/// How a layer changes the light behind it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Acts {
    /// It takes the light's place with skin or iris of the layer's tone.
    Covers,
    /// It takes light away.
    Takes,
    /// It adds light of its tone.
    Adds,
    /// It veils: light is mixed with an even grey.
    Veils,
}

/// One thing in the way.
#[derive(Debug)]
pub(crate) struct Layer {
    pub kind: FindingKind,
    pub acts: Acts,
    /// The side that it comes from, where it has one.
    pub from: Option<Side>,
    /// Opacity from which a cell counts as touched.
    pub counts: f32,
    /// Rows of pixels outside of which it is open.
    pub rows: Range<u32>,
    /// Columns, as `rows`.
    pub columns: Range<u32>,
    /// 0 open, 1 covered.
    pub alpha: Vec<f32>,
    /// Brightness relative to skin in focus, 0 to 1; for reflections the light that is added.
    pub tone: Vec<f32>,
}

impl Layer {
    /// Whether nothing of the retina is seen where this layer counts.
    pub fn hides(&self) -> bool {
        !matches!(
            self.kind,
            FindingKind::Floater | FindingKind::Smear | FindingKind::Dust | FindingKind::Blur
        )
    }
}

/// A lid that comes down and goes up while these lines are swept. Its margin is an arch: the sides are covered first
/// and opened last, so that the middle loses fewer lines.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Blink {
    /// Lines from the one at which half of the width is covered to the one at which half of it is free again.
    pub lines: [u32; 2],
    /// Lines from covering the sides to covering the middle, and from freeing the middle to freeing the sides.
    pub lag: [f64; 2],
}

impl Blink {
    /// The lines that it covers at a place across the sweep, −1 to 1.
    pub fn at(&self, across: f64) -> [f64; 2] {
        // At half of the width, ± ½, the arch has gone three quarters of its way.
        let arch = 0.25 - across * across;
        [f64::from(self.lines[0]) + self.lag[0] * arch, f64::from(self.lines[1]) - self.lag[1] * arch]
    }
}

/// Whether a barrier filter holds the instrument's own light back, as for all that glows: it passes less than a
/// hundred-thousandth of it (from memory), so that a reflection of a few per cent is far below the dimmest glow.
const fn filtered(modality: Modality) -> bool {
    matches!(modality, Modality::Faf | Modality::Fa | Modality::Icg)
}

impl Covers {
    pub fn new(scene: &Scene, optics: &Optics) -> Self {
        // 900 cells across a full-size picture, half as many of a small one.
        let factor = optics.size.div_ceil(900).max(1 + u32::from(optics.size >= 400));
        let cells = [optics.size, optics.height].map(|s| s.div_ceil(factor) as usize);
        let picture = [optics.size, optics.height];
        let mut it = Self { cells, factor, layers: Vec::new(), blinks: Vec::new(), picture };
        let mut rng = Pcg64Mcg::seed_from_u64(scene.shot ^ scene.seed.rotate_left(17) ^ 0x11d5);
        if scene.everyday {
            it.everyday(&mut rng);
            if filtered(scene.modality) {
                // The lids' ends lie beyond the light that makes skin glow, and the filter holds the rest back (after real angiograms; of
                // autofluorescence none was at hand).
                for l in it.layers.iter_mut().filter(|l| matches!(l.from, Some(Side::Left | Side::Right))) {
                    l.tone.iter_mut().for_each(|t| *t *= 0.25);
                }
            }
        }
        for fault in &scene.faults {
            match *fault {
                Fault::Lid { side, share } => it.lid(&mut rng, side, share),
                Fault::OffCentre { side, share } => it.iris(&mut rng, side, share),
                Fault::Lash { side, length, count } => {
                    let lean = rng.random_range(-0.5..0.5);
                    it.lashes(&mut rng, side, length, count, 0.0, lean, 0.95);
                }
                Fault::Blink { rows } => it.blink(scene, rows, optics.lines()),
                Fault::TooClose { strength } => it.too_close(&mut rng, strength),
                Fault::TooFar { strength } => it.too_far(&mut rng, strength),
                Fault::IrisShadow { side, share } => it.iris_shadow(&mut rng, side, share),
                Fault::Reflex { at, radius } if !filtered(scene.modality) => it.reflex(&mut rng, at, radius),
                Fault::Floater { at, radius, dark } => it.floater(&mut rng, at, radius, dark),
                Fault::Smear { at, radius, strength } => it.smear(&mut rng, at, radius, strength),
                Fault::Dust { count, deposit } => it.dust(&scene.instrument, count, deposit),
                Fault::RegionalBlur { at, radius, .. } => it.soft_patch(&mut rng, at, radius),
                _ => {}
            }
        }
        it
    }

    /// Lids at the ends, dense lashes out of the lower corners and a corner of lid, as most real pictures have.
    fn everyday(&mut self, rng: &mut Pcg64Mcg) {
        let corner: f64 = if rng.random_bool(0.5) { 1.0 } else { -1.0 };
        let low = self.half_height().min(0.9);
        if rng.random_bool(0.6) {
            let (share, grain) = (rng.random_range(0.004..0.030), rng.random());
            let slope = rng.random_range(0.5..0.9);
            self.cover(FindingKind::Lid, Some(Side::Bottom), share, grain, 0.02, move |x, y| {
                1.0 + low - y - slope * corner * x
            });
        }
        for side in [Side::Left, Side::Right] {
            if rng.random_bool(0.9) {
                let (share, grain) = (rng.random_range(0.008..0.045), rng.random());
                // The gap between the lids narrows downwards or upwards: the ends are wedges with a slight bow.
                let (slant, bow) = (rng.random_range(0.12..0.34), rng.random_range(0.0..0.14));
                self.cover(FindingKind::Lid, Some(side), share, grain, 0.005, move |x, y| {
                    let (u, v) = inwards(side, x, y);
                    u + slant * v + bow * v * v
                });
            }
        }
        for at in [-corner, corner] {
            let many = if at < 0.0 { rng.random_range(12..34u32) } else { rng.random_range(3..18u32) };
            let dark = rng.random_range(0.55..0.95);
            if rng.random_bool(0.7) {
                // Those of the corner come in from the side, nearly level.
                let side = if at > 0.0 { Side::Right } else { Side::Left };
                let (length, place) = (rng.random_range(0.10..0.24), rng.random_range(0.45..0.80));
                let lean = rng.random_range(-0.35..0.55);
                self.lashes(rng, side, length, many, place, lean, dark);
            } else {
                let (length, place) = (rng.random_range(0.08..0.15), at * rng.random_range(0.50..0.85));
                let lean = -at * rng.random_range(0.2..0.9);
                self.lashes(rng, Side::Bottom, length, many, place, lean, dark);
            }
        }
    }

    /// Half of the height in halves of the width.
    pub fn half_height(&self) -> f64 {
        f64::from(self.picture[1]) / f64::from(self.picture[0])
    }

    /// A blink over these lines: the lid takes 75 ms to come down over the whole picture and 150 ms to go up (from
    /// memory: closing is about twice as fast as opening), its margin hangs 0.12 of the picture lower at the sides.
    fn blink(&mut self, scene: &Scene, rows: [u32; 2], lines: u32) {
        let rows = rows.map(|r| r.min(lines));
        if rows[0] >= rows[1] {
            return;
        }
        let sweep_ms = (scene.instrument.sweep_s * 1000.0).max(1.0);
        let most = f64::from(rows[1] - rows[0]) / 3.0;
        let lag = [75.0, 150.0].map(|ms| (0.12 * ms / sweep_ms * f64::from(lines)).min(most));
        self.blinks.push(Blink { lines: rows, lag });
    }

    /// A lid from a side: its margin bends so that it covers the corners first.
    fn lid(&mut self, rng: &mut Pcg64Mcg, side: Side, share: f64) {
        self.lid_of(rng, side, share, FindingKind::Lid);
    }

    fn lid_of(&mut self, rng: &mut Pcg64Mcg, side: Side, share: f64, kind: FindingKind) {
        let grain: u32 = rng.random();
        let slant = rng.random_range(-0.10..0.10);
        let bend = rng.random_range(0.18..0.34);
        self.cover(kind, Some(side), share, grain, 0.03, move |x, y| {
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
        self.cover(FindingKind::OffCentre, Some(side), share, grain, 0.16, move |x, y| {
            let (u, v) = inwards(side, x, y);
            u - 0.22 * v * v
        });
    }

    /// Too near: the field on the eye's front is larger than the gap between the lids, which come in from above and
    /// below, and the iris closes the ends.
    fn too_close(&mut self, rng: &mut Pcg64Mcg, strength: f64) {
        let lost = 0.5 * strength.clamp(0.0, 1.0);
        let upper = rng.random_range(0.40..0.55);
        let ends = 0.16;
        self.lid_of(rng, Side::Top, lost * upper, FindingKind::TooClose);
        self.lid_of(rng, Side::Bottom, lost * (1.0 - ends - upper), FindingKind::TooClose);
        let grain: u32 = rng.random();
        // Ends: an ellipse that the aperture's ends stick out of.
        self.cover(FindingKind::TooClose, None, lost * ends, grain, 0.10, |x, y| {
            1.4 - (x * x + 0.2 * y * y).sqrt()
        });
        if strength > 0.15 {
            self.lashes(rng, Side::Top, 0.10 + 0.25 * strength, 14, 0.0, 0.0, 0.9);
            self.lashes(rng, Side::Bottom, 0.10 + 0.25 * strength, 14, 0.0, 0.0, 0.9);
        }
    }

    /// Too far: the pupil's image is smaller than the aperture, its blurred rim closes the field as an ellipse that
    /// sits a little off the middle.
    fn too_far(&mut self, rng: &mut Pcg64Mcg, strength: f64) {
        let grain: u32 = rng.random();
        let (dx, dy) = (rng.random_range(-0.04..0.04), rng.random_range(-0.04..0.04));
        // About the aperture's own shape (0.87), so that it closes on all sides.
        let tall = rng.random_range(0.80..0.92);
        self.cover(FindingKind::TooFar, None, 0.5 * strength.clamp(0.0, 1.0), grain, 0.22, move |x, y| {
            1.4 - (x - dx).hypot((y - dy) / tall)
        });
    }

    /// A soft dark fall-off from a side.
    fn iris_shadow(&mut self, rng: &mut Pcg64Mcg, side: Side, share: f64) {
        let grain: u32 = rng.random();
        let bend = rng.random_range(0.1..0.35);
        let deep = rng.random_range(0.75..0.9f32);
        self.cover(FindingKind::IrisShadow, Some(side), share, grain, 0.45, move |x, y| {
            let (u, v) = inwards(side, x, y);
            u - bend * v * v
        });
        if let Some(l) = self.layers.last_mut().filter(|l| l.kind == FindingKind::IrisShadow) {
            l.acts = Acts::Takes;
            l.counts = 0.5 * deep;
            l.alpha.iter_mut().for_each(|a| *a *= deep);
        }
    }

    /// Adds a cover of a share of the aperture: where `depth` is below the level that gives that share.
    fn cover(
        &mut self,
        kind: FindingKind,
        from: Option<Side>,
        share: f64,
        grain: u32,
        soft: f64,
        depth: impl Fn(f64, f64) -> f64,
    ) {
        let wobble = |x: f64, y: f64| {
            #[allow(clippy::cast_possible_truncation)] // about one
            let (x, y, soft) = (x as f32, y as f32, soft as f32);
            // A sharp margin is a smooth one: what is far out of focus wavers more.
            let waver = (soft / 0.03).min(1.0);
            f64::from(
                waver * (0.025 * flat(x * 3.0, y * 3.0, grain) + 0.008 * flat(x * 11.0, y * 11.0, grain)),
            )
        };
        let field: Vec<f64> = self.each(|x, y| depth(x, y) + wobble(x, y));
        let mut inside: Vec<f64> =
            field.iter().zip(self.aperture().cells).filter(|p| p.1).map(|p| *p.0).collect();
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
        // Skin is brightest well inside and throws a shadow at its margin, but for a margin in focus, that shines to its end.
        let n = self.cells[0];
        let furrows = |k: usize, d: f64| {
            #[allow(clippy::cast_possible_truncation, clippy::cast_precision_loss)] // about one
            let (x, deep) = ((k % n) as f32 / n as f32, d as f32);
            1.0 + 0.10 * flat(x * 4.0, deep * 16.0, grain ^ 7) + 0.05 * flat(x * 40.0, deep * 50.0, grain ^ 8)
        };
        #[allow(clippy::cast_possible_truncation)] // some cells
        let (dim, bright) =
            if soft < 0.01 { (-0.6, 1.2) } else { (0.2, (4.5_f64).min(2.5 + 45.0 * soft) as f32) };
        // A sharp end of lid has a fold, beyond which skin is farther away and lies in shadow.
        #[allow(clippy::cast_precision_loss, clippy::cast_possible_truncation)] // a share, about one
        let (fold, soft) = (0.03 + 0.09 * (grain >> 8) as f32 / 16_777_216.0, soft as f32);
        let shade = |d: f64| {
            let deep = over(d) * soft;
            let folded =
                1.0 - 0.85 * ramp(fold, fold + 0.02, deep) + 0.40 * ramp(fold + 0.02, fold + 0.10, deep);
            if soft < 0.01 { folded } else { 1.0 }
        };
        let tone = field.iter().enumerate();
        let tone = tone
            .map(|(k, d)| (0.10 + 0.80 * ramp(dim, bright, over(*d))) * furrows(k, *d) * shade(*d))
            .collect();
        self.add(kind, Acts::Covers, from, 0.5, alpha, tone);
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
        let bunch = lashes::Bunch { length, count, at, lean, dark };
        let alpha = lashes::draw(rng, self.cells, side, &bunch);
        self.add(FindingKind::Lash, Acts::Takes, Some(side), 0.5, alpha, Vec::new());
    }

    /// Values at the cells' middles, from their place (−1 to 1 across the width, the same scale down the height).
    pub fn each<T>(&self, f: impl Fn(f64, f64) -> T) -> Vec<T> {
        let [n, m] = self.cells;
        let (half, low) = (f64::from(self.picture[0]) / 2.0, f64::from(self.picture[1]) / 2.0);
        #[allow(clippy::cast_precision_loss)] // cells of a picture
        let middle = |i: usize| (i as f64 + 0.5) * f64::from(self.factor);
        (0..n * m).map(|k| f((middle(k % n) - half) / half, (middle(k / n) - low) / half)).collect()
    }

    /// Place from −1 to 1 of a point given in shares of width and height.
    pub fn place(&self, at: [f64; 2]) -> [f64; 2] {
        [2.0 * at[0] - 1.0, (2.0 * at[1] - 1.0) * self.half_height()]
    }

    pub fn add(
        &mut self,
        kind: FindingKind,
        acts: Acts,
        from: Option<Side>,
        counts: f32,
        alpha: Vec<f32>,
        tone: Vec<f32>,
    ) {
        let [n, m] = self.cells;
        // A cell reaches into its neighbours by the interpolation.
        let span = |many: usize, hit: &dyn Fn(usize) -> bool| {
            let first = (0..many).find(|i| hit(*i)).unwrap_or(many).saturating_sub(1);
            let last = (0..many).rev().find(|i| hit(*i)).map_or(0, |i| i + 2);
            #[allow(clippy::cast_possible_truncation)] // cells of a picture
            {
                first as u32 * self.factor..last as u32 * self.factor
            }
        };
        let rows = span(m, &|j| alpha[j * n..(j + 1) * n].iter().any(|a| *a > 0.0));
        let columns = span(n, &|i| (0..m).any(|j| alpha[j * n + i] > 0.0));
        self.layers.push(Layer { kind, acts, from, counts, rows, columns, alpha, tone });
    }

    /// Value of a plane between cells at a pixel.
    #[allow(clippy::cast_precision_loss, clippy::cast_possible_truncation, clippy::cast_sign_loss)] // cut to the plane
    pub fn between(&self, plane: &[f32], x: u32, y: u32) -> f32 {
        let (f, [n, m]) = (self.factor as f32, self.cells);
        let u = ((x as f32 + 0.5) / f - 0.5).clamp(0.0, n as f32 - 1.0);
        let v = ((y as f32 + 0.5) / f - 0.5).clamp(0.0, m as f32 - 1.0);
        let (i, j) = (u as usize, v as usize);
        let (i2, j2) = ((i + 1).min(n - 1), (j + 1).min(m - 1));
        let (s, t) = (u - i as f32, v - j as f32);
        let top = plane[j * n + i] * (1.0 - s) + plane[j * n + i2] * s;
        let low = plane[j2 * n + i] * (1.0 - s) + plane[j2 * n + i2] * s;
        top * (1.0 - t) + low * t
    }

    /// Cells of the aperture.
    pub fn aperture(&self) -> Mask {
        self.mask(self.each(|x, y| aperture::signed(x, y) < 0.0))
    }

    /// A mask of cells.
    pub fn mask(&self, cells: Vec<bool>) -> Mask {
        Mask { width: self.cells[0], height: self.cells[1], factor: self.factor, cells }
    }

    /// Whether a blink covers a pixel.
    pub fn blinked(&self, x: u32, y: u32, sideways: bool) -> bool {
        let (line, across, many) = if sideways { (x, y, self.picture[1]) } else { (y, x, self.picture[0]) };
        !self.blinks.is_empty() && {
            let across = 2.0 * (f64::from(across) + 0.5) / f64::from(many) - 1.0;
            let line = f64::from(line) + 0.5;
            self.blinks.iter().any(|b| {
                let [from, to] = b.at(across);
                line >= from && line < to
            })
        }
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
