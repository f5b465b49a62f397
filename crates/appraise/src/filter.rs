//! Plain filters on working planes. All are symmetric under mirroring and run on one thread, in one order.

use crate::mask::Mask;
use serrata_frame::{Plane, with_avx2};

/// Mean over a window of `2·radius + 1` pixels along both axes; at the border the window is cut.
pub(crate) fn box_mean(p: &Plane, radius: usize) -> Plane {
    let mut out = p.clone();
    if radius > 0 {
        with_avx2!(box_in_place(&mut out, radius));
    }
    out
}

/// Near-Gaussian smoothing with the given standard deviation in pixels: three box means in a row.
///
/// Three boxes of odd width w have the variance (w² − 1)/4.
pub(crate) fn smooth(p: &Plane, sigma: f32) -> Plane {
    let radius = box_radius(sigma);
    let mut out = p.clone();
    if radius > 0 {
        for _ in 0..3 {
            with_avx2!(box_in_place(&mut out, radius));
        }
    }
    out
}

/// [`box_mean`] in place: means along the rows are kept for as many rows as a window has, so that all of it stays near the
/// processor.
#[allow(clippy::inline_always)] // see `with_avx2`
#[inline(always)]
fn box_in_place(p: &mut Plane, radius: usize) {
    let (w, h) = (p.width, p.height);
    // One row more than the window, or all rows.
    let slots = (2 * radius + 2).min(h);
    let mut rows = vec![0.0f32; slots * w];
    let mut sums = vec![0.0f64; w];
    let mut count = 0usize;
    // Where in `rows` the row that comes and the one that goes are kept.
    let (mut newest, mut oldest) = (0, 0);
    let after = |slot: usize| if slot + 1 < slots { slot + 1 } else { 0 };
    for low in 0..h + radius {
        let come = newest * w..(newest + 1) * w;
        if low < h {
            let to = &mut rows[come.clone()];
            row_mean(&p.data[low * w..(low + 1) * w], radius, to);
            newest = after(newest);
            count += 1;
            if low < radius {
                for (s, v) in sums.iter_mut().zip(to) {
                    *s += f64::from(*v);
                }
            }
        }
        let Some(y) = low.checked_sub(radius) else { continue };
        let gone = (y > radius).then(|| {
            let gone = oldest * w..(oldest + 1) * w;
            oldest = after(oldest);
            count -= 1;
            gone
        });
        let scale = 1.0 / count as f64;
        let out = p.data[y * w..(y + 1) * w].iter_mut().zip(&mut sums);
        match (low < h, gone) {
            (true, Some(gone)) => {
                for (((o, s), come), gone) in out.zip(&rows[come]).zip(&rows[gone]) {
                    *s = *s + f64::from(*come) - f64::from(*gone);
                    *o = narrow(*s * scale);
                }
            }
            (true, None) => {
                for ((o, s), come) in out.zip(&rows[come]) {
                    *s += f64::from(*come);
                    *o = narrow(*s * scale);
                }
            }
            (false, Some(gone)) => {
                for ((o, s), gone) in out.zip(&rows[gone]) {
                    *s -= f64::from(*gone);
                    *o = narrow(*s * scale);
                }
            }
            (false, None) => {
                for (o, s) in out {
                    *o = narrow(*s * scale);
                }
            }
        }
    }
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

/// Bright detail narrower than a square of `2·reach + 1` pixels taken off (grey-scale opening); at the border the square is cut.
pub(crate) fn opened(p: &Plane, reach: usize) -> Plane {
    let low = over_squares(p, reach, f32::min);
    over_squares(&low, reach, f32::max)
}

/// The least or the greatest value in a square about each pixel.
fn over_squares(p: &Plane, reach: usize, of: impl Fn(f32, f32) -> f32) -> Plane {
    let (w, h) = (p.width, p.height);
    let across = Plane::from_fn(w, h, |x, y| {
        let row = &p.row(y)[x.saturating_sub(reach)..(x + reach + 1).min(w)];
        row.iter().copied().fold(p.at(x, y), &of)
    });
    Plane::from_fn(w, h, |x, y| {
        let rows = y.saturating_sub(reach)..(y + reach + 1).min(h);
        rows.map(|j| across.at(x, j)).fold(across.at(x, y), &of)
    })
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
    with_avx2!(rows_mean_to(p, radius, &mut out));
    out
}

#[allow(clippy::inline_always)] // see `with_avx2`
#[inline(always)]
fn rows_mean_to(p: &Plane, radius: usize, out: &mut Plane) {
    let w = p.width.max(1);
    for (row, to) in p.data.chunks_exact(w).zip(out.data.chunks_exact_mut(w)) {
        row_mean(row, radius, to);
    }
}

/// Means of one row.
#[allow(clippy::inline_always)] // see `with_avx2`
#[inline(always)]
fn row_mean(row: &[f32], radius: usize, to: &mut [f32]) {
    let n = row.len();
    if n <= 2 * radius {
        for (x, o) in to.iter_mut().enumerate() {
            let part = &row[x.saturating_sub(radius)..(x + radius + 1).min(n)];
            *o = narrow(part.iter().map(|v| f64::from(*v)).sum::<f64>() / part.len() as f64);
        }
        return;
    }
    // Short windows are added afresh, many at a time; long ones as running sums.
    let whole = 2 * radius + 1;
    let scale: f64 = 1.0 / whole as f64;
    let inner = &mut to[radius..n - radius];
    match radius {
        1 => windows::<3>(row, scale, inner),
        2 => windows::<5>(row, scale, inner),
        3 => windows::<7>(row, scale, inner),
        4 => windows::<9>(row, scale, inner),
        _ => {
            let (first, rest) = row.split_at(whole);
            let mut sum = first.iter().map(|v| f64::from(*v)).sum::<f64>();
            inner[0] = narrow(sum * scale);
            for ((o, come), gone) in inner[1..].iter_mut().zip(rest).zip(row) {
                sum += f64::from(*come) - f64::from(*gone);
                *o = narrow(sum * scale);
            }
        }
    }
    // Windows that are cut at one end or the other.
    let (mut left, mut right) = (0.0f64, 0.0f64);
    for x in 0..2 * radius {
        left += f64::from(row[x]);
        right += f64::from(row[n - 1 - x]);
        if x >= radius {
            let count = (x + 1) as f64;
            to[x - radius] = narrow(left / count);
            to[n - 1 + radius - x] = narrow(right / count);
        }
    }
}

#[allow(clippy::inline_always)] // see `with_avx2`
#[inline(always)]
fn windows<const N: usize>(row: &[f32], scale: f64, to: &mut [f32]) {
    for (o, window) in to.iter_mut().zip(row.windows(N)) {
        let mut sum = f64::from(window[0]);
        for v in &window[1..N] {
            sum += f64::from(*v);
        }
        *o = narrow(sum * scale);
    }
}

/// Mean along columns with the window cut at the border.
pub(crate) fn columns_mean(p: &Plane, radius: usize) -> Plane {
    let mut out = Plane::new(p.width, p.height, 0.0);
    with_avx2!(columns_mean_to(p, radius, &mut out));
    out
}

#[allow(clippy::inline_always)] // see `with_avx2`
#[inline(always)]
fn columns_mean_to(p: &Plane, radius: usize, out: &mut Plane) {
    let (w, h) = (p.width, p.height);
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
}

#[allow(clippy::inline_always)] // see `with_avx2`
#[inline(always)]
fn add(sums: &mut [f64], row: &[f32], sign: f64) {
    for (s, v) in sums.iter_mut().zip(row) {
        *s += sign * f64::from(*v);
    }
}

#[allow(clippy::cast_possible_truncation, clippy::inline_always)] // rounding to f32 is meant; see `with_avx2`
#[inline(always)]
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
    if values.len() < MANY {
        return *values.select_nth_unstable_by(k, f32::total_cmp).1;
    }
    among(|| values.iter().copied(), k)
}

