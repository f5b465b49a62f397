//! From the pixel to the retina.

use crate::Eyeball;
use crate::scene::Scene;
use crate::track::Track;
use crate::view::View;
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;
use serrata_eye::Rotation;
use serrata_words::{EyeMovement, SlowAxis};
use std::ops::Range;

/// How the eye stands while part of the picture is swept.
#[derive(Debug, Clone)]
pub(crate) struct Pose {
    /// Rows that it holds for.
    pub rows: Range<u32>,
    /// Columns that it holds for.
    pub columns: Range<u32>,
    /// From the view frame to the retinal frame.
    pub to_retina: Rotation,
}

/// A scene's geometry.
#[derive(Debug, Clone)]
pub(crate) struct Optics {
    /// Width in pixels.
    pub size: u32,
    /// Height in pixels.
    pub height: u32,
    pub view: View,
    pub poses: Vec<Pose>,
    /// Index of the pose of each line.
    of_line: Vec<u16>,
    pub movements: Vec<EyeMovement>,
    pub sideways: bool,
}

/// Smallest and largest side of a picture in pixels.
const SIDES: [u32; 2] = [16, 8192];

impl Optics {
    pub fn new(scene: &Scene) -> Self {
        let size = scene.size.clamp(SIDES[0], SIDES[1]);
        let height = scene.height.map_or(size, |h| h.clamp(SIDES[0], SIDES[1]));
        let view = View::of(&scene.instrument, size, height);
        // Nobody looks exactly where asked: small tilt and torsion, of the shot.
        let mut rng =
            Pcg64Mcg::seed_from_u64(scene.seed ^ scene.shot.wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ 0x0b71);
        let slip = Rotation::tilting(rng.random_range(0.0..360.0), rng.random_range(0.0..2.5));
        let torsion = Rotation::turning(rng.random_range(-3.0..3.0));
        let pose = slip.then(Rotation::from_gaze(scene.gaze, scene.turn_deg)).then(torsion);
        let sideways = matches!(scene.instrument.slow_axis, SlowAxis::Left | SlowAxis::Right);
        let lines = if sideways { size } else { height };
        let track = Track::new(scene, lines, view.picture.deg_per_px[0]);
        let mut poses = Vec::new();
        let mut of_line = Vec::with_capacity(lines as usize);
        for (k, (line, [right, up])) in track.stretches.iter().enumerate() {
            let span = *line..track.stretches.get(k + 1).map_or(lines, |n| n.0);
            // The retina moves by the shift, so that a place in the picture shows what lay before it.
            let moved = Rotation::tilting(up.atan2(*right).to_degrees(), right.hypot(*up)).inverse();
            #[allow(clippy::cast_possible_truncation)] // some tens of stretches
            of_line.extend(span.clone().map(|_| k as u16));
            let (rows, columns) = if sideways { (0..height, span) } else { (span, 0..size) };
            poses.push(Pose { rows, columns, to_retina: moved.then(pose) });
        }
        let movements = track.movements;
        Self { size, height, view, poses, of_line, movements, sideways }
    }

    /// Number of lines of the sweep.
    pub const fn lines(&self) -> u32 {
        if self.sideways { self.size } else { self.height }
    }

    /// Place of a pixel's centre from −1 to 1 across the width, the same scale down the height.
    pub fn centred(&self, x: f64, y: f64) -> [f64; 2] {
        let half = f64::from(self.size) / 2.0;
        [(x - half) / half, (y - f64::from(self.height) / 2.0) / half]
    }

    /// Index of the pose at a pixel.
    pub fn turn(&self, x: u32, y: u32) -> usize {
        let line = if self.sideways { x } else { y };
        self.of_line.get(line as usize).map_or(0, |k| usize::from(*k))
    }

    /// The pose at a pixel.
    pub fn pose(&self, x: u32, y: u32) -> Rotation {
        self.poses.get(self.turn(x, y)).map_or(Rotation::NONE, |p| p.to_retina)
    }

    /// Where a point of the retina comes to lie before any jump.
    pub fn place(&self, eyeball: &Eyeball, what: Landmark) -> [f64; 2] {
        let d = match what {
            Landmark::Disc => eyeball.disc,
            Landmark::Fovea => serrata_eye::Direction::POLE,
        };
        // A jump moves the two parts apart: take the pose of the part in which the landmark then lies.
        let at = |p: &Pose| self.view.to_picture(p.to_retina.inverse().apply(d));
        let lies = |p: &&Pose| {
            let [x, y] = at(p);
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // as casts saturate
            let (x, y) = (x.max(0.0) as u32, y.max(0.0) as u32);
            p.rows.contains(&y) && p.columns.contains(&x)
        };
        self.poses.iter().find(lies).or(self.poses.first()).map_or([0.0; 2], at)
    }
}

/// A mark of the retina.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Landmark {
    Disc,
    Fovea,
}
