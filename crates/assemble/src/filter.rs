//! Plain filters on planes and on fields of complex numbers. One thread, one order.

use serrata_frame::Plane;

/// Taps of a Gaussian with standard deviation `sigma` pixels, cut at 3 σ, that add up to 1.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, clippy::cast_precision_loss)] // a few taps
fn taps(sigma: f32) -> Vec<f32> {
    let r = (3.0 * sigma).ceil().max(1.0) as i32;
    let mut t: Vec<f32> = (-r..=r).map(|i| (-0.5 * (i as f32 / sigma).powi(2)).exp()).collect();
    let sum: f32 = t.iter().sum();
    t.iter_mut().for_each(|v| *v /= sum);
    t
}

/// Gaussian smoothing; beyond the border the nearest pixel counts.
pub(crate) fn gauss(p: &Plane, sigma: f32) -> Plane {
    let t = taps(sigma);
    let r = t.len() / 2;
    let (w, h) = (p.width, p.height);
    let mut rows = Plane::new(w, h, 0.0);
    let mut padded = vec![0f32; w + 2 * r];
    for y in 0..h {
        let row = p.row(y);
        padded[..r].fill(row[0]);
        padded[r..r + w].copy_from_slice(row);
        padded[r + w..].fill(row[w - 1]);
        let to = &mut rows.data[y * w..(y + 1) * w];
        for (k, t) in t.iter().enumerate() {
            for (o, v) in to.iter_mut().zip(&padded[k..k + w]) {
                *o += t * v;
            }
        }
    }
    let mut out = Plane::new(w, h, 0.0);
    for y in 0..h {
        let to = &mut out.data[y * w..(y + 1) * w];
        for (k, t) in t.iter().enumerate() {
            let from = (y + k).saturating_sub(r).min(h - 1);
            for (o, v) in to.iter_mut().zip(rows.row(from)) {
                *o += t * v;
            }
        }
    }
    out
}

/// Mean over a window of `2·radius + 1` pixels along both axes, twice; at the border the window is cut.
pub(crate) fn soft(p: &Plane, radius: usize) -> Plane {
    boxed(&boxed(p, radius), radius)
}

#[allow(clippy::cast_possible_truncation, clippy::cast_precision_loss)] // rounding to f32 is meant
fn boxed(p: &Plane, radius: usize) -> Plane {
    let (w, h) = (p.width, p.height);
    let mut rows = Plane::new(w, h, 0.0);
    for y in 0..h {
        let row = p.row(y);
        let mut sum: f64 = row.iter().take(radius).map(|v| f64::from(*v)).sum();
        for x in 0..w {
            if x + radius < w {
                sum += f64::from(row[x + radius]);
            }
            if x > radius {
                sum -= f64::from(row[x - radius - 1]);
            }
            let n = (x + radius + 1).min(w) - x.saturating_sub(radius);
            rows.data[y * w + x] = (sum / n as f64) as f32;
        }
    }
    let mut out = Plane::new(w, h, 0.0);
    let mut sums = vec![0f64; w];
    for y in 0..radius.min(h) {
        for (s, v) in sums.iter_mut().zip(rows.row(y)) {
            *s += f64::from(*v);
        }
    }
    for y in 0..h {
        if y + radius < h {
            for (s, v) in sums.iter_mut().zip(rows.row(y + radius)) {
                *s += f64::from(*v);
            }
        }
        if y > radius {
            for (s, v) in sums.iter_mut().zip(rows.row(y - radius - 1)) {
                *s -= f64::from(*v);
            }
        }
        let n = (y + radius + 1).min(h) - y.saturating_sub(radius);
        for (o, s) in out.data[y * w..(y + 1) * w].iter_mut().zip(&sums) {
            *o = (s / n as f64) as f32;
        }
    }
    out
}
