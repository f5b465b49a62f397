//! A reading as files.

use super::Told;
use serrata_words::DyeLine;
use std::fmt::Write;
use std::path::Path;

/// Curves of a reading as CSV: dye, curve, second, brightness; with a heading.
#[must_use]
pub fn curves(line: &DyeLine) -> String {
    let mut out = String::from("dye,curve,second,brightness\n");
    for c in &line.curves {
        for [t, v] in &c.points {
            let _ = writeln!(out, "{},{},{t:.3},{v:.5}", line.modality, c.what); // a String takes all
        }
    }
    out
}

/// Writes `dye.json` (a line a dye), `curves.csv` and one picture of the phases a dye, `phases-fa.png`, side by side and
/// stretched alike.
///
/// # Errors
/// Where a file cannot be written.
pub fn write(dir: &Path, told: &[Told]) -> std::io::Result<()> {
    let lines: Vec<String> = told.iter().map(|t| serde_json::to_string(&t.line)).collect::<Result<_, _>>()?;
    std::fs::write(dir.join("dye.json"), lines.join("\n") + "\n")?;
    let mut csv = String::new();
    for (k, t) in told.iter().enumerate() {
        let text = curves(&t.line);
        csv += if k == 0 { &text } else { text.split_once('\n').map_or("", |p| p.1) };
    }
    std::fs::write(dir.join("curves.csv"), csv)?;
    for t in told {
        let side = t.phases.iter().map(|p| p.2.width).max().unwrap_or(0);
        let high = t.phases.iter().map(|p| p.2.height).max().unwrap_or(0);
        if side == 0 {
            continue;
        }
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // small pictures
        let sheet = image::GrayImage::from_fn((side * t.phases.len()) as u32, high as u32, |x, y| {
            let (k, x, y) = (x as usize / side, x as usize % side, y as usize);
            let p = &t.phases[k].2;
            image::Luma([if x < p.width && y < p.height { (p.at(x, y) * 255.0).round() as u8 } else { 0 }])
        });
        sheet.save(dir.join(format!("phases-{}.png", t.line.modality))).map_err(std::io::Error::other)?;
    }
    Ok(())
}
