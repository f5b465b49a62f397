//! Marks of disease as strokes: what is darker, what is brighter, what dye pools in.

use crate::canvas::{Canvas, Clip, Stroke};
use crate::circulation::Moment;
use crate::health::Lesion;
use crate::noise::ramp;
use serrata_words::{LesionKind, Modality};

/// How marks are looked at.
pub(crate) struct Look<'a> {
    pub modality: Modality,
    pub moment: Option<&'a Moment<'a>>,
    pub radius_mm: f32,
}

/// Planes of marks; a plane without marks is not drawn.
pub(crate) struct Marks {
    pub dark: Canvas,
    pub bright: Canvas,
    pub pools: Canvas,
    /// Pigment of scars: dark, but behind the vessels.
    pub scars: Canvas,
}

impl Marks {
    #[allow(clippy::cast_precision_loss)] // picture sides
    pub fn new(width: u32, height: u32) -> Self {
        let soft = (width as f32 * 0.0006).max(1.0);
        Self {
            dark: Canvas::new(width, height, soft),
            bright: Canvas::new(width, height, soft),
            pools: Canvas::new(width, height, width as f32 * 0.014),
            scars: Canvas::new(width, height, soft),
        }
    }

    /// Adds a mark at a place of the picture; `scale`: pixels a radian there.
    pub fn push(&mut self, l: &Lesion, at: [f32; 2], scale: f32, look: &Look<'_>, clip: &Clip) {
        let moment = look.moment;
        let r = l.radius * scale;
        #[allow(clippy::cast_precision_loss)] // a share
        let share = (l.seed >> 8) as f32 / 16_777_216.0;
        // A number from 0 to 1 of a mark's dab.
        #[allow(clippy::cast_precision_loss)] // a share
        let drawn = |dab: u32, n: u32| {
            let h = (l.seed ^ (dab * 8 + n)).wrapping_mul(0x9e37_79b9);
            ((h ^ (h >> 15)).wrapping_mul(0x85eb_ca6b) >> 8) as f32 / 16_777_216.0
        };
        let spot = |half: f32, strength: f32| Stroke { a: at, b: at, half: [half; 2], strength, rim: 0.0 };
        match l.kind {
            LesionKind::Microaneurysm => match moment {
                Some(m) => self.bright.push(spot(r, m.capillary(0.5).min(1.0)), clip),
                None => self.dark.push(spot(r, 0.7), clip),
            },
            LesionKind::Haemorrhage => {
                // A blot of a few dabs, drawn out along the fibres.
                let (s, c) = l.lean.sin_cos();
                for k in 0..4 {
                    let (along, aside) = (1.4 * r * (drawn(k, 1) - 0.5), 0.7 * r * (drawn(k, 2) - 0.5));
                    let at = [at[0] + along * c - aside * s, at[1] + along * s + aside * c];
                    let half = [r * (0.3 + 0.5 * drawn(k, 3)); 2];
                    let strength = 0.45 + 0.45 * share;
                    self.dark.push(Stroke { a: at, b: at, half, strength, rim: -0.3 }, clip);
                }
            }
            LesionKind::Drusen => {
                let shine = moment.map_or(0.55, |m| 0.5 * m.gathered());
                self.bright.push(spot(r, shine * (0.6 + 0.4 * share)), clip);
            }
            LesionKind::LaserScar => {
                // A pale burn of a few dabs, in some with clumps of pigment; late in the run its rim takes up dye.
                let shine = moment.map_or(0.42, |m| 0.45 * m.gathered()) * (0.15 + 0.85 * drawn(9, 0));
                let pigment = ramp(0.45, 1.0, drawn(9, 2));
                let rim = 0.9 - 1.2 * drawn(9, 1);
                for k in 0..4 {
                    let (turn, off) = (drawn(k, 1) * std::f32::consts::TAU, 0.75 * r * drawn(k, 2));
                    let at = [at[0] + off * turn.cos(), at[1] + off * turn.sin()];
                    let half = [r * (0.35 + 0.5 * drawn(k, 3)); 2];
                    self.bright.push(Stroke { a: at, b: at, half, strength: shine, rim }, clip);
                    if drawn(k, 4) < 0.6 && pigment > 0.05 {
                        let half = half.map(|h| h * (0.3 + 0.4 * drawn(k, 5)));
                        let strength = 0.55 * pigment;
                        self.scars.push(Stroke { a: at, b: at, half, strength, rim: -0.3 }, clip);
                    }
                }
            }
            LesionKind::Leak => {
                if let (Some(m), true) = (moment, look.modality == Modality::Fa) {
                    let pool = m.pool(l, look.radius_mm) * scale;
                    // Dye does not run evenly to all sides: a pool is a heap of smaller ones.
                    for k in 0..7 {
                        let (turn, off) = (drawn(k, 1) * std::f32::consts::TAU, 1.1 * drawn(k, 2) * pool);
                        let at = [at[0] + off * turn.cos(), at[1] + off * turn.sin()];
                        let half = [pool * (0.25 + 0.45 * drawn(k, 3)); 2];
                        let strength = m.gathered() * (0.5 + 0.5 * drawn(k, 4));
                        self.pools.push(Stroke { a: at, b: at, half, strength, rim: -0.4 }, clip);
                    }
                }
            }
            LesionKind::Atrophy | LesionKind::NonPerfusion => {}
        }
    }
}
