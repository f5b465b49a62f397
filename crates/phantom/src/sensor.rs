//! From light to stored samples: haze, blur, covers, exposure, noise, eight bits.

use crate::aperture;
use crate::covers::{Acts, Covers, Layer};
use crate::noise::{bells, flat, ramp};
use crate::optics::Optics;
use crate::paint::Light;
use crate::scene::{Fault, Scene};
use crate::setup::{Setup, Tone};
use crate::surround::Surround;
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;
use rayon::prelude::*;
use serrata_words::{FindingKind, Modality};
use std::ops::Range;

/// The most that haze and cataract of full strength spread light over small angles, in the same pixels. Of two hazy real frames the edges are
/// hardly wider than of clear ones of their set, so how much of it there is differs from shot to shot.
const SCATTER: f64 = 8.0;
/// Spread over wide angles, as a share of the picture's width: most of what clouded media scatter goes there and veils what lies
/// around (as in the glare function of CIE 146:2002, whose tail falls about with the square of the angle, from memory; one width for it is
/// judgement).
const WIDE: f64 = 0.05;

/// Smears the light as defocus and haze do, before anything comes in front.
pub(crate) fn spread(light: &mut Light, scene: &Scene, optics: &Optics, covers: &Covers, media: [f64; 2]) {
    let full = f64::from(scene.instrument.width.max(1));
    let mut sigma2 = (Setup::of(scene).spot.clamp(0.0, 50.0) * f64::from(optics.size) / full).powi(2);
    // What the eye's own media do is the eye's haze: a cataract spreads a little more and dims the green.
    let mut veil = media[0].max(0.8 * media[1]);
    let scatter = SCATTER * Pcg64Mcg::seed_from_u64(scene.seed ^ 0x4a2e_0b17).random_range(0.0..1.0);
    sigma2 += (scatter * veil * f64::from(optics.size) / full).powi(2);
    if media[1] > 0.0 && light.channels.len() == 2 {
        #[allow(clippy::cast_possible_truncation)] // 0 to 1
        let keep = 1.0 - 0.35 * media[1] as f32;
        light.channels[1].par_iter_mut().for_each(|v| *v *= keep);
    }
    for fault in &scene.faults {
        match *fault {
            Fault::Blur { sigma } => sigma2 += (sigma * f64::from(optics.size) / full).powi(2),
            Fault::Haze { strength } => {
                veil = f64::max(veil, strength.clamp(0.0, 1.0));
                sigma2 += (scatter * veil * f64::from(optics.size) / full).powi(2);
            }
            _ => {}
        }
    }
    let n = optics.size as usize;
    if sigma2 > 0.04 && sigma2.is_finite() {
        light.channels.iter_mut().for_each(|c| blur(c, n, sigma2.sqrt()));
    }
    regional(light, scene, optics, covers);
    if veil > 0.0 {
        #[allow(clippy::cast_possible_truncation)] // 0 to 1
        let veil = veil as f32;
        // Dye has nothing but itself to veil it, and whoever sets the gain turns it up (judgement); other light comes back from the front of the
        // eye, too.
        let (level, of_it, gain) =
            if scene.modality.is_dye() { (0.10, 0.1, 1.0 + 0.6 * veil) } else { (0.30, 0.5, 1.0) };
        for (k, c) in light.channels.iter_mut().enumerate() {
            let level = if k == 1 { level * 0.9 } else { level };
            let mut around = c.clone();
            blur(&mut around, n, WIDE * f64::from(optics.size));
            c.par_iter_mut().zip(&around).for_each(|(v, around)| {
                *v = gain * (*v * (1.0 - 0.8 * veil) + 0.8 * veil * (of_it * level + (1.0 - of_it) * around));
            });
        }
    }
}