/// The same of the values where a mask is set, told from every other row: light is much alike from row to row.
pub(crate) fn percentile_where(p: &Plane, mask: &Mask, share: f64) -> f32 {
    let w = p.width.max(1);
    let count = |step| mask.data.chunks(w).step_by(step).flatten().filter(|m| **m).count();
    // What lies in the rows between alone is not nothing.
    let (n, step) = match count(2) {
        0 => (count(1), 1),
        n => (n, 2),
    };
    if n == 0 {
        return 0.0;
    }
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // an index
    let k = ((n - 1) as f64 * share.clamp(0.0, 1.0)).round() as usize;
    let rows = || p.data.chunks(w).zip(mask.data.chunks(w)).step_by(step);
    among(|| rows().flat_map(|(v, m)| v.iter().zip(m).filter(|(_, m)| **m).map(|(v, _)| *v)), k)
}

/// The value that would be at place `k` if many were set in order.
fn among<I: Iterator<Item = f32>>(values: impl Fn() -> I, k: usize) -> f32 {
    // Count them by their leading bits; then only those with the right ones have to be set in order. Neighbours are often
    // alike: two counts by turns do not wait for one another.
    let mut counts = vec![[0u32; 2]; 1 << LEADING];
    for (i, v) in values().enumerate() {
        counts[leading(v)][i & 1] += 1;
    }
    let mut before = 0usize;
    for (bits, [a, b]) in counts.into_iter().enumerate() {
        let here = (a + b) as usize;
        if before + here > k {
            let mut some = Vec::with_capacity(here);
            some.extend(values().filter(|v| leading(*v) == bits));
            return *some.select_nth_unstable_by(k - before, f32::total_cmp).1;
        }
        before += here;
    }
    0.0
}

