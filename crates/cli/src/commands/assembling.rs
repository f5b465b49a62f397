//! What `assemble` and `compare` share: reading frames, placing them, drawing and writing.

use crate::inputs;
use anyhow::{Context, Result, bail};
use rayon::prelude::*;
use serrata_assemble::{Assembly, Canvas, Hooks, Lens, METHOD, Part, Source, Vessels, assemble};
use serrata_eye::Stereographic;
use serrata_frame::{Frame, Limits, Samples};
use serrata_station::check::{Asked, Labels};
use serrata_words::{AssembledFrame, AssemblyLine, ErrorLine, Modality, MosaicLine, Observation, Placement};
use std::collections::BTreeMap;
use std::io::{BufWriter, IsTerminal, Write};
use std::path::{Path, PathBuf};

/// One frame, read and looked at.
pub struct Input {
    pub path: String,
    pub name: String,
    pub size: [u32; 2],
    /// The pixels, kept where a picture is drawn of them.
    pub frame: Option<Frame>,
    pub modality: Modality,
    pub observation: Observation,
    pub lens: Lens,
    pub vessels: Vessels,
}

impl Input {
    /// What is drawn of it; none where the pixels were not kept.
    pub fn source(&self) -> Option<Source<'_>> {
        let (observation, modality) = (Some(&self.observation), Some(self.modality));
        self.frame.as_ref().map(|frame| Source { frame, observation, modality, lens: self.lens })
    }
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
                let held: usize = all.iter().filter_map(|i| i.frame.as_ref()).map(size).sum();
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

