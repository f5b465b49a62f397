//! From the pixel to the retina.

use crate::Eyeball;
use crate::scene::{Fault, Scene};
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;
use serrata_eye::{Rotation, Stereographic};
use serrata_words::SlowAxis;
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
    pub picture: Stereographic,
    pub poses: Vec<Pose>,
    pub sideways: bool,
}

/// Smallest and largest side of a picture in pixels.
const SIDES: [u32; 2] = [16, 8192];

impl Optics {
    pub fn new(scene: &Scene) -> Self {
        let size = scene.size.clamp(SIDES[0], SIDES[1]);
        let height = scene.height.map_or(size, |h| h.clamp(SIDES[0], SIDES[1]));
        // The width shows the instrument's field; pixels are square.
        let deg = Stereographic::of(&scene.instrument, size, size)
            .map_or(266.0 / f64::from(size), |p| p.deg_per_px[0]);
        let picture = Stereographic { width: size, height, deg_per_px: [deg; 2] };
        // Nobody looks exactly where asked: small tilt and torsion, of the shot.
        let mut rng =
            Pcg64Mcg::seed_from_u64(scene.seed ^ scene.shot.wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ 0x0b71);
        let slip = Rotation::tilting(rng.random_range(0.0..360.0), rng.random_range(0.0..2.5));
        let torsion = Rotation::turning(rng.random_range(-3.0..3.0));
        let pose = slip.then(Rotation::from_gaze(scene.gaze, scene.turn_deg)).then(torsion);
        let sideways = matches!(scene.instrument.slow_axis, SlowAxis::Left | SlowAxis::Right);
        let backwards = matches!(scene.instrument.slow_axis, SlowAxis::Up | SlowAxis::Left);
        let jump = scene.faults.iter().find_map(|f| match f {
            Fault::Motion { row, shift_deg } => Some((*row.min(if sideways { &size } else { &height }), *shift_deg)),
            _ => None,
        });
        let lines = if sideways { size } else { height };
        let mut poses = Vec::new();
        let mut part = |span: Range<u32>, to_retina| {
            let (rows, columns) = if sideways { (0..height, span) } else { (span, 0..size) };
            poses.push(Pose { rows, columns, to_retina });
        };
        match jump {
            Some((line, shift)) => {
                // The retina moves to the right by `shift`, so that a place in the picture shows what lay left of it.
                let after = Rotation::tilting(0.0, shift).inverse().then(pose);
                let (first, second) = if backwards { (after, pose) } else { (pose, after) };
                part(0..line, first);
                part(line..lines, second);
            }
            None => part(0..lines, pose),
        }
        Self { size, height, picture, poses, sideways }
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

    /// The pose at a pixel.
    pub fn pose(&self, x: u32, y: u32) -> Rotation {
        let here = self.poses.iter().find(|p| p.rows.contains(&y) && p.columns.contains(&x));
        here.map_or(Rotation::NONE, |p| p.to_retina)
    }

    /// Where a point of the retina comes to lie before any jump.
    pub fn place(&self, eyeball: &Eyeball, what: Landmark) -> [f64; 2] {
        let d = match what {
            Landmark::Disc => eyeball.disc,
            Landmark::Fovea => serrata_eye::Direction::POLE,
        };
        // A jump moves the two parts apart: take the pose of the part in which the landmark then lies.
        let at = |p: &Pose| self.picture.to_picture(p.to_retina.inverse().apply(d));
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
