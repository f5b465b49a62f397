//! `serrata phantom`: simulated pictures with their truth.

use anyhow::{Context, Result, bail};
use clap::{Subcommand, ValueEnum};
use serrata_frame::{Pixels, Samples};
use serrata_phantom::{Condition, Course, DyeRun, Eyeball, Fault, Health, Rendered, Scene};
use serrata_words::{Eye, FrameTruth, Gaze, LesionKind, Modality, Side};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Makes simulated pictures with their truth beside them (`serrata.truth/1`).
///
/// Everything in them is invented: no person, and no instrument that exists.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example:\n  serrata phantom frame --seed 7 --eye L --fault blink --masks -o made\n  serrata phantom eye --seed 7 --condition drusen=40 --visits 2 --growth 0.1 -o visits\n  serrata phantom dye --seed 7 --frames 60 --icg -o run\n  serrata phantom day --seed 1 -o day"
)]
pub struct Args {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// One eye over its visits: a colour picture and the truth of each.
    Eye(EyeArgs),
    /// One picture.
    Frame(FrameArgs),
    /// A dye run, frame by frame, with its times.
    Dye(DyeArgs),
    /// The pictures of the invented clinic day.
    Day(DayArgs),
}

/// What all eyes and pictures share.
#[derive(Debug, clap::Args)]
struct Common {
    /// Seed of the patient.
    #[arg(long)]
    seed: u64,
    /// Seed of the shot: the same patient's next picture.
    #[arg(long, default_value_t = 0)]
    shot: u64,
    /// Folder for pictures and truth.
    #[arg(short, long, value_name = "DIR")]
    output: PathBuf,
    /// R or L.
    #[arg(long, default_value = "R")]
    eye: Eye,
    /// primary, up, down, right, left (the patient's), up_right, …
    #[arg(long, default_value = "primary")]
    gaze: Gaze,
    /// How far the gaze is turned when not primary, degrees, 0 to 60 [default: 25].
    #[arg(long, allow_negative_numbers = true)]
    turn: Option<f64>,
    /// Width of the picture in pixels, 16 to 8192.
    #[arg(long, default_value_t = 3600, allow_negative_numbers = true, value_parser = whole::<16, 8192>)]
    size: u32,
    /// Height of the picture in pixels, 16 to 8192 [default: as the width]; a lower picture is cut from the middle.
    #[arg(long, allow_negative_numbers = true, value_parser = whole::<16, 8192>)]
    height: Option<u32>,
    /// Axial length in mm, 18 to 32 [default: drawn from a published distribution].
    #[arg(long, allow_negative_numbers = true)]
    axial_length: Option<f64>,
    /// KIND=NUMBER: microaneurysm, haemorrhage, drusen, laser_scar, leak (how many, 0 to 3000), atrophy,
    /// non_perfusion (mm², 0 to 400), haze, cataract (0 to 1); may be given several times.
    #[arg(long, value_parser = condition)]
    condition: Vec<Condition>,
    /// Neither lids and lashes at the edge nor small movements of the eye.
    #[arg(long)]
    bare: bool,
    /// Writes masks of every picture too: visible retina, lids, lashes, arteries, veins, lesions.
    #[arg(long)]
    masks: bool,
    /// Prints the truth as one line of JSON.
    #[arg(long)]
    json: bool,
}

#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example, the same eye a visit later, its drusen grown and three more:\n  serrata phantom eye --seed 7 --condition drusen=40 --visits 2 --growth 0.1 --new-marks 3 -o visits"
)]
struct EyeArgs {
    #[command(flatten)]
    common: Common,
    /// How many visits, 1 to 100.
    #[arg(long, default_value_t = 1, allow_negative_numbers = true, value_parser = clap::value_parser!(u32).range(1..=100))]
    visits: u32,
    /// How much lesions grow in radius from visit to visit, as a share, -0.5 to 2.
    #[arg(long, default_value_t = 0.0, allow_negative_numbers = true)]
    growth: f64,
    /// How many new marks of each kind come with every visit, 0 to 500.
    #[arg(long, default_value_t = 0, allow_negative_numbers = true, value_parser = whole::<0, 500>)]
    new_marks: u32,
}

