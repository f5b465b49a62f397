//! `serrata measure`: lengths and areas on the sphere of the eye.

use crate::{inputs, points};
use anyhow::Result;
use serrata_eye::{
    DomainError, EyeAxis, Measure, Picture, Radius, Spread, check_points, check_ring, contact_lens_warning,
    path_jitter_rad,
};
use serrata_frame::{Frame, Limits};
use serrata_station::area::{POINT_SD_PX, area_of};
use serrata_station::check::{Asked, Labels};
use serrata_station::geometry::{self, Given};
use serrata_words::{ErrorLine, Eye, Gaze, MeasureKind, MeasureLine, Modality, Point, Region};
use std::io::Write;
use std::path::PathBuf;
use std::process::ExitCode;

/// Measures a length or an area on the sphere of the eye, in mm and mm² with a 95 % interval.
///
/// The geometry comes from a wide-field DICOM object, or from --instrument, or from --degrees-per-pixel. Without any
/// of them there are fractions of the picture only. A profile holds for whole pictures of its size. Points are pixels: x to the right, y down, edges at integers.
#[derive(Debug, clap::Args)]
#[command(
    group = clap::ArgGroup::new("what").required(true),
    after_help = "Example:\n  serrata measure picture.dcm --path \"2270,1790 1800,1800\"\n  serrata measure picture.png --polygon \"900,900 1200,900 1200,1300\" --degrees-per-pixel 0.05 --axial-length 24"
)]
pub struct Args {
    /// The picture.
    path: PathBuf,
    /// Area inside of an outline: three points or more.
    #[arg(long, group = "what", value_name = "POINTS", value_parser = points::parse, allow_hyphen_values = true)]
    polygon: Option<points::Points>,
    /// Length from point to point, along great circles: two points or more.
    #[arg(long = "path", group = "what", value_name = "POINTS", value_parser = points::parse, allow_hyphen_values = true)]
    along: Option<points::Points>,
    /// Area of the visible retina.
    #[arg(long, group = "what")]
    visible: bool,
    /// Which picture of a file with several, from 0.
    #[arg(long, default_value_t = 0, value_name = "N")]
    frame: u32,
    /// View angle of the centre pixel, of a stereographic picture centred on its middle.
    #[arg(long, value_name = "D", conflicts_with = "instrument")]
    degrees_per_pixel: Option<f64>,
    /// Instrument profile: a name that comes with Serrata, or a TOML file.
    #[arg(long)]
    instrument: Option<String>,
    /// Axial length of this eye in mm; the radius is half of it.
    #[arg(long, value_name = "MM", conflicts_with = "radius")]
    axial_length: Option<f64>,
    /// Radius of the sphere in mm, for example the 11 mm of published ultra-widefield areas.
    #[arg(long, value_name = "MM")]
    radius: Option<f64>,
    /// Which eye, where the file does not say: the optic axis lies on the disc's side, which the interval takes into account.
    #[arg(long)]
    eye: Option<Eye>,
    /// Gaze, where the file does not say; straight ahead where nobody does. It moves the eye's axis in the picture.
    #[arg(long)]
    gaze: Option<Gaze>,
    /// A contact lens is worn today: pictures through one are larger or smaller.
    #[arg(long)]
    contact_lens: bool,
    /// Kind of picture, where the file does not say (for --visible): colour, faf, fa, icg, infrared, red, green.
    #[arg(long)]
    modality: Option<Modality>,
    /// One line of JSON (`serrata.measure/1`) in full precision, a failure as `serrata.error/1`.
    #[arg(long)]
    json: bool,
}

/// A line of JSON, and the figure in words where there are mm.
struct Answer {
    line: MeasureLine,
    said: Option<String>,
}

/// Where the lengths and areas of a picture stand.
struct Ground {
    picture: Picture,
    radius: Radius,
    axis: EyeAxis,
}

/// What went wrong: a short word, what, and what to do.
type Wrong = (&'static str, String, &'static str);

