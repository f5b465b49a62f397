use super::{MontageError, pose};
use serde::Serialize;
use serrata_assemble::Canvas;
use serrata_eye::{Direction, Radius, check_points, check_ring, polygon_area_sr};
use serrata_words::{AssemblyLine, Point};

/// Growth of a marked area.
#[derive(Debug, Clone, Serialize)]
pub struct Growth {
    /// Area at the earlier visit, mm².
    pub earlier_mm2: Option<f64>,
    /// Area at the later visit, mm².
    pub later_mm2: Option<f64>,
    /// Later minus earlier, mm².
    pub growth_mm2: Option<f64>,
    /// 95 %: outlines drawn anew, registration, and the axial length; not how models of the eye differ.
    pub growth_interval_mm2: Option<[f64; 2]>,
    /// Radius that the mm² stand on.
    pub radius_mm: f64,
    /// `axial_length` or `population`.
    pub radius_source: &'static str,
    /// Area at the earlier visit, steradians (nominal where not calibrated).
    pub earlier_sr: f64,
    /// The same at the later one.
    pub later_sr: f64,
    /// Growth as a share of the earlier area.
    pub growth_share: f64,
    /// Its 95 % interval: outlines drawn anew and registration.
    pub growth_share_interval: [f64; 2],
    /// `larger`, `smaller` or `within measuring error`.
    pub conclusion: &'static str,
    /// Why there are no mm².
    pub uncalibrated: Option<&'static str>,
}

/// An outline that a person drew.
#[derive(Debug, Clone, PartialEq)]
pub struct Marked {
    /// The name of the frame that it was drawn in; none: in a picture of the assembly.
    pub frame: Option<String>,
    /// The outline, pixels of that picture.
    pub points: Vec<Point>,
}

impl Marked {
    fn called(&self) -> &str {
        self.frame.as_deref().unwrap_or("montage")
    }

    fn wrong(&self, what: impl Into<String>) -> MontageError {
        MontageError::Outline { outline: self.called().to_owned(), what: what.into() }
    }
}

/// From a picture to the sphere.
type ToSphere = Box<dyn Fn(Point) -> Direction>;

/// On the sphere: area in steradians, the length of its edge in radians, and how far registration is off, radians.
fn on_sphere(words: &AssemblyLine, marked: &Marked) -> Result<(f64, f64, f64), MontageError> {
    let points = &marked.points;
    if points.len() < 3 {
        return Err(marked.wrong("an outline has at least three points x,y in pixels"));
    }
    let (size, residual, to_sphere): ([u32; 2], f64, ToSphere) = match &marked.frame {
        Some(name) => {
            let pose = pose(words, name)?;
            // `pose` found the frame by its name.
            let frame = words.frames.iter().find(|f| f.name == *name);
            let size = frame.map_or([0, 0], |f| [f.width, f.height]);
            (
                size,
                frame.and_then(|f| f.residual_deg).unwrap_or(UNKNOWN_DEG),
                Box::new(move |p| pose.to_sphere(p)),
            )
        }
        None => {
            let m = words.mosaics.first().ok_or_else(|| marked.wrong("nothing was drawn; make it again"))?;
            let canvas = Canvas {
                width: m.size[0],
                height: m.size[1],
                degrees_per_pixel: m.degrees_per_pixel,
                middle: m.middle,
            };
            let worst = words.frames.iter().filter_map(|f| f.residual_deg).fold(UNKNOWN_DEG, f64::max);
            (m.size, worst, Box::new(move |p| canvas.to_sphere(p)))
        }
    };
    check_points(points, size[0], size[1])
        .map_err(|e| marked.wrong(format!("{e}; give points within the picture")))?;
    check_ring(points)
        .map_err(|e| marked.wrong(format!("{e}; draw an outline that does not cross itself")))?;
    let ring: Vec<_> = serrata_eye::densify(points, 4.0).into_iter().map(to_sphere).collect();
    let edge: f64 =
        (0..ring.len()).map(|i| serrata_eye::angle_between(ring[i], ring[(i + 1) % ring.len()])).sum();
    // Its first point is as good an inside as any: no area drawn on a retina reaches round to the point opposite.
    Ok((polygon_area_sr(&ring, ring[0]).abs(), edge, residual.to_radians()))
}

/// Error of registration where no frame tells its own, degrees (judgement: what simulated pairs reach).
const UNKNOWN_DEG: f64 = 0.1;

/// How far an outline drawn again may lie from the first, standard deviation in degrees (judgement: two pixels of a
/// 3.6k frame).
const REDRAWN_DEG: f64 = 0.15;

/// How much wider or narrower a whole outline may be drawn another time, standard deviation in degrees (judgement: a
/// third of the wander; a hand that draws outside of an edge does so all round).
const WIDER_DEG: f64 = 0.05;

/// Whether a marked area grew between two visits that lie on one sphere, and by how much.
///
/// `radius`: of the sphere; both visits share it. Example: outlines of 1.00 and 1.02 of an area whose redrawing is worth
/// 5 % are "within measuring error".
///
/// # Errors
/// [`MontageError::Outline`] for outlines that cross themselves, leave their picture or enclose nothing;
/// [`MontageError::Frame`] for frames that were not placed.
pub fn growth(
    words: &AssemblyLine,
    earlier: &Marked,
    later: &Marked,
    radius: Radius,
) -> Result<Growth, MontageError> {
    let (a, edge_a, _) = on_sphere(words, earlier)?;
    let (b, edge_b, off) = on_sphere(words, later)?;
    if a <= 0.0 {
        return Err(earlier.wrong("it encloses nothing, so no growth can be told; draw it again"));
    }
    // An outline that wanders by s, independently every degree or so, changes the area by s·√(edge·1°); one that is
    // drawn wider by s all round by s·edge.
    let degree = 1f64.to_radians();
    let one = |edge: f64, off: f64| {
        let wander = REDRAWN_DEG.to_radians().hypot(off) * (edge * degree).sqrt();
        wander.hypot(WIDER_DEG.to_radians() * edge)
    };
    let sd = one(edge_a, 0.0).hypot(one(edge_b, off));
    let (d, half) = (b - a, 1.96 * sd);
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
