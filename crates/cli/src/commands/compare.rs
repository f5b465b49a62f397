//! `serrata compare`: what changed between two visits.

use super::assembling::{Folder, draw, line, place, read};
use super::transfer::point;
use anyhow::{Context, Result, anyhow, bail};
use serde::Serialize;
use serrata_assemble::{Canvas, Pose};
use serrata_eye::{Radius, check_points, check_ring, polygon_area_sr};
use serrata_station::check::Asked;
use serrata_words::{AssemblyLine, Modality, Placement};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Puts the frames of two visits of one eye on one sphere and shows what changed.
///
/// Writes one picture a kind and visit, all on one canvas, so that turning pages between them is a flicker, and their
/// difference with the broad light taken out. A marked area is measured on both.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example:\n  serrata compare spring/ --with autumn/ -o change\n  serrata compare a.png --with b.png -o change --outline \"a.png:10,10 60,10 60,50\" --outline \"b.png:9,8 66,10 61,57\" --axial-length 24.1"
)]
pub struct Args {
    /// Pictures or folders of the earlier visit.
    #[arg(required = true)]
    earlier: Vec<PathBuf>,
    /// Pictures or folders of the later visit.
    #[arg(long, required = true, num_args = 1.., value_name = "LATER")]
    with: Vec<PathBuf>,
    /// Folder for the result.
    #[arg(short, long, value_name = "DIR")]
    output: PathBuf,
    /// A marked area as "frame:x,y x,y x,y …", pixels; once for the earlier and once for the later visit.
    #[arg(long, value_name = "OUTLINE")]
    outline: Vec<String>,
    /// Axial length in mm; without it that of the population, marked so.
    #[arg(long, value_name = "MM", value_parser = super::assembling::axial_length)]
    axial_length: Option<f64>,
    /// Instrument profile: a name that comes with Serrata, or a TOML file.
    #[arg(long)]
    instrument: Option<String>,
    /// View angle of the centre pixel in degrees, where the files do not say.
    #[arg(long, value_name = "D", value_parser = super::assembling::degrees_per_pixel)]
    degrees_per_pixel: Option<f64>,
    /// Longest side of the pictures drawn, in pixels.
    #[arg(long, default_value_t = 3000, value_parser = clap::value_parser!(u32).range(64..=8192))]
    size: u32,
    /// One line of JSON (`serrata.comparison/1`).
    #[arg(long)]
    json: bool,
}

/// Contract `serrata.comparison/1`.
#[derive(Debug, Serialize)]
struct Comparison {
    schema: &'static str,
    assembly: AssemblyLine,
    /// How many of the frames, counted from the first, are of the earlier visit.
    earlier: usize,
    /// The kinds that both visits have, with the file of their difference.
    differences: Vec<(Modality, String)>,
    growth: Option<Growth>,
}

/// Growth of a marked area.
#[derive(Debug, Serialize)]
struct Growth {
    earlier_mm2: Option<f64>,
    later_mm2: Option<f64>,
    growth_mm2: Option<f64>,
    /// 95 %: outlines drawn anew, registration, and the axial length; not how models of the eye differ.
    growth_interval_mm2: Option<[f64; 2]>,
    radius_mm: f64,
    /// `axial_length` or `population`.
    radius_source: &'static str,
    earlier_sr: f64,
    later_sr: f64,
    growth_share: f64,
    growth_share_interval: [f64; 2],
    conclusion: &'static str,
    uncalibrated: Option<&'static str>,
}

