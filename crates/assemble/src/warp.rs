//! One frame's field drawn in another's pixels.

use crate::field::{C, Field};
use crate::pose::Pose;
use serrata_words::Point;

/// Field pixels between the nodes of a map.
const CELL: usize = 8;

/// Where the pixels of field A lie in frame B (frame pixels), exact at nodes and straight between them.
pub(crate) struct Map {
    cell: f64,
    across: usize,
    nodes: Vec<Point>,
}

impl Map {
    /// From frame A's field to frame B.
    #[allow(clippy::cast_precision_loss)] // pixels
    pub fn new(a: &Pose, field: &Field, b: &Pose) -> Self {
        let (across, down) = (field.width.div_ceil(CELL) + 1, field.height.div_ceil(CELL) + 1);
        let nodes = (0..across * down)
            .map(|i| {
                let (x, y) =
                    ((i % across * CELL) as f64 * field.step, (i / across * CELL) as f64 * field.step);
                b.to_frame(a.to_sphere([x, y]))
            })
            .collect();
        Self::of_nodes(across, nodes, CELL)
    }

    /// From nodes that lie `cell` pixels apart, row by row.
    #[allow(clippy::cast_precision_loss)] // pixels
    pub const fn of_nodes(across: usize, nodes: Vec<Point>, cell: usize) -> Self {
        Self { cell: cell as f64, across, nodes }
    }

    /// The place in frame B and twice the angle by which B's directions are turned against A's (as cosine and sine).
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, clippy::cast_precision_loss)] // pixels
    pub fn at(&self, x: f64, y: f64) -> (Point, C) {
        let down = self.nodes.len() / self.across;
        let (fx, fy) = (x / self.cell, y / self.cell);
        let i = (fx.max(0.0) as usize).min(self.across - 2);
        let j = (fy.max(0.0) as usize).min(down - 2);
        let (fx, fy) = (fx - i as f64, fy - j as f64);
        let k = j * self.across + i;
        let (p, q, r, s) =
            (self.nodes[k], self.nodes[k + 1], self.nodes[k + self.across], self.nodes[k + self.across + 1]);
        let mix = |c: usize| {
            let (top, low) = (p[c] + (q[c] - p[c]) * fx, r[c] + (s[c] - r[c]) * fx);
            (top + (low - top) * fy, q[c] - p[c] + s[c] - r[c], r[c] - p[c] + s[c] - q[c])
        };
        let ((x, xx, xy), (y, yx, yy)) = (mix(0), mix(1));
        let turn = C::new((xx + yy) as f32, (yx - xy) as f32);
        let n = turn.norm_sqr().max(1e-12);
        ([x, y], turn * turn / n)
    }

    /// Field B drawn in the pixels of field A.
    #[allow(clippy::cast_precision_loss)] // pixels
    pub fn draw(&self, a: &Field, b: &Field) -> Field {
        let mut out =
            Field { width: a.width, height: a.height, step: a.step, data: Vec::new(), seen: Vec::new() };
        out.data.reserve(a.data.len());
        out.seen.reserve(a.data.len());
        for y in 0..a.height {
            for x in 0..a.width {
                let (p, turn) = self.at(x as f64 + 0.5, y as f64 + 0.5);
                let (v, seen) = b.at(p[0] / b.step, p[1] / b.step);
                out.data.push(if seen { v * turn.conj() } else { C::default() });
                out.seen.push(seen);
            }
        }
        out
    }
}
