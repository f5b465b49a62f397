//! Which pixels are arteries, veins and neither, told by when the dye comes; their curves.

use crate::stack::boxed;
use serrata_frame::Plane;

/// Kinds of pixels about the disc.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Class {
    Artery,
    Vein,
    /// No vessel that shows: choroid, capillaries.
    Ground,
}

/// Curves of brightness about the disc, in the order of time.
#[derive(Debug, Clone)]
pub(crate) struct Curves {
    pub seconds: Vec<f64>,
    /// Sum over the pixels of a class at each moment, and their number.
    sums: [Vec<f64>; 3],
    counts: [f64; 3],
    /// Whether arteries and veins come at two times.
    pub apart: bool,
}

/// Where the disc is in the reference, pixels: middle and radius.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Disc {
    pub at: [f64; 2],
    pub radius: f64,
}

impl Curves {
    /// Curves of a stack about the disc. None where no vessel shows there.
    #[allow(clippy::cast_precision_loss, clippy::cast_possible_truncation, clippy::cast_sign_loss)] // pixels
    pub fn of(planes: &[Plane], seconds: &[f64], disc: Disc) -> Option<Self> {
        let first = planes.first()?;
        let (w, h) = (first.width, first.height);
        let bright = brightest(planes, seconds)?;
        let radius = disc.radius.max(5.0);
        let wide = (1.4 * radius).ceil() as usize;
        let ring = boxed(&bright, wide, |_| true);
        let fine = boxed(&bright, 1, |_| true);
        let away =
            |i: usize| ((i % w) as f64 + 0.5 - disc.at[0]).hypot((i / w) as f64 + 0.5 - disc.at[1]) / radius;
        let zone: Vec<usize> = (0..w * h).filter(|i| (1.2..3.0).contains(&away(*i))).collect();
        let stands = |i: usize| fine.data[i] - ring.data[i];
        let mut heights: Vec<f32> = zone.iter().map(|i| stands(*i)).filter(|v| v.is_finite()).collect();
        if heights.len() < 200 {
            return None;
        }
        heights.sort_by(f32::total_cmp);
        let at = |q: f64| heights[((heights.len() - 1) as f64 * q) as usize];
        let (vessel, plain) = (at(0.90).max(at(0.5) + 2.0 * (at(0.5) - at(0.16))), at(0.5));
        let vessels: Vec<usize> = zone.iter().copied().filter(|i| stands(*i) > vessel).collect();
        let is_vessel = |i: usize| stands(i) > plain;
        let planes = &evened(planes, &vessels, &zone, seconds);
        let softs: Vec<(Plane, Plane)> =
            planes.iter().map(|p| (boxed(p, 1, |_| true), boxed(p, wide, |i| !is_vessel(i)))).collect();
        let height = |i: usize| -> Vec<f64> {
            softs.iter().map(|(fine, ring)| f64::from(fine.data[i] - ring.data[i])).collect()
        };
        let arrivals: Vec<(usize, f64)> =
            vessels.iter().filter_map(|i| Some((*i, arrival(&height(*i), seconds, 0.5)?))).collect();
        if arrivals.len() < 40 {
            return None;
        }
        let (split, apart) = two(&arrivals.iter().map(|a| a.1).collect::<Vec<f64>>());
        let mut veins: Vec<(usize, f64)> = arrivals.iter().copied().filter(|a| a.1 > split).collect();
        veins.sort_by(|a, b| a.1.total_cmp(&b.1));
        // Small pictures mix vessels that lie side by side: the earliest third of the arteries and the latest
        // third of the veins are the purest.
        let pure = veins.len() * 2 / 3;
        let mut early: Vec<(usize, f64)> = arrivals.iter().copied().filter(|a| a.1 <= split).collect();
        early.sort_by(|a, b| a.1.total_cmp(&b.1));
        early.truncate(early.len() / 3);
        let mut out = Self {
            seconds: seconds.to_vec(),
            sums: std::array::from_fn(|_| vec![0.0; seconds.len()]),
            counts: [0.0; 3],
            apart,
        };
        let mut add = |class: Class, i: usize| {
            let c = class as usize;
            let curve: Vec<f64> = softs.iter().map(|(fine, _)| f64::from(fine.data[i])).collect();
            if curve.iter().all(|v| v.is_finite()) {
                out.counts[c] += 1.0;
                out.sums[c].iter_mut().zip(curve).for_each(|(sum, v)| *sum += v);
            }
        };
        early.iter().for_each(|(i, _)| add(Class::Artery, *i));
        veins[pure..].iter().for_each(|(i, _)| add(Class::Vein, *i));
        zone.iter().copied().filter(|i| stands(*i) < plain).for_each(|i| add(Class::Ground, i));
        Some(out)
    }

