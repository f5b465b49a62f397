//! Writes simulated frames with and without faults, for limits that are fitted on the phantom alone: `faulty FOLDER
//! FIRST_SEED COUNT` makes COUNT eyes as colour and fluorescein, `KIND-I-FAULT.pnm` and the truth as `.json`; of each
//! eye one frame without a fault (`good`), and one with each fault at a strength drawn from the range that spoiled real
//! frames have too. Eyes are of the large and the small class in turn, drawn at some thousand pixels of width.

mod sets;

use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;
use serrata_phantom::{Eyeball, Fault, Health, Scene, Setup};
use serrata_words::{Eye, Modality, Side};
use std::path::Path;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let [folder, first, many] = args.as_slice() else { return Err("say FOLDER FIRST_SEED COUNT".into()) };
    let (first, many): (u64, u64) = (first.parse()?, many.parse()?);
    let folder = Path::new(folder);
    std::fs::create_dir_all(folder)?;
    for i in 0..many {
        let side = if i % 2 == 0 { Eye::R } else { Eye::L };
        let (class, width, height) = sets::CLASSES[(i / 2 % 2) as usize];
        let shrink = if class == "large" { 3 } else { 2 };
        let (width, height) = (width / shrink, height / shrink);
        let health = Health { conditions: sets::ailments(first + i, class == "small"), ..Health::default() };
        let eye = Eyeball::grow_with(first + i, side, &health)?;
        for modality in [Modality::Colour, Modality::Fa] {
            let mut plain = Scene::new(first + i, side, modality);
            sets::lay_out(&mut plain, first + i);
            (plain.shot, plain.size, plain.height) = (i, width, Some(height));
            plain.dye_s = if class == "small" { [25.0, 60.0, 300.0][(i % 3) as usize] } else { 40.0 };
            // Real frames are shrunk to this size, and the mean of so many pixels has less noise.
            let setup = sets::setup(first + i, class, modality);
            plain.setup = Some(Setup { noise: setup.noise / f64::from(shrink), ..setup });
            if class == "small" {
                plain.faults = sets::lids(first + i, modality);
                plain.surround = true;
            }
            let mut rng = Pcg64Mcg::seed_from_u64(first + i);
            // How much of a jump one line sees depends on how long the sweep takes: instruments differ, and the jumps that real frames are
            // spoiled with take no time at all (the range is judgement).
            plain.instrument.sweep_s = 0.4 * 10f64.powf(rng.random_range(0.0..1.0));
            sets::write(&eye, &plain, &folder.join(format!("{modality}-{i}-good")))?;
            for (name, fault) in faults(&mut rng, &plain) {
                let mut scene = plain.clone();
                scene.shot += 1000;
                scene.faults.push(fault);
                sets::write(&eye, &scene, &folder.join(format!("{modality}-{i}-{name}")))?;
            }
        }
    }
    Ok(())
}

/// One of each fault: blur σ 0.2 to 0.8 % of the width, gain 0.08 to 0.25 and 2.5 to 6, a lid over 6 to 25 % of the
/// lines, a jump of 1.2 to 5 % of the width, a side lost over 15 to 40 % of the field, haze from 0.3.
fn faults(rng: &mut Pcg64Mcg, scene: &Scene) -> [(&'static str, Fault); 7] {
    let lines = scene.height.unwrap_or(scene.size);
    let long = lines * rng.random_range(6..=25) / 100;
    let top = rng.random_range(0..=lines - long);
    let full = f64::from(scene.instrument.width);
    let degrees = full * scene.instrument.degrees_per_pixel.unwrap_or(0.07);
    let side = if rng.random_bool(0.5) { Side::Left } else { Side::Right };
    let jump = degrees * rng.random_range(0.012..0.05) * if rng.random_bool(0.5) { 1.0 } else { -1.0 };
    let share = rng.random_range(0.15..0.40);
    let shaded = rng.random_bool(0.5);
    [
        ("blur", Fault::Blur { sigma: full * rng.random_range(0.002..0.008) }),
        ("underexposed", Fault::Underexposed { gain: rng.random_range(0.08..0.25) }),
        ("overexposed", Fault::Overexposed { gain: rng.random_range(2.5..6.0) }),
        ("blink", Fault::Blink { rows: [top, top + long] }),
        ("motion", Fault::Motion { row: lines * rng.random_range(30..70) / 100, shift_deg: jump }),
        (
            "off_centre",
            if shaded { Fault::IrisShadow { side, share } } else { Fault::OffCentre { side, share } },
        ),
        ("haze", Fault::Haze { strength: rng.random_range(0.3..1.0) }),
    ]
}
