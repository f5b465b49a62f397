//! Too near, too far, and the iris to one side: told from what is lost at which sides, and whether it is bright or dark.

use super::{SHADED, Seen, ramp};
use crate::{
    contour, filter,
    mask::Mask,
    radial::{RAYS, Rays},
};
use serrata_words::{Finding, FindingKind, Side};

/// Brightness up to which what is lost counts as the dark of the iris, and above which as skin.
const DARK: f32 = 0.12;

/// What is lost at one side.
#[derive(Clone, Copy)]
struct Lost {
    side: Side,
    /// Median over the middle half of the lines, as a share of their length.
    share: f64,
    dark: bool,
}

pub(super) fn distance(seen: &Seen<'_>, lids: &[Finding]) -> Vec<Finding> {
    // A narrow field has a rim of its own, and no iris in it.
    if seen.scene.round {
        return Vec::new();
    }
    let sides = [Side::Top, Side::Bottom, Side::Left, Side::Right].map(|s| lost(seen, s));
    let shadow = match (iris_shadow(&sides), shaded(seen)) {
        (Some(a), Some(b)) => Some(if a.score < b.score { b } else { a }),
        (a, b) => a.or(b),
    }
    .map(|mut f| {
        // A weak hint draws nothing over retina that can be seen.
        if let Some(place) = f.side.filter(|_| f.score >= SHADED).and_then(|side| shade(seen, side)) {
            f.place = contour::region(&place, seen.scene.factor);
        }
        let upright = matches!(f.side, Some(Side::Top | Side::Bottom));
        f.fraction = (f.fraction / filled(&seen.scene.aperture, upright)).min(1.0);
        f
    });
    [too_far(seen, &sides), too_close(lids), shadow].into_iter().flatten().collect()
}

/// The dark comes in from all four sides. Real frames taken at the right distance lose at most 0.07 of the length at
/// the side that loses least (judgement: 0.08 to 0.18).
fn too_far(seen: &Seen<'_>, sides: &[Lost; 4]) -> Option<Finding> {
    let least = sides.iter().map(|s| if s.dark { s.share } else { 0.0 }).fold(1.0, f64::min);
    let score = ramp(least, 0.08, 0.18).max(closed_in(seen));
    let picture = Mask::new(seen.retina.width, seen.retina.height, true);
    (score > 0.0).then(|| Finding::new(FindingKind::TooFar, score, 1.0 - seen.retina.share_of(&picture)))
}

/// What rays lose at their ends, as shares of their length: the sum of what nine in ten and what three in four lose; and over what
/// share nine in ten fall off at their very end, which is wider for the shadow of an iris far out of focus than for an instrument's
/// own rim. Simulated frames at the right distance have up to 0.20 and 0.019 in colour, 0.30 and 0.022 in autofluorescence, ones too far
/// 0.29 and 0.026 and more; real frames 0.01 and 0.
const CLOSED: [(f64, f64); 2] = [(0.22, 0.28), (0.020, 0.024)];

/// The same of dye pictures, whose light falls off further inside and whose lids' ends are dark: 0.40 with 0.029 and 0.38 with 0.039, ones too far
/// 0.43 and 0.039 and more; real frames up to 0.19 and 0.020.
const CLOSED_DYE: [(f64, f64); 2] = [(0.36, 0.42), (0.033, 0.039)];

/// Longest side of a quarter of the working plane below which one of its pixels is as wide as the falls that are told apart.
const SMALLEST: usize = 130;

/// How plainly the dark of the iris closes in all round: a soft shadow on every ray.
fn closed_in(seen: &Seen<'_>) -> f64 {
    let s = seen.scene;
    // A soft shadow shows on a quarter of the working size, and on every fourth ray.
    let small = filter::half(&s.half.value);
    let calm = filter::smooth(&small, small.width.max(small.height) as f32 * 0.006);
    let (w, h) = (calm.width, calm.height);
    if w.max(h) < SMALLEST {
        return 0.0;
    }
    let rays = Rays::new(w, h, (w as f32 / 2.0, h as f32 / 2.0));
    let (mut lost, mut ends) = (Vec::new(), Vec::new());
    for k in (0..RAYS).step_by(4) {
        let light: Vec<f32> = rays.pixels(k).iter().map(|i| calm.data[*i]).collect();
        let n = light.len();
        let usual = filter::percentile(&mut light[n * 2 / 5..n * 7 / 10].to_vec(), 0.5);
        let last = |share: f32| light.iter().rposition(|v| *v > share * usual).unwrap_or(0) as f32;
        lost.push(1.0 - last(0.35) / n as f32);
        ends.push(end_of(&light, usual));
    }
    let all = f64::from(filter::percentile(&mut lost, 0.10) + filter::percentile(&mut lost, 0.25));
    let end = f64::from(filter::percentile(&mut ends, 0.10));
    let closed = if s.modality.is_dye() { CLOSED_DYE } else { CLOSED };
    ramp(all, closed[0].0, closed[0].1).min(ramp(end, closed[1].0, closed[1].1))
}

