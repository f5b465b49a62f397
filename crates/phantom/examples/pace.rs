//! How long frames take: `pace colour` makes one 3900 × 3072 colour frame with its truth, `pace dye` a run of 60 frames
//! at 2000 × 2000. Prints wall seconds and the process's peak memory; run it under `time` for CPU seconds.

use serrata_phantom::{DyeRun, Eyeball, Scene};
use serrata_words::{Eye, Modality};
use std::time::Instant;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let what = std::env::args().nth(1).unwrap_or_default();
    let eye = Eyeball::grow(1, Eye::R);
    let begun = Instant::now();
    if what == "dye" {
        let scene = Scene { size: 2000, ..Scene::new(1, Eye::R, Modality::Fa) };
        let run = DyeRun::new(scene, 60, &[Modality::Fa])?;
        let seen: f64 = run.frames(&eye).map(|f| f.truth.visible_fraction).sum();
        println!("60 frames, mean visible share {:.3}", seen / 60.0);
    } else {
        let scene = Scene { size: 3900, height: Some(3072), ..Scene::new(1, Eye::R, Modality::Colour) };
        let made = eye.render(&scene);
        println!("colour frame, visible share {:.3}", made.truth.visible_fraction);
    }
    let peak = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let peak = peak.lines().find(|l| l.starts_with("VmHWM")).unwrap_or("VmHWM unknown").to_owned();
    println!("{:.2} s, {peak}", begun.elapsed().as_secs_f64());
    Ok(())
}
