//! Times one full-size frame with its truth: `pace [SIZE]`. Prints wall and, per stage, nothing else.

use serrata_phantom::{Eyeball, Scene};
use serrata_words::{Eye, Modality};
use std::time::Instant;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let size: u32 = std::env::args().nth(1).map_or(Ok(3600), |s| s.parse())?;
    let begun = Instant::now();
    let eye = Eyeball::grow(5, Eye::R);
    println!("grow {:.3} s", begun.elapsed().as_secs_f64());
    for modality in [Modality::Colour, Modality::Fa] {
        let mut scene = Scene::new(5, Eye::R, modality);
        scene.size = size;
        let begun = Instant::now();
        let made = eye.render(&scene);
        println!(
            "{modality} {size} {:.3} s, visible {:.4}",
            begun.elapsed().as_secs_f64(),
            made.truth.visible_fraction
        );
    }
    Ok(())
}
