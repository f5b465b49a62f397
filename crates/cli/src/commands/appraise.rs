//! `serrata appraise`: which pictures are usable, and why.

use crate::failure::io_remedy;
use crate::inputs::{self, Input};
use crate::table;
use anyhow::{Context, Result};
use rayon::prelude::*;
use serrata_frame::Limits;
use serrata_station::check::{Asked, Checked, check_file};
use serrata_words::{ErrorLine, Eye, Gaze, Modality};
use std::collections::HashMap;
use std::io::{IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Says of each picture whether it is usable, why not, and what to do next.
///
/// Reads JPEG, PNG, TIFF, BMP and DICOM; folders are walked. Disease is no fault: only faults of capture count.
/// The tool advises; licensed staff decide.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example:\n  serrata appraise today/ --overlay checked/\n  serrata appraise picture.dcm --json"
)]
pub struct Args {
    /// Pictures or folders.
    #[arg(required = true)]
    path: Vec<PathBuf>,
    /// Labelled eye, where the file does not say: R or L.
    #[arg(long)]
    eye: Option<Eye>,
    /// Kind of picture, where the file does not say: colour, faf, fa, icg, infrared, red, green.
    #[arg(long)]
    modality: Option<Modality>,
    /// Commanded gaze, where the file does not say: primary, up, down, right, left (the patient's), up_right, …
    #[arg(long)]
    gaze: Option<Gaze>,
    /// Instrument profile: a name that comes with Serrata, or a TOML file.
    #[arg(long)]
    instrument: Option<String>,
    /// One line of JSON a frame (`serrata.appraisal/1`), failed inputs as `serrata.error/1`.
    #[arg(long)]
    json: bool,
    /// Writes each picture with what was found drawn on it into this folder.
    #[arg(long, value_name = "DIR")]
    overlay: Option<PathBuf>,
    /// Writes the vessels of each picture into this folder: a map as grey PNG, white where a vessel is plain, and centre lines with
    /// branchings, crossings and ends as JSON (`serrata.vessels/1`).
    #[arg(long, value_name = "DIR")]
    vessels: Option<PathBuf>,
    /// How many files at a time; default: all processor cores.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..))]
    jobs: Option<u16>,
    /// Adds the milliseconds that each stage took.
    #[arg(long)]
    timings: bool,
}

/// What became of one input.
enum Answer {
    Frames(Vec<Checked>),
    Failed(ErrorLine),
}

pub fn run(args: &Args) -> Result<ExitCode> {
    let instrument = args.instrument.as_deref().map(serrata_station::instruments::find).transpose()?;
    for dir in args.overlay.iter().chain(&args.vessels) {
        std::fs::create_dir_all(dir)
            .with_context(|| format!("{}: the folder cannot be made", dir.display()))?;
    }
    let asked = Asked { eye: args.eye, modality: args.modality, gaze: args.gaze, instrument };
    let inputs = inputs::collect(&args.path);
    let names = overlay_names(&inputs);
    let jobs = args
        .jobs
        .map_or_else(|| std::thread::available_parallelism().map_or(1, std::num::NonZero::get), usize::from);
    let pool =
        rayon::ThreadPoolBuilder::new().num_threads(jobs).build().context("no threads can be started")?;
    let mut out = std::io::stdout().lock();
    let progress = std::io::stderr().is_terminal() && inputs.len() > 1;
    let mut failed = false;
    if !args.json {
        writeln!(out, "{}", table::head())?;
    }
    // A few at a time, in order, so that memory stays bounded and lines come early.
    for (done, group) in inputs.chunks(jobs * 2).enumerate() {
        let answers: Vec<Answer> =
            pool.install(|| group.par_iter().map(|input| answer(input, &asked, args, &names)).collect());
        for answer in answers {
            failed |= print(answer, args, &mut out)?;
        }
        out.flush()?;
        if progress {
            eprint!("\r{} of {} files", (done * jobs * 2 + group.len()), inputs.len());
        }
    }
    if progress {
        eprintln!();
    }
    Ok(if failed { ExitCode::from(1) } else { ExitCode::SUCCESS })
}

