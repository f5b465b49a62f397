use serrata_words::Region;

/// Which small pixels lie in a region, holes taken out.
#[allow(clippy::cast_precision_loss, clippy::cast_possible_truncation, clippy::cast_sign_loss)] // pixels
#[must_use]
pub fn filled(region: &Region, w: usize, h: usize) -> Vec<bool> {
    let mut out = vec![false; w * h];
    for (rings, value) in [(&region.polygons, true), (&region.holes, false)] {
        for ring in rings {
            for y in 0..h {
                let at = y as f64 + 0.5;
                let mut cuts: Vec<f64> = (0..ring.len())
                    .filter_map(|i| {
                        let (a, b) = (ring[i], ring[(i + 1) % ring.len()]);
                        ((a[1] > at) != (b[1] > at))
                            .then(|| a[0] + (at - a[1]) / (b[1] - a[1]) * (b[0] - a[0]))
                    })
                    .collect();
                cuts.sort_by(f64::total_cmp);
                for pair in cuts.chunks_exact(2) {
                    let from = (pair[0] - 0.5).ceil().clamp(0.0, w as f64) as usize;
                    let to = (pair[1] - 0.5).ceil().clamp(0.0, w as f64) as usize;
                    out[y * w + from..y * w + to.max(from)].fill(value);
                }
            }
        }
    }
    out
}
