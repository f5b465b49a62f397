//! The working planes that every step of the observation looks at.

use crate::{filter, mask::Mask, stamp};
use serrata_frame::{Frame, Plane};
use serrata_words::Modality;

/// Longest side of the working plane in pixels. Retinal vessels of the second order are then still two pixels
/// wide in an ultra-widefield picture of 120° and more, and one plane takes half a megapixel.
pub(crate) const LONGEST: u32 = 860;

/// A frame shrunk to its working size.
pub(crate) struct Scene<'a> {
    pub(crate) frame: &'a Frame,
    pub(crate) modality: Modality,
    /// Frame pixels along one working pixel.
    pub(crate) factor: f64,
    /// Brightness, 0 to 1: the channel in which vessels show best (green of colour pictures, else the grey).
    pub(crate) detail: Plane,
    /// Brightness of the stronger of red and green, or the grey.
    pub(crate) value: Plane,
    /// Red, where the picture has colours.
    pub(crate) red: Option<Plane>,
    /// The part of the picture that the instrument fills.
    pub(crate) aperture: Mask,
    /// The same at half the size, for what is smooth anyway.
    pub(crate) half: Half,
    /// Painted-over patches.
    pub(crate) painted: Mask,
    /// Whether the aperture is a disc, as in pictures of a narrow field.
    pub(crate) round: bool,
    /// Diameter of the aperture in working pixels where it is a disc.
    pub(crate) diameter: Option<f32>,
    /// Usual radius of the optic disc in working pixels.
    pub(crate) disc_radius: f32,
    /// Mean of blue against that of red and green; 0 where the picture has no colours, or no blue.
    blueness: f32,
}

/// Planes of half the working size.
pub(crate) struct Half {
    pub(crate) detail: Plane,
    pub(crate) value: Plane,
    pub(crate) red: Option<Plane>,
    /// Working pixels along one of these: 2, or 1 for the tiniest pictures.
    pub(crate) step: f32,
}

/// Radius of the disc as a share of the longer side in an ultra-widefield picture: 0.020 to 0.026 in the frames at
/// hand.
const WIDE: f32 = 0.0225;

/// The same as a share of the aperture's diameter where the aperture is a disc: 45° to 50°, of which a disc takes 6°.
const NARROW: f32 = 0.065;

impl<'a> Scene<'a> {
    pub(crate) fn new(frame: &'a Frame, modality: Modality) -> Self {
        Self::sized(frame, modality, LONGEST)
    }

    /// The same with another longest side of the working plane.
    pub(crate) fn sized(frame: &'a Frame, modality: Modality, longest: u32) -> Self {
        let (factor, mut channels) = working(frame, longest);
        let blueness = blueness(&channels);
        // Three equal channels are one grey picture.
        if blueness.is_none() {
            channels.truncate(1);
        }
        let (detail, value, red) = if channels.len() == 3 {
            let green = channels.swap_remove(1);
            let red = channels.swap_remove(0);
            let data = red.data.iter().zip(&green.data).map(|(r, g)| r.max(*g)).collect();
            let value = Plane { width: green.width, height: green.height, data };
            let detail = if modality == Modality::Red { red.clone() } else { green };
            (detail, value, Some(red))
        } else {
            let grey = channels.swap_remove(0);
            (grey.clone(), grey, None)
        };
        let calm = filter::box_mean(&value, 2);
        let mut aperture = rim(frame, &calm, factor, BLACK);
        let half = Half {
            detail: filter::half(&detail),
            value: filter::half(&value),
            red: red.as_ref().map(filter::half),
            step: if value.width < 2 || value.height < 2 { 1.0 } else { 2.0 },
        };
        let painted = Mask::new(value.width, value.height, false);
        let long = value.width.max(value.height) as f32;
        let mut diameter = round(&aperture, &calm);
        if diameter.is_none()
            && red.is_some()
            && let Some((d, disc)) = stray_lit(&value)
        {
            diameter = Some(d);
            aperture = disc.and(&aperture);
        }
        if modality.is_dye() && diameter.is_none() {
            aperture = rim(frame, &calm, factor, FLOOR);
        }
        let disc_radius = diameter.map_or(WIDE * long, |d| NARROW * d);
        let round = diameter.is_some();
        let mut scene = Self {
            frame,
            modality,
            factor,
            detail,
            value,
            red,
            aperture,
            half,
            painted,
            round,
            diameter,
            disc_radius,
            blueness: blueness.unwrap_or(0.0),
        };
        scene.painted = stamp::painted(&scene, &calm);
        scene
    }