/// Bytes of a decoded picture.
fn size(f: &Frame) -> usize {
    let depth = if matches!(f.pixels.samples(), Samples::U16(_)) { 2 } else { 1 };
    f.pixels.width() as usize * f.pixels.height() as usize * usize::from(f.pixels.channels()) * depth
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
        let (w, h) = (frame.pixels.width(), frame.pixels.height());
        let told = degrees.map(|d| [d, d]).or(frame.facts.centre_view_angle_deg);
        let lens = told.filter(|d| d.iter().all(|d| *d > 0.0 && d.is_finite())).map_or_else(
            || {
                let of = labels.instrument.as_ref().and_then(|i| Stereographic::of(i, w, h));
                of.map_or_else(|| Lens::nominal(w, h), Lens::known)
            },
            |deg_per_px| Lens::known(Stereographic { width: w, height: h, deg_per_px }),
        );
        let name = if k == 0 { own.clone() } else { format!("{own}#{k}") };
        let modality = labels.modality;
        let source =
            Source { frame: &frame, observation: Some(&observation), modality: Some(modality), lens };
        let vessels = Vessels::of(&source);
        let frame = drawn.then_some(frame);
        Input { path: shown.to_string(), name, size: [w, h], frame, modality, observation, lens, vessels }
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

/// Places all frames on one sphere.
pub fn place(all: &[Input]) -> Assembly {
    let vessels: Vec<&Vessels> = all.iter().map(|i| &i.vessels).collect();
    let terminal = std::io::stderr().is_terminal();
    let tell = |done: usize, of: usize| {
        if terminal {
            eprint!("\r{done} of {of} frames placed ");
        }
    };
    let assembly = assemble(&vessels, &Hooks { cancel: None, progress: Some(&tell) });
    if terminal {
        eprintln!();
    }
    assembly
}

/// The assembly as words.
pub fn line(all: &[Input], assembly: &Assembly) -> AssemblyLine {
    let frames: Vec<AssembledFrame> = all
        .iter()
        .zip(&assembly.frames)
        .map(|(i, p)| {
            let degrees = i.lens.projection.deg_per_px[0];
            AssembledFrame {
                path: i.path.clone(),
                name: i.name.clone(),
                modality: i.modality,
                width: i.size[0],
                height: i.size[1],
                status: p.status,
                reason: p.reason.map(str::to_owned),
                residual_deg: p.residual_px.map(|r| r.0 * degrees),
                residual_interval_deg: p.residual_px.map(|r| r.1.map(|v| v * degrees)),
                residual_px: p.residual_px.map(|r| r.0),
                rotation: p.pose.as_ref().map(serrata_assemble::Pose::quaternion),
                overlap: p.evidence.map(|e| e.overlap),
                agreeing: p.evidence.map(|e| e.agreeing),
                shape: p.pose.as_ref().map(serrata_assemble::Pose::shape),
            }
        })
        .collect();
    let placed = || all.iter().zip(&frames).filter(|(_, f)| f.status == Placement::Placed);
    AssemblyLine {
        schema: AssemblyLine::SCHEMA.to_owned(),
        method: METHOD,
        calibrated: placed().count() > 0 && placed().all(|(i, _)| i.lens.known),
        reference: assembly.reference.and_then(|r| all.get(r)).map(|i| i.name.clone()),
        frames,
        mosaics: Vec::new(),
    }
}

/// Rows drawn at a time: memory stays bounded whatever the canvas.
const ROWS: u32 = 128;

/// Draws the placed frames among `which`, one picture a kind, into a folder.
pub fn draw(
    all: &[Input],
    assembly: &Assembly,
    which: impl Fn(usize) -> bool,
    canvas: &Canvas,
    prefix: &str,
    dir: &Path,
) -> Result<Vec<MosaicLine>> {
    let mut kinds: BTreeMap<Modality, Vec<usize>> = BTreeMap::new();
    for (i, (input, p)) in all.iter().zip(&assembly.frames).enumerate() {
        if p.status == Placement::Placed && which(i) {
            kinds.entry(input.modality).or_default().push(i);
        }
    }
    kinds
        .iter()
        .map(|(kind, members)| draw_kind(all, assembly, members, canvas, *kind, prefix, dir))
        .collect()
}

fn draw_kind(
    all: &[Input],
    assembly: &Assembly,
    members: &[usize],
    canvas: &Canvas,
    kind: Modality,
    prefix: &str,
    dir: &Path,
) -> Result<MosaicLine> {
    let parts: Vec<Part<'_>> = members
        .par_iter()
        .filter_map(|i| Some(Part::new(&all[*i].source()?, assembly.frames[*i].pose.clone()?)))
        .collect();
    let pixels = || members.iter().filter_map(|i| all[*i].frame.as_ref()).map(|f| &f.pixels);
    let channels = pixels().map(serrata_frame::Pixels::channels).max().unwrap_or(1);
    let deep = pixels().any(|p| matches!(p.samples(), Samples::U16(_)));
    let (file, provenance) = (format!("{prefix}{kind}.png"), format!("{prefix}{kind}-provenance.png"));
    let colour = if channels == 3 { png::ColorType::Rgba } else { png::ColorType::GrayscaleAlpha };
    let depth = if deep { png::BitDepth::Sixteen } else { png::BitDepth::Eight };
    let mut picture = encoder(&dir.join(&file), canvas, colour, depth)?;
    let mut sources =
        encoder(&dir.join(&provenance), canvas, png::ColorType::Grayscale, png::BitDepth::Sixteen)?;
    let mut out = picture.stream_writer().context("the picture cannot be begun")?;
    let mut from_out = sources.stream_writer().context("the picture cannot be begun")?;
    let mut covered = 0u64;
    let mut from = 0;
    while from < canvas.height {
        let to = (from + ROWS).min(canvas.height);
        let strip = canvas.strip(&parts, usize::from(channels), from, to);
        covered += strip.provenance.iter().filter(|p| **p > 0).count() as u64;
        out.write_all(&bytes(&strip.samples, deep))
            .context("the mosaic cannot be written; check the space")?;
        let frames: Vec<u8> = strip
            .provenance
            .iter()
            .map(|p| {
                if *p == 0 { 0 } else { u16::try_from(members[usize::from(*p) - 1] + 1).unwrap_or(u16::MAX) }
            })
            .flat_map(u16::to_be_bytes)
            .collect();
        from_out.write_all(&frames).context("the mosaic cannot be written; check the space")?;
        from = to;
    }
    out.finish().context("the mosaic cannot be written; check the space")?;
    from_out.finish().context("the mosaic cannot be written; check the space")?;
    #[allow(clippy::cast_precision_loss)] // a count of pixels
    let covered = covered as f64 / (f64::from(canvas.width) * f64::from(canvas.height));
    Ok(MosaicLine {
        modality: kind,
        file,
        provenance,
        size: [canvas.width, canvas.height],
        degrees_per_pixel: canvas.degrees_per_pixel,
        middle: canvas.middle,
        covered,
    })
}

#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // samples are 0 to 1
fn bytes(samples: &[f32], deep: bool) -> Vec<u8> {
    if deep {
        samples.iter().flat_map(|v| ((v * 65535.0).round() as u16).to_be_bytes()).collect()
    } else {
        samples.iter().map(|v| (v * 255.0).round() as u8).collect()
    }
}

type Png = png::Writer<BufWriter<std::fs::File>>;

fn encoder(to: &Path, canvas: &Canvas, colour: png::ColorType, depth: png::BitDepth) -> Result<Png> {
    let file = std::fs::File::create(to)
        .with_context(|| format!("{}: cannot be written; check the folder and the space", to.display()))?;
    let mut e = png::Encoder::new(BufWriter::new(file), canvas.width, canvas.height);
    e.set_color(colour);
    e.set_depth(depth);
    e.set_compression(png::Compression::Fast);
    e.write_header().with_context(|| format!("{}: cannot be written", to.display()))
}

/// A folder that is filled beside its place and moved there whole.
pub struct Folder {
    place: PathBuf,
    making: PathBuf,
}

impl Folder {
    /// Begins a folder; what stands at its place must be empty or an earlier result.
    pub fn begin(place: &Path, mark: &str) -> Result<Self> {
        if place.exists() {
            let empty = std::fs::read_dir(place)
                .with_context(|| format!("{}: is no folder; name another", place.display()))?
                .next()
                .is_none();
            if !empty && !place.join(mark).exists() {
                bail!("{}: the folder holds other files; name a new folder", place.display());
            }
        }
        let name = place.file_name().map(|n| n.to_string_lossy().into_owned());
        let Some(name) = name else { bail!("{}: cannot be a folder; name another", place.display()) };
        let making = place.with_file_name(format!(".{name}.making-{}", std::process::id()));
        std::fs::create_dir_all(&making)
            .with_context(|| format!("{}: the folder cannot be made", making.display()))?;
        Ok(Self { place: place.to_path_buf(), making })
    }

    pub fn path(&self) -> &Path {
        &self.making
    }

    /// Puts the folder in its place.
    pub fn finish(self) -> Result<()> {
        let replaced = || format!("{}: the earlier result cannot be replaced", self.place.display());
        // The earlier result stands beside until the new one is in its place.
        let old = self.making.with_extension(format!("old-{}", std::process::id()));
        let there = self.place.exists();
        if there {
            std::fs::rename(&self.place, &old).with_context(replaced)?;
        }
        let put = std::fs::rename(&self.making, &self.place);
        if put.is_err() && there {
            std::fs::rename(&old, &self.place).with_context(replaced)?;
        }
        put.with_context(|| format!("{}: the folder cannot be put there", self.place.display()))?;
        if there {
            std::fs::remove_dir_all(&old).with_context(replaced)?;
        }
        Ok(())
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        // After `finish` it is gone; after a failure nothing half-written stays.
        let _ = std::fs::remove_dir_all(&self.making);
    }
}
