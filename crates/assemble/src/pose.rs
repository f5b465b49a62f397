use crate::Lens;
use serrata_eye::{Direction, Rotation};
use serrata_words::Point;

/// Terms of the low-order distortion: u, v, u², uv, v², u³, u²v, uv², v³.
pub(crate) const TERMS: usize = 9;

/// Where a frame lies on the sphere: rotation, low-order distortion, local correction, sway.
///
/// A pixel p of the frame is moved to `p + bend(p) + local(p) + sway(p)` (pixels), taken to the view frame by the lens, and
/// turned by the rotation.
#[derive(Debug, Clone, PartialEq)]
pub struct Pose {
    /// The lens that the pixels go through.
    pub lens: Lens,
    /// From the frame's view frame to the sphere's.
    pub rotation: Rotation,
    /// Coefficients of the distortion (x, y) as shares of half the longer side.
    pub(crate) bend: [[f64; 2]; TERMS],
    /// The smooth local correction, where there is one.
    pub(crate) local: Option<Local>,
    /// How the eye moved during the sweep, where that shows.
    pub(crate) sway: Option<Sway>,
    /// How many numbers were fitted: rotation and distortion, then the corrections' degrees of freedom (the traces of
    /// their hat matrices).
    pub degrees_of_freedom: [f64; 2],
}

/// A displacement in pixels as a cubic B-spline over the frame.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Local {
    /// Cells along x and y; there are three more knots than cells along each.
    pub cells: [usize; 2],
    /// Displacements at the knots, row by row.
    pub knots: Vec<[f64; 2]>,
}

/// A displacement in pixels that is the same along a whole line of the sweep: a cubic B-spline across the lines.
///
/// An instrument that sweeps line by line shows a small jump of the eye as a step from one line to the next ones, which
/// neither a distortion nor a smooth correction can follow.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Sway {
    /// Whether the lines are the picture's columns; else its rows.
    pub columns: bool,
    /// Displacements at the knots, three more than cells.
    pub knots: Vec<[f64; 2]>,
}

impl Sway {
    /// Where a pixel lies across the lines, 0 to 1.
    pub fn across(columns: bool, lens: &Lens, p: Point) -> f64 {
        let s = &lens.projection;
        if columns { p[0] / f64::from(s.width) } else { p[1] / f64::from(s.height) }
    }

    fn at(&self, t: f64) -> [f64; 2] {
        let (i, w) = spline(t, self.knots.len().saturating_sub(3));
        let mut sum = [0.0; 2];
        for (k, w) in self.knots.iter().skip(i).zip(w) {
            sum = [sum[0] + w * k[0], sum[1] + w * k[1]];
        }
        sum
    }
}

/// The first of the four knots that act at a place from 0 to 1 over `n` cells, and their weights.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, clippy::cast_precision_loss)] // a few cells
pub(crate) fn spline(t: f64, n: usize) -> (usize, [f64; 4]) {
    let t = (t.clamp(0.0, 1.0) * n as f64).min(n as f64 - 1e-9).max(0.0);
    let (i, f) = (t as usize, t.fract());
    let g = 1.0 - f;
    let w = [
        g * g * g / 6.0,
        (3.0 * f * f * f - 6.0 * f * f + 4.0) / 6.0,
        (3.0 * g * g * g - 6.0 * g * g + 4.0) / 6.0,
        f * f * f / 6.0,
    ];
    (i, w)
}

impl Local {
    /// The 16 knots that act at a place (u, v from 0 to 1 over the frame) with their weights.
    pub fn weights(cells: [usize; 2], u: f64, v: f64) -> [(usize, f64); 16] {
        let ((i, wx), (j, wy)) = (spline(u, cells[0]), spline(v, cells[1]));
        std::array::from_fn(|k| ((j + k / 4) * (cells[0] + 3) + i + k % 4, wx[k % 4] * wy[k / 4]))
    }

    fn at(&self, u: f64, v: f64) -> [f64; 2] {
        let mut sum = [0.0; 2];
        for (k, w) in Self::weights(self.cells, u, v) {
            sum[0] += w * self.knots[k][0];
            sum[1] += w * self.knots[k][1];
        }
        sum
    }
}

/// The terms at a place of the frame. Beyond the frame they are those of its edge, so that nothing runs away.
pub(crate) fn terms(lens: &Lens, p: Point) -> [f64; TERMS] {
    let (c, h) = (lens.middle(), lens.half());
    let u = ((p[0] - c[0]) / h).clamp(-1.1, 1.1);
    let v = ((p[1] - c[1]) / h).clamp(-1.1, 1.1);
    [u, v, u * u, u * v, v * v, u * u * u, u * u * v, u * v * v, v * v * v]
}

/// A small rotation: the pole tilts by (x, y) and all turns by z, radians.
pub(crate) fn small(w: [f64; 3]) -> Rotation {
    let angle = w[0].hypot(w[1]).to_degrees();
    Rotation::tilting(w[1].atan2(w[0]).to_degrees(), angle).then(Rotation::turning(w[2].to_degrees()))
}

impl Pose {
    /// A frame whose view frame is the sphere's, undistorted.
    #[must_use]
    pub const fn reference(lens: Lens) -> Self {
        Self::turned(lens, Rotation::NONE)
    }

    /// A frame turned on the sphere, undistorted.
    #[must_use]
    pub const fn turned(lens: Lens, rotation: Rotation) -> Self {
        Self {
            lens,
            rotation,
            bend: [[0.0; 2]; TERMS],
            local: None,
            sway: None,
            degrees_of_freedom: [0.0; 2],
        }
    }

    /// A frame's pixel after distortion and local correction, in pixels of the ideal picture.
    #[must_use]
    pub(crate) fn ideal(&self, p: Point) -> Point {
        let t = terms(&self.lens, p);
        let h = self.lens.half();
        let mut q = p;
        for (t, c) in t.iter().zip(&self.bend) {
            q[0] += h * t * c[0];
            q[1] += h * t * c[1];
        }
        if let Some(local) = &self.local {
            let s = &self.lens.projection;
            let d = local.at(p[0] / f64::from(s.width), p[1] / f64::from(s.height));
            q = [q[0] + d[0], q[1] + d[1]];
        }
        if let Some(sway) = &self.sway {
            let d = sway.at(Sway::across(sway.columns, &self.lens, p));
            q = [q[0] + d[0], q[1] + d[1]];
        }
        q
    }

    /// From the frame's pixels (edges at integers, y down) to the sphere.
    #[must_use]
    pub fn to_sphere(&self, p: Point) -> Direction {
        self.rotation.apply(self.lens.projection.to_direction(self.ideal(p)))
    }

    /// From the sphere to the frame's pixels; may land outside of the frame.
    ///
    /// The distortion is undone by steps; they halve the error at least where it bends less than half a pixel a
    /// pixel, which the fit keeps far below.
    #[must_use]
    pub fn to_frame(&self, d: Direction) -> Point {
        let goal = self.lens.projection.to_picture(self.rotation.inverse().apply(d));
        let mut p = goal;
        for _ in 0..20 {
            let q = self.ideal(p);
            let off = [goal[0] - q[0], goal[1] - q[1]];
            p = [p[0] + off[0], p[1] + off[1]];
            if off[0].abs() + off[1].abs() < 1e-4 {
                break;
            }
        }
        p
    }

    /// Whether a pixel place lies inside the frame.
    #[must_use]
    pub fn holds(&self, p: Point) -> bool {
        let s = &self.lens.projection;
        p[0] >= 0.0 && p[1] >= 0.0 && p[0] < f64::from(s.width) && p[1] < f64::from(s.height)
    }
}
