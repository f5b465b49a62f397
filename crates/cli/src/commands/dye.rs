//! `serrata dye`: what a dye run shows in numbers.

use crate::inputs;
use anyhow::{Context, Result, bail};
use serrata_frame::Limits;
use serrata_station::check::{Asked, Labels};
use serrata_station::dye::{Drawn, Series, Taken, Told, curves, radius, write};
use serrata_words::{DyeLine, DyeLook, DyeSpan, ErrorLine, Eye, Modality};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Reads the frames of one eye's dye run: times with intervals, the phase of each frame, curves, what stays dark and what
/// brightens late.
///
/// The seconds of the frames come from --times, or from the time that each file says it was taken and --injected, else the
/// header's own start of the contrast agent. Regions are proposals until a named person accepts them; a time is no finding.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example:\n  serrata dye run/ --times seconds.csv -o read\n  serrata dye run/ --injected 2026-03-02T09:15:04Z --json\n\nseconds.csv holds lines file,seconds: the name of a picture and the second after the injection began."
)]
pub struct Args {
    /// Pictures or folders of one eye's run.
    #[arg(required = true)]
    path: Vec<PathBuf>,
    /// When each frame was taken: lines "file,seconds since the injection began".
    #[arg(long, value_name = "FILE", conflicts_with = "injected")]
    times: Option<PathBuf>,
    /// When the injection began, by the instrument's clock: 2026-03-02T09:15:04Z.
    #[arg(long, value_name = "TIME")]
    injected: Option<jiff::Timestamp>,
    /// Folder for dye.json, curves.csv and the pictures of the phases.
    #[arg(short, long, value_name = "DIR")]
    output: Option<PathBuf>,
    /// fa or icg, where the files do not say.
    #[arg(long, value_parser = dye_kind)]
    modality: Option<Modality>,
    /// Which eye, where the files do not say.
    #[arg(long)]
    eye: Option<Eye>,
    /// Instrument profile: a name that comes with Serrata, or a TOML file.
    #[arg(long)]
    instrument: Option<String>,
    /// View angle of the centre pixel in degrees, where the files do not say.
    #[arg(long, value_name = "D", value_parser = super::assembling::degrees_per_pixel)]
    degrees_per_pixel: Option<f64>,
    /// Axial length in mm; without it that of the population.
    #[arg(long, value_name = "MM", value_parser = super::assembling::axial_length)]
    axial_length: Option<f64>,
    /// A region whose curve is wanted, in pixels of the reference frame: "name:x,y x,y x,y"; may be given several times.
    #[arg(long, value_name = "REGION", value_parser = super::assembling::outline)]
    outline: Vec<Drawn>,
    /// One line of JSON a dye (`serrata.dye/1`).
    #[arg(long, conflicts_with = "csv")]
    json: bool,
    /// The curves as CSV: dye, curve, second, brightness.
    #[arg(long)]
    csv: bool,
}

fn dye_kind(text: &str) -> Result<Modality, String> {
    let m: Option<Modality> = text.parse().ok();
    m.filter(|m| m.is_dye()).ok_or_else(|| format!("`{text}` is no dye; write fa or icg"))
}

pub fn run(args: &Args) -> Result<ExitCode> {
    let instrument = args.instrument.as_deref().map(serrata_station::instruments::find).transpose()?;
    let asked = Asked { eye: args.eye, modality: args.modality, gaze: None, instrument };
    let times = args.times.as_deref().map(seconds).transpose()?;
    let radius = radius(args.axial_length)?;
    let mut series = Series::default();
    let mut failed = false;
    for path in inputs::collect(&args.path) {
        if let Err(line) =
            path.map_err(Box::new).and_then(|p| add(&mut series, &p, args, &asked, times.as_ref()))
        {
            failed = true;
            eprintln!("{}", line.sentence());
            if args.json {
                println!("{}", serde_json::to_string(&line)?);
            }
        }
    }
    let dyes = series.dyes();
    if series.is_empty() {
        return Ok(ExitCode::from(1));
    }
    if dyes.is_empty() {
        bail!(
            "none of the pictures is a dye picture by its label; say --modality fa or icg where they do not say"
        );
    }
    let told: Vec<Told> = dyes.into_iter().filter_map(|d| series.read(d, radius, &args.outline)).collect();
    if let Some(dir) = &args.output {
        let folder = serrata_station::montage::Folder::begin(dir, "dye.json")?;
        write(folder.path(), &told)
            .with_context(|| format!("{}: cannot be written; check the space", dir.display()))?;
        folder.finish()?;
    }
    for t in &told {
        if args.json {
            println!("{}", serde_json::to_string(&t.line)?);
        } else if args.csv {
            print!("{}", curves(&t.line));
        } else {
            tell(&t.line);
        }
    }
    Ok(if failed { ExitCode::from(1) } else { ExitCode::SUCCESS })
}

