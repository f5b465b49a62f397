//! `serrata transfer`: points of one frame in another.

use anyhow::{Context, Result, anyhow, bail};
use serrata_station::montage::{carry, pose};
use serrata_words::AssemblyLine;
use std::io::{BufRead, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Maps points of one frame of an assembly to another: reads x,y lines, writes one line each.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example:\n  echo 812.5,640 | serrata transfer assembled --from colour.jpg --to late.jpg"
)]
pub struct Args {
    /// Folder of an assembly.
    dir: PathBuf,
    /// Name of the frame that the points are in.
    #[arg(long, value_name = "A")]
    from: String,
    /// Name of the frame that they are wanted in.
    #[arg(long, value_name = "B")]
    to: String,
}

/// Reads an assembly's words.
pub fn load(dir: &Path) -> Result<AssemblyLine> {
    let path = dir.join("assembly.json");
    let text = std::fs::read_to_string(&path)
        .with_context(|| format!("{}: cannot be read; name the folder of an assembly", path.display()))?;
    let line: AssemblyLine = serde_json::from_str(&text).with_context(|| {
        format!("{}: is no assembly; make it again with serrata assemble", path.display())
    })?;
    if line.schema != AssemblyLine::SCHEMA {
        bail!("{}: is {}, which is not read; make it again", path.display(), line.schema);
    }
    Ok(line)
}

pub fn run(args: &Args) -> Result<ExitCode> {
    let line = load(&args.dir)?;
    let (from, to) = (pose(&line, &args.from)?, pose(&line, &args.to)?);
    let mut out = std::io::stdout().lock();
    for (n, text) in std::io::stdin().lock().lines().enumerate() {
        let text = text.context("standard input cannot be read")?;
        if text.trim().is_empty() {
            continue;
        }
        let p = point(&text).ok_or_else(|| anyhow!("line {}: \"{text}\" is no x,y in pixels", n + 1))?;
        match carry(&from, &to, p) {
            Some([x, y]) => writeln!(out, "{x:.2},{y:.2}")?,
            None => writeln!(out, "outside")?,
        }
    }
    Ok(ExitCode::SUCCESS)
}

/// A point as "x,y".
pub fn point(text: &str) -> Option<[f64; 2]> {
    let (x, y) = text.trim().split_once(',')?;
    let p = [x.trim().parse().ok()?, y.trim().parse().ok()?];
    p.iter().all(|v: &f64| v.is_finite()).then_some(p)
}