#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example, a blink in a left eye that looks up:\n  serrata phantom frame --seed 7 --eye L --gaze up --fault blink --masks -o made"
)]
struct FrameArgs {
    #[command(flatten)]
    common: Common,
    /// colour, faf, fa, icg, infrared, red or green.
    #[arg(long, default_value = "colour")]
    modality: Modality,
    /// What goes wrong; may be given several times (faf, fa and icg show no reflex).
    #[arg(long, value_enum)]
    fault: Vec<Wrong>,
    /// Rows of a blink, FROM-TO, instead of the usual ones.
    #[arg(long, value_parser = rows)]
    blink_rows: Option<[u32; 2]>,
    /// Seconds since the dye was injected, -3600 to 7200.
    #[arg(long, default_value_t = 60.0, allow_negative_numbers = true)]
    seconds: f64,
    /// Seconds that the instrument's sweep takes, 0.01 to 60 [default: 0.4]: in a longer one a jump of the eye takes fewer lines.
    #[arg(long, allow_negative_numbers = true)]
    sweep: Option<f64>,
    /// Keeps the uneven stretch of a frame that was not projected; such a frame has no masks.
    #[arg(long, conflicts_with = "masks")]
    raw: bool,
}

#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example, both dyes in turn through a leaking retina with a slow arm:\n  serrata phantom dye --seed 7 --frames 60 --icg --condition leak=5 --arm-to-retina 17 -o run"
)]
struct DyeArgs {
    #[command(flatten)]
    common: Common,
    /// How many frames, 1 to 2000.
    #[arg(long, default_value_t = 60, allow_negative_numbers = true, value_parser = whole::<1, 2000>)]
    frames: u32,
    /// ICG as well, in turn with fluorescein.
    #[arg(long)]
    icg: bool,
    /// Seconds from injection to the first dye in the retina, 4 to 60.
    #[arg(long, default_value_t = 12.0, allow_negative_numbers = true)]
    arm_to_retina: f64,
    /// Speed of the retinal circulation against the usual, 0.2 to 4.
    #[arg(long, default_value_t = 1.0, allow_negative_numbers = true)]
    speed: f64,
}

#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  serrata phantom day --seed 1 --size 900 -o day")]
struct DayArgs {
    /// Seed of the day.
    #[arg(long)]
    seed: u64,
    /// Folder for pictures and truth.
    #[arg(short, long, value_name = "DIR")]
    output: PathBuf,
    /// Width of the pictures in pixels, 64 to 8192.
    #[arg(long, default_value_t = 3600, allow_negative_numbers = true, value_parser = clap::value_parser!(u32).range(64..=8192))]
    size: u32,
    /// Prints the truth of each picture as one line of JSON.
    #[arg(long)]
    json: bool,
}

/// Reads KIND=NUMBER.
fn condition(text: &str) -> Result<Condition, String> {
    let (kind, number) = text.split_once('=').ok_or("write KIND=NUMBER, for example drusen=40")?;
    let value: f64 = number.parse().map_err(|_| format!("{number} is no number"))?;
    Ok(match kind {
        "haze" => Condition::VitreousHaze { strength: value },
        "cataract" => Condition::Cataract { strength: value },
        _ => match kind.parse::<LesionKind>().map_err(|e| e.to_string())? {
            kind @ (LesionKind::Atrophy | LesionKind::NonPerfusion) => {
                Condition::Region { kind, area_mm2: value }
            }
            kind => Condition::Marks { kind, count: whole::<0, 3000>(number)? },
        },
    })
}

/// Reads a whole number; what is one but out of its range is told by the phantom itself.
fn whole<const LOW: u32, const HIGH: u32>(text: &str) -> Result<u32, String> {
    text.parse().map_err(|_| format!("it must be a whole number from {LOW} to {HIGH}"))
}

/// Reads FROM-TO.
fn rows(text: &str) -> Result<[u32; 2], String> {
    let (a, b) = text.split_once('-').ok_or("write FROM-TO, for example 400-620")?;
    let read = |t: &str| t.parse::<u32>().map_err(|_| format!("{t} is no row"));
    Ok([read(a)?, read(b)?])
}

/// Faults of usual strength.
#[allow(clippy::enum_variant_names)] // the words of the contract
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
    TooClose,
    TooFar,
    IrisShadow,
    Reflex,
    Floater,
    Smear,
    Dust,
    RegionalBlur,
    WrongEye,
    WrongModality,
    NoRetina,
}