    /// The choroid's own curve in ICG, whose infrared light passes the pigment: of the ground between 1.2 and 6 disc radii from
    /// the disc the third of the blocks whose light begins to rise first, for the great choroidal vessels fill before the rest. None where
    /// fewer than twelve blocks do.
    #[allow(clippy::cast_precision_loss, clippy::cast_possible_truncation, clippy::cast_sign_loss)] // pixels
    pub fn choroid(planes: &[Plane], seconds: &[f64], disc: Disc) -> Option<Vec<[f64; 2]>> {
        let first = planes.first()?;
        let (w, h) = (first.width, first.height);
        let radius = disc.radius.max(5.0);
        let bright = brightest(planes, seconds)?;
        let wide = (1.4 * radius).ceil() as usize;
        let (fine, ring) = (boxed(&bright, 1, |_| true), boxed(&bright, wide, |_| true));
        let side = ((0.35 * radius) as usize).max(3);
        let mut blocks: Vec<(f64, Vec<f64>)> = Vec::new();
        for by in 0..h / side {
            for bx in 0..w / side {
                let (cx, cy) = ((bx as f64 + 0.5) * side as f64, (by as f64 + 0.5) * side as f64);
                let away = (cx - disc.at[0]).hypot(cy - disc.at[1]) / radius;
                if !(1.2..6.0).contains(&away) {
                    continue;
                }
                // Retinal vessels stand out of the brightest moment by more than a tenth of the ground.
                let pixels: Vec<usize> = (0..side * side)
                    .map(|k| (by * side + k / side) * w + bx * side + k % side)
                    .filter(|i| fine.data[*i] < 1.1 * ring.data[*i])
                    .collect();
                if pixels.len() * 2 < side * side {
                    continue;
                }
                let curve: Vec<f64> = planes
                    .iter()
                    .map(|p| pixels.iter().map(|i| f64::from(p.data[*i])).sum::<f64>() / pixels.len() as f64)
                    .collect();
                if curve.iter().all(|v| v.is_finite())
                    && let Some(t) = arrival(&curve, seconds, 0.2)
                {
                    blocks.push((t, curve));
                }
            }
        }
        blocks.sort_by(|a, b| a.0.total_cmp(&b.0));
        blocks.truncate(blocks.len() / 3);
        let many = blocks.len() as f64;
        (blocks.len() >= 4).then(|| {
            let mean = |k: usize| blocks.iter().map(|b| b.1[k]).sum::<f64>() / many;
            seconds.iter().enumerate().map(|(k, t)| [*t, mean(k)]).collect()
        })
    }

    /// The mean curve of a class: (second, brightness). None of fewer than eight pixels.
    pub fn mean(&self, class: Class) -> Option<Vec<[f64; 2]>> {
        let c = class as usize;
        let many: f64 = self.counts[c];
        (many >= 8.0).then(|| self.seconds.iter().zip(&self.sums[c]).map(|(t, s)| [*t, s / many]).collect())
    }
}

/// Mean of the planes about the brightest moment.
fn brightest(planes: &[Plane], seconds: &[f64]) -> Option<Plane> {
    let mean = |p: &Plane| {
        let (mut sum, mut n) = (0.0f64, 0.0f64);
        for v in p.data.iter().filter(|v| v.is_finite()) {
            sum += f64::from(*v);
            n += 1.0;
        }
        sum / n.max(1.0)
    };
    let top = (0..planes.len()).max_by(|i, j| mean(&planes[*i]).total_cmp(&mean(&planes[*j])))?;
    let near: Vec<&Plane> =
        planes.iter().zip(seconds).filter(|(_, t)| (*t - seconds[top]).abs() <= 4.0).map(|p| p.0).collect();
    #[allow(clippy::cast_precision_loss)] // some frames
    let n = near.len() as f32;
    let first = planes.first()?;
    Some(Plane::from_fn(first.width, first.height, |x, y| near.iter().map(|p| p.at(x, y)).sum::<f32>() / n))
}

