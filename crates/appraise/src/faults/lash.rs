//! Lashes: wide dark streaks that come in from the lower or upper rim.

use super::{Seen, placed, ramp};
use crate::filter;
use serrata_frame::Plane;
use serrata_words::{Finding, FindingKind, Side};

/// How much darker than its surroundings a streak is, in logarithm.
const DARKER: f32 = 0.22;

pub(super) fn lashes(seen: &Seen<'_>) -> Vec<Finding> {
    let s = seen.scene;
    let (w, h) = (s.width(), s.height());
    let lift = 0.02;
    let source = &s.half.value;
    let (hw, hh) = (source.width, source.height);
    let mut log = Plane { width: hw, height: hh, data: source.data.iter().map(|v| v + lift).collect() };
    filter::ln_all(&mut log.data);
    let narrow = filter::smooth(&log, s.long() / s.half.step * 0.004);
    // Streaks stand upright: compare along the row only.
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // a small positive number
    let wide = filter::rows_mean(&narrow, (s.long() / s.half.step * 0.03) as usize);
    let halvings = u32::from(s.half.step > 1.0);
    let dark: Vec<bool> = wide.data.iter().zip(&narrow.data).map(|(w, n)| w - n > DARKER).collect();
    let mut streak = seen.retina.clone();
    for (y, row) in streak.data.chunks_exact_mut(w).enumerate() {
        let dark = &dark[(y >> halvings).min(hh - 1) * hw..][..hw];
        for (x, s) in row.iter_mut().enumerate() {
            *s &= dark[(x >> halvings).min(hw - 1)];
        }
    }
    let streak = streak.without_specks(w * h / 2500);
    let mut out = Vec::new();
    if streak.count() == 0 {
        return out;
    }
    for (side, near) in [(Side::Bottom, true), (Side::Top, false)] {
        let rim = if near { 0.80 } else { 0.15 };
        // Only streaks that reach the rim of that side.
        let touching = streak.connected_to(|_, y| (y as f32 / h as f32 > rim) == near);
        let mut zone = touching;
        for (y, row) in zone.data.chunks_exact_mut(w).enumerate() {
            if (y as f32 / h as f32 > 0.5) != near {
                row.fill(false);
            }
        }
        let share = zone.share_of(&s.aperture);
        if share > 0.002 {
            let mut f = placed(FindingKind::Lash, ramp(share, 0.0, 0.15), &zone, s);
            f.side = Some(side);
            out.push(f);
        }
    }
    out
}