impl Wrong {
    /// The fault in the scene's picture, or the wrong label on it.
    fn spoil(self, scene: &mut Scene) {
        let lines = scene.height.unwrap_or(scene.size);
        let at = [0.62, 0.42];
        let fault = match self {
            Self::Blink => Fault::Blink { rows: [lines * 2 / 5, lines * 3 / 5] },
            Self::Lid => Fault::Lid { side: Side::Bottom, share: 0.3 },
            Self::Lash => Fault::Lash { side: Side::Bottom, length: 0.35, count: 24 },
            Self::Blur => Fault::Blur { sigma: 14.0 },
            Self::Underexposed => Fault::Underexposed { gain: 0.12 },
            Self::Overexposed => Fault::Overexposed { gain: 5.0 },
            Self::OffCentre => Fault::OffCentre { side: Side::Right, share: 0.35 },
            Self::Motion => Fault::Motion { row: lines / 2, shift_deg: 4.0 },
            Self::Haze => Fault::Haze { strength: 0.8 },
            Self::TooClose => Fault::TooClose { strength: 0.6 },
            Self::TooFar => Fault::TooFar { strength: 0.6 },
            Self::IrisShadow => Fault::IrisShadow { side: Side::Left, share: 0.3 },
            Self::Reflex => Fault::Reflex { at, radius: 0.05 },
            Self::Floater => Fault::Floater { at, radius: 0.05, dark: 0.7 },
            Self::Smear => Fault::Smear { at, radius: 0.2, strength: 0.8 },
            Self::Dust => Fault::Dust { count: 30, deposit: 1 },
            Self::RegionalBlur => Fault::RegionalBlur { at, radius: 0.22, sigma: 14.0 },
            Self::WrongEye => {
                scene.labelled = Some(scene.eye.fellow());
                return;
            }
            Self::WrongModality => {
                let other = if scene.modality == Modality::Fa { Modality::Icg } else { Modality::Fa };
                scene.labelled_modality = Some(other);
                return;
            }
            Self::NoRetina => Fault::NoRetina,
        };
        scene.faults.push(fault);
    }
}

impl Common {
    fn health(&self) -> Health {
        Health { axial_length_mm: self.axial_length, conditions: self.condition.clone(), ..Health::default() }
    }

    fn scene(&self, modality: Modality) -> Scene {
        let mut scene = Scene::new(self.seed, self.eye, modality);
        (scene.shot, scene.gaze, scene.size, scene.height) = (self.shot, self.gaze, self.size, self.height);
        scene.everyday = !self.bare;
        scene.turn_deg = self.turn.unwrap_or(scene.turn_deg);
        scene
    }
}

pub fn run(args: &Args) -> Result<ExitCode> {
    match &args.what {
        What::Eye(a) => visits(a)?,
        What::Frame(a) => {
            let c = &a.common;
            let mut scene = c.scene(a.modality);
            (scene.dye_s, scene.raw) = (a.seconds, a.raw);
            scene.instrument.sweep_s = a.sweep.unwrap_or(scene.instrument.sweep_s);
            a.fault.iter().for_each(|w| w.spoil(&mut scene));
            if let Some(rows) = a.blink_rows {
                scene.faults.retain(|f| !matches!(f, Fault::Blink { .. }));
                scene.faults.push(Fault::Blink { rows });
            }
            scene.check()?;
            let eye = Eyeball::grow_with(c.seed, c.eye, &c.health())?;
            let name = format!("{}-{}-{}-{}-{}", c.seed, c.shot, c.eye, a.modality, c.gaze);
            let truth = make(&eye, &scene, &c.output, &name)?;
            if c.masks {
                masks(&eye, &scene, &c.output, &name)?;
            }
            say(&truth, &c.output, c.json)?;
        }
        What::Dye(a) => dye(a)?,
        What::Day(a) => day(a)?,
    }
    Ok(ExitCode::SUCCESS)
}

fn visits(a: &EyeArgs) -> Result<()> {
    let c = &a.common;
    for visit in 0..a.visits {
        let health = Health { visit, growth: a.growth, new_marks: a.new_marks, ..c.health() };
        let eye = Eyeball::grow_with(c.seed, c.eye, &health)?;
        let mut scene = c.scene(Modality::Colour);
        scene.shot = c.shot.wrapping_add(u64::from(visit));
        scene.check()?;
        let name = format!("{}-{}-visit{visit}", c.seed, c.eye);
        let truth = make(&eye, &scene, &c.output, &name)?;
        if c.masks {
            masks(&eye, &scene, &c.output, &name)?;
        }
        let whole = eye.truth();
        write(&c.output.join(format!("{name}-eye.json")), &(serde_json::to_string_pretty(&whole)? + "\n"))?;
        if c.json {
            println!("{}", serde_json::to_string(&whole)?);
        } else {
            say(&truth, &c.output, false)?;
        }
    }
    Ok(())
}

fn dye(a: &DyeArgs) -> Result<()> {
    let c = &a.common;
    let mut scene = c.scene(Modality::Fa);
    scene.course = Course { arm_to_retina_s: a.arm_to_retina, speed: a.speed };
    scene.check()?;
    let dyes: &[Modality] = if a.icg { &[Modality::Icg, Modality::Fa] } else { &[Modality::Fa] };
    let run = DyeRun::new(scene, a.frames, dyes)?;
    let eye = Eyeball::grow_with(c.seed, c.eye, &c.health())?;
    run_of(&run, &eye, &c.output, &format!("{}-{}", c.seed, c.eye), c.masks, c.json)
}