/// Blurs where a soft patch or a smear lies: each mixes the light with a blurred copy of itself.
fn regional(light: &mut Light, scene: &Scene, optics: &Optics, covers: &Covers) {
    let n = optics.size as usize;
    let scale = f64::from(optics.size) / f64::from(scene.instrument.width.max(1));
    let mut sigmas = scene.faults.iter().filter_map(|f| match f {
        Fault::RegionalBlur { sigma, .. } => Some(*sigma),
        _ => None,
    });
    for layer in &covers.layers {
        let sigma = match layer.kind {
            FindingKind::Blur => sigmas.next().unwrap_or(0.0),
            // Grease scatters over a few pixels (judgement).
            FindingKind::Smear => 9.0,
            _ => continue,
        } * scale;
        if !(sigma > 0.2 && sigma.is_finite()) {
            continue;
        }
        for plane in &mut light.channels {
            let mut soft = plane.clone();
            blur(&mut soft, n, sigma);
            plane.par_chunks_mut(n).zip(soft.par_chunks(n)).enumerate().for_each(|(y, (row, soft))| {
                #[allow(clippy::cast_possible_truncation)] // picture sides
                for (x, (v, s)) in row.iter_mut().zip(soft).enumerate() {
                    *v += (s - *v) * covers.between(&layer.alpha, x as u32, y as u32);
                }
            });
        }
    }
}

/// Gaussian blur of a plane with `n` columns by three box blurs each way.
pub(crate) fn blur(plane: &mut Vec<f32>, n: usize, sigma: f64) {
    let most = n.min(plane.len() / n.max(1)).saturating_sub(1) / 2;
    let radii = boxes(sigma).map(|r| r.min(most));
    plane.par_chunks_exact_mut(n).for_each_init(
        || vec![0f32; n],
        |line, row| {
            for r in radii.into_iter().filter(|r| *r > 0) {
                line.copy_from_slice(row);
                box_line(line, row, r);
            }
        },
    );
    let mut other = Vec::new();
    for r in radii.into_iter().filter(|r| *r > 0) {
        other.resize(plane.len(), 0.0);
        box_columns(plane, &mut other, n, r);
        std::mem::swap(plane, &mut other);
    }
}

/// Radii of three boxes whose variances add up to σ² as nearly as whole widths can (Kovesi 2010).
fn boxes(sigma: f64) -> [usize; 3] {
    let ideal = (4.0 * sigma * sigma + 1.0).sqrt();
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // pictures are small
    let low = (((ideal.min(4096.0) as usize).saturating_sub(1)) / 2) * 2 + 1;
    #[allow(clippy::cast_precision_loss)] // small
    let l = low as f64;
    let many =
        ((12.0 * sigma * sigma - 3.0 * l * l - 12.0 * l - 9.0) / (-4.0 * l - 4.0)).round().clamp(0.0, 3.0);
    [0.0, 1.0, 2.0].map(|i| if i < many { (low - 1) / 2 } else { low.div_ceil(2) })
}

#[allow(clippy::cast_precision_loss)] // small
fn box_line(from: &[f32], to: &mut [f32], r: usize) {
    let n = from.len();
    let scale = 1.0 / (2 * r + 1) as f32;
    let at = |i: isize| from[i.clamp(0, n as isize - 1) as usize];
    let mut sum: f32 = (-(r as isize)..=r as isize).map(at).sum();
    for (i, o) in to.iter_mut().enumerate() {
        *o = sum * scale;
        let i = i as isize;
        sum += at(i + r as isize + 1) - at(i - r as isize);
    }
}

/// Rows whose sums are run down from one start: fixed, so that the same bytes come out of any number of threads.
const RUN: usize = 96;

#[allow(clippy::cast_precision_loss)] // small
fn box_columns(from: &[f32], to: &mut [f32], n: usize, r: usize) {
    let scale = 1.0 / (2 * r + 1) as f32;
    let rows = from.len() / n;
    let row = |i: isize| &from[i.clamp(0, rows as isize - 1) as usize * n..][..n];
    to.par_chunks_mut(n * RUN).enumerate().for_each(|(chunk, out)| {
        let first = (chunk * RUN) as isize;
        let mut sum = vec![0f32; n];
        for i in first - r as isize..=first + r as isize {
            for (s, v) in sum.iter_mut().zip(row(i)) {
                *s += v;
            }
        }
        for (i, out) in out.chunks_exact_mut(n).enumerate() {
            let i = first + i as isize;
            let (coming, going) = (row(i + r as isize + 1), row(i - r as isize));
            for (((o, s), a), b) in out.iter_mut().zip(&mut sum).zip(coming).zip(going) {
                *o = *s * scale;
                *s += a - b;
            }
        }
    });
}

