//! `serrata measure`: lengths and areas on the sphere of the eye.

use crate::failure::io_remedy;
use crate::points;
use anyhow::Result;
use serrata_eye::{
    Direction, DomainError, Measure, Picture, Radius, Spread, Stereographic, area_jitter_sr, check_points,
    check_ring, contact_lens_warning, path_jitter_rad, path_length_rad, region_area_sr,
};
use serrata_frame::{Frame, Limits};
use serrata_station::check::{Asked, Labels};
use serrata_station::geometry::{self, Given};
use serrata_words::{ErrorLine, MeasureKind, MeasureLine, Modality, Point, Region};
use std::io::Write;
use std::path::PathBuf;
use std::process::ExitCode;

/// Measures a length or an area on the sphere of the eye, in mm and mm² with a 95 % interval.
///
/// The geometry comes from a wide-field DICOM object, or from --instrument, or from --degrees-per-pixel. Without any
/// of them there are fractions of the picture only. Points are pixels: x to the right, y down, edges at integers.
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

pub fn run(args: &Args) -> Result<ExitCode> {
    let instrument = args.instrument.as_deref().map(serrata_station::instruments::find).transpose()?;
    let given = Given {
        degrees_per_pixel: args.degrees_per_pixel,
        instrument,
        axial_length_mm: args.axial_length,
        radius_mm: args.radius,
    };
    let mut out = std::io::stdout().lock();
    match measured(args, &given) {
        Ok(line) if args.json => writeln!(out, "{}", serde_json::to_string(&line)?)?,
        Ok(line) => write!(out, "{}", text(&line))?,
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

fn measured(args: &Args, given: &Given) -> Result<MeasureLine, Box<ErrorLine>> {
    let name = args.path.to_string_lossy();
    let fail = |code: &str, message: String, remedy: &str| {
        Box::new(ErrorLine::new(name.as_ref(), code, message, remedy))
    };
    let frame = read(args)?;
    let (width, height) = (frame.pixels.width(), frame.pixels.height());
    let place = |e: geometry::GeometryError| {
        fail("geometry", e.to_string(), "Check the value and where it comes from")
    };
    let projection = geometry::projection(&frame.facts, given, width, height).map_err(place)?;
    let radius = geometry::radius(&frame.facts, given).map_err(place)?;
    let points = args.polygon.as_ref().or(args.along.as_ref()).map(|p| p.0.as_slice()).unwrap_or_default();
    check_points(points, width, height).map_err(|e| {
        fail(
            "outside",
            format!("the points cannot be used: {e}"),
            "Give points between 0 and the picture's size",
        )
    })?;
    let kind = match (&args.polygon, &args.along) {
        (Some(_), _) => MeasureKind::Polygon,
        (_, Some(_)) => MeasureKind::Path,
        _ => MeasureKind::Visible,
    };
    let mut line = MeasureLine::new(&name, args.frame, kind);
    if kind == MeasureKind::Path {
        if points.len() < 2 {
            return Err(fail(
                "outline",
                "a path of one point has no length".to_owned(),
                "Give two points or more",
            ));
        }
        let flat: f64 = points.windows(2).map(|p| (p[1][0] - p[0][0]).hypot(p[1][1] - p[0][1])).sum();
        line.share_of_width = Some(flat / f64::from(width));
        if let Some((projection, _)) = &projection {
            length(&mut line, projection, points, radius)
                .map_err(|e| fail("domain", e.to_string(), "Measure inside of what the projection shows"))?;
        }
    } else {
        let region = if kind == MeasureKind::Polygon {
            check_ring(points)
                .map_err(|e| fail("outline", e.to_string(), "Draw an outline that does not cross itself"))?;
            Region { polygons: vec![points.to_vec()], holes: Vec::new() }
        } else {
            visible(&frame, args, given)
        };
        line.fraction_of_picture = Some(region.flat_area() / (f64::from(width) * f64::from(height)));
        if let Some((projection, _)) = &projection {
            area(&mut line, projection, &region, radius)
                .map_err(|e| fail("domain", e.to_string(), "Measure inside of what the projection shows"))?;
        }
    }
    match projection {
        Some((_, source)) => {
            line.geometry = Some(source.to_owned());
            line.radius_mm = Some(radius.mm);
            line.radius_source = Some(radius.source.word().to_owned());
            line.warnings.extend(contact_lens_warning(args.contact_lens, 2.0 * radius.mm).map(str::to_owned));
        }
        None => line.uncalibrated = Some("no projection known".to_owned()),
    }
    Ok(line)
}

fn read(args: &Args) -> Result<Frame, Box<ErrorLine>> {
    let name = args.path.to_string_lossy();
    let bytes = std::fs::read(&args.path).map_err(|e| {
        let (code, remedy) = io_remedy(&e);
        Box::new(ErrorLine::new(name.as_ref(), code, format!("the file cannot be read ({e})"), remedy))
    })?;
    let frames = serrata_station::reading::read_frames(&bytes, &Limits::default())
        .map_err(|e| Box::new(ErrorLine::new(name.as_ref(), e.code(), e.to_string(), e.remedy())))?;
    let count = frames.len();
    frames.into_iter().nth(args.frame as usize).ok_or_else(|| {
        let message = format!("there is no frame {}, the file holds {count}, counted from 0", args.frame);
        Box::new(ErrorLine::new(name.as_ref(), "no_frame", message, "Give a number that the file holds"))
    })
}

fn visible(frame: &Frame, args: &Args, given: &Given) -> Region {
    let asked = Asked { modality: args.modality, instrument: given.instrument.clone(), ..Asked::default() };
    let labels = Labels::of(frame, &asked);
    serrata_appraise::observe(frame, labels.modality, labels.instrument.as_ref()).visible_retina.place
}

/// How sure a point is that a person set or that the engine drew: one standard deviation in pixels (judgement).
const POINT_SD_PX: f64 = 1.0;

fn length(
    line: &mut MeasureLine,
    projection: &Stereographic,
    points: &[Point],
    radius: Radius,
) -> Result<(), DomainError> {
    let on_sphere: Vec<Direction> = points.iter().map(|p| projection.to_direction(*p)).collect();
    let angle = path_length_rad(&on_sphere);
    let picture = Picture::from(*projection);
    let jitter = path_jitter_rad(&picture, points, POINT_SD_PX)?;
    let mm = Measure::length(angle, Spread::of_path(&picture, points)?, jitter, radius);
    note_outside(line, &mm);
    line.length_deg = Some(angle.to_degrees());
    line.length_mm = Some(mm.value);
    line.length_interval_mm = Some(mm.interval);
    Ok(())
}

fn area(
    line: &mut MeasureLine,
    projection: &Stereographic,
    region: &Region,
    radius: Radius,
) -> Result<(), DomainError> {
    let sr = region_area_sr(projection, region);
    let picture = Picture::from(*projection);
    let rings = region.polygons.iter().chain(&region.holes);
    let mut variance = 0.0;
    for ring in rings {
        variance += area_jitter_sr(&picture, ring, POINT_SD_PX)?.powi(2);
    }
    let mm2 = Measure::area(sr, Spread::of_region(&picture, region)?, variance.sqrt(), radius);
    note_outside(line, &mm2);
    line.area_sr = Some(sr);
    line.area_mm2 = Some(mm2.value);
    line.area_interval_mm2 = Some(mm2.interval);
    Ok(())
}

/// The value is that of the sphere, as wide-field objects and published areas have it; far out, schematic eyes put the
/// retina nearer, and the interval is the retina's.
fn note_outside(line: &mut MeasureLine, m: &Measure) {
    if m.value > m.interval[1] {
        line.warnings.push(
            "the sphere reads more here than eye models say of the retina; the interval is the retina's"
                .to_owned(),
        );
    }
}

/// What a person reads: the value with its interval and the radius that it stands on.
fn text(line: &MeasureLine) -> String {
    let mut lines = Vec::new();
    let on = line.radius_mm.map(|r| {
        let source = match line.radius_source.as_deref() {
            Some("axial_length") => "half of this eye's axial length",
            Some("estimated") => "half of an estimated axial length",
            Some("population") => "half of the population's axial length, since this eye's is not known",
            _ => "as given",
        };
        format!("on a sphere of R = {r:.2} mm ({source})")
    });
    let measure = |v: Option<f64>, i: Option<[f64; 2]>, unit: &str| {
        let (v, [low, high]) = (v?, i?);
        Some(format!("{v:.2} {unit}, 95 % interval {low:.2} to {high:.2} {unit}, {}", on.clone()?))
    };
    lines.extend(measure(line.length_mm, line.length_interval_mm, "mm"));
    lines.extend(measure(line.area_mm2, line.area_interval_mm2, "mm²"));
    lines.extend(line.length_deg.map(|d| format!("{d:.2}° at the sphere's centre (eye angle)")));
    lines.extend(line.area_sr.map(|sr| format!("{sr:.4} sr")));
    lines.extend(line.fraction_of_picture.map(|f| format!("{:.1} % of the picture's pixels", f * 100.0)));
    lines.extend(
        line.share_of_width.map(|f| format!("{:.1} % of the picture's width, measured flat", f * 100.0)),
    );
    lines.extend(line.uncalibrated.as_ref().map(|why| {
        format!("no mm: {why} (give --instrument or --degrees-per-pixel, or a wide-field DICOM object)")
    }));
    lines.extend(line.warnings.iter().cloned());
    lines.join("\n") + "\n"
}
