//! Real frames warped and spoiled in a known way.

use crate::real::{kind, match_of, placed, read, shared, vessels};
use crate::{interval, quantile, say};
use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, Normal};
use rand_pcg::Pcg64Mcg;
use serrata_assemble::Lens;
use serrata_eye::{Rotation, Stereographic};
use serrata_frame::{Frame, Pixels, Samples};
use serrata_words::{Modality, Point};
use std::path::PathBuf;

/// A frame drawn anew: each new pixel comes from a place of the old one; then light, noise, and a lid over the top rows.
fn drawn(
    f: &Frame,
    from: impl Fn(Point) -> Point,
    light: f32,
    noise: f32,
    lid: f64,
    rng: &mut Pcg64Mcg,
) -> Frame {
    let (w, h, c) = (f.pixels.width(), f.pixels.height(), f.pixels.channels());
    let grain = Normal::new(0.0f32, noise).unwrap();
    let mut out = Vec::with_capacity((w * h) as usize * usize::from(c));
    for y in 0..h {
        for x in 0..w {
            let p = from([f64::from(x) + 0.5, f64::from(y) + 0.5]);
            let (px, py) = (p[0] - 0.5, p[1] - 0.5);
            let inside = px >= 0.0 && py >= 0.0 && px < f64::from(w - 1) && py < f64::from(h - 1);
            for k in 0..c {
                let v = if f64::from(y) < lid * f64::from(h) {
                    0.02
                } else if inside {
                    let (i, j) = (px as u32, py as u32);
                    let (fx, fy) = ((px - f64::from(i)) as f32, (py - f64::from(j)) as f32);
                    let at = |dx, dy| f.pixels.at(i + dx, j + dy, k);
                    let (top, low) =
                        (at(0, 0) + (at(1, 0) - at(0, 0)) * fx, at(0, 1) + (at(1, 1) - at(0, 1)) * fx);
                    top + (low - top) * fy
                } else {
                    0.0
                };
                out.push(((v * light * 255.0 + grain.sample(rng)).round()).clamp(0.0, 255.0) as u8);
            }
        }
    }
    Frame::bare(Pixels::new(w, h, c, Samples::U8(out.into())).unwrap())
}

/// Sphere rotations of 5 to 40°, scale to ± 10 %, noise, the top rows under a lid.
pub fn warps(n: usize) {
    let mut rng = Pcg64Mcg::seed_from_u64(3);
    let stems: Vec<String> =
        (1..5).flat_map(|e| ["colour", "fa_early", "fa_late"].map(|k| format!("eye0{e}_{k}"))).collect();
    let cases: Vec<&String> = stems.iter().chain(&stems).take(n).collect();
    let mut errors = Vec::new();
    for stem in &cases {
        let f = read(&shared().join(format!("uwf_triplets/{stem}.png")));
        let (w, h) = (f.pixels.width(), f.pixels.height());
        let d = 220.0 / f64::from(w);
        let lens = Stereographic { width: w, height: h, deg_per_px: [d, d] };
        let tilt = rng.random_range(5.0..40.0);
        let turn = Rotation::turning(rng.random_range(-8.0..8.0))
            .then(Rotation::tilting(rng.random_range(0.0..360.0), tilt));
        let scale = rng.random_range(0.9..1.1);
        let middle = [f64::from(w) / 2.0, f64::from(h) / 2.0];
        let from = |p: Point| {
            let q = [0, 1].map(|k| middle[k] + (p[k] - middle[k]) / scale);
            lens.to_picture(turn.apply(lens.to_direction(q)))
        };
        let warped = drawn(&f, from, 1.0, 4.0, 0.08, &mut rng);
        let known = Some(Lens::known(lens));
        let (a, b) = (vessels(&f, kind(stem), known), vessels(&warped, kind(stem), known));
        let found = match_of(&a, &b);
        let yes = placed(found.as_ref());
        let score = found.as_ref().map_or(0.0, |f| f.1.evidence.score());
        let Some((pose, m)) = found.filter(|_| yes) else {
            println!("  {stem}: {tilt:.0}°, scale {scale:.2}: not placed, score {score:.1}");
            continue;
        };
        let mut off = Vec::new();
        for y in (20..h).step_by(20) {
            for x in (20..w).step_by(20) {
                let p = [f64::from(x), f64::from(y)];
                let (truth, got) = (from(p), pose.to_frame(m.pose.to_sphere(p)));
                if truth[0] > 0.0 && truth[1] > 0.0 && truth[0] < f64::from(w) && truth[1] < f64::from(h) {
                    off.push((truth[0] - got[0]).hypot(truth[1] - got[1]));
                }
            }
        }
        errors.push(quantile(&mut off, 0.5));
        println!(
            "  {stem}: {tilt:.0}°, scale {scale:.2}: median {:.2} px, score {score:.1}",
            errors[errors.len() - 1]
        );
    }
    say(
        "known warps of real frames placed",
        &format!("{} of {}", errors.len(), cases.len()),
        cases.len(),
        errors.len() == cases.len(),
    );
    let middle = |v: &mut Vec<f64>| quantile(v, 0.5);
    say(
        "known warps: median error, pixels, median over frames (≤ 1)",
        &interval(&errors, middle),
        errors.len(),
        middle(&mut errors.clone()) <= 1.0,
    );
}

/// Two spoiled copies of one narrow picture: turned, scaled, shifted, darker or brighter, noisy.
pub fn copies(n: usize) {
    let mut files: Vec<PathBuf> = ["hrf", "chase_db1"]
        .iter()
        .flat_map(|s| std::fs::read_dir(shared().join(s)).unwrap().map(|f| f.unwrap().path()))
        .filter(|p| p.extension().is_some_and(|e| e != "csv") && !p.to_string_lossy().contains("vessels"))
        .collect();
    files.sort();
    let n = n.min(8 * files.len());
    let mut rng = Pcg64Mcg::seed_from_u64(5);
    let mut yes = 0;
    for k in 0..n {
        let file = &files[k % files.len()];
        let f = read(file);
        let mut copy = || {
            let (s, c) = f64::to_radians(rng.random_range(-6.0..6.0)).sin_cos();
            let scale = rng.random_range(0.95..1.05);
            let (w, h) = (f64::from(f.pixels.width()), f64::from(f.pixels.height()));
            let shift = [rng.random_range(-0.05..0.05) * w, rng.random_range(-0.05..0.05) * w];
            let from = |p: Point| {
                let (x, y) = ((p[0] - w / 2.0 - shift[0]) / scale, (p[1] - h / 2.0 - shift[1]) / scale);
                [w / 2.0 + c * x - s * y, h / 2.0 + s * x + c * y]
            };
            let light = rng.random_range(0.6..1.3);
            vessels(&drawn(&f, from, light, 5.0, 0.0, &mut rng), Modality::Colour, None)
        };
        let (a, b) = (copy(), copy());
        let found = match_of(&a, &b);
        if placed(found.as_ref()) {
            yes += 1;
        } else {
            println!("  not placed: {} {:?}", file.display(), found.map(|f| f.1.evidence));
        }
    }
    say(
        "two spoiled copies of one narrow picture placed (≥ 99 %)",
        &format!("{yes} of {n}"),
        n,
        yes * 100 >= 99 * n,
    );
}
