//! Polygons onto planes.

use serrata_frame::Plane;
use serrata_words::Ring;

/// Sets a value where a pixel's centre lies within the rings. Rings are in frame pixels; a plane pixel spans `step`.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, clippy::cast_precision_loss)] // pixels
pub(crate) fn fill(plane: &mut Plane, rings: &[Ring], step: f64, value: f32) {
    let (w, h) = (plane.width, plane.height);
    for ring in rings {
        for y in 0..h {
            let at = (y as f64 + 0.5) * step;
            let mut cuts: Vec<f64> = (0..ring.len())
                .filter_map(|i| {
                    let (a, b) = (ring[i], ring[(i + 1) % ring.len()]);
                    ((a[1] > at) != (b[1] > at))
                        .then(|| (a[0] + (at - a[1]) / (b[1] - a[1]) * (b[0] - a[0])) / step)
                })
                .collect();
            cuts.sort_by(f64::total_cmp);
            for pair in cuts.chunks_exact(2) {
                let from = (pair[0] - 0.5).ceil().clamp(0.0, w as f64) as usize;
                let to = (pair[1] - 0.5).ceil().clamp(0.0, w as f64) as usize;
                plane.data[y * w + from..y * w + to.max(from)].fill(value);
            }
        }
    }
}
