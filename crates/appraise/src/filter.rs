//! Plain filters on working planes. All are symmetric under mirroring and run on one thread, in one order.

use serrata_frame::Plane;

/// Mean over a window of `2·radius + 1` pixels along both axes; at the border the window is cut.
pub(crate) fn box_mean(p: &Plane, radius: usize) -> Plane {
    if radius == 0 {
        return p.clone();
    }
    columns_mean(&rows_mean(p, radius), radius)
}

/// Near-Gaussian smoothing with the given standard deviation in pixels: three box means in a row.
///
/// Three boxes of odd width w have the variance (w² − 1)/4.
pub(crate) fn smooth(p: &Plane, sigma: f32) -> Plane {
    let radius = box_radius(sigma);
    if radius == 0 {
        return p.clone();
    }
    let once = box_mean(p, radius);
    let twice = box_mean(&once, radius);
    box_mean(&twice, radius)
}

/// Gaussian smoothing with kernels cut at three standard deviations, for widths at which boxes are too coarse. At the border the
/// border's value goes on.
pub(crate) fn gauss(p: &Plane, sigma: f32) -> Plane {
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // a small positive number
    let reach = (3.0 * sigma).ceil().max(1.0) as usize;
    let mut kernel: Vec<f32> = (0..=reach).map(|k| (-0.5 * (k as f32 / sigma).powi(2)).exp()).collect();
    let sum = kernel[0] + 2.0 * kernel[1..].iter().sum::<f32>();
    for k in &mut kernel {
        *k /= sum;
    }
    let (w, h) = (p.width, p.height);
    let mut across = Plane::new(w, h, 0.0);
    let mut padded = vec![0.0f32; w + 2 * reach];
    for (row, to) in p.data.chunks_exact(w.max(1)).zip(across.data.chunks_exact_mut(w.max(1))) {
        padded[..reach].fill(row[0]);
        padded[reach..reach + w].copy_from_slice(row);
        padded[reach + w..].fill(row[w - 1]);
        weigh(to, &padded[reach..reach + w], kernel[0]);
        for (k, weight) in kernel.iter().enumerate().skip(1) {
            weigh(to, &padded[reach - k..reach - k + w], *weight);
            weigh(to, &padded[reach + k..reach + k + w], *weight);
        }
    }
    let mut out = Plane::new(w, h, 0.0);
    for (y, to) in out.data.chunks_exact_mut(w.max(1)).enumerate() {
        weigh(to, across.row(y), kernel[0]);
        for (k, weight) in kernel.iter().enumerate().skip(1) {
            weigh(to, across.row(y.saturating_sub(k)), *weight);
            weigh(to, across.row((y + k).min(h - 1)), *weight);
        }
    }
    out
}

fn weigh(to: &mut [f32], from: &[f32], weight: f32) {
    for (t, f) in to.iter_mut().zip(from) {
        *t += weight * f;
    }
}

/// Radius of the boxes whose threefold mean is closest to a Gaussian of `sigma`.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // a small positive number
fn box_radius(sigma: f32) -> usize {
    let width = (4.0 * sigma * sigma + 1.0).sqrt();
    ((width - 1.0) / 2.0).round().max(0.0) as usize
}

/// Mean along rows with the window cut at the border.
pub(crate) fn rows_mean(p: &Plane, radius: usize) -> Plane {
    let mut out = Plane::new(p.width, p.height, 0.0);
    for y in 0..p.height {
        let (row, to) = (p.row(y), &mut out.data[y * p.width..(y + 1) * p.width]);
        let (n, mut sum) = (row.len(), 0.0f64);
        let scale: f64 = 1.0 / (2 * radius + 1) as f64;
        sum += row.iter().take(radius).map(|v| f64::from(*v)).sum::<f64>();
        let full = radius + 1..n.saturating_sub(radius);
        for x in 0..full.start.min(n) {
            if x + radius < n {
                sum += f64::from(row[x + radius]);
            }
            let (low, high) = (x.saturating_sub(radius), (x + radius + 1).min(n));
            if x > radius {
                sum -= f64::from(row[x - radius - 1]);
            }
            to[x] = narrow(sum / (high - low) as f64);
        }
        if full.start < full.end {
            let (gone, come) = (&row[..full.len()], &row[full.start + radius..]);
            for ((o, g), c) in to[full.clone()].iter_mut().zip(gone).zip(come) {
                sum += f64::from(*c) - f64::from(*g);
                *o = narrow(sum * scale);
            }
        }
        for x in full.end.max(full.start).min(n)..n {
            if x > radius {
                sum -= f64::from(row[x - radius - 1]);
            }
            to[x] = narrow(sum / (n - x.saturating_sub(radius)) as f64);
        }
    }
    out
}