/// Sum of what a function says of each pair of values.
pub(crate) fn total(a: &[f32], b: &[f32], of: impl Fn(f32, f32) -> f32) -> f64 {
    with_avx2!(total_of(a, b, of))
}

#[allow(clippy::inline_always)] // see `with_avx2`
#[inline(always)]
fn total_of(a: &[f32], b: &[f32], of: impl Fn(f32, f32) -> f32) -> f64 {
    // Eight sums side by side, so that none waits for the one before.
    let mut sums = [0.0f64; 8];
    let (a, b) = (a.chunks(8), b.chunks(8));
    for (a, b) in a.zip(b) {
        for ((s, a), b) in sums.iter_mut().zip(a).zip(b) {
            *s += f64::from(of(*a, *b));
        }
    }
    sums.iter().sum()
}

/// The middle ones of nine values each, by a network of 19 exchanges (Smith, Implementing median filters in XC4000E FPGAs, XCELL
/// 23, 1996, as passed on by Devillard 1998; from memory).
pub(crate) fn medians9(of: [&[f32]; 9], to: &mut [f32]) {
    with_avx2!(medians9_to(of, to));
}

#[allow(clippy::inline_always)] // see `with_avx2`
#[inline(always)]
fn medians9_to(of: [&[f32]; 9], to: &mut [f32]) {
    // Written out, for a loop over the pairs is not unrolled.
    macro_rules! exchange {
        ($v:ident: $($a:literal $b:literal),*) => {
            $(($v[$a], $v[$b]) = if $v[$b] < $v[$a] { ($v[$b], $v[$a]) } else { ($v[$a], $v[$b]) };)*
        };
    }
    let n = to.len();
    let of = of.map(|o| &o[..n]);
    for (i, o) in to.iter_mut().enumerate() {
        let mut v = of.map(|o| o[i]);
        exchange!(v: 1 2, 4 5, 7 8, 0 1, 3 4, 6 7, 1 2, 4 5, 7 8, 0 3, 5 8, 4 7, 3 6, 1 4, 2 5, 4 7, 4 2, 6 4, 4 2);
        *o = v[4];
    }
}

/// From how many values on they are counted by their leading bits (judgement). Measured alone on a busy machine, least of five
/// rounds: counting takes 0.9 to 1.6 times the time of selection for 2^13 to 2^16 values, 0.81 to 0.88 for 2^17.
const MANY: usize = 1 << 14;

