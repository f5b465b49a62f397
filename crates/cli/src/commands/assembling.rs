//! What `assemble` and `compare` share: reading frames, and telling how far placing them has come.

use crate::inputs;
use anyhow::{Result, bail};
use serrata_assemble::{Assembly, Hooks};
use serrata_frame::{Frame, Limits};
use serrata_station::check::{Asked, Labels};
use serrata_station::montage::{self, Input};
use serrata_words::ErrorLine;
use std::collections::BTreeMap;
use std::io::IsTerminal;
use std::path::{Path, PathBuf};

/// A name and an outline: "name:x,y x,y x,y".
pub fn outline(text: &str) -> Result<(String, Vec<[f64; 2]>), String> {
    let (name, rest) = text
        .rsplit_once(':')
        .ok_or_else(|| format!("\"{text}\": an outline is written as \"name:x,y x,y x,y\""))?;
    let points: Option<Vec<[f64; 2]>> = rest.split_whitespace().map(super::transfer::point).collect();
    let points = points
        .filter(|p| p.len() >= 3)
        .ok_or_else(|| format!("\"{text}\": an outline has at least three points x,y in pixels"))?;
    Ok((name.to_owned(), points))
}

/// A view angle of the centre pixel on the command line: more than 0 and less than 10 degrees.
pub fn degrees_per_pixel(text: &str) -> Result<f64, String> {
    let d = text.parse().ok().filter(|d| *d > 0.0 && *d < 10.0);
    d.ok_or_else(|| format!("`{text}` is no view angle of a pixel; write degrees, for example 0.05"))
}

/// An axial length on the command line, mm.
pub fn axial_length(text: &str) -> Result<f64, String> {
    let mm = text.parse().ok().filter(|mm| *mm > 10.0 && *mm < 45.0);
    mm.ok_or_else(|| format!("`{text}` is no axial length; write mm between 10 and 45, for example 24.1"))
}

/// Most bytes of decoded pictures that are held to be drawn.
const HELD: usize = 4 << 30;

/// Reads all pictures; what cannot be read is told and left out.
///
/// `drawn`: the pixels are kept, since a picture is drawn of them.
pub fn read(
    paths: &[PathBuf],
    asked: &Asked,
    degrees: Option<f64>,
    drawn: bool,
    json: bool,
) -> Result<(Vec<Input>, bool)> {
    let mut all: Vec<Input> = Vec::new();
    let mut failed = false;
    for path in inputs::collect(paths) {
        let answer = path.map_err(Box::new).and_then(|p| read_one(&p, asked, degrees, drawn));
        match answer {
            Ok(frames) => {
                all.extend(frames);
                let held: usize = all.iter().map(Input::held).sum();
                if held > HELD {
                    bail!(
                        "{} pictures fill more than the {} GiB that are held for drawing; name fewer, or draw nothing",
                        all.len(),
                        HELD >> 30
                    );
                }
            }
            Err(line) => {
                failed = true;
                eprintln!("{}", line.sentence());
                if json {
                    println!("{}", serde_json::to_string(&line)?);
                }
            }
        }
    }
    distinct(&mut all);
    Ok((all, failed))
}

fn read_one(
    path: &Path,
    asked: &Asked,
    degrees: Option<f64>,
    drawn: bool,
) -> Result<Vec<Input>, Box<ErrorLine>> {
    let shown = path.to_string_lossy();
    let limits = Limits::default();
    let bytes = inputs::read(path, &limits)?;
    let frames = serrata_station::reading::read_frames(&bytes, &limits)
        .map_err(|e| Box::new(ErrorLine::new(shown.as_ref(), e.code(), e.to_string(), e.remedy())))?;
    let own = path.file_name().map_or_else(|| shown.to_string(), |n| n.to_string_lossy().into_owned());
    let look = |(k, frame): (usize, Frame)| {
        let labels = Labels::of(&frame, asked);
        let observation = serrata_appraise::observe(&frame, labels.modality, labels.instrument.as_ref());
        let name = if k == 0 { own.clone() } else { format!("{own}#{k}") };
        let seen = (labels.modality, observation);
        Input::new((shown.to_string(), name), frame, seen, labels.instrument.as_ref(), degrees, drawn)
    };
    Ok(frames.into_iter().enumerate().map(look).collect())
}

/// Equal names from two folders get a number, so that each stands for one frame.
fn distinct(all: &mut [Input]) {
    let mut seen: BTreeMap<String, usize> = BTreeMap::new();
    for input in all {
        let n = seen.entry(input.name.clone()).or_default();
        *n += 1;
        if *n > 1 {
            input.name = format!("{}~{n}", input.name);
        }
    }
}

/// Places all frames on one sphere; at a terminal it tells how many are placed.
pub fn place(all: &[Input]) -> Assembly {
    let terminal = std::io::stderr().is_terminal();
    let tell = |done: usize, of: usize| {
        if terminal {
            eprint!("\r{done} of {of} frames placed ");
        }
    };
    let assembly = montage::place(all, &Hooks { cancel: None, progress: Some(&tell) });
    if terminal {
        eprintln!();
    }
    assembly
}