/// Colour of skin and iris as this kind of picture shows them: red and green, or grey twice.
fn skin(modality: Modality, kind: FindingKind) -> [f32; 2] {
    let lid = matches!(kind, FindingKind::Lid | FindingKind::Blink | FindingKind::TooClose);
    match modality {
        Modality::Colour | Modality::Red | Modality::Green => {
            if lid {
                [0.80, 0.88]
            } else {
                [0.13, 0.09]
            }
        }
        Modality::Faf => {
            if lid {
                [0.30; 2]
            } else {
                [0.05; 2]
            }
        }
        Modality::Infrared => {
            if lid {
                [0.75; 2]
            } else {
                [0.12; 2]
            }
        }
        Modality::Fa | Modality::Icg => {
            if lid {
                [0.14; 2]
            } else {
                [0.02; 2]
            }
        }
    }
}

/// Puts the covers on, then exposes: one byte a sample, interleaved; colour gets an empty blue channel.
pub(crate) fn expose(light: &Light, scene: &Scene, optics: &Optics, covers: &Covers) -> Vec<u8> {
    let n = optics.size as usize;
    let colour = light.channels.len() == 2;
    let stride = if colour { 3 } else { 1 };
    let setup = Setup::of(scene);
    let gain = gain(scene);
    #[allow(clippy::cast_possible_truncation)] // factors
    let gains = setup.exposure.map(|e| e as f32 * gain);
    let tone = Tone::new(setup.contrast);
    #[allow(clippy::cast_possible_truncation)] // a factor
    let noise = setup.noise as f32;
    let pick = usize::from(scene.modality != Modality::Red);
    let about = Surround::of(scene);
    let mut out = vec![0u8; n * optics.height as usize * stride];
    out.par_chunks_mut(n * stride).enumerate().for_each_init(
        || [(); 3].map(|()| vec![0f32; n]),
        |[first, second, bell], (row, out)| {
            #[allow(clippy::cast_possible_truncation)] // picture sides
            let y = row as u32;
            let inside = aperture::columns(y, optics.size, optics.height);
            let span = inside.start as usize..inside.end as usize;
            let mut lines = [first, second];
            for (k, line) in lines.iter_mut().enumerate() {
                line.fill(0.0);
                let plane = &light.channels[k.min(light.channels.len() - 1)];
                line[span.clone()].copy_from_slice(&plane[row * n..][span.clone()]);
            }
            covered(&mut lines, scene, optics, covers, y, &inside);
            let kept = if colour { 0..2 } else { pick..pick + 1 };
            for (k, line) in kept.clone().zip(&mut lines[kept]) {
                dim(line, optics, y, &inside);
                if let Some(about) = &about {
                    for x in (0..inside.start).chain(inside.end..optics.size) {
                        let [u, v] = optics.centred(f64::from(x) + 0.5, f64::from(y) + 0.5);
                        line[x as usize] = about.light(u, v)[k];
                    }
                }
                let lit = if about.is_some() { 0..n } else { span.clone() };
                for v in &mut line[lit] {
                    *v = tone.at(*v * gains[k]);
                }
                let k = if colour { k } else { 0 };
                #[allow(clippy::cast_possible_truncation)] // one of two channels
                let seed = (scene.shot as u32).wrapping_mul(2).wrapping_add(k as u32) ^ scene.seed as u32;
                bells(y, seed, bell);
                for ((o, v), b) in out[k..].iter_mut().step_by(stride).zip(line.iter()).zip(bell.iter()) {
                    *o = quantise(*v, noise * b);
                }
            }
        },
    );
    out
}

/// Takes the rim's light from a row.
fn dim(line: &mut [f32], optics: &Optics, y: u32, inside: &Range<u32>) {
    // Further in than the rim reaches all light comes through.
    let clear = aperture::columns_below(y, optics.size, optics.height, -RIM - 1e-3);
    let ends = [
        inside.start..clear.start.clamp(inside.start, inside.end),
        clear.end.max(clear.start).clamp(inside.start, inside.end)..inside.end,
    ];
    let ends = if clear.is_empty() { [inside.clone(), 0..0] } else { ends };
    for x in ends.into_iter().flatten() {
        line[x as usize] *= rim(x, y, optics);
    }
}

#[allow(clippy::cast_possible_truncation)] // factors
fn gain(scene: &Scene) -> f32 {
    let one = |f: &Fault| match f {
        Fault::Underexposed { gain } | Fault::Overexposed { gain } => Some(*gain as f32),
        _ => None,
    };
    scene.faults.iter().filter_map(one).product::<f32>().clamp(0.0, 100.0)
}

