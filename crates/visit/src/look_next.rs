//! Where to look next: the gaze that adds most retina that is still wanted.

use serrata_eye::{Direction, Footprint, RetinalPoint, Rotation};
use serrata_words::Eye;

/// A usable frame, for what it shows and for what lids took in this patient.
#[derive(Debug, Clone, Copy)]
pub struct Seen<'a> {
    /// What it shows, in the retinal frame.
    pub footprint: &'a Footprint,
    /// From its view frame to the retinal frame.
    pub to_retina: Rotation,
}

/// What is asked.
#[derive(Debug, Clone, Copy)]
pub struct LookQuery<'a> {
    /// The eye.
    pub eye: Eye,
    /// Usable frames of this eye.
    pub frames: &'a [Seen<'a>],
    /// The retina that the protocol wants.
    pub wanted: &'a Footprint,
    /// Half-angle of the instrument's field in the view frame, eye angle in degrees.
    pub field_deg: f64,
    /// How far the gaze may be turned: the instrument's or the person's range, whichever is less, degrees.
    pub range_deg: f64,
    /// Least gain worth a frame, as a share of the wanted area.
    pub least: f64,
}

/// A gaze that is proposed.
#[derive(Debug, Clone, PartialEq)]
pub struct Look {
    /// How far the gaze is turned, degrees.
    pub turn_deg: f64,
    /// Towards which meridian (counter-clockwise from 3 o'clock as the observer sees it): the retina seen more of.
    pub meridian_deg: f64,
    /// Gain in steradians.
    pub gain_sr: f64,
    /// Gain as a share of the wanted area.
    pub share: f64,
    /// Clock hours at which most of it lies.
    pub clock_hours: Vec<u8>,
    /// The proposal as a sentence.
    pub sentence: String,
}

/// Points of the field, evenly spread by area (a Fibonacci lattice), each with the share of the usable frames that
/// show it: what this patient's lids leave free.
struct Field {
    points: Vec<(Direction, f64)>,
    sr: f64,
}

const POINTS: usize = 2400;

impl Field {
    fn new(q: &LookQuery<'_>, n: usize) -> Self {
        let z0 = q.field_deg.clamp(1.0, 180.0).to_radians().cos();
        let turn = std::f64::consts::PI * (3.0 - 5f64.sqrt());
        #[allow(clippy::cast_precision_loss)] // thousands
        let count = n as f64;
        #[allow(clippy::cast_precision_loss)] // thousands
        let points = (0..n).filter_map(|k| {
            let z = 1.0 - (1.0 - z0) * (k as f64 + 0.5) / count;
            let r = (1.0 - z * z).max(0.0).sqrt();
            let (s, c) = (turn * k as f64).sin_cos();
            let p = Direction::new([r * c, r * s, z])?;
            let shown: f64 = q.frames.iter().map(|f| f.footprint.share_at(f.to_retina.apply(p))).sum();
            Some((p, if q.frames.is_empty() { 1.0 } else { shown / q.frames.len() as f64 }))
        });
        Self { points: points.collect(), sr: 2.0 * std::f64::consts::PI * (1.0 - z0) / count }
    }

    fn gain(&self, q: &LookQuery<'_>, seen: &Footprint, turn_deg: f64, meridian_deg: f64) -> f64 {
        let to_retina = Rotation::tilting(meridian_deg, turn_deg);
        let of = |(p, free): &(Direction, f64)| {
            if *free <= 0.0 {
                return 0.0;
            }
            let r = to_retina.apply(*p);
            free * q.wanted.share_at(r) * (1.0 - seen.share_at(r))
        };
        self.points.iter().map(of).sum::<f64>() * self.sr
    }
}

/// The gaze that adds most of the wanted retina, or none where no gaze in range adds what is worth a frame.
///
/// What lids took is learnt from this patient's own usable frames, as if they took the same part of the picture in
/// every gaze. Search: 12 meridians by steps of 5°, then the best is refined to below a degree.
#[must_use]
pub fn look_next(q: &LookQuery<'_>) -> Option<Look> {
    let wanted_sr = q.wanted.area_sr();
    if !(q.range_deg > 0.0 && q.range_deg.is_finite() && wanted_sr > 0.0) {
        return None;
    }
    let mut seen = Footprint::empty();
    for f in q.frames {
        seen.add(f.footprint);
    }
    let field = Field::new(q, POINTS);
    let mut best = (0.0, 0.0, field.gain(q, &seen, 0.0, 0.0));
    let tryout = |turn: f64, meridian: f64, best: &mut (f64, f64, f64)| {
        let turn = turn.clamp(0.0, q.range_deg);
        let g = field.gain(q, &seen, turn, meridian);
        if g > best.2 {
            *best = (turn, meridian.rem_euclid(360.0), g);
        }
    };
    let rings = (q.range_deg / 5.0).ceil().clamp(1.0, 20.0);
    let mut k = 1.0;
    while k <= rings {
        for m in 0..12 {
            tryout(q.range_deg * k / rings, f64::from(m) * 30.0, &mut best);
        }
        k += 1.0;
    }
    let (mut dt, mut dm) = (2.5, 15.0);
    while dt > 0.5 {
        let at = best;
        for (a, b) in [(1., 0.), (-1., 0.), (0., 1.), (0., -1.), (1., 1.), (1., -1.), (-1., 1.), (-1., -1.)] {
            tryout(at.0 + a * dt, at.1 + b * dm, &mut best);
        }
        if best.2 <= at.2 {
            (dt, dm) = (dt / 2.0, dm / 2.0);
        }
    }
    let share = best.2 / wanted_sr;
    (share >= q.least && best.2 > 0.0).then(|| said(q, &field, &seen, best, share))
}

