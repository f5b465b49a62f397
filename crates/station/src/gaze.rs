//! How the gaze of a frame is turned, where its projection is known.

use crate::area;
use serrata_eye::{Direction, GazeTurn};
use serrata_words::{AcquisitionFacts, AppraisalLine, GazeLine, Instrument};

/// How sure a fovea has to be before the gaze is told by it (judgement: of 63 simulated frames none was wrong above it).
const SURE_FOVEA: f64 = 0.5;
/// The same of a disc: of 64 simulated frames three were told wrong, by discs that were surer than a half and not than this.
const SURE_DISC: f64 = 0.85;

/// Fills in how the gaze is turned; nothing where the frame is uncalibrated, or neither landmark was found.
pub fn fill(line: &mut AppraisalLine, facts: &AcquisitionFacts, instrument: Option<&Instrument>) {
    line.gaze = told(line, facts, instrument);
}

fn told(line: &AppraisalLine, facts: &AcquisitionFacts, instrument: Option<&Instrument>) -> Option<GazeLine> {
    let picture = area::projection(facts, instrument, line.width, line.height)?;
    let at = |x: f64, y: f64| picture.to_direction([x, y]).ok();
    let fovea = line.fovea.filter(|f| f.probability >= SURE_FOVEA).and_then(|f| at(f.x, f.y));
    let disc = line.disc.filter(|d| d.probability >= SURE_DISC).and_then(|d| at(d.x, d.y));
    let [x, y] = instrument.and_then(|i| i.fovea_straight_ahead_deg).unwrap_or_default();
    let ahead = Direction::from_azimuth_elevation(x, y);
    let eye = line.eye.labelled.or(line.eye.inferred);
    let turn = GazeTurn::of(fovea, disc, eye, ahead)?;
    Some(GazeLine {
        seen: turn.gaze(),
        right_deg: turn.right_deg,
        up_deg: turn.up_deg,
        from: if fovea.is_some() { "fovea" } else { "disc" }.to_owned(),
    })
}