pub fn run(args: &Args) -> Result<ExitCode> {
    let instrument = args.instrument.as_deref().map(serrata_station::instruments::find).transpose()?;
    let given = Given {
        degrees_per_pixel: args.degrees_per_pixel,
        instrument,
        axial_length_mm: args.axial_length,
        radius_mm: args.radius,
    };
    let name = args.path.to_string_lossy();
    let answer = read(args).and_then(|frame| {
        measured(&frame, args, &given)
            .map_err(|(code, what, remedy)| Box::new(ErrorLine::new(name.as_ref(), code, what, remedy)))
    });
    let mut out = std::io::stdout().lock();
    match answer {
        Ok(answer) if args.json => writeln!(out, "{}", serde_json::to_string(&answer.line)?)?,
        Ok(answer) => write!(out, "{}", text(&answer))?,
        Err(line) => {
            eprintln!("{}", line.sentence());
            if args.json {
                writeln!(out, "{}", serde_json::to_string(&line)?)?;
            }
            return Ok(ExitCode::from(1));
        }
    }
    Ok(ExitCode::SUCCESS)
}

fn read(args: &Args) -> Result<Frame, Box<ErrorLine>> {
    let name = args.path.to_string_lossy();
    let limits = Limits::default();
    let bytes = inputs::read(&args.path, &limits)?;
    let frames = serrata_station::reading::read_frames(&bytes, &limits)
        .map_err(|e| Box::new(ErrorLine::new(name.as_ref(), e.code(), e.to_string(), e.remedy())))?;
    let count = frames.len();
    frames.into_iter().nth(args.frame as usize).ok_or_else(|| {
        let message = format!("there is no frame {}, the file holds {count}, counted from 0", args.frame);
        Box::new(ErrorLine::new(name.as_ref(), "no_frame", message, "Give a number that the file holds"))
    })
}

fn measured(frame: &Frame, args: &Args, given: &Given) -> Result<Answer, Wrong> {
    let (width, height) = (frame.pixels.width(), frame.pixels.height());
    let place =
        |e: geometry::GeometryError| ("geometry", e.to_string(), "Check the value and where it comes from");
    let projection = geometry::projection(&frame.facts, given, width, height).map_err(place)?;
    let radius = geometry::radius(&frame.facts, given).map_err(place)?;
    let points = args.polygon.as_ref().or(args.along.as_ref()).map_or(&[][..], |p| &p.0);
    check_points(points, width, height).map_err(|e| {
        let what = format!("the points cannot be used: {e}");
        ("outside", what, "Give points between 0 and the picture's size")
    })?;
    let kind = match (&args.polygon, &args.along) {
        (Some(_), _) => MeasureKind::Polygon,
        (_, Some(_)) => MeasureKind::Path,
        _ => MeasureKind::Visible,
    };
    let mut line = MeasureLine::new(&args.path.to_string_lossy(), args.frame, kind);
    let (gaze, gaze_source) = gaze_of(args, frame);
    let mut eye = args.eye.or(frame.facts.eye);
    let region = match kind {
        MeasureKind::Path => None,
        MeasureKind::Polygon => Some(drawn(points)?),
        MeasureKind::Visible => {
            let (region, inferred) = visible(frame, args, given)?;
            // As an appraisal takes it, so that both give one interval.
            eye = eye.or(inferred);
            Some(region)
        }
    };
    let source = projection.as_ref().map(|(_, source)| *source);
    let on = projection.map(|(picture, _)| Ground { picture, radius, axis: EyeAxis::of(gaze, eye) });
    let on = on.as_ref();
    let measure = if let Some(region) = &region {
        line.fraction_of_picture = Some(region.flat_area() / (f64::from(width) * f64::from(height)));
        area(&mut line, region, on).map_err(domain)?
    } else {
        path(&mut line, points, f64::from(width), on)?
    };
    if let Some(source) = source {
        line.eye = eye;
        line.gaze = Some(gaze);
        line.gaze_source = Some(gaze_source.to_owned());
        line.geometry = Some(source.to_owned());
        line.radius_mm = Some(radius.mm);
        line.radius_source = Some(radius.source.word().to_owned());
        line.warnings.extend(contact_lens_warning(args.contact_lens, 2.0 * radius.mm).map(str::to_owned));
    } else {
        line.uncalibrated = Some("no projection known".to_owned());
    }
    // The value is that of the sphere, as wide-field objects and published areas have it; the interval is the retina's.
    line.warnings.extend(measure.and_then(|m| m.warning()).map(str::to_owned));
    Ok(Answer { line, said: measure.map(|m| m.to_string()) })
}

