//! Reflections of the instrument's own light: small, compact, burnt out in every channel.

use super::{Seen, exposure::least_light, placed, ramp};
use crate::mask::Mask;
use serrata_words::{Finding, FindingKind};

/// Spots of 0.03 % to 2 % of the picture that fill most of their box. The disc, whose glare is the eye's own, and dye
/// pictures, where leaks burn out, are left out.
pub(super) fn reflex(seen: &Seen<'_>) -> Option<Finding> {
    let s = seen.scene;
    if s.modality.is_dye() {
        return None;
    }
    let (w, h) = (s.width(), s.height());
    let disc = seen.anatomy.disc.map(|d| (d.x / s.factor, d.y / s.factor, 1.5 * d.radius / s.factor));
    let bright = least_light(s).zip(&seen.retina.data).map(|(least, retina)| *retina & (least > 0.95));
    let mut burnt = Mask { width: w, height: h, data: bright.collect() };
    if let Some((dx, dy, r)) = disc {
        for (i, b) in burnt.data.iter_mut().enumerate().filter(|(_, b)| **b) {
            *b = ((i % w) as f64 - dx).hypot((i / w) as f64 - dy) >= r;
        }
    }
    let (least, most) = ((w * h) / 3300, (w * h) / 50);
    let mut spots = Mask::new(w, h, false);
    for part in burnt.parts().into_iter().filter(|p| (least..most).contains(&p.len())) {
        let (mut x0, mut x1, mut y0, mut y1) = (w, 0, h, 0);
        for i in &part {
            (x0, x1) = (x0.min(i % w), x1.max(i % w));
            (y0, y1) = (y0.min(i / w), y1.max(i / w));
        }
        let (long, short) = ((x1 - x0).max(y1 - y0) + 1, (x1 - x0).min(y1 - y0) + 1);
        if part.len() * 2 > (x1 - x0 + 1) * (y1 - y0 + 1) && long < 4 * short {
            for i in part {
                spots.data[i] = true;
            }
        }
    }
    let share = spots.share_of(&s.aperture);
    // Many spots are overexposure, which has a finding of its own.
    let spread = burnt.share_of(seen.retina);
    (share > 0.0 && spread < 0.03).then(|| placed(FindingKind::Reflex, ramp(share, 0.0, 0.004), &spots, s))
}
