use super::{Input, MontageError};
use rayon::prelude::*;
use serrata_assemble::{Assembly, Canvas, Hooks, Part, Pose};
use serrata_frame::Samples;
use serrata_words::{Modality, MosaicLine, Placement, Ring};
use std::collections::BTreeMap;
use std::io::{BufWriter, Write};
use std::path::Path;

/// Rows drawn at a time: memory stays bounded whatever the canvas.
const ROWS: u32 = 128;

/// The canvas that holds what all placed frames saw; none where nothing was placed.
#[must_use]
pub fn canvas(all: &[Input], assembly: &Assembly, longest: u32) -> Option<Canvas> {
    let placed = all.iter().zip(&assembly.frames).filter(|(_, p)| p.status == Placement::Placed);
    let frames: Vec<(&Pose, &[Ring])> = placed
        .filter_map(|(i, p)| Some((p.pose.as_ref()?, &i.observation.visible_retina.place.polygons[..])))
        .collect();
    Canvas::around(&frames, longest)
}

/// Draws the placed frames among `which`, one picture a kind, into a folder; `{prefix}{kind}.png` and its provenance.
///
/// # Errors
/// [`MontageError::File`] where a picture cannot be written, [`MontageError::Stopped`] where it was cancelled.
pub fn draw(
    all: &[Input],
    assembly: &Assembly,
    which: impl Fn(usize) -> bool,
    canvas: &Canvas,
    prefix: &str,
    dir: &Path,
    hooks: &Hooks<'_>,
) -> Result<Vec<MosaicLine>, MontageError> {
    let mut kinds: BTreeMap<Modality, Vec<usize>> = BTreeMap::new();
    for (i, (input, p)) in all.iter().zip(&assembly.frames).enumerate() {
        if p.status == Placement::Placed && which(i) {
            kinds.entry(input.modality).or_default().push(i);
        }
    }
    kinds
        .iter()
        .map(|(kind, members)| draw_kind(all, assembly, members, canvas, *kind, prefix, dir, hooks))
        .collect()
}

#[allow(clippy::too_many_arguments)] // one call, and each is another thing
fn draw_kind(
    all: &[Input],
    assembly: &Assembly,
    members: &[usize],
    canvas: &Canvas,
    kind: Modality,
    prefix: &str,
    dir: &Path,
    hooks: &Hooks<'_>,
) -> Result<MosaicLine, MontageError> {
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
    let full = |e: &dyn std::fmt::Display| {
        MontageError::file(dir, format!("the picture cannot be written ({e}); check the space"))
    };
    let mut out = picture.stream_writer().map_err(|e| full(&e))?;
    let mut from_out = sources.stream_writer().map_err(|e| full(&e))?;
    let mut covered = 0u64;
    let mut from = 0;
    while from < canvas.height {
        if hooks.cancelled() {
            return Err(MontageError::Stopped);
        }
        let to = (from + ROWS).min(canvas.height);
        let strip = canvas.strip(&parts, usize::from(channels), from, to);
        covered += strip.provenance.iter().filter(|p| **p > 0).count() as u64;
        out.write_all(&bytes(&strip.samples, deep)).map_err(|e| full(&e))?;
        let frames: Vec<u8> = strip
            .provenance
            .iter()
            .map(|p| {
                if *p == 0 { 0 } else { u16::try_from(members[usize::from(*p) - 1] + 1).unwrap_or(u16::MAX) }
            })
            .flat_map(u16::to_be_bytes)
            .collect();
        from_out.write_all(&frames).map_err(|e| full(&e))?;
        from = to;
    }
    out.finish().map_err(|e| full(&e))?;
    from_out.finish().map_err(|e| full(&e))?;
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

fn encoder(
    to: &Path,
    canvas: &Canvas,
    colour: png::ColorType,
    depth: png::BitDepth,
) -> Result<Png, MontageError> {
    let broken = |e: &dyn std::fmt::Display| {
        MontageError::file(to, format!("cannot be written ({e}); check the folder and the space"))
    };
    let file = std::fs::File::create(to).map_err(|e| broken(&e))?;
    let mut e = png::Encoder::new(BufWriter::new(file), canvas.width, canvas.height);
    e.set_color(colour);
    e.set_depth(depth);
    e.set_compression(png::Compression::Fast);
    e.write_header().map_err(|e| broken(&e))
}