/// Over what share of a ray the light falls at its very end, from three fifths of what there is just before to a quarter of it.
fn end_of(light: &[f32], usual: f32) -> f32 {
    let n = light.len();
    // The last place that is brighter than a level, between two steps of the ray; the ray's beginning where none is.
    let last = |level: f32| {
        let Some(k) = light.iter().rposition(|v| *v > level) else { return 0.0 };
        // What comes next is no brighter than the level, and so darker than this.
        k as f32 + light.get(k + 1).map_or(0.0, |next| (light[k] - level) / (light[k] - next))
    };
    if n == 0 {
        return 0.0;
    }
    let end = light.iter().rposition(|v| *v > 0.25 * usual).unwrap_or(0);
    let before = filter::percentile(&mut light[end.saturating_sub(n * 3 / 20)..=end].to_vec(), 0.8);
    (last(0.25 * before) - last(0.6 * before)) / n as f32
}

/// Bright lids come in from above and from below at once (judgement: counted from 8 % of the aperture each, a hint from 1 %).
fn too_close(lids: &[Finding]) -> Option<Finding> {
    let share = |side: Side| lids.iter().filter(|f| f.side == Some(side)).map(|f| f.fraction).sum::<f64>();
    let score = ramp(share(Side::Top).min(share(Side::Bottom)), 0.01, 0.15);
    (score > 0.0).then(|| {
        let all = lids.iter().map(|f| f.fraction).sum();
        let mut f = Finding::new(FindingKind::TooClose, score, all);
        for lid in lids {
            f.place.polygons.extend_from_slice(&lid.place.polygons);
            f.place.holes.extend_from_slice(&lid.place.holes);
        }
        f
    })
}

/// The share of the width, or of the height, between the aperture's ends; 1 where it takes nothing. What is lost is told as a
/// share of the aperture, and not of the black beside it.
fn filled(aperture: &Mask, upright: bool) -> f64 {
    let w = aperture.width.max(1);
    let rows = || aperture.data.chunks_exact(w);
    let span = |first: Option<usize>, last: Option<usize>| first.zip(last).map(|(f, l)| l + 1 - f);
    if upright {
        let lit = |row: &[bool]| row.contains(&true);
        let taken = span(rows().position(lit), rows().rposition(lit));
        return taken.map_or(1.0, |n| n as f64 / aperture.height as f64);
    }
    let widest = rows().filter_map(|r| span(r.iter().position(|b| *b), r.iter().rposition(|b| *b))).max();
    widest.map_or(1.0, |n| n as f64 / w as f64)
}

/// One side is darker by far than the one across (judgement: 0.15 to 0.30 of the length more is lost there).
fn iris_shadow(sides: &[Lost; 4]) -> Option<Finding> {
    let pairs = [(sides[0], sides[1]), (sides[2], sides[3])];
    let (worse, more) = pairs
        .into_iter()
        .map(|(a, b)| if a.share > b.share { (a, a.share - b.share) } else { (b, b.share - a.share) })
        .filter(|(l, _)| l.dark)
        .max_by(|a, b| a.1.total_cmp(&b.1))?;
    let score = ramp(more, 0.15, 0.30);
    (score > 0.0).then(|| {
        let mut f = Finding::new(FindingKind::IrisShadow, score, more);
        f.side = Some(worse.side);
        f
    })
}

/// Columns of this many blocks are looked at for shade.
const BLOCKS: usize = 40;

/// Shade, as a share of the brightness of the picture's middle half. Light falls off towards every rim; a shadow takes
/// more at one side than across from it (named from 0.15 of the width more, sure from
/// 0.30: untouched frames at hand have up to 0.20).
const SHADE: f32 = 0.4;

/// Shade, as a share of the brightness at the mirrored place across the picture: where light falls off to both sides, as that of dye
/// does, a shadow takes what the other side still has. Frames without one have less than this over 0.05 of the width at most, but for
/// a real one with turned gaze (0.15), simulated ones with one over 0.20 to 0.28.
const ACROSS: f32 = 0.45;

