//! The geometry of a picture: where its pixels lie on the sphere, and how large the sphere is, with the errors that
//! name a value and what was expected of it.

use serrata_eye::{Radius, Stereographic};
use serrata_words::{AcquisitionFacts, Instrument};
use std::ops::RangeInclusive;

/// Axial lengths that a living eye has, in mm; the longest published are near 40 (judgement).
pub const AXIAL_MM: RangeInclusive<f64> = 14.0..=40.0;
/// Half of that.
pub const RADIUS_MM: RangeInclusive<f64> = 7.0..=20.0;
/// View angles of a centre pixel, in degrees.
const DEG_PER_PX: RangeInclusive<f64> = 1e-4..=5.0;

/// What a person said of the geometry.
#[derive(Debug, Clone, Default)]
pub struct Given {
    /// View angle of the centre pixel, of a stereographic picture centred on its middle.
    pub degrees_per_pixel: Option<f64>,
    /// Instrument profile.
    pub instrument: Option<Instrument>,
    /// Axial length in mm.
    pub axial_length_mm: Option<f64>,
    /// Radius in mm.
    pub radius_mm: Option<f64>,
}

/// Why a geometry cannot be used.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum GeometryError {
    /// A value outside of what can be.
    #[error("the {what} is {value} {unit}, expected {low} to {high} {unit}")]
    Range {
        /// What it is.
        what: &'static str,
        /// Its value.
        value: f64,
        /// Its unit.
        unit: &'static str,
        /// Lowest value.
        low: f64,
        /// Highest value.
        high: f64,
    },
    /// The file says one thing and the person another.
    #[error("the file says {file}° for its centre pixel and {given}° was given")]
    Contradiction {
        /// The file's value.
        file: f64,
        /// The other value.
        given: f64,
    },
    /// The profile is for pictures of another shape.
    #[error("the profile {name} is for pictures of {want} pixels, this one has {have}")]
    OtherShape {
        /// The profile.
        name: String,
        /// Its size.
        want: String,
        /// The picture's size.
        have: String,
    },
    /// One of the pair of view angles is missing or unusable.
    #[error("the header's wide-field geometry cannot be used: {0}")]
    Header(String),
}

fn within(
    what: &'static str,
    unit: &'static str,
    value: f64,
    range: &RangeInclusive<f64>,
) -> Result<f64, GeometryError> {
    if range.contains(&value) {
        return Ok(value);
    }
    Err(GeometryError::Range { what, value, unit, low: *range.start(), high: *range.end() })
}

/// Projection of a picture and where it comes from (`given`, `file`, `instrument`), or `None` where nothing is known.
///
/// # Errors
/// [`GeometryError`] for impossible values, for a file and a person that contradict each other by more than 0.1 %,
/// and for a profile of another shape.
pub fn projection(
    facts: &AcquisitionFacts,
    given: &Given,
    width: u32,
    height: u32,
) -> Result<Option<(Stereographic, &'static str)>, GeometryError> {
    if let Some(problem) = &facts.geometry_problem {
        return Err(GeometryError::Header(problem.clone()));
    }
    let of_file = facts.centre_view_angle_deg;
    for d in of_file.iter().flatten() {
        within("centre pixel's view angle in the header", "°", *d, &DEG_PER_PX)?;
    }
    let said = match (given.degrees_per_pixel, &given.instrument) {
        (Some(d), _) => Some(([within("view angle per pixel", "°", d, &DEG_PER_PX)?; 2], "given")),
        (None, Some(i)) => of_profile(i, width, height)?.map(|d| (d, "instrument")),
        (None, None) => None,
    };
    if let (Some(file), Some((said, _))) = (of_file, said)
        && let Some(k) = (0..2).find(|&k| (file[k] / said[k] - 1.0).abs() > 1e-3)
    {
        return Err(GeometryError::Contradiction { file: file[k], given: said[k] });
    }
    let chosen = of_file.map(|d| (d, "file")).or(said);
    Ok(chosen.map(|(deg_per_px, source)| (Stereographic { width, height, deg_per_px }, source)))
}

/// View angles out of a profile; a smaller copy of the whole picture is scaled, another shape is refused.
fn of_profile(i: &Instrument, width: u32, height: u32) -> Result<Option<[f64; 2]>, GeometryError> {
    let (w, h) = (f64::from(i.width), f64::from(i.height));
    let skew = (f64::from(width) * h) / (f64::from(height) * w) - 1.0;
    if skew.abs() > 0.005 {
        return Err(GeometryError::OtherShape {
            name: i.name.clone(),
            want: format!("{} × {}", i.width, i.height),
            have: format!("{width} × {height}"),
        });
    }
    Ok(Stereographic::of(i, width, height).map(|s| s.deg_per_px))
}

/// Radius of the sphere: as given, else half of the axial length given, else of the file's, else the population's.
///
/// # Errors
/// [`GeometryError::Range`] for values that no eye has.
pub fn radius(facts: &AcquisitionFacts, given: &Given) -> Result<Radius, GeometryError> {
    if let Some(mm) = given.radius_mm {
        return within("radius", "mm", mm, &RADIUS_MM).map(Radius::given);
    }
    if let Some(mm) = given.axial_length_mm {
        return within("axial length", "mm", mm, &AXIAL_MM).map(Radius::from_axial_length);
    }
    match &facts.axial_length_mm {
        Some((mm, method)) if method != "POPULATION" => {
            within("axial length in the header", "mm", *mm, &AXIAL_MM).map(Radius::from_axial_length)
        }
        _ => Ok(Radius::population()),
    }
}
