//! The geometry of a picture: where its pixels lie on the sphere, and how large the sphere is, with the errors that
//! name a value and what was expected of it.

use serrata_eye::{ModelError, Radius, Stereographic, axial_length};
use serrata_words::{AcquisitionFacts, Instrument};
use std::ops::RangeInclusive;

/// View angles that a centre pixel can have, in degrees (judgement).
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
    /// The profile is for pictures of another size, so nobody knows which part of them this one is.
    #[error("the profile {name} is for pictures of {want} pixels, this one has {have}")]
    OtherSize {
        /// The profile.
        name: String,
        /// Its size.
        want: String,
        /// The picture's size.
        have: String,
    },
    /// An axial length or a radius that no eye has.
    #[error(transparent)]
    Eye(#[from] ModelError),
    /// One of the pair of view angles is missing or unusable.
    #[error("the header's wide-field geometry cannot be used: {0}")]
    Header(String),
}

fn view_angle(what: &'static str, value: f64) -> Result<f64, GeometryError> {
    if DEG_PER_PX.contains(&value) {
        return Ok(value);
    }
    let (low, high) = (*DEG_PER_PX.start(), *DEG_PER_PX.end());
    Err(GeometryError::Range { what, value, unit: "°", low, high })
}

/// Projection of a picture and where it comes from (`given`, `file`, `instrument`), or `None` where nothing is known.
///
/// # Errors
/// [`GeometryError`] for impossible values, for a file and a person that contradict each other by more than 0.1 %,
/// and for a profile of another size where the file itself says nothing.
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
        view_angle("centre pixel's view angle in the header", *d)?;
    }
    let said = match (given.degrees_per_pixel, &given.instrument) {
        (Some(d), _) => Some(([view_angle("view angle per pixel", d)?; 2], "given")),
        (None, Some(i)) => match of_profile(i, width, height) {
            // The header's own geometry needs no profile.
            Err(_) if of_file.is_some() => None,
            other => other?.map(|d| (d, "instrument")),
        },
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

/// View angles out of a profile, for pictures of its size.
fn of_profile(i: &Instrument, width: u32, height: u32) -> Result<Option<[f64; 2]>, GeometryError> {
    let Some(s) = Stereographic::of(i, width, height) else { return Ok(None) };
    if (i.width, i.height) != (width, height) {
        return Err(GeometryError::OtherSize {
            name: i.name.clone(),
            want: format!("{} × {}", i.width, i.height),
            have: format!("{width} × {height}"),
        });
    }
    Ok(Some(s.deg_per_px))
}

/// Radius of the sphere: as given, else half of the axial length given, else of the file's, else the population's.
///
/// The file's length counts as measured where it says so (DICOM's `MEASURED`), as the population's where it says that,
/// and else as an estimate.
///
/// # Errors
/// [`GeometryError::Eye`] for values that no eye has.
pub fn radius(facts: &AcquisitionFacts, given: &Given) -> Result<Radius, GeometryError> {
    if let Some(mm) = given.radius_mm {
        return Ok(Radius::try_given(mm)?);
    }
    if let Some(mm) = given.axial_length_mm {
        return Ok(Radius::try_from_axial_length(mm)?);
    }
    match &facts.axial_length_mm {
        None => Ok(Radius::population()),
        Some((_, method)) if method == "POPULATION" => Ok(Radius::population()),
        Some((mm, method)) if method == "MEASURED" => Ok(Radius::try_from_axial_length(*mm)?),
        Some((mm, _)) => Ok(Radius::estimated(axial_length(*mm)?)),
    }
}