fn answer(input: &Input, asked: &Asked, args: &Args, names: &HashMap<PathBuf, String>) -> Answer {
    let path = match input {
        Ok(path) => path,
        Err(line) => return Answer::Failed(line.clone()),
    };
    match checked(path, asked, args, names) {
        Ok(frames) => Answer::Frames(frames),
        Err(line) => Answer::Failed(*line),
    }
}

fn checked(
    path: &Path,
    asked: &Asked,
    args: &Args,
    names: &HashMap<PathBuf, String>,
) -> Result<Vec<Checked>, Box<ErrorLine>> {
    let name = path.to_string_lossy();
    let io = |what: &str, p: &Path, e: &std::io::Error| {
        let (code, remedy) = io_remedy(e);
        Box::new(ErrorLine::new(p.to_string_lossy(), code, format!("{what} ({e})"), remedy))
    };
    let start = std::time::Instant::now();
    let limits = Limits::default();
    let bytes = inputs::read(path, &limits)?;
    let mut frames = check_file(&name, &bytes, asked, &limits, start)
        .map_err(|e| Box::new(ErrorLine::new(name.as_ref(), e.code(), e.to_string(), e.remedy())))?;
    for f in &mut frames {
        let name = names.get(path).map_or("picture", String::as_str);
        let page = if f.line.frame == 0 { String::new() } else { format!("-{}", f.line.frame) };
        let drawings = [
            (&args.overlay, "overlay", args.overlay.as_ref().and_then(|_| f.overlay())),
            (&args.vessels, "vessel map", args.vessels.as_ref().and_then(|_| f.vessels())),
        ];
        for (dir, what, drawn) in drawings {
            if let Some((dir, drawn)) = dir.as_ref().zip(drawn) {
                let to = dir.join(format!("{name}{page}.png"));
                serrata_station::picture::write_png(&drawn, &to)
                    .map_err(|e| io(&format!("the {what} cannot be written"), &to, &e))?;
            }
        }
        if let Some((dir, lines)) = args.vessels.as_ref().and_then(|dir| Some((dir, f.vessel_lines()?))) {
            let to = dir.join(format!("{name}{page}.json"));
            // Its numbers are finite, so it is never refused.
            let text = serde_json::to_vec(&lines)
                .map_err(|e| io("the vessels cannot be written", &to, &e.into()))?;
            serrata_station::picture::write_whole(&text, &to)
                .map_err(|e| io("the vessels cannot be written", &to, &e))?;
        }
        if !args.timings {
            f.line.milliseconds = None;
        }
        f.release();
    }
    Ok(frames)
}

/// Names of the overlays: the file's own name where it stands for one input only, else its whole path, so that
/// equal names from two folders do not meet.
fn overlay_names(inputs: &[Input]) -> HashMap<PathBuf, String> {
    let own = |p: &Path| p.file_stem().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
    let mut count: HashMap<String, u32> = HashMap::new();
    for path in inputs.iter().flatten() {
        *count.entry(own(path)).or_default() += 1;
    }
    let name = |path: &PathBuf| {
        if count.get(&own(path)) == Some(&1) {
            return own(path);
        }
        let whole = path.components().filter_map(|c| match c {
            std::path::Component::Normal(n) => Some(n.to_string_lossy().into_owned()),
            _ => None,
        });
        whole.collect::<Vec<_>>().join("__")
    };
    inputs.iter().flatten().map(|p| (p.clone(), name(p))).collect()
}

/// Prints one answer; says whether it was a failure.
fn print(answer: Answer, args: &Args, out: &mut impl Write) -> Result<bool> {
    match answer {
        Answer::Failed(line) => {
            eprintln!("{}", line.sentence());
            if args.json {
                writeln!(out, "{}", serde_json::to_string(&line)?)?;
            }
            Ok(true)
        }
        Answer::Frames(frames) => {
            for f in frames {
                if args.json {
                    writeln!(out, "{}", serde_json::to_string(&f.line)?)?;
                } else {
                    writeln!(out, "{}", table::row(&f.line))?;
                    if let Some(advice) = f.line.advice.first() {
                        writeln!(out, "{:>4}{advice}", "→ ")?;
                    }
                    if let Some(ms) = f.line.milliseconds {
                        writeln!(out, "{:>4}decode {:.0} ms, observe {:.0} ms", "", ms.decode, ms.observe)?;
                    }
                }
            }
            Ok(false)
        }
    }
}