pub fn run(args: &Args) -> Result<ExitCode> {
    if !matches!(args.outline.len(), 0 | 2) {
        let text = "an area is compared by two outlines: give --outline once for each visit, or not at all\n";
        clap::Error::raw(clap::error::ErrorKind::WrongNumberOfValues, text).exit();
    }
    let instrument = args.instrument.as_deref().map(serrata_station::instruments::find).transpose()?;
    let asked = Asked { instrument, ..Asked::default() };
    let (mut inputs, mut failed) = read(&args.earlier, &asked, args.degrees_per_pixel, true, args.json)?;
    let earlier = inputs.len();
    let (later, also) = read(&args.with, &asked, args.degrees_per_pixel, true, args.json)?;
    failed |= also;
    inputs.extend(later);
    if earlier == 0 || inputs.len() == earlier {
        bail!("one of the visits holds no picture that can be read");
    }
    for k in earlier..inputs.len() {
        if inputs[..k].iter().any(|i| i.name == inputs[k].name) {
            inputs[k].name = format!("later/{}", inputs[k].name);
        }
    }
    let folder = Folder::begin(&args.output, "comparison.json")?;
    let assembly = place(&inputs);
    let mut words = line(&inputs, &assembly);
    let placed = |i: usize| assembly.frames[i].status == Placement::Placed;
    if !(0..earlier).any(placed) || !(earlier..inputs.len()).any(placed) {
        bail!(
            "the frames of the two visits do not fit together, so nothing is compared; check that they are of one eye"
        );
    }
    // Before the pictures: a wrong outline is told at once.
    let growth = match args.outline.as_slice() {
        [a, b] => Some(growth(&words, a, b, args.axial_length)?),
        _ => None,
    };
    let poses: Vec<&Pose> =
        (0..inputs.len()).filter(|i| placed(*i)).filter_map(|i| assembly.frames[i].pose.as_ref()).collect();
    let canvas = Canvas::around(&poses, args.size).context("nothing was placed")?;
    let before = draw(&inputs, &assembly, |i| i < earlier, &canvas, "earlier-", folder.path())?;
    let after = draw(&inputs, &assembly, |i| i >= earlier, &canvas, "later-", folder.path())?;
    let mut differences = Vec::new();
    for b in &before {
        if let Some(a) = after.iter().find(|a| a.modality == b.modality) {
            let file = format!("difference-{}.png", b.modality);
            difference(
                &folder.path().join(&b.file),
                &folder.path().join(&a.file),
                &folder.path().join(&file),
            )?;
            differences.push((b.modality, file));
        }
    }
    words.mosaics = before.into_iter().chain(after).collect();
    let result = Comparison { schema: "serrata.comparison/1", assembly: words, earlier, differences, growth };
    let text = serde_json::to_string(&result)?;
    std::fs::write(folder.path().join("comparison.json"), format!("{text}\n"))
        .context("comparison.json cannot be written; check the space")?;
    folder.finish()?;
    if args.json {
        println!("{text}");
    } else {
        tell(&result);
    }
    Ok(if failed { ExitCode::from(1) } else { ExitCode::SUCCESS })
}

/// The comparison for people.
fn tell(result: &Comparison) {
    for f in &result.assembly.frames {
        let reason = f.reason.as_ref().map_or_else(String::new, |r| format!("  {r}"));
        println!("{:<40} {:<10}{reason}", f.name, f.status.word());
    }
    if let Some(g) = &result.growth {
        let [low, high] = g.growth_share_interval.map(|v| 100.0 * v);
        println!(
            "marked area: {:+.1} % ({low:+.1} to {high:+.1} %): {}",
            100.0 * g.growth_share,
            g.conclusion
        );
        if let (Some(mm2), Some([low, high])) = (g.growth_mm2, g.growth_interval_mm2) {
            let source = if g.radius_source == "population" {
                ", the population's"
            } else {
                ", half the axial length"
            };
            println!("{mm2:+.2} mm² ({low:+.2} to {high:+.2}) on R = {:.2} mm{source}", g.radius_mm);
        }
    }
    if !result.assembly.calibrated {
        println!("Uncalibrated: the projection is not known, so no mm can be read from this comparison.");
    }
}

/// Later minus earlier, each with its broad light taken out; middle grey is no change, uncovered is clear.
fn difference(before: &Path, after: &Path, to: &Path) -> Result<()> {
    let open = |p: &Path| -> Result<image::GrayAlphaImage> {
        let picture = image::open(p).with_context(|| format!("{}: cannot be read back", p.display()))?;
        if picture.color().has_color() {
            // Green carries the vessels and most of what changes.
            let rgba = picture.into_rgba8();
            return Ok(image::GrayAlphaImage::from_fn(rgba.width(), rgba.height(), |x, y| {
                let p = rgba.get_pixel(x, y).0;
                image::LumaA([p[1], p[3]])
            }));
        }
        Ok(picture.into_luma_alpha8())
    };
    let (b, a) = (open(before)?, open(after)?);
    let (lb, la) = (levelled(&b), levelled(&a));
    let out = image::GrayAlphaImage::from_fn(b.width(), b.height(), |x, y| {
        let i = y as usize * b.width() as usize + x as usize;
        if b.get_pixel(x, y).0[1] == 0 || a.get_pixel(x, y).0[1] == 0 {
            return image::LumaA([0, 0]);
        }
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // cut to 0..=255
        image::LumaA([(127.5 + 40.0 * (la[i] - lb[i])).clamp(0.0, 255.0) as u8, 255])
    });
    out.save(to).with_context(|| format!("{}: cannot be written; check the space", to.display()))
}

