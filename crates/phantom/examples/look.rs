//! Writes a handful of simulated frames as PNG, to be looked at: `look FOLDER [SIZE] [SEED]`.

use serrata_frame::Samples;
use serrata_phantom::{Eyeball, Fault, Scene};
use serrata_words::{Eye, Gaze, Modality, Side};
use std::time::Instant;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut args = std::env::args().skip(1);
    let folder = std::path::PathBuf::from(args.next().ok_or("say where to write")?);
    let size: u32 = args.next().map_or(Ok(900), |s| s.parse())?;
    let seed: u64 = args.next().map_or(Ok(1), |s| s.parse())?;
    std::fs::create_dir_all(&folder)?;
    let begun = Instant::now();
    let eyes = [Eyeball::grow(seed, Eye::R), Eyeball::grow(seed, Eye::L)];
    eprintln!("two eyes grown in {:.0} ms", begun.elapsed().as_secs_f64() * 1e3);
    let row = |share: f64| (share * f64::from(size)) as u32;
    let mid = [0.6, 0.4];
    let shots: Vec<(&str, usize, Modality, Gaze, Vec<Fault>)> = vec![
        ("colour_r", 0, Modality::Colour, Gaze::Primary, vec![]),
        ("colour_l", 1, Modality::Colour, Gaze::Primary, vec![]),
        ("colour_up", 0, Modality::Colour, Gaze::Up, vec![]),
        ("colour_left", 0, Modality::Colour, Gaze::Left, vec![]),
        ("faf", 0, Modality::Faf, Gaze::Primary, vec![]),
        ("fa", 0, Modality::Fa, Gaze::Primary, vec![]),
        ("icg", 0, Modality::Icg, Gaze::Primary, vec![]),
        ("infrared", 0, Modality::Infrared, Gaze::Primary, vec![]),
        ("blink", 0, Modality::Colour, Gaze::Primary, vec![Fault::Blink { rows: [row(0.3), row(0.38)] }]),
        ("lid", 0, Modality::Colour, Gaze::Primary, vec![Fault::Lid { side: Side::Bottom, share: 0.2 }]),
        ("lid_top", 0, Modality::Fa, Gaze::Primary, vec![Fault::Lid { side: Side::Top, share: 0.15 }]),
        (
            "lash",
            0,
            Modality::Colour,
            Gaze::Primary,
            vec![Fault::Lash { side: Side::Bottom, length: 0.3, count: 14 }],
        ),
        ("too_close", 0, Modality::Colour, Gaze::Primary, vec![Fault::TooClose { strength: 0.6 }]),
        ("too_far", 0, Modality::Colour, Gaze::Primary, vec![Fault::TooFar { strength: 0.6 }]),
        (
            "iris_shadow",
            0,
            Modality::Colour,
            Gaze::Primary,
            vec![Fault::IrisShadow { side: Side::Left, share: 0.25 }],
        ),
        ("reflex", 0, Modality::Colour, Gaze::Primary, vec![Fault::Reflex { at: mid, radius: 0.05 }]),
        (
            "floater",
            0,
            Modality::Colour,
            Gaze::Primary,
            vec![Fault::Floater { at: mid, radius: 0.04, dark: 0.7 }],
        ),
        (
            "smear",
            0,
            Modality::Colour,
            Gaze::Primary,
            vec![Fault::Smear { at: mid, radius: 0.15, strength: 0.8 }],
        ),
        ("dust", 0, Modality::Colour, Gaze::Primary, vec![Fault::Dust { count: 30, deposit: 1 }]),
        (
            "regional_blur",
            0,
            Modality::Colour,
            Gaze::Primary,
            vec![Fault::RegionalBlur { at: mid, radius: 0.2, sigma: 14.0 }],
        ),
        ("blur", 0, Modality::Colour, Gaze::Primary, vec![Fault::Blur { sigma: 9.0 }]),
        ("haze", 0, Modality::Colour, Gaze::Primary, vec![Fault::Haze { strength: 0.7 }]),
        (
            "off_centre",
            0,
            Modality::Colour,
            Gaze::Primary,
            vec![Fault::OffCentre { side: Side::Left, share: 0.2 }],
        ),
        (
            "motion",
            0,
            Modality::Colour,
            Gaze::Primary,
            vec![Fault::Motion { row: row(0.55), shift_deg: 6.0 }],
        ),
        ("dark", 0, Modality::Colour, Gaze::Primary, vec![Fault::Underexposed { gain: 0.3 }]),
        ("bright", 0, Modality::Colour, Gaze::Primary, vec![Fault::Overexposed { gain: 2.4 }]),
    ];
    for (shot, (name, eye, modality, gaze, faults)) in (0..).zip(shots) {
        let mut scene = Scene::new(seed, if eye == 0 { Eye::R } else { Eye::L }, modality);
        (scene.gaze, scene.faults, scene.size, scene.shot) = (gaze, faults, size, shot);
        let begun = Instant::now();
        let made = eyes[eye].render(&scene);
        let seconds = begun.elapsed().as_secs_f64();
        eprintln!(
            "{name:12} {seconds:.2} s  visible {:.3}  {}",
            made.truth.visible_fraction, made.truth.expected
        );
        let p = &made.frame.pixels;
        let Samples::U8(bytes) = p.samples() else { continue };
        let kind = if p.channels() == 3 { image::ColorType::Rgb8 } else { image::ColorType::L8 };
        image::save_buffer(folder.join(format!("{name}.png")), bytes, p.width(), p.height(), kind)?;
        std::fs::write(folder.join(format!("{name}.json")), serde_json::to_string_pretty(&made.truth)?)?;
    }
    Ok(())
}
