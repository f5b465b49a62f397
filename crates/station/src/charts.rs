//! The pair of retinal charts: where footprints lie on the retina, and what is still due.

use crate::api::types::{Chart, ChartDue, ChartFrame, ChartLook, ChartRing};
use crate::area::projection;
use serrata_eye::{
    Direction, GAZE_DEG, Landmark, Picture, Radius, RetinalPoint, Rotation, Stereographic, outline,
};
use serrata_visit::{Look, ViewState, ViewStatus, named};
use serrata_words::{AcquisitionFacts, Eye, Gaze, Instrument, Observation, Verdict};

/// Landmarks as rings, with their names on the chart.
const RINGS: [(&str, Landmark); 3] =
    [("arcades", Landmark::Arcades), ("equator", Landmark::Equator), ("ora", Landmark::Ora)];

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
pub fn chart(
    eye: Eye,
    frames: &[Placed<'_>],
    last: &[Placed<'_>],
    views: &[ViewStatus],
    look: Option<Look>,
) -> Chart {
    let usable = |f: &&Placed<'_>| f.eye == eye && f.verdict != Verdict::NotUsable;
    Chart {
        eye: eye.word().to_owned(),
        rings: RINGS.iter().map(|(name, landmark)| ring(name, *landmark, eye)).collect(),
        frames: frames.iter().filter(|f| f.eye == eye).filter_map(footprint).collect(),
        last: last.iter().filter(usable).filter_map(footprint).collect(),
        due: views
            .iter()
            .filter(|v| matches!(v.state, ViewState::Due | ViewState::Overdue) && v.view.eye == Some(eye))
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

/// A landmark on the retina of an eye of the population's size: its outline, and the mean over the meridians for a chart that
/// draws circles only.
fn ring(name: &str, landmark: Landmark, eye: Eye) -> ChartRing {
    let on: Vec<RetinalPoint> =
        landmark.ring(eye, Radius::population(), 0.0).into_iter().map(RetinalPoint::from_direction).collect();
    #[allow(clippy::cast_precision_loss)] // 360 points
    let mean = on.iter().map(|p| p.eccentricity_deg).sum::<f64>() / on.len().max(1) as f64;
    ChartRing {
        name: name.to_owned(),
        degrees: (mean * 10.0).round() / 10.0,
        outline: on.into_iter().step_by(5).map(polar).collect(),
    }
}

/// How a frame lies on the retina.
pub struct Lie {
    /// Its projection.
    pub picture: Picture,
    /// From its view frame to the retinal frame.
    pub to_retina: Rotation,
    /// Whether the projection is known; otherwise a sketch by the mean distance of disc and fovea.
    pub calibrated: bool,
    /// Half-angle of the picture's field about its middle, degrees of eye angle: to the nearer pair of its edges that
    /// the projection shows.
    pub field_deg: f64,
}

/// How a frame lies on the retina: calibrated where the projection is known, a sketch by the mean distance of disc and
/// fovea where it is not, nothing where neither can be said.
#[must_use]
pub fn lie(f: &Placed<'_>) -> Option<Lie> {
    let o = f.observation;
    let known = projection(f.facts, f.instrument, o.width, o.height);
    let calibrated = known.is_some();
    let picture = known.or_else(|| {
        let (d, v) = (o.disc?, o.fovea?);
        let pixels = (d.x - v.x).hypot(d.y - v.y);
        (pixels > 1.0).then(|| {
            let deg = RetinalPoint::mean_disc(f.eye).eccentricity_deg / pixels;
            Picture::from(Stereographic { width: o.width, height: o.height, deg_per_px: [deg, deg] })
        })
    })?;
    let at = |x: f64, y: f64| picture.to_direction([x, y]).ok();
    let by_landmarks =
        o.disc.zip(o.fovea).and_then(|(d, v)| Rotation::from_landmarks(at(v.x, v.y)?, at(d.x, d.y)?, f.eye));
    let to_retina = by_landmarks.unwrap_or_else(|| Rotation::from_gaze(f.gaze, GAZE_DEG));
    let (w, h) = (f64::from(o.width), f64::from(o.height));
    let field_deg = [at(w, h / 2.0), at(w / 2.0, h)]
        .into_iter()
        .flatten()
        .map(|d| RetinalPoint::from_direction(d).eccentricity_deg)
        .fold(180.0, f64::min);
    Some(Lie { picture, to_retina, calibrated, field_deg })
}

/// A frame's visible retina on the chart.
fn footprint(f: &Placed<'_>) -> Option<ChartFrame> {
    let lie = lie(f)?;
    let place = &f.observation.visible_retina.place;
    let rings = outline(place, &lie.picture, lie.to_retina, STEP_DEG).ok()?.rings;
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
    fn rings_are_those_of_the_landmarks_and_mirror() {
        let of = |eye| RINGS.map(|(name, landmark)| ring(name, landmark, eye));
        let [arcades, equator, ora] = of(Eye::R);
        assert!(
            (arcades.degrees - 32.2).abs() < 0.1 && arcades.outline.iter().all(|p| (p[0] - 32.2).abs() < 0.1)
        );
        // 13.29 to 15.55 mm from the disc on R = 12.25 mm, the disc nasal: farther to the nose, nearer to the temple.
        assert!((55.0..75.0).contains(&equator.degrees), "{}", equator.degrees);
        let at = |r: &ChartRing, m: f64| {
            r.outline.iter().map(|p| (p[0], (p[1] - m).abs())).min_by(|a, b| a.1.total_cmp(&b.1)).unwrap().0
        };
        assert!(at(&equator, 3.0) > at(&equator, 180.0) + 20.0);
        assert!((ora.degrees - 108.0).abs() < 2.0, "{}", ora.degrees);
        let left = of(Eye::L);
        assert!((at(&left[1], 180.0) - at(&equator, 0.0)).abs() < 6.0);
    }

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
