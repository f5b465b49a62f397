//! Regions that are proposed to a person: what brightens late, what stays dark.

use crate::Run;
use crate::stack::boxed;
use nalgebra::{SMatrix, SVector};
use serrata_frame::Plane;

/// Pixels of the reference that are proposed, with how sure.
#[derive(Debug, Clone, PartialEq)]
pub struct Proposed {
    /// Width and height of the reference's small picture.
    pub size: [usize; 2],
    /// Score of each pixel, 0 to 1; proposed from 0.5.
    pub score: Vec<f32>,
    /// Whether each pixel could be graded: seen in all frames that are compared, bright enough to tell.
    pub gradable: Vec<bool>,
}

/// What of the retina seen can be graded: not the rim, where light falls off on its own (a twentieth of the width,
/// judgement), and finite in all planes.
#[allow(clippy::cast_precision_loss)] // pixels
fn gradable(seen: &[bool], planes: &[&Plane]) -> Vec<bool> {
    let Some(p) = planes.first() else { return Vec::new() };
    let (w, h) = (p.width, p.height);
    let inside =
        Plane::from_fn(w, h, |x, y| f32::from(u8::from(seen.get(y * w + x).copied().unwrap_or(false))));
    let share = boxed(&inside, (w.max(h) / 20).max(2), |_| true);
    let rim = (w.max(h) / 20).max(2);
    (0..w * h)
        .map(|i| {
            let (x, y) = (i % w, i / w);
            let framed = x >= rim && y >= rim && x + rim < w && y + rim < h;
            framed && share.data[i] > 0.999 && planes.iter().all(|p| p.data[i].is_finite())
        })
        .collect()
}

/// Mean of the planes between two seconds since the injection.
fn between(run: &Run, from: f64, to: f64) -> Option<Plane> {
    let second = |i: usize| run.line.frames[i].seconds.unwrap_or(f64::MAX);
    let near: Vec<&Plane> =
        run.planes.iter().filter(|(i, _)| (from..=to).contains(&second(*i))).map(|p| &p.1).collect();
    let first = near.first()?;
    #[allow(clippy::cast_precision_loss)] // some frames
    let n = near.len() as f32;
    Some(Plane::from_fn(first.width, first.height, |x, y| near.iter().map(|p| p.at(x, y)).sum::<f32>() / n))
}

/// Scores by place: pixels that hang together above the first limit are a place, if the brightest tenth of them exceed the
/// second; the score is the share of that, so that 0.5 is where an edge that is blurred lies.
fn halves(size: [usize; 2], of: impl Fn(usize) -> f32, [from, least]: [f32; 2]) -> Vec<f32> {
    let mut score = vec![0.0f32; size[0] * size[1]];
    for place in places(size, |i| of(i) > from) {
        let mut all: Vec<f32> = place.iter().map(|i| of(*i)).collect();
        all.sort_by(f32::total_cmp);
        let peak = all[all.len() - 1 - all.len() / 10];
        if peak >= least {
            place.iter().for_each(|i| score[*i] = (of(*i) / peak).clamp(0.0, 1.0));
        }
    }
    score
}

/// Pixels that hang together, four neighbours each, place by place.
fn places([w, h]: [usize; 2], counts: impl Fn(usize) -> bool) -> Vec<Vec<usize>> {
    let mut open: Vec<bool> = (0..w * h).map(counts).collect();
    let mut out = Vec::new();
    for first in 0..w * h {
        if !std::mem::take(&mut open[first]) {
            continue;
        }
        let mut place = vec![first];
        let mut next = 0;
        while let Some(i) = place.get(next).copied() {
            next += 1;
            let beside =
                [(i % w > 0).then(|| i - 1), (i % w + 1 < w).then_some(i + 1), i.checked_sub(w), Some(i + w)];
            for k in beside.into_iter().flatten().filter(|k| *k < w * h) {
                if std::mem::take(&mut open[k]) {
                    place.push(k);
                }
            }
        }
        out.push(place);
    }
    out
}

fn median(mut v: Vec<f32>) -> f32 {
    let k = v.len() / 2;
    if v.is_empty() { 0.0 } else { *v.select_nth_unstable_by(k, f32::total_cmp).1 }
}

