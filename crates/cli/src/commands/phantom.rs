//! `serrata phantom`: simulated pictures with their truth.

use anyhow::{Context, Result, bail};
use clap::{Subcommand, ValueEnum};
use serrata_phantom::{Fault, Scene, render};
use serrata_words::{Eye, FrameTruth, Gaze, Modality, Side};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Makes simulated pictures with their truth beside them (`serrata.truth/1`).
///
/// Everything in them is invented: no person, and no instrument that exists.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example:\n  serrata phantom frame --seed 7 --eye L --fault blink -o made\n  serrata phantom day --seed 1 -o day"
)]
pub struct Args {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// One picture.
    Frame(FrameArgs),
    /// The pictures of the invented clinic day.
    Day(DayArgs),
}

#[derive(Debug, clap::Args)]
struct FrameArgs {
    /// Seed of the patient.
    #[arg(long)]
    seed: u64,
    /// Seed of the shot: the same patient's next picture.
    #[arg(long, default_value_t = 0)]
    shot: u64,
    /// Folder for picture and truth.
    #[arg(short, long, value_name = "DIR")]
    output: PathBuf,
    /// R or L.
    #[arg(long, default_value = "R")]
    eye: Eye,
    /// colour, faf, fa, icg, infrared, red or green.
    #[arg(long, default_value = "colour")]
    modality: Modality,
    /// primary, up, down, right, left (the patient's), up_right, …
    #[arg(long, default_value = "primary")]
    gaze: Gaze,
    /// What goes wrong; may be given several times.
    #[arg(long, value_enum)]
    fault: Vec<Wrong>,
    /// Side of the picture in pixels.
    #[arg(long, default_value_t = 3600, value_parser = clap::value_parser!(u32).range(64..=8192))]
    size: u32,
    /// Prints the truth as one line of JSON.
    #[arg(long)]
    json: bool,
}

#[derive(Debug, clap::Args)]
struct DayArgs {
    /// Seed of the day.
    #[arg(long)]
    seed: u64,
    /// Folder for pictures and truth.
    #[arg(short, long, value_name = "DIR")]
    output: PathBuf,
    /// Side of the pictures in pixels.
    #[arg(long, default_value_t = 3600, value_parser = clap::value_parser!(u32).range(64..=8192))]
    size: u32,
    /// Prints the truth of each picture as one line of JSON.
    #[arg(long)]
    json: bool,
}

/// Faults of usual strength.
#[derive(Debug, Clone, Copy, ValueEnum)]
#[value(rename_all = "snake_case")]
enum Wrong {
    Blink,
    Lid,
    Lash,
    Blur,
    Underexposed,
    Overexposed,
    OffCentre,
    Motion,
    Haze,
}

impl Wrong {
    fn fault(self, size: u32) -> Fault {
        match self {
            Self::Blink => Fault::Blink { rows: [size * 2 / 5, size * 3 / 5] },
            Self::Lid => Fault::Lid { side: Side::Bottom, share: 0.3 },
            Self::Lash => Fault::Lash { side: Side::Bottom, length: 0.35, count: 24 },
            Self::Blur => Fault::Blur { sigma: 14.0 },
            Self::Underexposed => Fault::Underexposed { gain: 0.12 },
            Self::Overexposed => Fault::Overexposed { gain: 5.0 },
            Self::OffCentre => Fault::OffCentre { side: Side::Right, share: 0.35 },
            Self::Motion => Fault::Motion { row: size / 2, shift_deg: 4.0 },
            Self::Haze => Fault::Haze { strength: 0.8 },
        }
    }
}

pub fn run(args: &Args) -> Result<ExitCode> {
    match &args.what {
        What::Frame(a) => {
            let mut scene = Scene::new(a.seed, a.eye, a.modality);
            scene.shot = a.shot;
            scene.gaze = a.gaze;
            scene.size = a.size;
            scene.faults = a.fault.iter().map(|w| w.fault(a.size)).collect();
            let name = format!("{}-{}-{}-{}-{}", a.seed, a.shot, a.eye, a.modality, a.gaze);
            let truth = make(&scene, &a.output, &name)?;
            say(&truth, &a.output, a.json)?;
        }
        What::Day(a) => {
            for guest in crate::day::guests(a.seed, a.size) {
                for (k, shot) in guest.shots.iter().enumerate() {
                    let truth = make(&shot.scene, &a.output, &format!("{}-{}", guest.id, k + 1))?;
                    say(&truth, &a.output, a.json)?;
                }
            }
        }
    }
    Ok(ExitCode::SUCCESS)
}

/// Draws one scene and writes picture and truth.
fn make(scene: &Scene, dir: &Path, name: &str) -> Result<FrameTruth> {
    std::fs::create_dir_all(dir).with_context(|| format!("{}: the folder cannot be made", dir.display()))?;
    let made = render(scene);
    let mut truth = made.truth;
    truth.file = Some(format!("{name}.png"));
    let (picture, text) = (dir.join(format!("{name}.png")), dir.join(format!("{name}.json")));
    if !matches!(made.frame.pixels.samples(), serrata_frame::Samples::U8(_)) {
        bail!("{}: only 8-bit pictures are written", picture.display());
    }
    serrata_station::picture::write_png(&made.frame.pixels, &picture).with_context(|| {
        format!("{}: cannot be written; check the folder and the space", picture.display())
    })?;
    std::fs::write(&text, serde_json::to_string_pretty(&truth)? + "\n")
        .with_context(|| format!("{}: cannot be written; check the folder and the space", text.display()))?;
    Ok(truth)
}

fn say(truth: &FrameTruth, dir: &Path, json: bool) -> Result<()> {
    if json {
        println!("{}", serde_json::to_string(truth)?);
    } else {
        println!(
            "{}: expected {}",
            dir.join(truth.file.as_deref().unwrap_or_default()).display(),
            truth.expected.screen()
        );
    }
    Ok(())
}
