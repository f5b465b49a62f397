//! The pair of retinal charts: where footprints lie on the retina, and what is still due.

use crate::api::types::{Chart, ChartDue, ChartFrame, ChartLook, ChartRing};
use crate::area::projection;
use serrata_eye::{Direction, GAZE_DEG, Outlines, RetinalPoint, Rotation, Stereographic, outline};
use serrata_visit::{Look, ViewState, ViewStatus, named};
use serrata_words::{AcquisitionFacts, Eye, Gaze, Instrument, Observation, Verdict};

/// Landmark rings in degrees of eye angle. Arcades: judgement. Equator: the vortex ampullae lie 14.15 mm from the
/// disc (Funatsu et al. 2021), ora: the vascular edge lies 20.32 mm from it (Sadda et al. 2015), both on R = 12 mm
/// and taken as means over all sides.
const RINGS: [(&str, f64); 3] = [("arcades", 25.0), ("equator", 67.6), ("ora", 97.0)];

/// Half-angle of the outline that stands for a view that is due: what a frame of good reach shows. Judgement.
const DUE_DEG: f64 = 75.0;

/// Longest piece of an outline in degrees.
const STEP_DEG: f64 = 4.0;

/// One checked frame as the charts need it.
pub struct Placed<'a> {
    /// Its id.
    pub id: i64,
    /// Id of what was seen in it.
    pub observation_id: Option<i64>,
    /// The eye it counts as.
    pub eye: Eye,
    /// Its kind, as a word.
    pub modality: &'static str,
    /// Its gaze.
    pub gaze: Gaze,
    /// Its quality.
    pub verdict: Verdict,
    /// What was seen in it.
    pub observation: &'a Observation,
    /// Its header.
    pub facts: &'a AcquisitionFacts,
    /// Its instrument.
    pub instrument: Option<&'a Instrument>,
}

/// The chart of one eye.
#[must_use]
pub fn chart(eye: Eye, frames: &[Placed<'_>], views: &[ViewStatus], look: Option<Look>) -> Chart {
    Chart {
        eye: eye.word().to_owned(),
        rings: RINGS.iter().map(|(n, d)| ChartRing { name: (*n).to_owned(), degrees: *d }).collect(),
        frames: frames.iter().filter(|f| f.eye == eye).filter_map(footprint).collect(),
        due: views
            .iter()
            .filter(|v| v.state == ViewState::Due && v.view.eye == Some(eye))
            .map(|v| ChartDue {
                view: v.view.name.clone(),
                label: named(&v.view),
                outlines: vec![cap(v.view.gaze, DUE_DEG)],
            })
            .collect(),
        look: look.map(|l| ChartLook {
            turn_deg: l.turn_deg,
            meridian_deg: l.meridian_deg,
            share: l.share,
            area_sr: l.gain_sr,
            clock_hours: l.clock_hours,
            sentence: l.sentence,
        }),
    }
}

/// How a frame lies on the retina.
pub struct Lie {
    /// Its projection.
    pub picture: Stereographic,
    /// From its view frame to the retinal frame.
    pub to_retina: Rotation,
    /// Whether the projection is known; otherwise a sketch by the mean distance of disc and fovea.
    pub calibrated: bool,
}

impl Lie {
    /// Half-angle of the picture's field about its middle, degrees of eye angle: to the nearer pair of its edges.
    #[must_use]
    pub fn field_deg(&self) -> f64 {
        let (w, h) = (f64::from(self.picture.width), f64::from(self.picture.height));
        [[w, h / 2.0], [w / 2.0, h]]
            .map(|p| RetinalPoint::from_direction(self.picture.to_direction(p)).eccentricity_deg)
            .into_iter()
            .fold(180.0, f64::min)
    }
}

/// How a frame lies on the retina: calibrated where the projection is known, a sketch by the mean distance of disc and
/// fovea where it is not, nothing where neither can be said.
#[must_use]
pub fn lie(f: &Placed<'_>) -> Option<Lie> {
    let o = f.observation;
    let known = projection(f.facts, f.instrument, o.width, o.height);
    let at = |p: &Stereographic, x: f64, y: f64| p.to_direction([x, y]);
    let picture = known.or_else(|| {
        let (d, v) = (o.disc?, o.fovea?);
        let pixels = (d.x - v.x).hypot(d.y - v.y);
        (pixels > 1.0).then(|| {
            let deg = RetinalPoint::mean_disc(f.eye).eccentricity_deg / pixels;
            Stereographic { width: o.width, height: o.height, deg_per_px: [deg, deg] }
        })
    })?;
    let by_landmarks = o
        .disc
        .zip(o.fovea)
        .and_then(|(d, v)| Rotation::from_landmarks(at(&picture, v.x, v.y), at(&picture, d.x, d.y), f.eye));
    let to_retina = by_landmarks.unwrap_or_else(|| Rotation::from_gaze(f.gaze, GAZE_DEG));
    Some(Lie { picture, to_retina, calibrated: known.is_some() })
}

/// A frame's visible retina on the chart.
fn footprint(f: &Placed<'_>) -> Option<ChartFrame> {
    let lie = lie(f)?;
    let place = &f.observation.visible_retina.place;
    let Outlines { rings, .. } = outline(place, &lie.picture, lie.to_retina, STEP_DEG);
    (!rings.is_empty()).then(|| ChartFrame {
        frame_id: f.id,
        modality: f.modality.to_owned(),
        verdict: f.verdict.word().to_owned(),
        calibrated: lie.calibrated,
        outlines: rings.iter().map(|r| r.iter().copied().map(polar).collect()).collect(),
    })
}

/// A circle on the retina about the point that a gaze brings to the middle of the picture.
fn cap(gaze: Gaze, half_deg: f64) -> Vec<[f64; 2]> {
    let turn = Rotation::from_gaze(gaze, GAZE_DEG);
    (0..72)
        .map(|k| {
            let edge = RetinalPoint { eccentricity_deg: half_deg, meridian_deg: f64::from(k) * 5.0 };
            polar(RetinalPoint::from_direction(turn.apply(edge.to_direction())))
        })
        .collect()
}

fn polar(p: RetinalPoint) -> [f64; 2] {
    [(p.eccentricity_deg * 10.0).round() / 10.0, (p.meridian_deg * 10.0).round() / 10.0]
}

/// The direction that a gaze brings to the middle of the picture, in the retinal frame.
#[must_use]
pub fn middle_of(gaze: Gaze) -> RetinalPoint {
    RetinalPoint::from_direction(Rotation::from_gaze(gaze, GAZE_DEG).apply(Direction::POLE))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn looking_up_is_due_in_the_upper_half() {
        let m = middle_of(Gaze::Up);
        assert!((m.meridian_deg - 90.0).abs() < 1e-6 && m.eccentricity_deg > 5.0, "{m:?}");
        let highest = cap(Gaze::Up, DUE_DEG)
            .into_iter()
            .max_by(|a, b| {
                let y = |p: &[f64; 2]| p[0] * p[1].to_radians().sin();
                y(a).total_cmp(&y(b))
            })
            .unwrap();
        assert!(highest[0] > DUE_DEG + 5.0, "{highest:?}");
    }
}