    /// Fills the half-size planes where a blink covers them, from the lines before and after it, so that the outline
    /// of the retina goes on past the blink. `across`: columns are swept one after the other, and not rows.
    pub(crate) fn bridge(&mut self, covered: &Mask, across: bool) {
        if covered.count() == 0 {
            return;
        }
        let (w, h) = (self.half.value.width, self.half.value.height);
        let k = if self.half.step > 1.0 { 2 } else { 1 };
        let (lines, length, along, beside) = if across { (h, w, 1, w) } else { (w, h, w, 1) };
        // One line more on each side, for its soft edge.
        let hit = |line: usize, s: usize| {
            let at = |s: usize| {
                let (x, y) = if across { (s, line) } else { (line, s) };
                covered.at((x * k).min(covered.width - 1), (y * k).min(covered.height - 1))
            };
            at(s.saturating_sub(2)) || at(s) || at((s + 2).min(length - 1))
        };
        let half = &mut self.half;
        for plane in [Some(&mut half.detail), Some(&mut half.value), half.red.as_mut()].into_iter().flatten()
        {
            for line in 0..lines {
                let mut s = 0;
                while s < length {
                    if !hit(line, s) {
                        s += 1;
                        continue;
                    }
                    let end = (s..length).find(|t| !hit(line, *t)).unwrap_or(length);
                    let value = |t: usize| plane.data[t * along + line * beside];
                    let before = s.checked_sub(1).map(value);
                    let after = (end < length).then(|| value(end));
                    for t in s..end {
                        let u = (t + 1 - s) as f32 / (end + 1 - s) as f32;
                        plane.data[t * along + line * beside] = match (before, after) {
                            (Some(b), Some(a)) => b * (1.0 - u) + a * u,
                            (Some(v), None) | (None, Some(v)) => v,
                            (None, None) => continue,
                        };
                    }
                    s = end;
                }
            }
        }
    }

    pub(crate) const fn blueness(&self) -> f32 {
        self.blueness
    }

    pub(crate) fn width(&self) -> usize {
        self.value.width
    }

    pub(crate) fn height(&self) -> usize {
        self.value.height
    }

    /// The longer side in working pixels: the unit of all lengths that are not told in disc diameters.
    pub(crate) fn long(&self) -> f32 {
        self.width().max(self.height()) as f32
    }
}

/// Longer side of the working plane, as a share of the longest, below which whole factors come out too small: of a frame of 1000 pixels
/// a half would be left, and clear vessels looked hazy. Limits were set at some nine tenths.
const SMALL: f64 = 0.78;
const USUAL: f64 = 0.9;

/// Whole factors from here on come out near enough.
const LARGE: u32 = 4;

/// The channels shrunk so that the longer side is about nine tenths of `longest`, and frame pixels along one of theirs. Larger frames by
/// the mean of whole boxes, those of less than three times `longest` by parts of pixels where that would leave too little.
fn working(frame: &Frame, longest: u32) -> (f64, Vec<Plane>) {
    let long = frame.pixels.width().max(frame.pixels.height());
    let boxed = long.div_ceil(longest.max(1));
    let left = f64::from(long) / f64::from(boxed.max(1));
    if boxed <= 1 || boxed >= LARGE || left >= SMALL * f64::from(longest) {
        let working = frame.working(longest);
        return (f64::from(working.factor), working.channels);
    }
    let factor = f64::from(long) / (f64::from(longest) * USUAL).round().max(1.0);
    (factor, frame.working(u32::MAX).channels.iter().map(|c| filter::shrunk(c, factor)).collect())
}

/// Mean of blue against the mean of red and green; none for grey pictures, also where they have three channels. Two
/// lasers leave blue wholly empty: that is 0, and not grey.
fn blueness(channels: &[Plane]) -> Option<f32> {
    let [red, green, blue] = channels else { return None };
    let sum = |p: &Plane| filter::total(&p.data, &p.data, |v, _| v);
    let apart = filter::total(&red.data, &blue.data, |r, b| (r - b).abs());
    // Against the brightness, so that a dark colour picture is not called grey; JPEG leaves grey ones less than this.
    if apart < (0.025 * (sum(red) + sum(green))).max(1e-4 * red.data.len() as f64) {
        return None;
    }
    #[allow(clippy::cast_possible_truncation)] // rounding to f32 is meant
    Some((2.0 * sum(blue) / (sum(red) + sum(green)).max(1e-9)) as f32)
}