/// Writes a dye run's frames as they are made, one in memory at a time, and its truth.
fn run_of(run: &DyeRun, eye: &Eyeball, dir: &Path, stem: &str, with_masks: bool, json: bool) -> Result<()> {
    let mut frames = Vec::new();
    for (k, made) in run.frames(eye).enumerate() {
        let (seconds, kind) = run.plan[k];
        let name = format!("{stem}-{kind}-{:03}", k + 1);
        let truth = keep(made, dir, &name)?;
        if with_masks && let Some(scene) = run.scene_of(k) {
            masks(eye, &scene, dir, &name)?;
        }
        say(&truth, dir, json)?;
        let phase = truth.dye.map(|d| d.phase);
        frames.push(
            serde_json::json!({"file": truth.file, "modality": kind, "seconds": seconds, "phase": phase}),
        );
    }
    let text = serde_json::json!({
        "schema": "serrata.dye_truth/1",
        "eye": eye.truth(),
        "times": run.times(eye),
        "frames": frames,
    });
    write(&dir.join(format!("{stem}-dye.json")), &(serde_json::to_string_pretty(&text)? + "\n"))
}

fn day(a: &DayArgs) -> Result<()> {
    let mut list = Vec::new();
    let protocols = serrata_visit::Protocol::shipped()?;
    for guest in crate::day::guests(a.seed, a.size) {
        let mut files = Vec::new();
        for (k, shot) in guest.shots.iter().enumerate() {
            let eye = Eyeball::grow(shot.scene.seed, shot.scene.eye);
            let truth = make(&eye, &shot.scene, &a.output, &format!("{}-{}", guest.id, k + 1))?;
            say(&truth, &a.output, a.json)?;
            let instrument = &shot.scene.instrument.name;
            files.push(
                serde_json::json!({"file": truth.file, "minute": shot.minute, "instrument": instrument}),
            );
        }
        let order = protocols.iter().find(|p| p.name == guest.protocol).map(|p| p.title.clone());
        list.push(serde_json::json!({
            "id": guest.id, "name": guest.name, "born": guest.born, "order": order, "chair": guest.chair, "frames": files,
        }));
    }
    for run in crate::day::dye_runs(a.seed, a.size)? {
        let dir = a.output.join(run.id);
        run_of(&run.run, &run.eye, &dir, run.id, false, a.json)?;
        list.push(serde_json::json!({
            "id": run.id, "name": run.name, "born": run.born, "order": run.order, "chair": null,
            "dye": format!("{}/{}-dye.json", run.id, run.id),
        }));
    }
    let text = serde_json::json!({"schema": "serrata.day/1", "seed": a.seed, "visits": list});
    write(&a.output.join("day.json"), &(serde_json::to_string_pretty(&text)? + "\n"))
}

/// Draws one scene and writes picture and truth.
fn make(eye: &Eyeball, scene: &Scene, dir: &Path, name: &str) -> Result<FrameTruth> {
    keep(eye.render(scene), dir, name)
}

fn folder(dir: &Path) -> Result<()> {
    std::fs::create_dir_all(dir).with_context(|| format!("{}: the folder cannot be made", dir.display()))
}

fn keep(made: Rendered, dir: &Path, name: &str) -> Result<FrameTruth> {
    folder(dir)?;
    let mut truth = made.truth;
    truth.file = Some(format!("{name}.png"));
    let (picture, text) = (dir.join(format!("{name}.png")), dir.join(format!("{name}.json")));
    if !matches!(made.frame.pixels.samples(), Samples::U8(_)) {
        bail!("{}: only 8-bit pictures are written", picture.display());
    }
    png(&made.frame.pixels, &picture)?;
    write(&text, &(serde_json::to_string_pretty(&truth)? + "\n"))?;
    Ok(truth)
}

/// Writes the masks of a scene beside its picture.
fn masks(eye: &Eyeball, scene: &Scene, dir: &Path, name: &str) -> Result<()> {
    let height = scene.height.unwrap_or(scene.size);
    for mask in eye.masks(scene) {
        let pixels = Pixels::new(scene.size, height, 1, Samples::U8(mask.bytes.into()))?;
        png(&pixels, &dir.join(format!("{name}-{}.png", mask.name)))?;
    }
    Ok(())
}

fn png(pixels: &Pixels, to: &Path) -> Result<()> {
    serrata_station::picture::write_png(pixels, to)
        .with_context(|| format!("{}: cannot be written; check the folder and the space", to.display()))
}

fn write(to: &Path, text: &str) -> Result<()> {
    std::fs::write(to, text)
        .with_context(|| format!("{}: cannot be written; check the folder and the space", to.display()))
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