/// How many bits are counted by: the sign, the exponent and three more.
const LEADING: u32 = 12;

/// Leading bits of a value, in the order of values.
fn leading(v: f32) -> usize {
    let bits = v.to_bits();
    let flip = if bits >> 31 == 1 { u32::MAX } else { 1 << 31 };
    ((bits ^ flip) >> (32 - LEADING)) as usize
}

/// Natural logarithm of many values at once, to the last bit of f32 or next to it; of what is no positive normal number it has
/// no meaning. By the series of the area tangent about the nearest power of two.
pub(crate) fn ln_all(values: &mut [f32]) {
    with_avx2!(ln_each(values));
}

#[allow(clippy::inline_always)] // see `with_avx2`
#[inline(always)]
fn ln_each(values: &mut [f32]) {
    /// Bits of the root of a half.
    const ROOT: i32 = 0x3f35_04f3;
    for v in values {
        let bits = v.to_bits().cast_signed();
        let power = bits.wrapping_sub(ROOT) >> 23;
        let m = f64::from(f32::from_bits(bits.wrapping_sub(power << 23).cast_unsigned()));
        // |t| ≤ 0.172, so that the first term left out is below 10⁻¹⁰ of the sum.
        let t = (m - 1.0) / (m + 1.0);
        let q = t * t;
        let series = 1.0 / 7.0 + q * (1.0 / 9.0 + q * (1.0 / 11.0 + q * (1.0 / 13.0)));
        let series = 1.0 + q * (1.0 / 3.0 + q * (1.0 / 5.0 + q * series));
        *v = narrow(f64::from(power) * std::f64::consts::LN_2 + 2.0 * t * series);
    }
}

/// A plane shrunk by a factor of 1 and more: each pixel is the mean over its part of the old ones, pixels cut by a border counting by
/// their share; what does not fill a last pixel is left out.
pub(crate) fn shrunk(p: &Plane, factor: f64) -> Plane {
    // A side that is the factor's multiple but for rounding keeps its last pixel.
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // pixels of a picture
    let side = |n: usize| ((n as f64 / factor + 1e-6) as usize).max(1);
    let (width, height) = (side(p.width), side(p.height));
    // Down first, where whole rows are added; then along.
    let mut rows = Plane::new(p.width, height, 0.0);
    for (to, parts) in rows.data.chunks_exact_mut(p.width.max(1)).zip(parts(p.height, height, factor)) {
        for (y, share) in parts {
            to.iter_mut().zip(p.row(y)).for_each(|(o, v)| *o += share * v);
        }
    }
    let columns: Vec<Vec<(usize, f32)>> = parts(p.width, width, factor).collect();
    Plane::from_fn(width, height, |x, y| {
        let row = rows.row(y);
        columns[x].iter().map(|(i, share)| share * row[*i]).sum()
    })
}

