//! A run as planes in the reference's pixels.

use crate::Shot;
use crate::align::Aligned;
use rayon::prelude::*;
use serrata_assemble::Pose;
use serrata_frame::Plane;

/// Pixels between the nodes of a map.
const CELL: usize = 16;

/// One plane a shot that counts, in the order of time; a pixel beyond the shot's edge is NaN.
pub(crate) fn stack(shots: &[&Shot], which: &[usize], aligned: &Aligned) -> Vec<Plane> {
    let of = shots[aligned.reference];
    let own = Pose::reference(of.lens);
    which
        .par_iter()
        .map(|i| match &aligned.poses[*i] {
            Some(pose) if *i != aligned.reference => drawn(&shots[*i].plane, pose, &own, of.size()),
            _ => shots[*i].plane.clone(),
        })
        .collect()
}

#[allow(clippy::cast_precision_loss)] // pixels
fn drawn(plane: &Plane, pose: &Pose, own: &Pose, [w, h]: [usize; 2]) -> Plane {
    let (across, down) = (w.div_ceil(CELL) + 1, h.div_ceil(CELL) + 1);
    let nodes: Vec<[f64; 2]> = (0..across * down)
        .map(|k| pose.to_frame(own.to_sphere([(k % across * CELL) as f64, (k / across * CELL) as f64])))
        .collect();
    Plane::from_fn(w, h, |x, y| {
        let (i, j) = (x / CELL, y / CELL);
        let (fx, fy) = (((x % CELL) as f64 + 0.5) / CELL as f64, ((y % CELL) as f64 + 0.5) / CELL as f64);
        let n = j * across + i;
        let mix = |c: usize| {
            let top = nodes[n][c] + (nodes[n + 1][c] - nodes[n][c]) * fx;
            let low = nodes[n + across][c] + (nodes[n + across + 1][c] - nodes[n + across][c]) * fx;
            top + (low - top) * fy
        };
        sample(plane, mix(0) - 0.5, mix(1) - 0.5)
    })
}

#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, clippy::cast_precision_loss)] // pixels
fn sample(p: &Plane, x: f64, y: f64) -> f32 {
    if x < 0.0 || y < 0.0 || x >= (p.width - 1) as f64 || y >= (p.height - 1) as f64 {
        return f32::NAN;
    }
    let (i, j) = (x as usize, y as usize);
    let (fx, fy) = ((x - i as f64) as f32, (y - j as f64) as f32);
    let (top, low) = (
        p.at(i, j) + (p.at(i + 1, j) - p.at(i, j)) * fx,
        p.at(i, j + 1) + (p.at(i + 1, j + 1) - p.at(i, j + 1)) * fx,
    );
    top + (low - top) * fy
}

/// Mean over squares of the given radius, what is NaN left out.
#[allow(clippy::cast_precision_loss)] // pixels
pub(crate) fn boxed(p: &Plane, radius: usize, counts: impl Fn(usize) -> bool) -> Plane {
    let (w, h) = (p.width, p.height);
    let mut sums = vec![[0f64; 2]; (w + 1) * (h + 1)];
    for y in 0..h {
        let mut row = [0f64; 2];
        for x in 0..w {
            let v = p.at(x, y);
            if v.is_finite() && counts(y * w + x) {
                row = [row[0] + 1.0, row[1] + f64::from(v)];
            }
            let above = sums[y * (w + 1) + x + 1];
            sums[(y + 1) * (w + 1) + x + 1] = [above[0] + row[0], above[1] + row[1]];
        }
    }
    Plane::from_fn(w, h, |x, y| {
        let (x0, x1) = (x.saturating_sub(radius), (x + radius + 1).min(w));
        let (y0, y1) = (y.saturating_sub(radius), (y + radius + 1).min(h));
        let s = |k: usize| {
            let at = |x: usize, y: usize| sums[y * (w + 1) + x][k];
            at(x1, y1) - at(x0, y1) - at(x1, y0) + at(x0, y0)
        };
        #[allow(clippy::cast_possible_truncation)] // brightness
        if s(0) > 0.0 { (s(1) / s(0)) as f32 } else { f32::NAN }
    })
}