/// Black, in the smoothed picture: above the ringing of JPEG, below the darkest retina of the frames at hand.
const BLACK: f32 = 0.012;

/// Black in dye pictures, whose dark floor is inside: half a grey level of 8 bit.
const FLOOR: f32 = 0.002;

/// What the instrument fills: everything but uncovered pixels and black that hangs together with the border. `calm`: the
/// brightness, smoothed a little.
fn rim(frame: &Frame, calm: &Plane, factor: f64, limit: f32) -> Mask {
    let mut black =
        Mask { width: calm.width, height: calm.height, data: calm.data.iter().map(|v| *v < limit).collect() };
    if !frame.coverage.is_full() {
        for (i, b) in black.data.iter_mut().enumerate() {
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // pixels of the frame
            let middle = |k: usize| ((k as f64 + 0.5) * factor) as u32;
            *b |= !frame.coverage.at(middle(i % calm.width), middle(i / calm.width));
        }
    }
    if black.count() == 0 {
        return black.inverse();
    }
    // Narrow dark cracks (lash shadows, the rim between lid and retina) do not let the outside in.
    let reach = (calm.width.max(calm.height) / 160).max(1);
    let grown = black.eroded(reach).connected_to_border().dilated(reach);
    black.and(&grown).inverse()
}

/// Light just within the rim of a round field as a share of that further in, below which the rim is the soft shadow of an iris in a picture from
/// too far, and no instrument's: narrow fields at hand whose black is black have 0.64 and more, a simulated frame from too far that was round 0.1.
const RIM: f32 = 0.3;

/// Diameter of the aperture where it is a disc, perhaps cut by the picture's borders.
///
/// The rim is sought from four sides' middles outwards: wherever it lies inside the picture it has to be on one circle,
/// to 1.5 % of its radius. `calm`: the brightness, smoothed a little.
fn round(aperture: &Mask, calm: &Plane) -> Option<f32> {
    let (w, h) = (aperture.width, aperture.height);
    let mut rim: Vec<(f32, f32)> = Vec::new();
    for y in (h / 16..h - h / 16).step_by((h / 60).max(1)) {
        let row = &aperture.data[y * w..(y + 1) * w];
        for x in
            [row.iter().position(|b| *b), row.iter().rposition(|b| *b).map(|x| x + 1)].into_iter().flatten()
        {
            if x > w / 50 && x + w / 50 < w {
                rim.push((x as f32, y as f32 + 0.5));
            }
        }
    }
    if rim.len() < 60 {
        return None;
    }
    let (cx, cy, r) = circle(&rim)?;
    let mut off: Vec<f32> = rim.iter().map(|(x, y)| ((x - cx).hypot(y - cy) - r).abs() / r).collect();
    let fits = filter::percentile(&mut off, 0.9) < 0.015 && 2.0 * r < 1.6 * w.max(h) as f32;
    (fits && lit_to_the_rim(calm, (cx, cy), r)).then_some(2.0 * r)
}

/// Whether the light of a disc goes on to its rim.
fn lit_to_the_rim(p: &Plane, (cx, cy): (f32, f32), r: f32) -> bool {
    let ring = |from: f32, to: f32| {
        let (mut sum, mut n) = (0.0f32, 0.0f32);
        for y in (0..p.height).step_by(3) {
            for (x, v) in p.row(y).iter().enumerate().step_by(3) {
                let far = (x as f32 + 0.5 - cx).hypot(y as f32 + 0.5 - cy) / r;
                if (from..to).contains(&far) {
                    sum += v;
                    n += 1.0;
                }
            }
        }
        sum / n.max(1.0)
    };
    ring(0.95, 0.985) > RIM * ring(0.75, 0.85)
}

/// Levels that stray light outside the aperture stays below: 10 and 20 of 255.
const STRAY: [f32; 2] = [0.04, 0.08];

/// Share of the pixels that have to be lit within the circle and dark outside it: in discs at hand 0.998 and more, in simulated wide frames
/// without their corners, which were taken for discs, up to 0.989.
const AGREE: f64 = 0.994;