/// The second at which a curve has risen by a share of its way from the lowest value before its peak to the peak.
pub(crate) fn arrival(curve: &[f64], seconds: &[f64], share: f64) -> Option<f64> {
    let top =
        (0..curve.len()).filter(|k| curve[*k].is_finite()).max_by(|a, b| curve[*a].total_cmp(&curve[*b]))?;
    let low = curve[..=top].iter().copied().filter(|v| v.is_finite()).fold(f64::INFINITY, f64::min);
    let goal = low + share * (curve[top] - low);
    let k = (0..top).rev().find(|k| curve[*k] < goal)?;
    let (a, b) = (curve[k], curve[k + 1]);
    Some(seconds[k] + (seconds[k + 1] - seconds[k]) * ((goal - a) / (b - a).max(1e-9)).clamp(0.0, 1.0))
}

/// The time between two groups (the split with the least scatter within), and whether they stand apart.
fn two(times: &[f64]) -> (f64, bool) {
    let mut t = times.to_vec();
    t.sort_by(f64::total_cmp);
    let mut sums = vec![0.0];
    let mut squares = vec![0.0];
    for v in &t {
        sums.push(sums[sums.len() - 1] + v);
        squares.push(squares[squares.len() - 1] + v * v);
    }
    #[allow(clippy::cast_precision_loss)] // counts
    let within = |a: usize, b: usize| {
        let n = (b - a) as f64;
        (squares[b] - squares[a]) - (sums[b] - sums[a]).powi(2) / n.max(1.0)
    };
    let n = t.len();
    let least = (n / 10).max(1);
    let Some(k) = (least..n.saturating_sub(least))
        .min_by(|i, j| (within(0, *i) + within(*i, n)).total_cmp(&(within(0, *j) + within(*j, n))))
    else {
        return (t.last().copied().unwrap_or(0.0), false);
    };
    #[allow(clippy::cast_precision_loss)] // counts
    let mean = |a: usize, b: usize| (sums[b] - sums[a]) / (b - a) as f64;
    let apart = mean(k, n) - mean(0, k) > 0.4 && within(0, k) + within(k, n) < 0.5 * within(0, n);
    (f64::midpoint(t[k - 1], t[k]), apart)
}

/// The planes with what all vessels and the ground do together from one frame to the next taken out: exposure and gain that
/// step between frames. What changes slowly is the dye's and stays; so does what comes before the vessels are half full,
/// where a rise and a step look alike.
#[allow(clippy::cast_precision_loss)] // counts
fn evened(planes: &[Plane], vessels: &[usize], zone: &[usize], seconds: &[f64]) -> Vec<Plane> {
    let mean = |p: &Plane, which: &[usize]| {
        let seen: Vec<f64> = which.iter().map(|i| f64::from(p.data[*i])).filter(|v| v.is_finite()).collect();
        seen.iter().sum::<f64>() / seen.len().max(1) as f64
    };
    let logs: Vec<[f64; 2]> =
        planes.iter().map(|p| [mean(p, vessels), mean(p, zone)].map(|v| v.max(1e-4).ln())).collect();
    let top = logs.iter().map(|l| l[0]).fold(f64::NEG_INFINITY, f64::max);
    let from = logs.iter().position(|l| l[0] > top - 0.7).unwrap_or(logs.len());
    planes
        .iter()
        .enumerate()
        .map(|(k, p)| {
            if k < from {
                return p.clone();
            }
            // The neighbours in time, on a straight line; both kinds have their say.
            let near: Vec<usize> = (from.max(k.saturating_sub(4))..(k + 5).min(planes.len())).collect();
            let off = [0, 1].map(|c| {
                let n = near.len() as f64;
                let (t, v) = (|i: usize| seconds[i] - seconds[k], |i: usize| logs[i][c]);
                let (st, sv) =
                    (near.iter().map(|i| t(*i)).sum::<f64>(), near.iter().map(|i| v(*i)).sum::<f64>());
                let stt = near.iter().map(|i| t(*i).powi(2)).sum::<f64>();
                let stv = near.iter().map(|i| t(*i) * v(*i)).sum::<f64>();
                let d = n * stt - st * st;
                let at = if d > 1e-9 { (stt * sv - st * stv) / d } else { sv / n };
                v(k) - at
            });
            #[allow(clippy::cast_possible_truncation)] // a factor about 1
            let gain = (f64::midpoint(off[0], off[1]).clamp(-0.7, 0.7)).exp() as f32;
            Plane::from_fn(p.width, p.height, |x, y| p.at(x, y) / gain)
        })
        .collect()
}
