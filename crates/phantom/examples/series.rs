//! Writes frames for the comparison with real ones: `series FOLDER FIRST_SEED COUNT [large|small]` makes COUNT eyes of
//! a size class (both where none is named) as colour and fluorescein: `CLASS-KIND-I.pnm` and its truth as `.json`.
//!
//! What ails an eye follows from its number: the small real set is of diseased, hazy eyes, the large one of mild
//! disease. The small class is drawn at twice its size, to be scaled down as the real ones were.

mod sets;

use serrata_phantom::{Eyeball, Health, Scene};
use serrata_words::{Eye, Modality};
use std::path::Path;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let [folder, first, many, ..] = args.as_slice() else { return Err("say FOLDER FIRST_SEED COUNT".into()) };
    let (first, many): (u64, u64) = (first.parse()?, many.parse()?);
    let folder = Path::new(folder);
    std::fs::create_dir_all(folder)?;
    for (class, width, height) in sets::CLASSES {
        if args.get(3).is_some_and(|only| only != class) {
            continue;
        }
        for i in 0..many {
            let side = if i % 2 == 0 { Eye::R } else { Eye::L };
            let health =
                Health { conditions: sets::ailments(first + i, class == "small"), ..Health::default() };
            let eye = Eyeball::grow_with(first + i, side, &health)?;
            for modality in [Modality::Colour, Modality::Fa] {
                let mut scene = Scene::new(first + i, side, modality);
                sets::lay_out(&mut scene, first + i);
                (scene.shot, scene.size, scene.height) = (i, width, Some(height));
                // Early and late frames of the small set, transit frames of the large one.
                scene.dye_s = if class == "small" { [25.0, 60.0, 300.0][(i % 3) as usize] } else { 40.0 };
                if class == "small" {
                    scene.faults = sets::lids(first + i, modality);
                    scene.surround = true;
                }
                scene.setup = Some(sets::setup(first + i, class, modality));
                sets::write(&eye, &scene, &folder.join(format!("{class}-{modality}-{i}")))?;
            }
        }
    }
    Ok(())
}