/// Share of the width that is dimmer than its mirror image from which shade counts, and at which it is certain.
const DIMMER: (f64, f64) = (0.12, 0.20);

/// One side lies in shade though the retina may still be seen there.
fn shaded(seen: &Seen<'_>) -> Option<Finding> {
    let s = seen.scene;
    let (w, h) = (s.width(), s.height());
    let black = filter::percentile(&mut s.half.value.data.clone(), 0.01);
    // Brightness of each block, and that of the retina in it.
    let (mut level, mut retina) = ([0.0f32; BLOCKS], [None; BLOCKS]);
    for (k, (l, r)) in level.iter_mut().zip(&mut retina).enumerate() {
        let (mut sum, mut n) = ([0.0f32; 2], [0usize; 2]);
        for y in (h / 4..(3 * h) / 4).step_by(2) {
            for i in y * w + k * w / BLOCKS..y * w + (k + 1) * w / BLOCKS {
                let v = s.value.data[i];
                sum[0] += v;
                n[0] += 1;
                if seen.retina.data[i] {
                    sum[1] += (v - black).max(0.0);
                    n[1] += 1;
                }
            }
        }
        *l = sum[0] / n[0].max(1) as f32;
        *r = (4 * n[1] > n[0]).then(|| sum[1] / n[1] as f32);
    }
    let typical = filter::percentile(&mut level[BLOCKS / 4..3 * BLOCKS / 4].to_vec(), 0.6);
    let dark = |v: &f32| *v < SHADE * typical;
    let [left, right] =
        [level.iter().take_while(|v| dark(v)).count(), level.iter().rev().take_while(|v| dark(v)).count()];
    let all = if left > right { (Side::Left, left - right) } else { (Side::Right, right - left) };
    let near = |k: usize| retina[k];
    let far = |k: usize| retina[BLOCKS - 1 - k];
    let [left, right] = [dimmer(&near, &far, typical, ACROSS), dimmer(&far, &near, typical, ACROSS)];
    let (side, [dim, reach]) = if left[0] > right[0] { (Side::Left, left) } else { (Side::Right, right) };
    let share = |blocks: usize| blocks as f64 / BLOCKS as f64;
    let (score, across) = (ramp(share(all.1), 0.15, 0.30), ramp(share(dim), DIMMER.0, DIMMER.1));
    let (score, side, more) =
        if across > score { (across, side, share(reach)) } else { (score, all.0, share(all.1)) };
    (score > 0.0).then(|| {
        let mut f = Finding::new(FindingKind::IrisShadow, score, more);
        f.side = Some(side);
        f
    })
}

/// Where it is known that a side lies in shade, its border is where less than this share of the mirrored brightness is left: half of what
/// such shadows take (judgement).
const EDGE: f32 = 0.60;

/// What lies in shade at the left or the right: block by block, from the border to where the mirrored place is no longer brighter by far.
/// None above and below, where what is lost is outside the visible retina already, or where nothing is dimmer.
pub(super) fn shade(seen: &Seen<'_>, side: Side) -> Option<Mask> {
    if !matches!(side, Side::Left | Side::Right) {
        return None;
    }
    let s = seen.scene;
    let (w, h) = (s.width(), s.height());
    let black = filter::percentile(&mut s.half.value.data.clone(), 0.01);
    let block = (w / BLOCKS).max(1);
    let rows = h.div_ceil(block);
    let light = |row: usize, k: usize| {
        let (mut sum, mut n, mut all) = (0.0f32, 0usize, 0usize);
        for y in (row * block..((row + 1) * block).min(h)).step_by(2) {
            for i in y * w + k * w / BLOCKS..y * w + (k + 1) * w / BLOCKS {
                all += 1;
                if seen.retina.data[i] {
                    sum += (s.value.data[i] - black).max(0.0);
                    n += 1;
                }
            }
        }
        (2 * n > all).then(|| sum / n as f32)
    };
    let mut reaches: Vec<usize> = (0..rows)
        .map(|row| {
            let at = |k: usize| light(row, if side == Side::Left { k } else { BLOCKS - 1 - k });
            dimmer(&at, &|k| at(BLOCKS - 1 - k), 0.0, EDGE)[1]
        })
        .collect();
    let own = reaches.clone();
    for (row, r) in reaches.iter_mut().enumerate() {
        let mut about = own[row.saturating_sub(3)..(row + 4).min(rows)].to_vec();
        about.sort_unstable();
        *r = about[about.len() / 2];
    }
    let place = Mask::from_fn(w, h, |x, y| {
        let from = if side == Side::Left { x } else { w - 1 - x };
        from < reaches[y / block] * w / BLOCKS && seen.retina.at(x, y)
    });
    (place.count() > 0).then_some(place)
}

