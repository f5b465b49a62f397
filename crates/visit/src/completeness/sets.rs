//! Views that are met by a set of frames.

use super::assign::elapsed_ms;
use super::types::{Candidate, Dye};
use serrata_words::{Eye, FrameId, Modality, Reason, SetRule, Verdict, View, Window};

/// A frame of a set.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SetFrame {
    /// Its id.
    pub id: FrameId,
    /// Seconds after the start of the injection.
    pub s: f64,
    /// When it was taken, microseconds since 1970 UTC.
    pub taken_us: i64,
}

/// The first frame of a transit may come this much after the window opens: 8 to 10 s (practice, default rules).
const START_SLACK_S: f64 = 2.0;

/// Judges a set as a whole, never frame by frame. `frames` are those in the window that show retina, in any order;
/// `pair` are the times of the other kind's frames (µs), where the rule asks for pairs.
#[must_use]
pub fn judge_set(
    rule: &SetRule,
    window: Option<Window>,
    frames: &[SetFrame],
    pair: &[i64],
) -> (Verdict, Vec<Reason>) {
    let mut times: Vec<f64> = frames.iter().map(|f| f.s).collect();
    times.sort_by(f64::total_cmp);
    let mut reasons = Vec::new();
    let mut say =
        |must: bool, text: String| reasons.push(Reason { rule: "set".to_owned(), finding: None, must, text });
    if times.len() < rule.frames as usize {
        say(true, format!("{} of at least {} frames are there", times.len(), rule.frames));
    }
    let span = window.map(|w| (f64::from(w.from_ms()) / 1000.0, f64::from(w.to_ms()) / 1000.0));
    if let (Some(limit), Some((from, to))) = (rule.max_gap_s, span) {
        for (a, b) in gaps(&times, from, to, limit) {
            say(true, format!("nothing between {a:.1} and {b:.1} s, steps of at most {limit} s are asked"));
        }
    }
    let wanted =
        rule.wanted_between.map(|w| (f64::from(w.from_ms()) / 1000.0, f64::from(w.to_ms()) / 1000.0));
    if let (Some(limit), Some((from, to))) = (rule.wanted_gap_s, wanted.or(span)) {
        let long = gaps(&times, from, to, limit).len();
        if long > 0 {
            say(false, format!("{long} steps between {from:.0} and {to:.0} s are longer than {limit} s"));
        }
    }
    if let (Some((n, within)), Some(first)) = (rule.wanted_frames, times.first()) {
        let got = times.iter().filter(|t| **t <= first + within).count();
        if got < n as usize {
            say(false, format!("{got} of {n} frames in the first {within:.0} s"));
        }
    }
    if let Some(limit) = rule.pair_s {
        #[allow(clippy::cast_precision_loss)] // seconds between two frames
        let paired = frames
            .iter()
            .filter(|f| pair.iter().any(|p| (p.saturating_sub(f.taken_us)).abs() as f64 <= limit * 1e6))
            .count();
        if paired == 0 {
            say(true, format!("no pair of both dyes within {limit} s"));
        }
    }
    let verdict = match reasons.iter().map(|r| r.must).max() {
        Some(true) => Verdict::NotUsable,
        Some(false) => Verdict::Limited,
        None => Verdict::Usable,
    };
    (verdict, reasons)
}

/// Stretches between `from` and `to` without a frame that are longer than `limit`. A hundredth of a second is
/// forgiven, since clocks of instruments are granular.
fn gaps(times: &[f64], from: f64, to: f64, limit: f64) -> Vec<(f64, f64)> {
    let mut out = Vec::new();
    let mut last = from + (START_SLACK_S - limit).max(0.0);
    for t in times.iter().copied().filter(|t| (from..=to).contains(t)).chain([to]) {
        if t - last > limit + 0.01 {
            out.push((last, t));
        }
        last = last.max(t);
    }
    out
}

/// Frames of a view's set: in its window, and not refused.
pub(super) fn timed(view: &View, own: &[&Candidate], dyes: &[Dye]) -> Vec<SetFrame> {
    own.iter()
        .filter(|f| f.verdict.is_some_and(|v| v != Verdict::NotUsable))
        .filter_map(|f| {
            let ms = elapsed_ms(view.modality, f.taken_us, dyes)?;
            if view.window.is_some_and(|w| !w.contains(ms)) {
                return None;
            }
            #[allow(clippy::cast_precision_loss)] // minutes of a visit
            Some(SetFrame { id: f.id, s: ms as f64 / 1000.0, taken_us: f.taken_us? })
        })
        .collect()
}

/// Times of the frames of an eye and kind that were not refused.
pub(super) fn taken_of(all: &[Candidate], eye: Option<Eye>, modality: Modality) -> Vec<i64> {
    all.iter()
        .filter(|f| !f.set_aside && f.eye == eye && f.modality == modality)
        .filter(|f| f.verdict.is_some_and(|v| v != Verdict::NotUsable))
        .filter_map(|f| f.taken_us)
        .collect()
}
