//! `serrata assemble`: many frames of one eye as one picture.

use super::assembling::{place, read};
use anyhow::{Context, Result};
use serrata_assemble::Hooks;
use serrata_station::check::Asked;
use serrata_station::montage::{Folder, canvas, draw, line};
use serrata_words::Modality;
use std::path::PathBuf;
use std::process::ExitCode;

/// Puts frames of one eye, of any kinds and gazes, on one sphere, and draws them as one picture a kind.
///
/// Frames of another eye are not placed. Where the projection is unknown the assembly is uncalibrated: no mm.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  serrata assemble right-eye/ -o assembled --json")]
pub struct Args {
    /// Pictures or folders of one eye.
    #[arg(required = true)]
    path: Vec<PathBuf>,
    /// Folder for the pictures and assembly.json.
    #[arg(short, long, value_name = "DIR")]
    output: PathBuf,
    /// Kind of picture, where the files do not say.
    #[arg(long)]
    modality: Option<Modality>,
    /// Instrument profile: a name that comes with Serrata, or a TOML file.
    #[arg(long)]
    instrument: Option<String>,
    /// View angle of the centre pixel in degrees, where the files do not say.
    #[arg(long, value_name = "D", value_parser = super::assembling::degrees_per_pixel)]
    degrees_per_pixel: Option<f64>,
    /// Longest side of the pictures drawn, in pixels.
    #[arg(long, default_value_t = 6000, value_parser = clap::value_parser!(u32).range(64..=8192))]
    size: u32,
    /// Places the frames and writes assembly.json, but draws nothing.
    #[arg(long)]
    no_mosaic: bool,
    /// One line of JSON (`serrata.assembly/1`).
    #[arg(long)]
    json: bool,
}

pub fn run(args: &Args) -> Result<ExitCode> {
    let instrument = args.instrument.as_deref().map(serrata_station::instruments::find).transpose()?;
    let asked = Asked { eye: None, modality: args.modality, gaze: None, instrument };
    let (inputs, failed) = read(&args.path, &asked, args.degrees_per_pixel, !args.no_mosaic, args.json)?;
    if inputs.is_empty() {
        return Ok(ExitCode::from(1));
    }
    let folder = Folder::begin(&args.output, "assembly.json")?;
    let assembly = place(&inputs);
    let mut line = line(&inputs, &assembly);
    if !args.no_mosaic
        && let Some(canvas) = canvas(&inputs, &assembly, args.size)
    {
        line.mosaics =
            draw(&inputs, &assembly, |_| true, &canvas, "mosaic-", folder.path(), &Hooks::default())?;
    }
    let text = serde_json::to_string(&line)?;
    std::fs::write(folder.path().join("assembly.json"), format!("{text}\n"))
        .context("assembly.json cannot be written; check the space")?;
    folder.finish()?;
    if args.json {
        println!("{text}");
    } else {
        for f in &line.frames {
            let residual = f.residual_deg.map_or_else(String::new, |d| {
                format!("  ± {d:.3}°{}", if line.calibrated { "" } else { " (nominal)" })
            });
            let reason = f.reason.as_ref().map_or_else(String::new, |r| format!("  {r}"));
            println!("{:<40} {:<10}{residual}{reason}", f.name, f.status.word());
        }
        if !line.calibrated {
            println!("Uncalibrated: the projection is not known, so no mm can be read from this assembly.");
        }
    }
    Ok(if failed { ExitCode::from(1) } else { ExitCode::SUCCESS })
}