/// What brightens from the first passage (20 to 45 s) to the late frames (from 5 min) against everything else, which fades.
///
/// None without frames of both. Called "late brightening, proposed" until a named person accepts it.
#[must_use]
pub fn late_brightening(run: &Run, seen: &[bool]) -> Option<Proposed> {
    let last = run.planes.iter().filter_map(|(i, _)| run.line.frames[*i].seconds).fold(0.0, f64::max);
    // What leaks spreads on: of the late frames only the last.
    let (early, late) = (between(run, 20.0, 45.0)?, between(run, (0.8 * last).max(300.0), last)?);
    let (w, h) = (early.width, early.height);
    let (e, l) = (boxed(&early, 1, |_| true), boxed(&late, 1, |_| true));
    let gradable = gradable(seen, &[&e, &l]);
    // How much the retina as a whole has faded.
    let inside = |p: &Plane| median((0..w * h).filter(|i| gradable[*i]).map(|i| p.data[i]).collect());
    let fade = inside(&l) / inside(&e).max(1e-4);
    let wide = (w.max(h) / 16).max(8);
    let rest: Vec<f32> = (0..w * h).map(|i| l.data[i] - fade * e.data[i]).collect();
    let rest = Plane { width: w, height: h, data: rest };
    let ground = boxed(&rest, wide, |i| gradable[i]);
    let above: Vec<f32> = (0..w * h).map(|i| rest.data[i] - ground.data[i]).collect();
    let scatter = 1.4826 * median((0..w * h).filter(|i| gradable[*i]).map(|i| above[i].abs()).collect());
    // Half of what each such place gains over its surroundings, where that is clear of the scatter and of the faintest.
    let mut tops: Vec<f32> = (0..w * h).filter(|i| gradable[*i]).map(|i| above[i]).collect();
    tops.sort_by(f32::total_cmp);
    let top = tops.get(tops.len().saturating_sub(1 + tops.len() / 2000)).copied().unwrap_or(0.0);
    let limit = (8.0 * scatter).max(0.3 * top).max(0.02);
    let score = halves([w, h], |i| if gradable[i] { above[i] } else { 0.0 }, [0.3 * limit, limit]);
    Some(Proposed { size: [w, h], score, gradable })
}

/// What stays dark while its surroundings fill (20 to 60 s), vessels left out.
///
/// None without such frames. Called "dark, unfilled, proposed" until a named person accepts it: the fovea, blood and
/// pigment are dark as well.
#[must_use]
pub fn unfilled(run: &Run, seen: &[bool]) -> Option<Proposed> {
    let mut found = dark_places(&between(run, 20.0, 60.0)?, seen)?;
    let dark: Vec<bool> = found.score.iter().map(|s| *s >= 0.5).collect();
    let [w, h] = found.size;
    // Vessels that cross what is unfilled are part of it.
    for (i, inside) in closed(&dark, [w, h], w.max(h) / VESSEL).into_iter().enumerate() {
        if inside && found.gradable[i] {
            found.score[i] = found.score[i].max(0.5);
        }
    }
    Some(found)
}

/// The same in one picture, 0 to 1, of which `seen` is the visible retina: what a single frame can say of it. Vessels across
/// it are left out.
#[must_use]
pub fn dark_places(full: &Plane, seen: &[bool]) -> Option<Proposed> {
    let (w, h) = (full.width, full.height);
    let gradable = gradable(seen, &[full]);
    // Vessels stand out: the lower part of a small neighbourhood is the ground between them.
    let fine = boxed(full, 2, |i| gradable[i]);
    let ground = surface(&fine, &gradable)?;
    let missing = |i: usize| {
        let share = fine.data[i] / ground.data[i].max(1e-4);
        if gradable[i] && share.is_finite() { 1.0 - share } else { 0.0 }
    };
    let score = halves([w, h], missing, [0.6 * UNFILLED, UNFILLED]);
    Some(Proposed { size: [w, h], score, gradable })
}

/// One in so many of the picture's width is half of the widest gap that a vessel leaves in what is dark (judgement).
const VESSEL: usize = 100;

/// A mask with its gaps closed: grown by a disc, then shrunk by it.
fn closed(mask: &[bool], size: [usize; 2], radius: usize) -> Vec<bool> {
    let grown = grown(mask, size, radius);
    let outside: Vec<bool> = grown.iter().map(|g| !g).collect();
    self::grown(&outside, size, radius).into_iter().map(|o| !o).collect()
}

