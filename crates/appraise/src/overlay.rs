use serrata_frame::{Frame, Pixels, Samples};
use serrata_words::{Judgement, Observation};

/// Placeholder drawn next.
#[must_use]
pub fn overlay(frame: &Frame, _o: &Observation, _j: &Judgement, _title: &str) -> Pixels {
    let w = frame.working(1600);
    let _ = Samples::U8(vec![].into());
    let _ = w;
    frame.pixels.clone()
}
