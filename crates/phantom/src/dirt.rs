//! Things in the light's way that hide only part of it: reflections, floaters, smears, dust, soft patches.

use crate::covers::{Acts, Covers};
use crate::noise::{flat, ramp};
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;
use serrata_words::{FindingKind, Instrument};

#[allow(clippy::cast_possible_truncation)] // about one
fn single(v: f64) -> f32 {
    v as f32
}

impl Covers {
    /// A burnt-out spot, a weaker ghost of it mirrored at the middle, and a streak between.
    pub(crate) fn reflex(&mut self, rng: &mut Pcg64Mcg, at: [f64; 2], radius: f64) {
        let [cx, cy] = self.place(at);
        let r = (2.0 * radius).clamp(1e-3, 2.0);
        let tall = rng.random_range(0.7..1.3);
        let ghost = rng.random_range(-0.6..-0.3);
        let grain: u32 = rng.random();
        let alpha = self.each(|x, y| {
            let off = |mx: f64, my: f64, r: f64| single((x - mx).hypot((y - my) / tall) / r);
            let d = off(cx, cy, r) + 0.12 * flat(single(x / r) * 2.0, single(y / r) * 2.0, grain);
            let spot = 1.0 - ramp(0.75, 1.25, d);
            let halo = 0.28 * (-(d / 1.9).powi(2)).exp();
            let second = 0.30 * (1.0 - ramp(0.7, 1.2, off(cx * ghost, cy * ghost, 0.6 * r)));
            spot.max(halo).max(second)
        });
        let alpha: Vec<f32> = alpha.into_iter().map(|a| if a < 0.01 { 0.0 } else { a }).collect();
        let tone = vec![1.3; alpha.len()];
        self.add(FindingKind::Reflex, Acts::Adds, None, 0.5, alpha, tone);
    }

    /// A blob with a ragged rim and a tail of threads.
    pub(crate) fn floater(&mut self, rng: &mut Pcg64Mcg, at: [f64; 2], radius: f64, dark: f64) {
        let [cx, cy] = self.place(at);
        let r = (2.0 * radius).clamp(1e-3, 2.0);
        let turn: f64 = rng.random_range(0.0..std::f64::consts::TAU);
        let (long, bend) = (rng.random_range(1.1..1.7), rng.random_range(-0.5..0.5));
        let grain: u32 = rng.random();
        let dark = single(dark.clamp(0.0, 1.0));
        let alpha = self.each(|x, y| {
            let (u, v) = ((x - cx) / r, (y - cy) / r);
            let (a, b) = (u * turn.cos() + v * turn.sin(), v * turn.cos() - u * turn.sin());
            let rag = f64::from(0.30 * flat(single(u) * 2.3, single(v) * 2.3, grain));
            let blob = 1.0 - ramp(0.55, 1.25, single((a / long).hypot(b) + rag));
            let thread = (b - bend * a * a * 0.3).abs() + f64::from(0.3 * flat(single(a) * 1.5, 0.0, grain));
            let tail = 0.45 * (1.0 - ramp(0.1, 0.5, single(thread))) * ramp(0.3, 0.8, single(a));
            dark * blob.max(tail * (1.0 - ramp(2.0, 4.0, single(a))))
        });
        self.add(FindingKind::Floater, Acts::Takes, None, 0.4 * dark, alpha, Vec::new());
    }

    /// Streaks of grease along one direction inside a soft patch.
    pub(crate) fn smear(&mut self, rng: &mut Pcg64Mcg, at: [f64; 2], radius: f64, strength: f64) {
        let [cx, cy] = self.place(at);
        let r = (2.0 * radius).clamp(1e-3, 3.0);
        let turn: f64 = rng.random_range(0.0..std::f64::consts::PI);
        let grain: u32 = rng.random();
        let strength = single(strength.clamp(0.0, 1.0));
        let alpha = self.each(|x, y| {
            let (u, v) = ((x - cx) / r, (y - cy) / r);
            let (a, b) = (u * turn.cos() + v * turn.sin(), v * turn.cos() - u * turn.sin());
            let patch = 1.0 - ramp(0.6, 1.25, single((a / 1.5).hypot(b)));
            let wipe = flat(single(a) * 0.8, single(b) * 9.0, grain)
                + 0.6 * flat(single(a) * 1.7, single(b) * 23.0, grain ^ 5);
            patch * strength * (0.72 + 0.28 * wipe).clamp(0.0, 1.0)
        });
        self.add(FindingKind::Smear, Acts::Veils, None, 0.3 * strength, alpha, Vec::new());
    }

    /// Spots of 4 to 12 pixels of a full-size picture that take 3 to 10 % of the light (the ranges of the test that
    /// the reference brief proposes after Dirik, Sencar & Memon, IEEE TIFS 2008): the same in every frame.
    pub(crate) fn dust(&mut self, instrument: &Instrument, count: u32, deposit: u64) {
        let name = instrument.name.bytes().fold(0u64, |h, b| h.wrapping_mul(131).wrapping_add(u64::from(b)));
        let mut rng = Pcg64Mcg::seed_from_u64(deposit ^ name ^ 0x00d5);
        let half = f64::from(instrument.width.max(1)) / 2.0;
        let spots: Vec<[f64; 4]> = (0..count.min(400))
            .map(|_| {
                let (x, y) = (rng.random_range(-0.85..0.85), rng.random_range(-0.7..0.7));
                [x, y, rng.random_range(4.0..12.0) / half, rng.random_range(0.03..0.10)]
            })
            .collect();
        // Never narrower than a cell, or a spot would fall between two.
        let cell = 2.0 / f64::from(u32::try_from(self.cells[0]).unwrap_or(1).max(1));
        let alpha = self.each(|x, y| {
            let through: f64 = spots
                .iter()
                .filter(|s| (x - s[0]).abs() < 0.05 && (y - s[1]).abs() < 0.05)
                .map(|s| {
                    let w = s[2].max(0.7 * cell);
                    1.0 - s[3] * (-((x - s[0]).powi(2) + (y - s[1]).powi(2)) / (2.0 * w * w)).exp()
                })
                .product();
            if through > 0.9995 { 0.0 } else { single(1.0 - through) }
        });
        self.add(FindingKind::Dust, Acts::Takes, None, 0.015, alpha, Vec::new());
    }

    /// Where a part of the picture is out of focus; the sensor blurs there.
    pub(crate) fn soft_patch(&mut self, rng: &mut Pcg64Mcg, at: [f64; 2], radius: f64) {
        let [cx, cy] = self.place(at);
        let r = (2.0 * radius).clamp(1e-3, 3.0);
        let grain: u32 = rng.random();
        let alpha = self.each(|x, y| {
            let (u, v) = ((x - cx) / r, (y - cy) / r);
            1.0 - ramp(0.8, 1.2, single(u.hypot(v)) + 0.25 * flat(single(u) * 2.0, single(v) * 2.0, grain))
        });
        // It blurs and takes nothing: the sensor asks for it by its kind.
        self.add(FindingKind::Blur, Acts::Veils, None, 0.5, alpha, Vec::new());
    }
}
