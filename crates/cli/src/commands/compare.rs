//! `serrata compare`: what changed between two visits.

use super::assembling::{place, read};
use anyhow::{Context, Result, anyhow, bail};
use serde::Serialize;
use serrata_assemble::Hooks;
use serrata_eye::Radius;
use serrata_station::check::Asked;
use serrata_station::montage::{Folder, Growth, Marked, canvas, differences, draw, growth, line};
use serrata_words::{AssemblyLine, Modality, Placement};
use std::path::PathBuf;
use std::process::ExitCode;

/// Puts the frames of two visits of one eye on one sphere and shows what changed.
///
/// Writes one picture a kind and visit, all on one canvas, so that turning pages between them is a flicker, and their
/// difference with the broad light taken out. A marked area is measured on both.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example:\n  serrata compare spring/ --with autumn/ -o change\n  serrata compare a.png --with b.png -o change --outline \"a.png:10,10 60,10 60,50\" --outline \"b.png:9,8 66,10 61,57\" --axial-length 24.1"
)]
pub struct Args {
    /// Pictures or folders of the earlier visit.
    #[arg(required = true)]
    earlier: Vec<PathBuf>,
    /// Pictures or folders of the later visit.
    #[arg(long, required = true, num_args = 1.., value_name = "LATER")]
    with: Vec<PathBuf>,
    /// Folder for the result.
    #[arg(short, long, value_name = "DIR")]
    output: PathBuf,
    /// A marked area as "frame:x,y x,y x,y …", pixels; once for the earlier and once for the later visit.
    #[arg(long, value_name = "OUTLINE")]
    outline: Vec<String>,
    /// Axial length in mm; without it that of the population, marked so.
    #[arg(long, value_name = "MM", value_parser = super::assembling::axial_length)]
    axial_length: Option<f64>,
    /// Instrument profile: a name that comes with Serrata, or a TOML file.
    #[arg(long)]
    instrument: Option<String>,
    /// View angle of the centre pixel in degrees, where the files do not say.
    #[arg(long, value_name = "D", value_parser = super::assembling::degrees_per_pixel)]
    degrees_per_pixel: Option<f64>,
    /// Longest side of the pictures drawn, in pixels.
    #[arg(long, default_value_t = 3000, value_parser = clap::value_parser!(u32).range(64..=8192))]
    size: u32,
    /// One line of JSON (`serrata.comparison/1`).
    #[arg(long)]
    json: bool,
}

/// Contract `serrata.comparison/1`.
#[derive(Debug, Serialize)]
struct Comparison {
    schema: &'static str,
    assembly: AssemblyLine,
    /// How many of the frames, counted from the first, are of the earlier visit.
    earlier: usize,
    /// The kinds that both visits have, with the file of their difference.
    differences: Vec<(Modality, String)>,
    growth: Option<Growth>,
}

pub fn run(args: &Args) -> Result<ExitCode> {
    if !matches!(args.outline.len(), 0 | 2) {
        let text = "an area is compared by two outlines: give --outline once for each visit, or not at all\n";
        clap::Error::raw(clap::error::ErrorKind::WrongNumberOfValues, text).exit();
    }
    let instrument = args.instrument.as_deref().map(serrata_station::instruments::find).transpose()?;
    let asked = Asked { instrument, ..Asked::default() };
    let (mut inputs, mut failed) = read(&args.earlier, &asked, args.degrees_per_pixel, true, args.json)?;
    let earlier = inputs.len();
    let (later, also) = read(&args.with, &asked, args.degrees_per_pixel, true, args.json)?;
    failed |= also;
    inputs.extend(later);
    if earlier == 0 || inputs.len() == earlier {
        bail!("one of the visits holds no picture that can be read");
    }
    for k in earlier..inputs.len() {
        if inputs[..k].iter().any(|i| i.name == inputs[k].name) {
            inputs[k].name = format!("later/{}", inputs[k].name);
        }
    }
    let folder = Folder::begin(&args.output, "comparison.json")?;
    let assembly = place(&inputs);
    let mut words = line(&inputs, &assembly);
    let placed = |i: usize| assembly.frames[i].status == Placement::Placed;
    if !(0..earlier).any(placed) || !(earlier..inputs.len()).any(placed) {
        bail!(
            "the frames of the two visits do not fit together, so nothing is compared; check that they are of one eye"
        );
    }
    // Before the pictures: a wrong outline is told at once.
    let growth = match args.outline.as_slice() {
        [a, b] => {
            let radius = args.axial_length.map_or_else(Radius::population, Radius::from_axial_length);
            Some(growth(&words, &outline(a)?, &outline(b)?, radius)?)
        }
        _ => None,
    };
    let canvas = canvas(&inputs, &assembly, args.size).context("nothing was placed")?;
    let drawn = |which: &dyn Fn(usize) -> bool, prefix| {
        draw(&inputs, &assembly, which, &canvas, prefix, folder.path(), &Hooks::default())
    };
    let before = drawn(&|i| i < earlier, "earlier-")?;
    let after = drawn(&|i| i >= earlier, "later-")?;
    let differences = differences(&before, &after, folder.path())?;
    words.mosaics = before.into_iter().chain(after).collect();
    let result = Comparison { schema: "serrata.comparison/1", assembly: words, earlier, differences, growth };
    let text = serde_json::to_string(&result)?;
    std::fs::write(folder.path().join("comparison.json"), format!("{text}\n"))
        .context("comparison.json cannot be written; check the space")?;
    folder.finish()?;
    if args.json {
        println!("{text}");
    } else {
        tell(&result);
    }
    Ok(if failed { ExitCode::from(1) } else { ExitCode::SUCCESS })
}

/// The comparison for people.
fn tell(result: &Comparison) {
    for f in &result.assembly.frames {
        let reason = f.reason.as_ref().map_or_else(String::new, |r| format!("  {r}"));
        println!("{:<40} {:<10}{reason}", f.name, f.status.word());
    }
    if let Some(g) = &result.growth {
        let [low, high] = g.growth_share_interval.map(|v| 100.0 * v);
        println!(
            "marked area: {:+.1} % ({low:+.1} to {high:+.1} %): {}",
            100.0 * g.growth_share,
            g.conclusion
        );
        if let (Some(mm2), Some([low, high])) = (g.growth_mm2, g.growth_interval_mm2) {
            let source = if g.radius_source == "population" {
                ", the population's"
            } else {
                ", half the axial length"
            };
            println!("{mm2:+.2} mm² ({low:+.2} to {high:+.2}) on R = {:.2} mm{source}", g.radius_mm);
        }
    }
    if !result.assembly.calibrated {
        println!("Uncalibrated: the projection is not known, so no mm can be read from this comparison.");
    }
}

/// An outline "frame:x,y x,y …".
fn outline(text: &str) -> Result<Marked> {
    let (name, points) = super::assembling::outline(text).map_err(|e| anyhow!(e))?;
    Ok(Marked { frame: Some(name), points })
}
