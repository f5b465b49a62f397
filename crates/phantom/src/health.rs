//! Conditions of an eye, and what they leave on its retina.

use crate::noise::{cloud, ramp};
use crate::params::{ParamError, within};
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;
use serrata_eye::{Direction, RetinalPoint};
use serrata_words::{LesionKind, LesionTruth};

/// One condition of an eye at its first visit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Condition {
    /// So many marks of a kind.
    Marks {
        /// Which marks.
        kind: LesionKind,
        /// How many, 0 to 3000.
        count: u32,
    },
    /// One region of a kind.
    Region {
        /// Atrophy or non-perfusion.
        kind: LesionKind,
        /// Its area, 0 to 400 mm².
        area_mm2: f64,
    },
    /// Haze of the vitreous: veils every frame of the eye.
    VitreousHaze {
        /// 0 to 1.
        strength: f64,
    },
    /// A cataract: spreads light and dims the green more than the red.
    Cataract {
        /// 0 to 1.
        strength: f64,
    },
}

/// How an eye is, and which visit it is at.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Health {
    /// Axial length in mm, or none to draw it from the published distribution. 18 to 32.
    pub axial_length_mm: Option<f64>,
    /// Its conditions at the first visit.
    pub conditions: Vec<Condition>,
    /// 0 for the first visit.
    pub visit: u32,
    /// How much the radius of every mark and region grows from visit to visit, as a share of its first. −0.5 to 2.
    pub growth: f64,
    /// How many marks of each kind come new with every visit, 0 to 500.
    pub new_marks: u32,
}

impl Health {
    /// Says which parameter is impossible.
    ///
    /// # Errors
    /// The first parameter out of its range.
    pub fn check(&self) -> Result<(), ParamError> {
        if let Some(mm) = self.axial_length_mm {
            within("axial length in mm", mm, 18.0..=32.0)?;
        }
        within("visit", f64::from(self.visit), 0.0..=100.0)?;
        within("growth a visit", self.growth, -0.5..=2.0)?;
        within("new marks a visit", f64::from(self.new_marks), 0.0..=500.0)?;
        self.conditions.iter().try_for_each(|c| match *c {
            Condition::Marks { count, .. } => within("count of marks", f64::from(count), 0.0..=3000.0),
            Condition::Region { area_mm2, .. } => within("area of a region in mm²", area_mm2, 0.0..=400.0),
            Condition::VitreousHaze { strength } => within("vitreous haze", strength, 0.0..=1.0),
            Condition::Cataract { strength } => within("cataract", strength, 0.0..=1.0),
        })
    }
}

/// One mark or region on the retina.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Lesion {
    pub kind: LesionKind,
    pub at: [f32; 3],
    /// Radians.
    pub radius: f32,
    /// Direction of elongated marks along the surface, radians.
    pub lean: f32,
    /// The visit at which it first was there.
    pub since: u32,
    pub seed: u32,
}

impl Lesion {
    /// 1 inside a region, 0 outside, ragged at the rim.
    pub fn inside(&self, p: [f32; 3]) -> f32 {
        let c = p[0] * self.at[0] + p[1] * self.at[1] + p[2] * self.at[2];
        if c < (1.5 * self.radius).min(3.0).cos() {
            return 0.0;
        }
        let off = c.clamp(-1.0, 1.0).acos() / self.radius.max(1e-4);
        1.0 - ramp(0.93, 1.07, off + 0.16 * cloud(p, 1.2 / self.radius.max(0.02), 2, self.seed))
    }

    pub fn truth(&self, radius_mm: f64) -> LesionTruth {
        let d = Direction::new(self.at.map(f64::from)).unwrap_or(Direction::POLE);
        let p = RetinalPoint::from_direction(d);
        LesionTruth {
            kind: self.kind,
            eccentricity_deg: p.eccentricity_deg,
            meridian_deg: p.meridian_deg,
            radius_deg: f64::from(self.radius).to_degrees(),
            area_mm2: serrata_eye::cap_area_sr(f64::from(self.radius)) * radius_mm * radius_mm,
            since_visit: self.since,
        }
    }
}

