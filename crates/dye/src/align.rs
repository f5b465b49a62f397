//! All frames in the pixels of one.

use crate::Shot;
use rayon::prelude::*;
use serrata_assemble::{Pose, near, pair};
use serrata_words::Placement;

/// Share of the brightest shot's mean below which no vessel shows, and from which vessels show for sure (judgement).
const DARK: f32 = 0.12;
const SHOWS: f32 = 0.5;

/// Where each shot lies against the reference, and whether that was found or taken over from a neighbour.
pub(crate) struct Aligned {
    /// The shot that all others are drawn in.
    pub reference: usize,
    /// Pose of each shot; none where it is of another eye or gaze.
    pub poses: Vec<Option<Pose>>,
    /// Whether the pose was found by the shot's own vessels.
    pub found: Vec<bool>,
}

/// Takes the brightest shot and finds where the others lie.
///
/// A shot before the dye shows no vessels, only noise: it lies where the next one does, for the eye is held by a fixation light. A shot
/// whose vessels can be seen but fit nowhere is left out.
pub(crate) fn align(shots: &[&Shot]) -> Option<Aligned> {
    let bright: Vec<f32> = shots.iter().map(|s| s.mean()).collect();
    let reference = (0..shots.len()).max_by(|i, j| bright[*i].total_cmp(&bright[*j]))?;
    let own = Pose::reference(shots[reference].lens);
    let found: Vec<Option<Pose>> = shots
        .par_iter()
        .enumerate()
        .map(|(i, shot)| {
            if i == reference {
                return Some(own.clone());
            }
            if bright[i] < DARK * bright[reference] {
                return None;
            }
            let (a, b) = (&shots[reference].vessels, &shot.vessels);
            let placed = |m: &serrata_assemble::Match| m.evidence.placement() == Placement::Placed;
            // The eye is held by a fixation light, so most frames lie where the reference does.
            let m = near(a, &own, b, &Pose::reference(shot.lens)).filter(placed);
            let elsewhere =
                || (bright[i] > SHOWS * bright[reference]).then(|| pair(a, &own, b))?.filter(placed);
            m.or_else(elsewhere).map(|m| m.pose)
        })
        .collect();
    let neighbour = |i: usize| {
        (0..shots.len())
            .filter(|j| found[*j].is_some())
            .min_by_key(|j| (j.abs_diff(i), *j))
            .and_then(|j| found[j].clone())
    };
    let poses = (0..shots.len())
        .map(|i| match &found[i] {
            Some(p) => Some(p.clone()),
            // Vessels to be seen, and none where they should be: another eye, another gaze.
            None if bright[i] > SHOWS * bright[reference] => None,
            None => neighbour(i),
        })
        .collect();
    Some(Aligned { reference, poses, found: found.iter().map(Option::is_some).collect() })
}