/// Of which of `from` pixels each of `to` pixels is made, `step` of them, with their shares, which add up to 1.
fn parts(from: usize, to: usize, step: f64) -> impl Iterator<Item = Vec<(usize, f32)>> {
    (0..to).map(move |k| {
        let (a, b) = (k as f64 * step, ((k + 1) as f64 * step).min(from as f64));
        let share = |i: usize| ((b.min((i + 1) as f64) - a.max(i as f64)) / (b - a)).max(0.0);
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // pixels of a picture
        let (first, last) = (a as usize, (b.ceil() as usize).min(from));
        #[allow(clippy::cast_possible_truncation)] // rounding to f32 is meant
        (first..last).map(|i| (i, share(i) as f32)).collect()
    })
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

    #[test]
    fn opening_takes_narrow_bright_strips_off_and_leaves_wide_and_dark_ones() {
        let strip =
            |wide: usize| Plane::from_fn(40, 20, |x, _| if (16..16 + wide).contains(&x) { 1.0 } else { 0.2 });
        let row = |p: &Plane, reach| opened(p, reach).row(10).to_vec();
        assert!(row(&strip(2), 1).iter().all(|v| *v == 0.2));
        assert_eq!(row(&strip(3), 1), strip(3).row(10));
        let mut dark = strip(2);
        dark.data.iter_mut().for_each(|v| *v = 1.0 - *v);
        assert_eq!(row(&dark, 2), dark.row(10));
        assert_eq!(opened(&strip(2), 0), strip(2));
        // The same down the picture.
        let across = |wide: usize| Plane::from_fn(20, 40, |x, y| strip(wide).at(y, x));
        assert!(opened(&across(2), 1).data.iter().all(|v| *v == 0.2));
        assert_eq!(opened(&across(3), 1), across(3));
    }

    proptest! {
        #[test]
        fn shrinking_by_whole_factors_is_the_mean_of_boxes_and_keeps_an_even_plane_even(w in 1usize..40, h in 1usize..40, k in 1usize..9, part in 1.0f64..9.0, seed in any::<u32>()) {
            let p = Plane::from_fn(w, h, |x, y| (seed.wrapping_mul((x * 71 + y * 13 + 1) as u32) >> 8) as f32 / 16_777_216.0);
            let k = k.min(w).min(h);
            let got = shrunk(&p, k as f64);
            prop_assert_eq!((got.width, got.height), (w / k, h / k));
            for y in 0..h / k { for x in 0..w / k {
                let boxed = (0..k).flat_map(|i| (0..k).map(move |j| (x * k + i, y * k + j)));
                let plain = boxed.map(|(i, j)| p.at(i, j)).sum::<f32>() / (k * k) as f32;
                prop_assert!((got.at(x, y) - plain).abs() < 1e-5);
            } }
            let even = shrunk(&Plane::new(w, h, 0.37), part);
            prop_assert!(even.data.iter().all(|v| (v - 0.37).abs() < 1e-5), "{:?}", even.data);
        }

        #[test]
        fn the_running_mean_equals_the_plain_mean(w in 1usize..20, h in 1usize..20, r in 0usize..8, seed in any::<u32>()) {
            let p = Plane::from_fn(w, h, |x, y| ((x * 31 + y * 17) as u32).wrapping_mul(seed | 1) as f32 / u32::MAX as f32);
            let (a, b) = (box_mean(&p, r), plain_mean(&p, r));
            for (a, b) in a.data.iter().zip(&b.data) { prop_assert!((a - b).abs() < 1e-5); }
        }

        #[test]
        fn the_running_mean_of_columns_equals_the_plain_one(w in 1usize..20, h in 1usize..20, r in 0usize..12, seed in any::<u32>()) {
            let p = Plane::from_fn(w, h, |x, y| ((x * 31 + y * 17) as u32).wrapping_mul(seed | 1) as f32 / u32::MAX as f32);
            let got = columns_mean(&p, r);
            for y in 0..h { for x in 0..w {
                let rows = y.saturating_sub(r)..(y + r + 1).min(h);
                let want = rows.clone().map(|j| f64::from(p.at(x, j))).sum::<f64>() / rows.len() as f64;
                prop_assert!((f64::from(got.at(x, y)) - want).abs() < 1e-6);
            } }
        }
    }

    /// Values from 0 to 1 without an order.
    fn scattered(n: usize) -> Vec<f32> {
        (0..n as u32).map(|i| (i.wrapping_mul(2_654_435_761) >> 8) as f32 / 16_777_216.0).collect()
    }

    fn bits(values: &[f32]) -> Vec<u32> {
        values.iter().map(|v| v.to_bits()).collect()
    }

    #[test]
    fn filters_give_the_same_bits_with_avx2_and_without() {
        let p = Plane { width: 61, height: 43, data: scattered(61 * 43) };
        for radius in [1, 2, 3, 4, 7, 40] {
            let [mut plain, mut fast] = [p.clone(), p.clone()];
            box_in_place(&mut plain, radius);
            with_avx2!(box_in_place(&mut fast, radius));
            assert_eq!(bits(&plain.data), bits(&fast.data), "{radius}");
            columns_mean_to(&p, radius, &mut plain);
            with_avx2!(columns_mean_to(&p, radius, &mut fast));
            assert_eq!(bits(&plain.data), bits(&fast.data), "{radius}");
        }
        let [mut plain, mut fast]: [Vec<f32>; 2] =
            std::array::from_fn(|_| p.data.iter().map(|v| v + 0.002).collect());
        ln_each(&mut plain);
        with_avx2!(ln_each(&mut fast));
        assert_eq!(bits(&plain), bits(&fast));
        let of = |a: f32, b: f32| a * b + 0.1;
        assert_eq!(
            total_of(&plain, &p.data, of).to_bits(),
            with_avx2!(total_of(&plain, &p.data, of)).to_bits()
        );
    }

    #[test]
    fn the_network_finds_the_middle_of_any_nine_zeros_and_ones() {
        // A network that does so finds it of any values.
        for bits in 0..512u32 {
            let v: [[f32; 1]; 9] = std::array::from_fn(|k| [f32::from(u8::from(bits >> k & 1 == 1))]);
            let mut middle = [0.5];
            medians9(v.each_ref().map(|v| &v[..]), &mut middle);
            assert_eq!(middle[0], f32::from(u8::from(bits.count_ones() > 4)), "{bits:b}");
        }
    }

    #[test]
    fn many_values_have_the_percentiles_of_the_plain_way() {
        let mut v: Vec<f32> = scattered(3 * MANY).iter().map(|v| v - 0.3).collect();
        // Both zeros, of which the negative one comes first, and what comes before and after all numbers.
        for (i, odd) in [0.0, -0.0, f32::NAN, -f32::NAN].into_iter().enumerate() {
            v.iter_mut().skip(i).step_by(21).for_each(|v| *v = odd);
        }
        // Every other value of the first of two rows counts.
        let (n, first) = (v.len(), v.clone());
        let mask = Mask::from_fn(n, 2, |x, _| x % 2 == 0);
        let two = Plane::from_fn(n, 2, |x, y| if y == 0 { first[x] } else { 9.0 });
        let sorted = |mut v: Vec<f32>| {
            v.sort_by(f32::total_cmp);
            v
        };
        let all = sorted(v.clone());
        let some = sorted(v.iter().copied().step_by(2).collect());
        let at = |sorted: &[f32], share: f64| {
            sorted[((sorted.len() - 1) as f64 * share).round() as usize].to_bits()
        };
        for of in [&all, &some] {
            assert_eq!((at(of, 0.31), at(of, 0.36)), ((-0.0f32).to_bits(), 0), "both zeros are met below");
        }
        for share in [0.0, 0.02, 0.2, 0.31, 0.36, 0.5, 0.94, 0.98, 1.0] {
            assert_eq!(percentile_where(&two, &mask, share).to_bits(), at(&some, share), "{share}");
            assert_eq!(percentile(&mut v.clone(), share).to_bits(), at(&all, share), "{share}");
        }
    }

    #[test]
    fn logarithms_are_right_to_the_last_bit_or_next_to_it() {
        // From 0.002 to 22, the working planes' values with what is added to them, and the numbers next to 1.
        let (low, high) = (0.002f32.to_bits(), 22.0f32.to_bits());
        let next_to_one = 1.0f32.to_bits() - 9..1.0f32.to_bits() + 9;
        let many: Vec<f32> = (low..=high).step_by(311).chain(next_to_one).map(f32::from_bits).collect();
        let mut ln = many.clone();
        ln_all(&mut ln);
        for (v, l) in many.iter().zip(ln) {
            let want = f64::from(*v).ln();
            assert!((f64::from(l) - want).abs() <= 6.1e-8 * want.abs(), "{v}: {l} for {want}");
        }
    }

    #[test]
    fn percentiles_of_a_ladder() {
        let mut v: Vec<f32> = (0..101).map(|i| i as f32).collect();
        assert_eq!(percentile(&mut v, 0.25), 25.0);
        assert_eq!(percentile(&mut [], 0.5), 0.0);
    }
}
