//! Which eye: the fovea lies on the temple's side of the disc, the arcades bend towards it, and between them there are
//! no large vessels, while on the nose's side they run straight away from the disc.

use super::{disc, fovea::Candidate, vessels::Vessels};
use crate::{mask::Mask, scene::Scene};
use serrata_words::{Eye, EyeInference};

/// Probability below which the tool says "not sure".
const SURE: f64 = 0.9;

pub(crate) const fn unknown() -> EyeInference {
    EyeInference { inferred: None, probability: 0.5 }
}

/// Evidence that the temple is to the left in the picture (a right eye), each about −1 to 1.
struct Evidence {
    fovea: f32,
    vessels: f32,
    bend: f32,
}

pub(crate) fn infer(
    scene: &Scene<'_>,
    _retina: &Mask,
    vessels: &Vessels,
    disc: &disc::Found,
    sides: &[Option<Candidate>; 2],
) -> (EyeInference, Option<Candidate>) {
    let e = evidence(vessels, disc, sides);
    // Straight ahead the disc lies towards the nose, but a turned gaze puts it anywhere: never enough by itself.
    let offset = ((disc.x - 0.5 * scene.width() as f32) / (5.0 * disc.radius)).clamp(-1.0, 1.0);
    let logit = f64::from(8.0 * e.fovea + 1.5 * e.vessels + 1.2 * offset);
    if std::env::var("DBG").is_ok() {
        eprintln!("   conv {:.2} p {:.2} fovea {:+.2} vessels {:+.2} bend {:+.2} logit {:+.2} contrast {:.3} n {} sides {:?}", disc.convergence, disc.probability, e.fovea, e.vessels, e.bend, logit, vessels.contrast, vessels.points.len(), sides.map(|s| s.map(|s| s.score)));
    }
    let right = 1.0 / (1.0 + (-logit).exp());
    let probability = right.max(1.0 - right);
    let likelier = if logit > 0.0 { Eye::R } else { Eye::L };
    let inferred = (probability >= SURE).then_some(likelier);
    let place = if logit > 0.0 { sides[0] } else { sides[1] };
    (EyeInference { inferred, probability }, place.filter(|p| p.score > 0.25))
}

fn evidence(vessels: &Vessels, disc: &disc::Found, sides: &[Option<Candidate>; 2]) -> Evidence {
    let score = |k: usize| sides[k].map_or(0.0, |s| s.score);
    let r = disc.radius;
    let (mut level, mut bend, mut bends) = ([1e-3f32; 2], [0.0f32; 2], [1e-3f32; 2]);
    for p in &vessels.points {
        let (u, v) = (p.x - disc.x, p.y - disc.y);
        let d = u.hypot(v);
        let side = usize::from(u > 0.0);
        let slope = v.abs().atan2(u.abs()).to_degrees();
        if slope < 25.0 && (2.0 * r..7.0 * r).contains(&d) {
            // Only vessels that run away from the disc.
            let cos = (u * p.along.0 + v * p.along.1) / d;
            level[side] += p.weight * p.weight * (cos * cos).powi(4);
        }
        if (20.0..75.0).contains(&slope) && (3.0 * r..12.0 * r).contains(&d) {
            // Positive where the vessel is flatter than the line to the disc.
            let (a, b) = if (p.along.0 > 0.0) == (u > 0.0) { p.along } else { (-p.along.0, -p.along.1) };
            let flatter = (b.abs().atan2(a.abs()).to_degrees() - slope) / 45.0;
            let down = b * v.signum();
            let lean = if down >= 0.0 { -flatter } else { (slope + b.abs().atan2(a.abs()).to_degrees()) / 45.0 };
            if lean.abs() < 1.2 {
                bend[side] += p.weight * p.weight * lean;
                bends[side] += p.weight * p.weight;
            }
        }
    }
    Evidence {
        fovea: score(0) - score(1),
        vessels: ((level[1] + 1.0) / (level[0] + 1.0)).ln().clamp(-1.0, 1.0),
        bend: (bend[0] / bends[0] - bend[1] / bends[1]).clamp(-1.0, 1.0),
    }
}