/// Reads lines "file,seconds".
fn seconds(path: &Path) -> Result<BTreeMap<String, f64>> {
    let text = std::fs::read_to_string(path)
        .with_context(|| format!("{}: cannot be read; name a file of lines file,seconds", path.display()))?;
    let mut out = BTreeMap::new();
    for (n, line) in text.lines().enumerate().filter(|(_, l)| !l.trim().is_empty()) {
        let parts = line.rsplit_once(',').map(|(f, s)| (f.trim(), s.trim().parse::<f64>()));
        match parts {
            Some((file, Ok(s))) if s.is_finite() && s.abs() < 86400.0 => {
                out.insert(file.to_owned(), s);
            }
            // A heading.
            Some(_) if n == 0 => {}
            _ => bail!("{}: line {}: \"{line}\" is not file,seconds", path.display(), n + 1),
        }
    }
    Ok(out)
}

fn add(
    series: &mut Series,
    path: &Path,
    args: &Args,
    asked: &Asked,
    times: Option<&BTreeMap<String, f64>>,
) -> Result<(), Box<ErrorLine>> {
    let shown = path.to_string_lossy();
    let limits = Limits::default();
    let bytes = inputs::read(path, &limits)?;
    let wrong =
        |code: &str, what: String, remedy: &str| Box::new(ErrorLine::new(shown.as_ref(), code, what, remedy));
    let frames = serrata_station::reading::read_frames(&bytes, &limits)
        .map_err(|e| wrong(e.code(), e.to_string(), e.remedy()))?;
    let own = path.file_name().map_or_else(|| shown.to_string(), |n| n.to_string_lossy().into_owned());
    for (k, frame) in frames.iter().enumerate() {
        let name = if k == 0 { own.clone() } else { format!("{own}#{k}") };
        let labels = Labels::of(frame, asked);
        let acquired = frame.facts.acquired.as_ref().map(|s| s.utc_us);
        let injected = args
            .injected
            .map(jiff::Timestamp::as_microsecond)
            .or_else(|| frame.facts.contrast_start.as_ref().map(|s| s.utc_us));
        #[allow(clippy::cast_precision_loss)] // microseconds of some hours
        let by_clock = injected.zip(acquired).map(|(i, a)| a.saturating_sub(i) as f64 / 1e6);
        let taken = Taken {
            modality: labels.modality,
            eye: args.eye,
            seconds: times.and_then(|t| t.get(&name).copied()).or(by_clock),
            instrument: labels.instrument.as_ref(),
            degrees: args.degrees_per_pixel,
        };
        series.add(name, frame, taken).map_err(|e| wrong("unreadable", e.to_string(), "Send it again"))?;
    }
    Ok(())
}

/// What a frame looks like, where that is worth a word: it is labelled as dye, and looks as if there were none.
fn look(l: DyeLook) -> &'static str {
    match (l.angiogram, l.veins_filled) {
        (Some(false), _) => "; looks like no angiogram: check its label",
        (_, Some(false)) => "; veins look unfilled",
        (Some(true), Some(true)) => "; veins look filled",
        _ => "",
    }
}

/// The run for people.
fn tell(line: &DyeLine) {
    println!("{}", line.modality.screen());
    for f in &line.frames {
        let second = f.seconds.map_or_else(|| "      –".to_owned(), |s| format!("{s:7.1}"));
        let phase = f.left_out.clone().map_or_else(
            || f.phase.map_or_else(|| "no phase told".to_owned(), |p| p.word().replace('_', " ")),
            |why| format!("left out: {why}"),
        );
        println!("{second} s  {:<40} {phase}{}", f.name, f.look.map_or("", look));
    }
    let say = |what: &str, t: Option<DyeSpan>| {
        if let Some(DyeSpan { seconds, interval: [low, high] }) = t {
            println!("{what}: {seconds:.1} s ({low:.1} to {high:.1})");
        }
    };
    say("choroid fills", line.choroid);
    say("arm to retina", line.arm_to_retina);
    say("arterio-venous passage", line.arteriovenous_passage);
    say("mean retinal circulation", line.mean_circulation);
    if let Some(p) = &line.problem {
        println!("Not told: {p}.");
    }
    for r in &line.regions {
        let area = r.area_mm2.zip(r.area_interval_mm2).map_or_else(
            || "no mm²: no projection known".to_owned(),
            |(a, [l, h])| format!("{a:.2} mm² ({l:.2} to {h:.2})"),
        );
        println!(
            "{}: {area}, {:.1} % of what can be graded, score {:.2}{}",
            r.what,
            100.0 * r.share_of_gradable,
            r.score,
            r.note.as_ref().map_or_else(String::new, |n| format!("; {n}"))
        );
    }
    if let Some(i) = &line.index {
        println!(
            "Of the {}: dark {:.1} %, late brightening {:.1} %, as proposed",
            i.denominator,
            100.0 * i.dark,
            100.0 * i.late
        );
    }
    println!("Proposals and times are for a named person to accept; Serrata makes no diagnosis.");
}
