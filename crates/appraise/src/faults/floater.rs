//! Floaters: a compact dark shadow between the eye's lens and the retina, softer than anything on the retina.

use super::{Seen, placed, ramp};
use crate::{anatomy, filter, mask::Mask};
use serrata_frame::Plane;
use serrata_words::{Finding, FindingKind};

/// How much darker than its surroundings, natural logarithm: named from, and plain from.
const DARKER: (f64, f64) = (0.35, 0.8);

/// Share of the aperture that it takes at least and at most. Smaller ones cannot be told from bleeding or the fovea, larger
/// shadows belong to the rim.
const SHARE: (f64, f64) = (0.003, 0.05);

/// Least compactness: 1 is a disc.
const COMPACT: f64 = 0.5;

/// Dark beside a spot (natural logarithm), and the most of it in the ring about it.
const BESIDE: f64 = 0.2;
const ALONE: f64 = 0.22;

/// The darkest compact spot away from the rim. Bleeding that hides the retina looks the same in one frame: no more than a hint.
pub(super) fn floater(seen: &Seen<'_>) -> Option<Finding> {
    let s = seen.scene;
    if s.round {
        return None;
    }
    // A quarter of the working size: what is sought is a twentieth of the picture wide.
    let source = filter::half(&s.half.value);
    let (hw, hh) = (source.width, source.height);
    // Halving leaves single rows and columns as they are.
    let twice = |shrunk: bool| if shrunk { 2 } else { 1 };
    let k = twice(s.half.step > 1.0) * twice(hw < s.half.value.width);
    let long = s.long() / k as f32;
    let mut levels: Vec<f32> = source.data.clone();
    let lift = 0.1 * filter::percentile(&mut levels, 0.6) + 0.004;
    let mut log = Plane { width: hw, height: hh, data: source.data.iter().map(|v| v + lift).collect() };
    filter::ln_all(&mut log.data);
    let small = Mask::from_fn(hw, hh, |x, y| seen.retina.at(x * k, y * k));
    let core = anatomy::core(&small, long * 0.03);
    let inside =
        Plane { width: hw, height: hh, data: core.data.iter().map(|c| f32::from(u8::from(*c))).collect() };
    // Wider than great vessels and the fovea's dip; the ground is taken from the retina alone.
    let narrow = filter::smooth(&log, long * 0.008);
    let lit = Plane {
        width: hw,
        height: hh,
        data: log.data.iter().zip(&inside.data).map(|(v, i)| v * i).collect(),
    };
    let wide = long * 0.09;
    let (sum, share) = (filter::smooth(&lit, wide), filter::smooth(&inside, wide));
    let fall = |i: usize| sum.data[i] / share.data[i].max(1e-3) - narrow.data[i];
    let landmarks =
        [seen.anatomy.disc.as_ref().map(|d| (d.x, d.y)), seen.anatomy.fovea.as_ref().map(|f| (f.x, f.y))];
    let spots = Mask::from_fn(hw, hh, |x, y| {
        let i = y * hw + x;
        inside.data[i] > 0.5 && f64::from(fall(i)) > DARKER.0
    });
    let area = s.aperture.count() as f64 / (k * k) as f64;
    let unit = f64::from(s.disc_radius) / k as f64;
    let mut best: Option<(f64, Vec<usize>)> = None;
    for part in spots.parts() {
        let taken = part.len() as f64 / area;
        if taken < SHARE.0 {
            break;
        }
        let n = part.len() as f64;
        let mean = |f: &dyn Fn(usize) -> f64| part.iter().map(|i| f(*i)).sum::<f64>() / n;
        let (cx, cy) = (mean(&|i| (i % hw) as f64), mean(&|i| (i / hw) as f64));
        let spread = mean(&|i| ((i % hw) as f64 - cx).powi(2) + ((i / hw) as f64 - cy).powi(2));
        // A disc of that area has a spread of area / 2π; streaks and vessels have far more.
        let compact = n / (std::f64::consts::TAU * spread.max(1e-9));
        let known = landmarks.iter().flatten().any(|l| {
            let (x, y) = (l.0 / s.factor / k as f64, l.1 / s.factor / k as f64);
            (x - cx).hypot(y - cy) < 1.2 * unit
        });
        if taken > SHARE.1 || compact < COMPACT || known {
            continue;
        }
        // It stands alone: among lashes and in wide dark patches there is more dark about it.
        let radius = (n / std::f64::consts::PI).sqrt();
        let (mut about, mut dark) = (0usize, 0usize);
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // cut to the plane
        let span = |c: f64, most: usize| {
            ((c - 2.6 * radius).max(0.0) as usize)..((c + 2.6 * radius).max(0.0) as usize + 1).min(most)
        };
        for y in span(cy, hh) {
            for x in span(cx, hw) {
                let far = (x as f64 - cx).hypot(y as f64 - cy) / radius;
                if (1.6..2.6).contains(&far) {
                    let i = y * hw + x;
                    about += 1;
                    // What lies outside the retina stands no more for itself than the dark does.
                    dark += usize::from(inside.data[i] <= 0.5 || f64::from(fall(i)) > BESIDE);
                }
            }
        }
        if dark as f64 > ALONE * about.max(1) as f64 {
            continue;
        }
        let mut falls: Vec<f32> = part.iter().map(|i| fall(*i)).collect();
        let score = ramp(f64::from(filter::percentile(&mut falls, 0.7)), DARKER.0, DARKER.1);
        if best.as_ref().is_none_or(|b| score > b.0) {
            best = Some((score, part));
        }
    }
    let (score, part) = best.filter(|b| b.0 > 0.0)?;
    let mut spot = Mask::new(hw, hh, false);
    for i in part {
        spot.data[i] = true;
    }
    let place =
        Mask::from_fn(s.width(), s.height(), |x, y| spot.at((x / k).min(hw - 1), (y / k).min(hh - 1)));
    Some(placed(FindingKind::Floater, score, &place, s))
}