/// Mean along columns with the window cut at the border.
pub(crate) fn columns_mean(p: &Plane, radius: usize) -> Plane {
    let (w, h) = (p.width, p.height);
    let mut out = Plane::new(w, h, 0.0);
    let mut sums = vec![0.0f64; w];
    let mut count = 0usize;
    for y in 0..radius.min(h) {
        add(&mut sums, p.row(y), 1.0);
        count += 1;
    }
    for y in 0..h {
        if y + radius < h {
            add(&mut sums, p.row(y + radius), 1.0);
            count += 1;
        }
        if y > radius {
            add(&mut sums, p.row(y - radius - 1), -1.0);
            count -= 1;
        }
        let scale = 1.0 / count as f64;
        for (o, s) in out.data[y * w..(y + 1) * w].iter_mut().zip(&sums) {
            *o = narrow(s * scale);
        }
    }
    out
}

fn add(sums: &mut [f64], row: &[f32], sign: f64) {
    for (s, v) in sums.iter_mut().zip(row) {
        *s += sign * f64::from(*v);
    }
}

#[allow(clippy::cast_possible_truncation)] // rounding to f32 is meant
fn narrow(v: f64) -> f32 {
    v as f32
}

/// The value below which `share` of the given values lie; 0 of nothing.
pub(crate) fn percentile(values: &mut [f32], share: f64) -> f32 {
    if values.is_empty() {
        return 0.0;
    }
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // an index
    let k = ((values.len() - 1) as f64 * share.clamp(0.0, 1.0)).round() as usize;
    *values.select_nth_unstable_by(k, f32::total_cmp).1
}

/// A plane of half the size, by means of four; an odd last row or column is left out. A single row or column stays.
pub(crate) fn half(p: &Plane) -> Plane {
    if p.width < 2 || p.height < 2 {
        return p.clone();
    }
    let (w, h) = (p.width / 2, p.height / 2);
    let mut out = Plane::new(w, h, 0.0);
    for (y, to) in out.data.chunks_exact_mut(w).enumerate() {
        for ((o, a), b) in
            to.iter_mut().zip(p.row(2 * y).chunks_exact(2)).zip(p.row(2 * y + 1).chunks_exact(2))
        {
            *o = 0.25 * (a[0] + a[1] + b[0] + b[1]);
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn plain_mean(p: &Plane, radius: usize) -> Plane {
        Plane::from_fn(p.width, p.height, |x, y| {
            let (mut sum, mut n) = (0.0, 0.0);
            for j in y.saturating_sub(radius)..(y + radius + 1).min(p.height) {
                for i in x.saturating_sub(radius)..(x + radius + 1).min(p.width) {
                    sum += f64::from(p.at(i, j));
                    n += 1.0;
                }
            }
            (sum / n) as f32
        })
    }

    proptest! {
        #[test]
        fn the_running_mean_equals_the_plain_mean(w in 1usize..20, h in 1usize..20, r in 0usize..8, seed in any::<u32>()) {
            let p = Plane::from_fn(w, h, |x, y| ((x * 31 + y * 17) as u32).wrapping_mul(seed | 1) as f32 / u32::MAX as f32);
            let (a, b) = (box_mean(&p, r), plain_mean(&p, r));
            for (a, b) in a.data.iter().zip(&b.data) { prop_assert!((a - b).abs() < 1e-5); }
        }
    }

    #[test]
    fn percentiles_of_a_ladder() {
        let mut v: Vec<f32> = (0..101).map(|i| i as f32).collect();
        assert_eq!(percentile(&mut v, 0.25), 25.0);
        assert_eq!(percentile(&mut [], 0.5), 0.0);
    }
}