/// The gaze and where it comes from.
fn gaze_of(args: &Args, frame: &Frame) -> (Gaze, &'static str) {
    match (args.gaze, frame.facts.gaze) {
        (Some(gaze), _) => (gaze, "given"),
        (None, Some(gaze)) => (gaze, "file"),
        (None, None) => (Gaze::Primary, "assumed"),
    }
}

fn domain(e: DomainError) -> Wrong {
    ("domain", e.to_string(), "Measure inside of what the projection shows")
}

fn drawn(points: &[Point]) -> Result<Region, Wrong> {
    check_ring(points).map_err(|e| {
        let what = format!("the outline cannot be used: {e}");
        ("outline", what, "Draw an outline that does not cross itself")
    })?;
    Ok(Region { polygons: vec![points.to_vec()], holes: Vec::new() })
}

/// The visible retina, and the eye that the anatomy shows.
fn visible(frame: &Frame, args: &Args, given: &Given) -> Result<(Region, Option<Eye>), Wrong> {
    let asked = Asked { modality: args.modality, instrument: given.instrument.clone(), ..Asked::default() };
    let labels = Labels::of(frame, &asked);
    let seen = serrata_appraise::observe(frame, labels.modality, labels.instrument.as_ref());
    if seen.visible_retina.place.is_empty() {
        let remedy = "Look at it with `serrata appraise --overlay`, or draw an outline yourself";
        return Err(("no_retina", "no retina is visible in the picture".to_owned(), remedy));
    }
    Ok((seen.visible_retina.place, seen.eye.inferred))
}

fn path(
    line: &mut MeasureLine,
    points: &[Point],
    width: f64,
    on: Option<&Ground>,
) -> Result<Option<Measure>, Wrong> {
    let flat: f64 = points.windows(2).map(|p| (p[1][0] - p[0][0]).hypot(p[1][1] - p[0][1])).sum();
    if flat <= 0.0 {
        return Err(("outline", "a path of one point has no length".to_owned(), "Give two points or more"));
    }
    line.share_of_width = Some(flat / width);
    let Some(Ground { picture, radius, axis }) = on else { return Ok(None) };
    let angle = picture.path_rad(points).map_err(domain)?;
    let jitter = path_jitter_rad(picture, points, POINT_SD_PX).map_err(domain)?;
    let spread = Spread::of_path(picture, points, *axis).map_err(domain)?;
    let mm = Measure::length(angle, spread, jitter, *radius);
    line.length_deg = Some(angle.to_degrees());
    line.length_mm = Some(mm.value);
    line.length_interval_mm = Some(mm.interval);
    Ok(Some(mm))
}

fn area(
    line: &mut MeasureLine,
    region: &Region,
    on: Option<&Ground>,
) -> Result<Option<Measure>, DomainError> {
    let Some(Ground { picture, radius, axis }) = on else { return Ok(None) };
    let mm2 = area_of(region, picture, *radius, *axis)?;
    line.area_sr = Some(picture.region_sr(region)?);
    line.area_mm2 = Some(mm2.value);
    line.area_interval_mm2 = Some(mm2.interval);
    Ok(Some(mm2))
}

/// What a person reads: the figure with everything that it assumes first.
fn text(answer: &Answer) -> String {
    let line = &answer.line;
    let mut lines: Vec<String> = answer.said.iter().cloned().collect();
    lines.extend(line.length_deg.map(|d| format!("{d:.2}° at the sphere's centre (eye angle)")));
    lines.extend(line.area_sr.map(|sr| format!("{sr:.4} sr")));
    lines.extend(line.fraction_of_picture.map(|f| format!("{:.1} % of the picture's pixels", f * 100.0)));
    lines.extend(
        line.share_of_width.map(|f| format!("{:.1} % of the picture's width, measured flat", f * 100.0)),
    );
    lines.extend(line.gaze.map(|gaze| {
        let eye = line.eye.map_or("eye not known", Eye::screen);
        let assumed = if line.gaze_source.as_deref() == Some("assumed") { " (assumed)" } else { "" };
        format!("interval for: {eye}, gaze {}{assumed}", gaze.screen())
    }));
    lines.extend(line.uncalibrated.as_ref().map(|why| {
        format!("no mm: {why} (give --instrument or --degrees-per-pixel, or a wide-field DICOM object)")
    }));
    lines.extend(line.warnings.iter().cloned());
    lines.join("\n") + "\n"
}