/// All pixels within a radius of the mask.
fn grown(mask: &[bool], [w, h]: [usize; 2], radius: usize) -> Vec<bool> {
    let mut out = mask.to_vec();
    let r = radius.cast_signed();
    let offsets: Vec<(isize, isize)> = (-r..=r)
        .flat_map(|y| (-r..=r).map(move |x| (x, y)))
        .filter(|(x, y)| x * x + y * y <= r * r)
        .collect();
    let at = |x: usize, y: usize| mask[y * w + x];
    for y in 0..h {
        for x in 0..w {
            let alone = |a: bool| a == at(x, y);
            // Only an edge pixel reaches further than its neighbours do.
            let edge = at(x, y)
                && !((x == 0 || alone(at(x - 1, y)))
                    && (x + 1 == w || alone(at(x + 1, y)))
                    && (y == 0 || alone(at(x, y - 1)))
                    && (y + 1 == h || alone(at(x, y + 1))));
            if !edge {
                continue;
            }
            for (dx, dy) in &offsets {
                let (a, b) = (x.checked_add_signed(*dx), y.checked_add_signed(*dy));
                if let (Some(a), Some(b)) = (a.filter(|a| *a < w), b.filter(|b| *b < h)) {
                    out[b * w + a] = true;
                }
            }
        }
    }
    out
}

/// A smooth surface through the ground of a picture: the logarithm of brightness as a polynomial of fourth order, what lies
/// far above (vessels) or below (unfilled, fovea) left out in turn. Light falls off towards the rim in every picture.
#[allow(clippy::cast_precision_loss, clippy::cast_possible_truncation)] // pixels
fn surface(p: &Plane, gradable: &[bool]) -> Option<Plane> {
    const TERMS: usize = 15;
    let (w, h) = (p.width, p.height);
    let half = w.max(h) as f64 / 2.0;
    let terms = |i: usize| -> [f64; TERMS] {
        let (x, y) = (((i % w) as f64 - w as f64 / 2.0) / half, ((i / w) as f64 - h as f64 / 2.0) / half);
        let mut out = [0.0; TERMS];
        let mut k = 0;
        for order in 0..=4i32 {
            for j in 0..=order {
                out[k] = x.powi(order - j) * y.powi(j);
                k += 1;
            }
        }
        out
    };
    let log = |i: usize| f64::from(p.data[i].max(1e-4)).ln();
    let used: Vec<usize> = (0..w * h).step_by(5).filter(|i| gradable[*i] && p.data[*i].is_finite()).collect();
    if used.len() < 10 * TERMS {
        return None;
    }
    let mut fit = [0.0; TERMS];
    let value = |fit: &[f64; TERMS], i: usize| terms(i).iter().zip(fit).map(|(t, c)| t * c).sum::<f64>();
    for round in 0..6 {
        let (mut a, mut b) = (SMatrix::<f64, TERMS, TERMS>::zeros(), SVector::<f64, TERMS>::zeros());
        for i in &used {
            let off = log(*i) - value(&fit, *i);
            if round > 0 && !(-0.25..0.15).contains(&off) {
                continue;
            }
            let t = SVector::from(terms(*i));
            b += t * log(*i);
            a += t * t.transpose();
        }
        fit = a.lu().solve(&b)?.into();
    }
    Some(Plane::from_fn(w, h, |x, y| value(&fit, y * w + x).exp() as f32))
}

/// Share of the surroundings' brightness that is missing where retina counts as unfilled (judgement).
const UNFILLED: f32 = 0.3;

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn growing_is_what_the_plain_definition_says(
            mask in proptest::collection::vec(prop::bool::weighted(0.1), 12 * 9), radius in 0usize..4,
        ) {
            let plain: Vec<bool> = (0..12 * 9usize)
                .map(|k| {
                    (0..12 * 9usize).any(|m| {
                        let (dx, dy) = ((k % 12).abs_diff(m % 12), (k / 12).abs_diff(m / 12));
                        mask[m] && dx * dx + dy * dy <= radius * radius
                    })
                })
                .collect();
            prop_assert_eq!(grown(&mask, [12, 9], radius), plain);
        }

        #[test]
        fn closing_takes_nothing_away(mask in proptest::collection::vec(any::<bool>(), 12 * 9), radius in 0usize..4) {
            let out = closed(&mask, [12, 9], radius);
            prop_assert!(mask.iter().zip(&out).all(|(m, o)| !m || *o));
        }
    }

    #[test]
    fn a_vessel_across_what_is_dark_leaves_no_gap() {
        let mask: Vec<bool> = (0..40 * 40).map(|k| !(18..22).contains(&(k % 40))).collect();
        assert!(closed(&mask, [40, 40], 3).iter().all(|m| *m));
    }
}
