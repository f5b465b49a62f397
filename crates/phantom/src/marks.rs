//! Marks of disease as strokes: what is darker, what is brighter, what dye pools in.

use crate::canvas::{Canvas, Clip, Stroke};
use crate::circulation::Moment;
use crate::health::Lesion;
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
}

impl Marks {
    #[allow(clippy::cast_precision_loss)] // picture sides
    pub fn new(width: u32, height: u32) -> Self {
        let soft = (width as f32 * 0.0006).max(1.0);
        Self {
            dark: Canvas::new(width, height, soft),
            bright: Canvas::new(width, height, soft),
            pools: Canvas::new(width, height, width as f32 * 0.008),
        }
    }

    /// Adds a mark at a place of the picture; `scale`: pixels a radian there.
    pub fn push(&mut self, l: &Lesion, at: [f32; 2], scale: f32, look: &Look<'_>, clip: &Clip) {
        let moment = look.moment;
        let r = l.radius * scale;
        #[allow(clippy::cast_precision_loss)] // a share
        let share = (l.seed >> 8) as f32 / 16_777_216.0;
        let spot = |half: f32, strength: f32| Stroke { a: at, b: at, half: [half; 2], strength, rim: 0.0 };
        match l.kind {
            LesionKind::Microaneurysm => match moment {
                Some(m) => self.bright.push(spot(r, m.capillary(0.5).min(1.0)), clip),
                None => self.dark.push(spot(r, 0.7), clip),
            },
            LesionKind::Haemorrhage => {
                let (s, c) = l.lean.sin_cos();
                let long = r * (0.4 + 1.3 * share);
                let (a, b) = ([at[0] - long * c, at[1] - long * s], [at[0] + long * c, at[1] + long * s]);
                self.dark.push(Stroke { a, b, half: [r, 0.55 * r], strength: 0.95, rim: -0.3 }, clip);
            }
            LesionKind::Drusen => {
                let shine = moment.map_or(0.55, |m| 0.5 * m.gathered());
                self.bright.push(spot(r, shine * (0.6 + 0.4 * share)), clip);
            }
            LesionKind::LaserScar => {
                // A pale burn, in many a dark core of pigment; late in the run its rim takes up dye.
                let shine = moment.map_or(0.5, |m| 0.45 * m.gathered());
                self.bright.push(Stroke { rim: 0.5, ..spot(r, shine * (0.5 + 0.5 * share)) }, clip);
                if share > 0.35 || moment.is_some() {
                    self.dark.push(spot(r * (0.35 + 0.3 * share), 0.75), clip);
                }
            }
            LesionKind::Leak => {
                if let (Some(m), true) = (moment, look.modality == Modality::Fa) {
                    self.pools.push(spot(m.pool(l, look.radius_mm) * scale, m.gathered()), clip);
                }
            }
            LesionKind::Atrophy | LesionKind::NonPerfusion => {}
        }
    }
}
