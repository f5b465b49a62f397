use serrata_frame::Samples;
use serrata_phantom::{Condition, Eyeball, Health, Scene};
use serrata_words::{Eye, LesionKind, Modality};
fn main() -> Result<(), Box<dyn std::error::Error>> {
    let dir = std::path::PathBuf::from(std::env::args().nth(1).ok_or("dir")?);
    let many: u64 = std::env::args().nth(2).ok_or("n")?.parse()?;
    for (class, w, h) in [("large", 3900, 3072), ("small", 1706, 1364)] {
        for m in [Modality::Colour, Modality::Fa] {
            for i in 0..many {
                let f = |k: u64| ((i * 7919 + k * 104_729) % 1000) as f64 / 1000.0;
                let marks = |kind, count| Condition::Marks { kind, count };
                let mut conditions = vec![marks(LesionKind::Leak, (f(1) * 6.0) as u32)];
                if class == "small" {
                    if f(2) < 0.6 {
                        conditions.push(marks(LesionKind::LaserScar, 200 + (f(3) * 1000.0) as u32));
                    }
                    if f(4) < 0.7 {
                        conditions.push(Condition::VitreousHaze { strength: 0.1 + 0.5 * f(5) });
                    }
                    if f(6) < 0.4 {
                        conditions.push(Condition::Cataract { strength: 0.1 + 0.4 * f(7) });
                    }
                    conditions.push(marks(LesionKind::Microaneurysm, (f(8) * 200.0) as u32));
                    conditions.push(marks(LesionKind::Haemorrhage, (f(9) * 40.0) as u32));
                } else if f(2) < 0.3 {
                    conditions.push(Condition::VitreousHaze { strength: 0.05 + 0.15 * f(5) });
                }
                let side = if i % 2 == 0 { Eye::R } else { Eye::L };
                let eye = Eyeball::grow_with(9000 + i, side, &Health { conditions, ..Health::default() })?;
                let mut s = Scene::new(9000 + i, side, m);
                (s.shot, s.size, s.height) = (i, w, Some(h));
                s.dye_s = if class == "small" { [25.0, 60.0, 300.0][(i % 3) as usize] } else { 40.0 };
                let made = eye.render(&s);
                let Samples::U8(v) = made.frame.pixels.samples() else { continue };
                let c = made.frame.pixels.channels();
                let mut out = format!("P{}\n{w} {h}\n255\n", if c == 3 { 6 } else { 5 }).into_bytes();
                out.extend_from_slice(v);
                let stem = dir.join(format!("{class}-{m}-{i}"));
                std::fs::write(stem.with_extension("pnm"), out)?;
                std::fs::write(stem.with_extension("json"), serde_json::to_string(&made.truth)?)?;
            }
        }
    }
    Ok(())
}
