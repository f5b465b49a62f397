//! The engine on the real frames in `../shared/data`, where they are there; says plainly when they are not.
#![allow(clippy::print_stderr, clippy::unwrap_used, clippy::panic)] // a skipped test has to say so; helpers of tests

use serrata_appraise::{likely_modality, observe};
use serrata_frame::{Decode, Frame, Limits, Picture, Pixels, Samples};
use serrata_words::{Eye, FindingKind, Modality, Observation};
use std::path::{Path, PathBuf};

fn data() -> Option<PathBuf> {
    let dir = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../../shared/data");
    if dir.is_dir() {
        return Some(dir);
    }
    eprintln!("skipped: ../shared/data is not there, so nothing real was looked at");
    None
}

fn load(path: &Path) -> Frame {
    Picture.decode(&std::fs::read(path).unwrap(), &Limits::default()).unwrap().remove(0)
}

fn mirrored(f: &Frame) -> Frame {
    let p = &f.pixels;
    let (w, c) = (p.width() as usize, usize::from(p.channels()));
    let Samples::U8(v) = p.samples() else { panic!("8 bit") };
    let v: Vec<u8> = v.chunks_exact(w * c).flat_map(|r| r.chunks_exact(c).rev().flatten().copied()).collect();
    Frame::bare(Pixels::new(p.width(), p.height(), p.channels(), Samples::U8(v.into())).unwrap())
}

fn modality(name: &str) -> Modality {
    if name.contains("_fa") { Modality::Fa } else { Modality::Colour }
}

#[test]
fn eye_disc_and_kind_are_right_or_abstained_on_every_frame_and_its_mirrored_copy() {
    let Some(data) = data() else { return };
    let (mut seen, mut unsure) = (0, 0);
    for (set, ext) in [("uwf_pairs_hires", "jpg"), ("uwf_triplets", "png")] {
        for note in std::fs::read_dir(data.join("annotations").join(set)).unwrap() {
            let note = note.unwrap().path();
            let stem = note.file_stem().unwrap().to_string_lossy().into_owned();
            let truth: serde_json::Value = serde_json::from_slice(&std::fs::read(&note).unwrap()).unwrap();
            let frame = load(&data.join(set).join(format!("{stem}.{ext}")));
            let eye: Eye = truth["eye"].as_str().unwrap().parse().unwrap();
            assert_eq!(likely_modality(&frame), modality(&stem), "{stem}");
            let o = observe(&frame, modality(&stem), None);
            let back = observe(&mirrored(&frame), modality(&stem), None);
            for (said, is) in [(&o, eye), (&back, eye.fellow())] {
                assert!(said.eye.inferred.is_none_or(|e| e == is), "{stem}: {:?}", said.eye);
                unsure += usize::from(said.eye.inferred.is_none());
                seen += 1;
            }
            let disc = o.disc.unwrap();
            let t = |k: usize| truth["disc"][k].as_f64().unwrap();
            assert!((disc.x - t(0)).hypot(disc.y - t(1)) < t(2), "{stem}: {disc:?}");
            assert!(!o.findings.iter().any(|f| f.kind == FindingKind::NoRetina), "{stem}");
        }
    }
    assert_eq!(seen, 36, "all frames have to be there");
    assert!(unsure <= 4, "{unsure} of {seen} not sure");
}

#[test]
fn pictures_of_a_narrow_field_hold_a_retina() {
    let Some(data) = data() else { return };
    let mut seen = 0;
    for set in ["hrf", "chase_db1", "idrid_disc", "retina_cc0", "fa_phase", "fa_disease", "fa_area_masks"] {
        for file in std::fs::read_dir(data.join(set)).unwrap() {
            let path = file.unwrap().path();
            let name = path.file_name().unwrap().to_string_lossy().into_owned();
            if name.ends_with(".csv") || name.contains("_vessels") || name.contains("_mask") {
                continue;
            }
            let m = if set.starts_with("fa_") { Modality::Fa } else { Modality::Colour };
            let o: Observation = observe(&load(&path), m, None);
            assert!(!o.findings.iter().any(|f| f.kind == FindingKind::NoRetina), "{set}/{name}");
            // Disc-centred right eyes were once called left here.
            let labelled = if name.contains("R.png") { Some(Eye::R) } else { Some(Eye::L) };
            assert!(set != "chase_db1" || o.eye.inferred.is_none() || o.eye.inferred == labelled, "{name}");
            assert!(o.visible_retina.fraction > 0.5, "{set}/{name}: {}", o.visible_retina.fraction);
            seen += 1;
        }
    }
    assert!(seen > 100, "{seen} pictures");
}
