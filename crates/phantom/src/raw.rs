//! A frame as it is before projection: with the uneven stretch that such frames have.

use crate::render::Rendered;
use rayon::prelude::*;
use serrata_frame::{Coverage, Frame, Pixels, Samples};
use serrata_words::{Point, Region};

/// Stretch along the horizontal against the vertical (Oishi et al., IOVS 2014;55:2424: 1.12).
const ACROSS: f64 = 1.12;
/// Magnification in the periphery against the middle: 2.0 across and 1.5 down (the same source). A stereographic
/// picture magnifies 2.0 at 90°, so the height is pressed together by this much at its ends.
const DOWN: f64 = 0.25;

/// Place in the raw frame of a place in the projected one; both −1 to 1 across the width.
fn forth(p: [f64; 2]) -> [f64; 2] {
    [ACROSS * p[0], p[1] * (1.0 - DOWN / 3.0 * (p[1] * p[1]).min(1.0))]
}

/// The other way, by Newton's steps.
fn back(q: [f64; 2]) -> [f64; 2] {
    let mut y = q[1];
    for _ in 0..6 {
        let slope = 1.0 - DOWN * (y * y).min(1.0);
        y -= (forth([0.0, y])[1] - q[1]) / slope;
    }
    [q[0] / ACROSS, y]
}

/// Stretches a projected frame; outlines, rows and landmarks of the truth go with it. What leaves the picture at the
/// ends is lost. The frame no longer says its view angle.
pub(crate) fn stretch(made: Rendered) -> Rendered {
    let Rendered { frame, mut truth } = made;
    let (w, h) = (frame.pixels.width(), frame.pixels.height());
    let half = [f64::from(w) / 2.0, f64::from(h) / 2.0];
    let to = |p: Point| {
        let q = forth([(p[0] - half[0]) / half[0], (p[1] - half[1]) / half[0]]);
        [q[0] * half[0] + half[0], q[1] * half[0] + half[1]]
    };
    let region = |r: &mut Region| {
        for ring in r.polygons.iter_mut().chain(&mut r.holes) {
            *ring = serrata_eye::densify(ring, 8.0)
                .into_iter()
                .map(|p| {
                    let [x, y] = to(p);
                    [x.clamp(0.0, f64::from(w)), y]
                })
                .collect();
        }
    };
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // cut to the picture
    let row = |r: u32| to([0.0, f64::from(r)])[1].round().clamp(0.0, f64::from(h)) as u32;
    region(&mut truth.visible_retina);
    for f in &mut truth.findings {
        region(&mut f.place);
        f.rows = f.rows.map(|r| r.map(row));
    }
    for m in &mut truth.movements {
        m.rows = m.rows.map(row);
    }
    let [dx, dy] = to([truth.disc.x, truth.disc.y]);
    (truth.disc.x, truth.disc.y) = (dx, dy);
    let [fx, fy] = to([truth.fovea.x, truth.fovea.y]);
    (truth.fovea.x, truth.fovea.y) = (fx, fy);
    truth.raw = true;
    let channels = usize::from(frame.pixels.channels());
    let Samples::U8(from) = frame.pixels.samples() else { return Rendered { frame, truth } };
    let wide = w as usize;
    let mut out = vec![0u8; from.len()];
    out.par_chunks_mut(wide * channels).enumerate().for_each(|(y, line)| {
        #[allow(clippy::cast_precision_loss)] // picture sides
        for (x, pixel) in line.chunks_exact_mut(channels).enumerate() {
            let q = [(x as f64 + 0.5 - half[0]) / half[0], (y as f64 + 0.5 - half[1]) / half[0]];
            let [u, v] = back(q);
            let at = [u * half[0] + half[0] - 0.5, v * half[0] + half[1] - 0.5];
            for (c, o) in pixel.iter_mut().enumerate() {
                *o = between(from, [wide, h as usize], channels, c, at);
            }
        }
    });
    let mut facts = frame.facts.clone();
    facts.centre_view_angle_deg = None;
    #[allow(clippy::expect_used)] // as many samples as before
    let pixels = Pixels::new(w, h, frame.pixels.channels(), Samples::U8(out.into())).expect("the same size");
    Rendered { frame: Frame { pixels, coverage: Coverage::full(w, h), facts }, truth }
}

#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, clippy::cast_precision_loss)] // cut to the picture
fn between(from: &[u8], [w, h]: [usize; 2], channels: usize, c: usize, at: [f64; 2]) -> u8 {
    let x = at[0].clamp(0.0, (w - 1) as f64);
    let y = at[1].clamp(0.0, (h - 1) as f64);
    let (i, j) = (x as usize, y as usize);
    let (i2, j2) = ((i + 1).min(w - 1), (j + 1).min(h - 1));
    let (s, t) = (x - i as f64, y - j as f64);
    let p = |i: usize, j: usize| f64::from(from[(j * w + i) * channels + c]);
    ((p(i, j) * (1.0 - s) + p(i2, j) * s) * (1.0 - t) + (p(i, j2) * (1.0 - s) + p(i2, j2) * s) * t + 0.5)
        as u8
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn there_and_back(x in -1f64..1., y in -1f64..1.) {
            let p = back(forth([x, y]));
            prop_assert!((p[0] - x).abs() < 1e-9 && (p[1] - y).abs() < 1e-6);
        }
    }

    /// Oishi et al.: 1.12 times wider than high in the middle.
    #[test]
    fn the_middle_is_stretched_as_published() {
        let e = 1e-4;
        let (x, y) = (forth([e, 0.0])[0] / e, forth([0.0, e])[1] / e);
        assert!((x / y - 1.12).abs() < 1e-6);
    }
}