fn said(q: &LookQuery<'_>, field: &Field, seen: &Footprint, best: (f64, f64, f64), share: f64) -> Look {
    let (turn_deg, meridian_deg, gain_sr) = best;
    let to_retina = Rotation::tilting(meridian_deg, turn_deg);
    let mut hours = [0.0; 13];
    for (p, free) in &field.points {
        let r = to_retina.apply(*p);
        let hour = RetinalPoint::from_direction(r).clock_hour();
        hours[usize::from(hour).min(12)] += free * q.wanted.share_at(r) * (1.0 - seen.share_at(r)) * field.sr;
    }
    let clock_hours: Vec<u8> = (1u8..=12).filter(|h| hours[usize::from(*h)] >= 0.1 * gain_sr).collect();
    let at = clock_hours.iter().map(u8::to_string).collect::<Vec<_>>().join(", ");
    let gaze = if turn_deg < 1.0 { "straight ahead".to_owned() } else { direction(q.eye, meridian_deg) };
    let sentence = format!(
        "{}: patient looks {gaze}, about {turn_deg:.0}°; adds about {:.0} % of the wanted retina, at {at} o'clock",
        q.eye.screen(),
        share * 100.0
    );
    Look { turn_deg, meridian_deg, gain_sr, share, clock_hours, sentence }
}

/// The gaze in words: the patient's right is the picture's left, and looking there shows the retina there.
fn direction(eye: Eye, meridian_deg: f64) -> String {
    let (s, c) = meridian_deg.to_radians().sin_cos();
    let vertical = if s > 0.383 {
        "up"
    } else if s < -0.383 {
        "down"
    } else {
        ""
    };
    let side = |right: bool| {
        let temple = (eye == Eye::R) == right;
        let (to, of) = (if right { "right" } else { "left" }, if temple { "temporal" } else { "nasal" });
        format!("to their own {to} ({of})")
    };
    let horizontal = if c.abs() < 0.383 { String::new() } else { side(c < 0.0) };
    match (vertical.is_empty(), horizontal.is_empty()) {
        (false, false) => format!("{vertical} and {horizontal}"),
        (false, true) => vertical.to_owned(),
        _ => horizontal,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// All within `to` degrees of the fovea, less what lies further than `up` between 45 and 135° and `down` opposite.
    fn field(to: f64, up: f64, down: f64) -> Footprint {
        let reach = |m: f64| {
            if (45.0..135.0).contains(&m) {
                up.min(to)
            } else if (225.0..315.0).contains(&m) {
                down.min(to)
            } else {
                to
            }
        };
        let at = |m: u32| {
            let m = f64::from(m);
            RetinalPoint { eccentricity_deg: reach(m), meridian_deg: m }.to_direction()
        };
        Footprint::from_rings(&[(0..360).map(at).collect()], Direction::ANTERIOR)
    }

    #[test]
    fn the_proposal_is_within_a_twentieth_of_brute_force_and_in_range() {
        let wanted = field(110.0, 110.0, 110.0);
        let ahead = field(90.0, 50.0, 60.0); // lids above and below
        let frames = [Seen { footprint: &ahead, to_retina: Rotation::NONE }];
        for (eye, range_deg) in [(Eye::R, 30.0), (Eye::L, 12.0)] {
            let q =
                LookQuery { eye, frames: &frames, wanted: &wanted, field_deg: 95.0, range_deg, least: 0.01 };
            let found = look_next(&q).unwrap();
            assert!(found.turn_deg <= range_deg + 1e-9);
            let dense = Field::new(&q, 8_000);
            let mut brute: f64 = 0.0;
            for t in 0..=15 {
                for m in 0..72 {
                    brute = brute.max(dense.gain(
                        &q,
                        &ahead,
                        range_deg * f64::from(t) / 15.0,
                        f64::from(m) * 5.0,
                    ));
                }
            }
            let own = dense.gain(&q, &ahead, found.turn_deg, found.meridian_deg);
            assert!(own >= 0.95 * brute, "{own} of {brute}: {}", found.sentence);
        }
    }

    #[test]
    fn it_stops_when_little_is_to_be_won_or_the_eye_cannot_turn() {
        let wanted = field(60.0, 60.0, 60.0);
        let frames = [Seen { footprint: &wanted, to_retina: Rotation::NONE }];
        let q = LookQuery {
            eye: Eye::R,
            frames: &frames,
            wanted: &wanted,
            field_deg: 60.0,
            range_deg: 30.0,
            least: 0.02,
        };
        assert_eq!(look_next(&q), None);
        assert_eq!(look_next(&LookQuery { frames: &[], range_deg: 0.0, ..q }), None);
    }

    #[test]
    fn right_and_left_are_the_patients_own() {
        assert_eq!(direction(Eye::R, 180.0), "to their own right (temporal)");
        assert_eq!(direction(Eye::L, 180.0), "to their own right (nasal)");
        assert_eq!(direction(Eye::L, 315.0), "down and to their own left (temporal)");
        assert_eq!(direction(Eye::R, 90.0), "up");
    }
}