/// The same for a disc whose surroundings are not quite black: everything inside one circle is brighter than a level,
/// everything outside is darker. Diameter and disc.
fn stray_lit(value: &Plane) -> Option<(f32, Mask)> {
    let (w, h) = (value.width, value.height);
    STRAY.into_iter().find_map(|limit| {
        let mut rim: Vec<(f32, f32)> = Vec::new();
        let rows: Vec<usize> = (h / 16..h - h / 16).step_by((h / 60).max(1)).collect();
        for y in &rows {
            let lit = |t: &[f32]| t.iter().all(|v| *v > limit);
            let row = value.row(*y);
            let ends = [row.windows(4).position(lit), row.windows(4).rposition(lit).map(|x| x + 4)];
            rim.extend(
                ends.into_iter()
                    .flatten()
                    .filter(|x| *x > w / 50 && x + w / 50 < w)
                    .map(|x| (x as f32, *y as f32 + 0.5)),
            );
        }
        for _ in 0..3 {
            if rim.len() < 60 {
                return None;
            }
            let (cx, cy, r) = circle(&rim)?;
            let mut off: Vec<f32> = rim.iter().map(|(x, y)| ((x - cx).hypot(y - cy) - r).abs()).collect();
            let most = filter::percentile(&mut off.clone(), 0.85).max(0.01 * r);
            let mut keep = off.drain(..).map(|o| o <= most);
            rim.retain(|_| keep.next().unwrap_or(true));
        }
        let (cx, cy, r) = circle(&rim)?;
        let (mut agree, mut all) = (0usize, 0usize);
        for y in rows {
            for (x, v) in value.row(y).iter().enumerate() {
                let far = (x as f32 + 0.5 - cx).hypot(y as f32 + 0.5 - cy) / r;
                if (far - 1.0).abs() > 0.02 {
                    agree += usize::from((*v > limit) == (far < 1.0));
                    all += 1;
                }
            }
        }
        let disc = Mask::from_fn(w, h, |x, y| (x as f32 + 0.5 - cx).hypot(y as f32 + 0.5 - cy) < 0.995 * r);
        let fits = agree as f64 > AGREE * all as f64 && 2.0 * r < 1.6 * w.max(h) as f32;
        (fits && lit_to_the_rim(value, (cx, cy), r)).then_some((2.0 * r, disc))
    })
}

/// Least-squares circle through points (Kåsa 1976, from memory).
fn circle(points: &[(f32, f32)]) -> Option<(f32, f32, f32)> {
    let n = points.len() as f64;
    let mean = |f: &dyn Fn(f64, f64) -> f64| {
        points.iter().map(|(x, y)| f(f64::from(*x), f64::from(*y))).sum::<f64>() / n
    };
    let (mx, my) = (mean(&|x, _| x), mean(&|_, y| y));
    let m = |f: &dyn Fn(f64, f64) -> f64| mean(&|x, y| f(x - mx, y - my));
    let (uu, vv, uv) = (m(&|u, _| u * u), m(&|_, v| v * v), m(&|u, v| u * v));
    let (a, b) = (m(&|u, v| u * (u * u + v * v)) / 2.0, m(&|u, v| v * (u * u + v * v)) / 2.0);
    let det = uu * vv - uv * uv;
    if det < 1e-9 {
        return None;
    }
    let (cu, cv) = ((a * vv - b * uv) / det, (b * uu - a * uv) / det);
    #[allow(clippy::cast_possible_truncation)] // rounding to f32 is meant
    Some(((cu + mx) as f32, (cv + my) as f32, (cu * cu + cv * cv + uu + vv).sqrt() as f32))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A lit shape on ground that is not quite black: a disc, or one that is longer by that share and lower by it.
    fn lit(longer: f32) -> Plane {
        Plane::from_fn(240, 200, |x, y| {
            let (u, v) = ((x as f32 + 0.5 - 120.0) / 96.0, (y as f32 + 0.5 - 100.0) / 96.0);
            if (u / (1.0 + longer)).hypot(v * (1.0 + longer)) < 1.0 { 0.4 } else { 0.02 }
        })
    }

    #[test]
    fn wide_fields_without_their_corners_are_no_discs() {
        let (diameter, _) = stray_lit(&lit(0.0)).unwrap();
        assert!((diameter - 192.0).abs() < 2.0, "{diameter}");
        assert!(stray_lit(&lit(0.04)).is_none());
    }
}
