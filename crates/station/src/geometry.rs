//! The geometry of a picture: where its pixels lie on the sphere, and how large the sphere is, with the errors that
//! name a value and what was expected of it.

use serrata_eye::{ModelError, Picture, ProfileError, Projection, Radius, Stereographic, axial_length};
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
    /// The profile's projection cannot be used.
    #[error("the profile {name} cannot be used: {problem}")]
    Profile {
        /// The profile.
        name: String,
        /// What is wrong with it.
        problem: ProfileError,
    },
    /// The file holds a stereographic picture, the profile another.
    #[error("the file says that it is stereographic and the profile {name} says {projection}")]
    OtherProjection {
        /// The profile.
        name: String,
        /// Its projection.
        projection: serrata_words::Projection,
    },
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
/// [`GeometryError`] for impossible values, for a profile that cannot be used, for a file and a person that contradict each
/// other (in the projection, or in the view angle by more than 0.1 %), and for a profile of another size where the file itself
/// says nothing.
pub fn projection(
    facts: &AcquisitionFacts,
    given: &Given,
    width: u32,
    height: u32,
) -> Result<Option<(Picture, &'static str)>, GeometryError> {
    if let Some(problem) = &facts.geometry_problem {
        return Err(GeometryError::Header(problem.clone()));
    }
    let of_file = facts.centre_view_angle_deg;
    for d in of_file.iter().flatten() {
        view_angle("centre pixel's view angle in the header", *d)?;
    }
    let stereographic = |deg_per_px| Picture::from(Stereographic { width, height, deg_per_px });
    let said = match (given.degrees_per_pixel, &given.instrument) {
        (Some(d), _) => Some((stereographic([view_angle("view angle per pixel", d)?; 2]), "given")),
        (None, Some(i)) => match of_profile(i, width, height) {
            // The header's own geometry needs no profile of its size.
            Err(GeometryError::OtherSize { .. }) if of_file.is_some() => None,
            other => other?.map(|p| (p, "instrument")),
        },
        (None, None) => None,
    };
    let Some(file) = of_file else { return Ok(said) };
    if let Some((said, _)) = said {
        if let (Some(i), false) = (&given.instrument, said.projection == Projection::Stereographic) {
            return Err(GeometryError::OtherProjection { name: i.name.clone(), projection: i.projection });
        }
        if let Some(k) = (0..2).find(|&k| (file[k] / said.deg_per_px[k] - 1.0).abs() > 1e-3) {
            return Err(GeometryError::Contradiction { file: file[k], given: said.deg_per_px[k] });
        }
    }
    Ok(Some((stereographic(file), "file")))
}

/// The geometry of a profile, for pictures of its size.
fn of_profile(i: &Instrument, width: u32, height: u32) -> Result<Option<Picture>, GeometryError> {
    let picture = Picture::of(i, width, height)
        .map_err(|problem| GeometryError::Profile { name: i.name.clone(), problem })?;
    if picture.is_some() && (i.width, i.height) != (width, height) {
        return Err(GeometryError::OtherSize {
            name: i.name.clone(),
            want: format!("{} × {}", i.width, i.height),
            have: format!("{width} × {height}"),
        });
    }
    Ok(picture)
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

#[cfg(test)]
mod tests {
    use super::*;
    use serrata_words::Projection as Word;

    fn profile(projection: Word) -> Given {
        let mut i = crate::instruments::shipped().remove(0);
        (i.width, i.height, i.projection) = (2000, 2000, projection);
        Given { instrument: Some(i), ..Given::default() }
    }

    #[test]
    fn a_profile_of_any_projection_gives_its_picture() {
        let facts = AcquisitionFacts::default();
        for word in
            [Word::Equidistant, Word::EqualArea, Word::Orthographic, Word::Gnomonic, Word::Stereographic]
        {
            let (picture, source) = projection(&facts, &profile(word), 2000, 2000).unwrap().unwrap();
            assert_eq!((source, picture.width), ("instrument", 2000));
            assert!(format!("{:?}", picture.projection).to_lowercase() == word.word().replace('_', ""));
        }
        assert_eq!(projection(&facts, &profile(Word::Unknown), 2000, 2000), Ok(None));
    }

    #[test]
    fn what_contradicts_itself_is_told_by_name() {
        let said = |facts: &AcquisitionFacts, given: &Given| {
            projection(facts, given, 2000, 2000).unwrap_err().to_string()
        };
        let plain = AcquisitionFacts::default();
        assert!(said(&plain, &profile(Word::Radial)).contains("coefficients"));
        let wide = AcquisitionFacts { centre_view_angle_deg: Some([0.074; 2]), ..plain };
        let text = said(&wide, &profile(Word::Equidistant));
        assert!(text.contains("stereographic") && text.contains("equidistant"), "{text}");
        // The same geometry twice is no contradiction, and a profile of other pictures is not asked.
        let stereographic = profile(Word::Stereographic);
        assert_eq!(projection(&wide, &stereographic, 2000, 2000).unwrap().unwrap().1, "file");
        assert_eq!(projection(&wide, &stereographic, 900, 900).unwrap().unwrap().1, "file");
    }
}
