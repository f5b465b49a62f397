//! Prints the dye times of some eyes: `times [COUNT]`.

use serrata_phantom::{DyeRun, Eyeball, Scene};
use serrata_words::{Eye, Modality};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let count: u64 = std::env::args().nth(1).map_or(Ok(12), |s| s.parse())?;
    for seed in 0..count {
        let eye = Eyeball::grow(seed, Eye::R);
        let run = DyeRun::new(Scene::new(seed, Eye::R, Modality::Fa), 20, &[Modality::Fa])?;
        let t = run.times(&eye);
        println!(
            "{seed}: artery {:.2} s, choroid {:.2} s, passage {:.2} s, circulation {:.2} s, venous peak {:.2} s",
            t.arm_to_retina_s, t.choroid_s, t.arteriovenous_passage_s, t.mean_circulation_s, t.venous_peak_s
        );
    }
    Ok(())
}
