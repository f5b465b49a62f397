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
}

pub(crate) fn infer(
    scene: &Scene<'_>,
    _retina: &Mask,
    vessels: &Vessels,
    disc: &disc::Found,
    sides: &[Option<Candidate>; 2],
) -> (EyeInference, Option<Candidate>) {
    let e = evidence(vessels, disc, sides);
    let evidence = match scene.diameter {
        // A narrow field is centred on the macula or on the disc. Where the disc stands well aside, the macula is in the
        // middle; where it is central, distances of an unknown field angle are guesses and only the fovea counts.
        Some(d) => {
            let aside = (disc.x - middle(&scene.aperture)) / d;
            let offset = ((aside.abs() - 0.10) / 0.12).clamp(0.0, 1.0).copysign(aside);
            if offset == 0.0 { 0.0 } else { 5.0 * offset + 3.0 * e.fovea.clamp(-0.4, 0.4) + 0.5 * e.vessels }
        }
        // Straight ahead the disc lies towards the nose, but a turned gaze puts it anywhere: never enough by itself.
        None => {
            let offset = ((disc.x - 0.5 * scene.width() as f32) / (5.0 * disc.radius)).clamp(-1.0, 1.0);
            8.0 * e.fovea + 1.5 * e.vessels + 1.2 * offset
        }
    };
    // A doubtful disc leaves the side in doubt.
    let logit = f64::from(evidence * (0.3 + 0.7 * disc.probability));
    let right = 1.0 / (1.0 + (-logit).exp());
    let probability = right.max(1.0 - right);
    let likelier = if logit > 0.0 { Eye::R } else { Eye::L };
    let inferred = (probability >= SURE).then_some(likelier);
    let place = if logit > 0.0 { sides[0] } else { sides[1] };
    (EyeInference { inferred, probability }, place.filter(|p| p.score > 0.25))
}

/// Middle column of what the instrument fills.
fn middle(aperture: &Mask) -> f32 {
    let w = aperture.width;
    let columns = (0..aperture.height).filter_map(|y| {
        let row = &aperture.data[y * w..(y + 1) * w];
        Some((row.iter().position(|b| *b)?, row.iter().rposition(|b| *b)?))
    });
    let (low, high) = columns.fold((w, 0), |(a, b), (c, d)| (a.min(c), b.max(d)));
    0.5 * (low + high + 1) as f32
}

fn evidence(vessels: &Vessels, disc: &disc::Found, sides: &[Option<Candidate>; 2]) -> Evidence {
    let score = |k: usize| sides[k].map_or(0.0, |s| s.score);
    let r = disc.radius;
    let mut level = [0.0f32; 2];
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
    }
    Evidence {
        fovea: score(0) - score(1),
        vessels: ((level[1] + 1.0) / (level[0] + 1.0)).ln().clamp(-1.0, 1.0),
    }
}