/// Where marks of a kind lie (degrees from the fovea), and their radius in mm: judgement, after how such marks look
/// in pictures; microaneurysms stay below 125 µm across by definition.
fn habits(kind: LesionKind) -> ([f64; 2], [f64; 2]) {
    match kind {
        LesionKind::Microaneurysm => ([3.0, 50.0], [0.02, 0.05]),
        LesionKind::Haemorrhage => ([4.0, 65.0], [0.06, 0.28]),
        LesionKind::Drusen => ([0.5, 16.0], [0.03, 0.09]),
        LesionKind::LaserScar => ([26.0, 72.0], [0.14, 0.36]),
        LesionKind::Leak => ([6.0, 60.0], [0.06, 0.40]),
        LesionKind::Atrophy => ([0.0, 6.0], [0.5, 2.0]),
        LesionKind::NonPerfusion => ([45.0, 75.0], [2.0, 6.0]),
    }
}

/// Moves a burn to the nearest place of a row: they are set side by side round the pole, some 0.6 mm apart (judgement, after real frames), by
/// a hand that strays.
fn in_rows(rng: &mut Pcg64Mcg, z: f64, turn: f64, radius_mm: f64) -> (f64, f64) {
    let step = 0.6 / radius_mm;
    let mut stray = || step * rng.random_range(-0.22..0.22);
    let row = (z.clamp(-1.0, 1.0).acos() / step).round();
    let ring = (row * step).sin().max(0.05);
    // Every other row stands in the gaps of the one before.
    let shift = 0.5 * (row % 2.0);
    let along = ((turn * ring / step - shift).round() + shift) * step / ring;
    ((row * step + stray()).cos(), along + stray() / ring)
}

/// Draws a place for a mark. Disease has its places in an eye, and burns are set where it is: marks gather in some parts of their ring, as a
/// seed says (judgement, after real frames).
fn lie(rng: &mut Pcg64Mcg, kind: LesionKind, z: std::ops::RangeInclusive<f64>, habit: u32) -> (f64, f64) {
    let mut at = (0.0, 0.0);
    for _ in 0..8 {
        at = (rng.random_range(z.clone()), rng.random_range(0.0..std::f64::consts::TAU));
        if matches!(kind, LesionKind::Atrophy | LesionKind::NonPerfusion | LesionKind::Drusen) {
            break;
        }
        let (r, (s, c)) = ((1.0 - at.0 * at.0).sqrt(), at.1.sin_cos());
        #[allow(clippy::cast_possible_truncation)] // unit vectors
        let here = cloud([(r * c) as f32, (r * s) as f32, at.0 as f32], 1.4, 2, habit);
        if here > 0.05 {
            break;
        }
    }
    at
}

/// Places the lesions of a visit in a right eye. Old ones stay where they were and grow as the health says.
pub(crate) fn place(health: &Health, seed: u64, radius_mm: f64) -> Vec<Lesion> {
    let mut out = Vec::new();
    let visits = f64::from(health.visit);
    for (k, condition) in health.conditions.iter().enumerate() {
        // Each condition has a generator of its own, so that a later visit's draws do not move the first visit's.
        let mut rng = Pcg64Mcg::seed_from_u64(seed ^ 0x1e51 ^ ((k as u64) << 32));
        let (kind, first, all, area) = match *condition {
            Condition::Marks { kind, count } => (kind, count, count + health.visit * health.new_marks, None),
            Condition::Region { kind, area_mm2 } => (kind, 1, 1, Some(area_mm2)),
            _ => continue,
        };
        let ([near, far], [small, large]) = habits(kind);
        let habit: u32 = rng.random();
        for i in 0..all {
            let z0 = near.to_radians().cos();
            let (z, turn) = lie(&mut rng, kind, far.to_radians().cos()..=z0, habit);
            let (z, turn) =
                if kind == LesionKind::LaserScar { in_rows(&mut rng, z, turn, radius_mm) } else { (z, turn) };
            let (s, c) = turn.sin_cos();
            let r = (1.0 - z * z).sqrt();
            let mm = match area {
                // Area of a cap: 2πR²(1 − cos).
                Some(a) => {
                    let c = 1.0 - a / (std::f64::consts::TAU * radius_mm * radius_mm);
                    c.clamp(-1.0, 1.0).acos() * radius_mm
                }
                None => rng.random_range(small..large),
            };
            let since = if i < first { 0 } else { 1 + (i - first) / health.new_marks.max(1) };
            let grown = 1.0 + health.growth * (visits - f64::from(since));
            #[allow(clippy::cast_possible_truncation)] // unit vectors and angles
            out.push(Lesion {
                kind,
                at: [(r * c) as f32, (r * s) as f32, z as f32],
                radius: (mm * grown.max(0.05) / radius_mm) as f32,
                lean: rng.random_range(0.0..std::f32::consts::TAU),
                since,
                seed: rng.random(),
            });
        }
    }
    out
}