/// Puts everything that is in front of it before a row of light (both channels).
fn covered(
    [first, second]: &mut [&mut Vec<f32>; 2],
    scene: &Scene,
    optics: &Optics,
    covers: &Covers,
    y: u32,
    inside: &Range<u32>,
) {
    for layer in covers.layers.iter().filter(|l| l.rows.contains(&y)) {
        for x in layer.columns.start.max(inside.start)..layer.columns.end.min(inside.end) {
            let alpha = covers.between(&layer.alpha, x, y);
            if alpha > 0.0 {
                let i = x as usize;
                let tone = || covers.between(&layer.tone, x, y);
                [first[i], second[i]] = behind([first[i], second[i]], layer, alpha, scene.modality, tone);
            }
        }
    }
    if covers.blinks.is_empty() {
        return;
    }
    for x in inside.clone().filter(|x| covers.blinked(*x, y, optics.sideways)) {
        #[allow(clippy::cast_precision_loss)] // picture sides
        let (u, w) = (x as f32 / optics.size as f32, y as f32 / optics.size as f32);
        #[allow(clippy::cast_possible_truncation)] // a seed
        let tone = 0.75 + 0.25 * flat(u * 5.0, w * 9.0, scene.shot as u32);
        let i = x as usize;
        [first[i], second[i]] = skin(scene.modality, FindingKind::Blink).map(|c| c * tone);
    }
}

/// Light behind one layer.
fn behind(v: [f32; 2], layer: &Layer, alpha: f32, modality: Modality, tone: impl Fn() -> f32) -> [f32; 2] {
    match layer.acts {
        Acts::Takes => v.map(|c| c * (1.0 - alpha)),
        Acts::Covers => {
            let (tone, skin) = (tone(), skin(modality, layer.kind));
            [0, 1].map(|k: usize| v[k] * (1.0 - alpha) + alpha * tone * skin[k])
        }
        Acts::Adds => {
            // Barrier filters hold most of the instrument's own light back.
            let passes = if modality.is_dye() || modality == Modality::Faf { 0.5 } else { 1.0 };
            v.map(|c| c + alpha * tone() * passes)
        }
        Acts::Veils if layer.kind == FindingKind::Smear => {
            let grey = if modality.is_dye() { 0.08 } else { 0.26 };
            v.map(|c| c + (grey - c) * 0.6 * alpha)
        }
        Acts::Veils => v,
    }
}

/// How far in the rim takes light, in halves of the picture's width.
const RIM: f64 = 0.08;

/// Light that the aperture's rim lets through: it falls off over a few hundredths of the picture.
#[allow(clippy::cast_possible_truncation)] // 0 to 1
pub(crate) fn rim(x: u32, y: u32, optics: &Optics) -> f32 {
    let [u, v] = optics.centred(f64::from(x) + 0.5, f64::from(y) + 0.5);
    let d = aperture::signed(u, v);
    (0.45 + 0.55 * ramp(0.0, RIM as f32, -d as f32)) * ramp(0.0, 0.006, -d as f32)
}

/// Shot noise, read noise (`noise`: of mean 0 and standard deviation 1) and eight bits.
fn quantise(v: f32, noise: f32) -> u8 {
    let noisy = v + noise * (0.0015 + 0.008 * v.max(0.0).sqrt());
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // cut to a byte
    {
        (noisy * 255.0 + 1.2).clamp(0.0, 255.0) as u8
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The plain reference: a spot becomes a Gaussian of that variance, and no light is lost.
    #[test]
    fn blur_spreads_a_spot_by_sigma() {
        for sigma in [1.5, 4.0, 7.3] {
            let n = 101;
            let mut p = vec![0f32; n * n];
            p[50 * n + 50] = 1.0;
            blur(&mut p, n, sigma);
            let sum: f32 = p.iter().sum();
            let var = p
                .iter()
                .enumerate()
                .map(|(i, v)| f64::from(*v) * ((i % n) as f64 - 50.0).powi(2))
                .sum::<f64>();
            assert!((sum - 1.0).abs() < 1e-3);
            assert!((var.sqrt() / sigma - 1.0).abs() < 0.08, "{sigma} {}", var.sqrt());
        }
    }
}