/// How many blocks of one half are dimmer by far than their mirrored ones, and how many blocks lie between the picture's border and the
/// last of them. They hang together from the border inwards, with single gaps at most; where neither side is lit nothing is told.
/// `near`, `far`: brightness by distance from the border, on this side and on the other; `share`: that of the far one below which the near
/// one is dimmer.
fn dimmer(
    near: &dyn Fn(usize) -> Option<f32>,
    far: &dyn Fn(usize) -> Option<f32>,
    typical: f32,
    share: f32,
) -> [usize; 2] {
    let (mut dim, mut reach, mut gap) = (0, 0, 0);
    for k in 0..BLOCKS / 2 {
        let Some((a, b)) = near(k).zip(far(k)).filter(|(_, b)| *b > 0.15 * typical) else { continue };
        if a + 0.02 * typical < share * (b + 0.02 * typical) {
            (dim, reach, gap) = (dim + 1, k + 1, 0);
        } else if gap == 1 {
            break;
        } else {
            gap += 1;
        }
    }
    [dim, reach]
}

fn lost(seen: &Seen<'_>, side: Side) -> Lost {
    let m = seen.retina;
    let (w, h) = (m.width, m.height);
    let upright = matches!(side, Side::Top | Side::Bottom);
    let (lines, length) = if upright { (w, h) } else { (h, w) };
    let at = |line: usize, k: usize| match side {
        Side::Top => k * w + line,
        Side::Bottom => (h - 1 - k) * w + line,
        Side::Left => line * w + k,
        Side::Right => line * w + w - 1 - k,
    };
    let (mut runs, mut light, mut n) = (Vec::new(), 0.0f64, 0usize);
    for line in lines / 4..(3 * lines) / 4 {
        let run = (0..length).take_while(|k| !m.data[at(line, *k)]).count();
        runs.push(run);
        for k in 0..run {
            light += f64::from(seen.scene.value.data[at(line, k)]);
            n += 1;
        }
    }
    runs.sort_unstable();
    let share = runs.get(runs.len() / 2).map_or(0.0, |r| *r as f64 / length.max(1) as f64);
    Lost { side, share, dark: light <= f64::from(DARK) * n.max(1) as f64 }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_ray_s_end_is_as_wide_as_its_light_falls_and_nothing_where_there_is_no_light() {
        // Falls from 1 to 0 over 20 of 100 steps; just before its end it is 0.9: three fifths to a quarter of that take 6.3 steps.
        let soft: Vec<f32> = (0..100).map(|k| ((90.0 - k as f32) / 20.0).clamp(0.0, 1.0)).collect();
        assert!((end_of(&soft, 1.0) - 0.063).abs() < 1e-4, "{}", end_of(&soft, 1.0));
        let sharp: Vec<f32> = (0..100).map(|k| f32::from(u8::from(k < 80))).collect();
        assert!(end_of(&sharp, 1.0) < 0.01);
        for dark in [vec![0.0; 100], vec![0.3; 100], Vec::new()] {
            assert_eq!(end_of(&dark, 0.0), 0.0);
        }
    }

    fn dim_of(left: &[f32], right: &[f32]) -> [usize; 2] {
        dimmer(&|k| left.get(k).copied(), &|k| right.get(k).copied(), 1.0, ACROSS)
    }

    /// One dim block beside the middle made a narrow shadow reach over half of the picture.
    #[test]
    fn shade_hangs_together_from_the_border() {
        let lit = [1.0; BLOCKS / 2];
        let mut left = lit;
        left[..6].fill(0.2);
        assert_eq!((dim_of(&left, &lit), dim_of(&lit, &left)), ([6, 6], [0, 0]));
        left[19] = 0.2;
        assert_eq!(dim_of(&left, &lit), [6, 6]);
        left[3] = 1.0;
        assert_eq!(dim_of(&left, &lit), [5, 6], "a single gap is bridged");
        assert_eq!(dim_of(&left[..0], &lit), [0, 0]);
    }

    #[test]
    fn an_aperture_fills_its_own_share_of_each_side() {
        let window = Mask::from_fn(40, 20, |x, y| (4..34).contains(&x) && (5..15).contains(&y));
        assert!((filled(&window, false) - 0.75).abs() < 1e-12 && (filled(&window, true) - 0.5).abs() < 1e-12);
        assert!((filled(&Mask::new(40, 20, false), false) - 1.0).abs() < 1e-12);
    }
}
