//! How the eye moves while the frame is swept.

use crate::scene::{Fault, Scene};
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;
use serrata_words::{EyeMovement, SlowAxis};

/// The retina's shift in the picture over the lines of one sweep.
#[derive(Debug, Clone)]
pub(crate) struct Track {
    /// First line of each stretch, and its shift to the right and up, degrees.
    pub stretches: Vec<(u32, [f64; 2])>,
    pub movements: Vec<EyeMovement>,
}

/// A jump: when it begins, how long it lasts (ms), how far it goes (degrees).
struct Jump {
    kind: &'static str,
    onset: f64,
    lasts: f64,
    shift: [f64; 2],
}

/// How long a saccade of that size lasts, ms: 2.2 ms a degree and 21 ms (Carpenter, Movements of the Eyes, 1988,
/// from memory; the straight line of the main sequence of Bahill, Clark & Stark, Math Biosci 1975;24:191).
pub(crate) fn saccade_ms(degrees: f64) -> f64 {
    2.2 * degrees.abs() + 21.0
}

/// Share of a saccade's way after a share of its time: the smoothest course (minimum jerk), whose peak speed is
/// 1.875 times the mean.
fn way(t: f64) -> f64 {
    let t = t.clamp(0.0, 1.0);
    t * t * t * (10.0 - 15.0 * t + 6.0 * t * t)
}

impl Track {
    /// `deg`: degrees a pixel at the picture's centre.
    pub fn new(scene: &Scene, lines: u32, deg: f64) -> Self {
        let sweep = (scene.instrument.sweep_s * 1000.0).max(1.0);
        let backwards = matches!(scene.instrument.slow_axis, SlowAxis::Up | SlowAxis::Left);
        let per_line = sweep / f64::from(lines.max(1));
        let when = |line: f64| per_line * if backwards { f64::from(lines) - line } else { line };
        let mut rng = Pcg64Mcg::seed_from_u64(scene.seed.rotate_left(9) ^ scene.shot ^ 0xd41f);
        let mut jumps = Vec::new();
        let mut drift = [0.0; 2];
        if scene.everyday {
            // Drift of some tenths of a degree a second and 1.2 microsaccades a second of 0.1 to 0.5° (the ranges of
            // Martinez-Conde, Macknik & Hubel, Nat Rev Neurosci 2004;5:229, from memory).
            let (s, c) = rng.random_range(0.0..std::f64::consts::TAU).sin_cos();
            let speed = rng.random_range(0.1..0.6);
            drift = [speed * c / 1000.0, speed * s / 1000.0];
            // So many are to be expected; of a part of one there is a chance.
            let mut due = 1.2 * sweep / 1000.0;
            while due > 0.0 {
                let comes = rng.random_bool(due.min(1.0));
                due -= 1.0;
                if !comes {
                    continue;
                }
                let size = rng.random_range(0.1..0.5);
                let (s, c) = rng.random_range(0.0..std::f64::consts::TAU).sin_cos();
                let onset = rng.random_range(0.0..(sweep - 25.0).max(1.0));
                jumps.push(Jump {
                    kind: "microsaccade",
                    onset,
                    lasts: saccade_ms(size),
                    shift: [size * c, size * s],
                });
            }
        }
        for fault in &scene.faults {
            if let Fault::Motion { row, shift_deg } = *fault
                && shift_deg.is_finite()
            {
                let shift = shift_deg.clamp(-60.0, 60.0);
                let onset = when(f64::from(row.min(lines)));
                jumps.push(Jump { kind: "saccade", onset, lasts: saccade_ms(shift), shift: [shift, 0.0] });
            }
        }
        let at = |ms: f64| {
            jumps.iter().fold(drift.map(|d| d * ms), |o, j| {
                let w = way((ms - j.onset) / j.lasts);
                [o[0] + w * j.shift[0], o[1] + w * j.shift[1]]
            })
        };
        // A stretch ends where the shift has changed by half a pixel, or a 48th of all that it changes.
        let all: f64 = jumps.iter().map(|j| j.shift[0].hypot(j.shift[1])).sum();
        let step = (0.5 * deg).max(all / 48.0);
        let mut stretches: Vec<(u32, [f64; 2])> = Vec::new();
        for line in 0..lines {
            let o = at(when(f64::from(line) + 0.5));
            let far = stretches.last().is_none_or(|(_, l)| (o[0] - l[0]).hypot(o[1] - l[1]) >= step);
            if far {
                stretches.push((line, o));
            }
        }
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // cut to the lines
        let line_of = |ms: f64| {
            let l = ms / per_line;
            (if backwards { f64::from(lines) - l } else { l }).round().clamp(0.0, f64::from(lines)) as u32
        };
        let tell = |j: &Jump| {
            let (a, b) = (line_of(j.onset), line_of(j.onset + j.lasts));
            let size = j.shift[0].hypot(j.shift[1]);
            EyeMovement {
                kind: j.kind.to_owned(),
                rows: [a.min(b), a.max(b).max(a.min(b) + 1).min(lines.max(1))],
                onset_ms: j.onset,
                duration_ms: j.lasts.min(sweep - j.onset).max(0.0),
                shift_deg: j.shift,
                peak_deg_s: 1.875 * size / j.lasts * 1000.0,
            }
        };
        let mut movements: Vec<EyeMovement> = jumps.iter().map(tell).collect();
        if scene.everyday {
            movements.push(EyeMovement {
                kind: "drift".to_owned(),
                rows: [0, lines],
                onset_ms: 0.0,
                duration_ms: sweep,
                shift_deg: drift.map(|d| d * sweep),
                peak_deg_s: drift[0].hypot(drift[1]) * 1000.0,
            });
        }
        Self { stretches, movements }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_saccade_starts_and_ends_at_rest_and_gets_there() {
        assert_eq!((way(-1.0), way(0.0), way(1.0), way(2.0)), (0.0, 0.0, 1.0, 1.0));
        let peak = (0..1000)
            .map(|k| (way(f64::from(k + 1) / 1e3) - way(f64::from(k) / 1e3)) * 1e3)
            .fold(0.0, f64::max);
        assert!((peak - 1.875).abs() < 1e-3, "{peak}");
        // Main sequence: a 10° saccade lasts about 43 ms and peaks at some 440°/s.
        assert!((saccade_ms(10.0) - 43.0).abs() < 1e-9);
    }
}