/// Local contrast: minus the mean round about, over the standard deviation round about.
#[allow(clippy::cast_possible_truncation)] // grey levels
fn levelled(p: &image::GrayAlphaImage) -> Vec<f32> {
    let (w, h) = (p.width() as usize, p.height() as usize);
    let radius = (w.max(h) / 40).max(4);
    // Sums of coverage, value and square over rectangles.
    let mut sums = vec![[0f64; 3]; (w + 1) * (h + 1)];
    for y in 0..h {
        let mut row = [0f64; 3];
        for x in 0..w {
            let [v, c] = p.as_raw()[2 * (y * w + x)..][..2] else { continue };
            if c > 0 {
                let v = f64::from(v);
                row = [row[0] + 1.0, row[1] + v, row[2] + v * v];
            }
            let above = sums[y * (w + 1) + x + 1];
            sums[(y + 1) * (w + 1) + x + 1] = [above[0] + row[0], above[1] + row[1], above[2] + row[2]];
        }
    }
    let mut out = Vec::with_capacity(w * h);
    for y in 0..h {
        for x in 0..w {
            let (x0, x1) = (x.saturating_sub(radius), (x + radius + 1).min(w));
            let (y0, y1) = (y.saturating_sub(radius), (y + radius + 1).min(h));
            let s = |k: usize| {
                let at = |x: usize, y: usize| sums[y * (w + 1) + x][k];
                at(x1, y1) - at(x0, y1) - at(x1, y0) + at(x0, y0)
            };
            let n = s(0).max(1.0);
            let mean = s(1) / n;
            let sd = (s(2) / n - mean * mean).max(0.0).sqrt().max(3.0);
            out.push(((f64::from(p.as_raw()[2 * (y * w + x)]) - mean) / sd) as f32);
        }
    }
    out
}

/// An outline "frame:x,y x,y …" on the sphere: area in steradians, and the length of its edge in radians.
fn outline(words: &AssemblyLine, text: &str) -> Result<(f64, f64, f64)> {
    let (name, rest) = text
        .rsplit_once(':')
        .ok_or_else(|| anyhow!("\"{text}\": an outline is written as \"frame:x,y x,y x,y\""))?;
    let points: Option<Vec<[f64; 2]>> = rest.split_whitespace().map(point).collect();
    let points = points
        .filter(|p| p.len() >= 3)
        .ok_or_else(|| anyhow!("\"{text}\": an outline has at least three points x,y in pixels"))?;
    let pose = super::transfer::pose(words, name)?;
    let frame = words.frames.iter().find(|f| f.name == name);
    if let Some(f) = frame {
        check_points(&points, f.width, f.height)
            .with_context(|| format!("\"{text}\": give points within the picture"))?;
    }
    check_ring(&points).with_context(|| format!("\"{text}\": draw an outline that does not cross itself"))?;
    let ring: Vec<_> = serrata_eye::densify(&points, 4.0).into_iter().map(|p| pose.to_sphere(p)).collect();
    let edge: f64 =
        (0..ring.len()).map(|i| serrata_eye::angle_between(ring[i], ring[(i + 1) % ring.len()])).sum();
    let residual = frame.and_then(|f| f.residual_deg).unwrap_or(0.1).to_radians();
    // Its first point is as good an inside as any: no area drawn on a retina reaches round to the point opposite.
    Ok((polygon_area_sr(&ring, ring[0]).abs(), edge, residual))
}

/// How far an outline drawn again may lie from the first, standard deviation in degrees (judgement: two pixels of a
/// 3.6k frame).
const REDRAWN_DEG: f64 = 0.15;

fn growth(words: &AssemblyLine, earlier: &str, later: &str, axial_length: Option<f64>) -> Result<Growth> {
    let (a, edge_a, _) = outline(words, earlier)?;
    let (b, edge_b, off) = outline(words, later)?;
    if a <= 0.0 {
        bail!("the earlier outline encloses nothing, so no growth can be told");
    }
    // An outline that wanders by s, independently every degree or so, changes the area by s·√(edge·1°).
    let degree = 1f64.to_radians();
    let wander = |edge: f64, s: f64| s * (edge * degree).sqrt();
    let sd =
        wander(edge_a, REDRAWN_DEG.to_radians()).hypot(wander(edge_b, REDRAWN_DEG.to_radians().hypot(off)));
    let (d, half) = (b - a, 1.96 * sd);
    let radius = axial_length.map_or_else(Radius::population, Radius::from_axial_length);
    let r = radius.mm;
    let mm2 = |sr: f64| words.calibrated.then(|| serrata_words::round::six_digits(sr * r * r));
    // Both visits share the radius: it scales the growth, and cannot make one out of none.
    let wide = half.hypot(1.96 * d * 2.0 * radius.axial_sd_mm() / r);
    Ok(Growth {
        earlier_mm2: mm2(a),
        later_mm2: mm2(b),
        growth_mm2: mm2(d),
        growth_interval_mm2: mm2(d - wide).zip(mm2(d + wide)).map(|(l, h)| [l, h]),
        radius_mm: r,
        radius_source: radius.source.word(),
        earlier_sr: a,
        later_sr: b,
        growth_share: d / a,
        growth_share_interval: [(d - half) / a, (d + half) / a],
        conclusion: if d.abs() <= half {
            "within measuring error"
        } else if d > 0.0 {
            "larger"
        } else {
            "smaller"
        },
        uncalibrated: (!words.calibrated).then_some("no projection known"),
    })
}
