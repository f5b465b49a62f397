use crate::{Picture, Projection, RadialError, RadialPolynomial};
use serrata_words::{Instrument, Projection as Word};

/// Why the projection of an instrument's profile cannot be used, with the value and what was expected. Example: 0° a pixel.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum ProfileError {
    /// The view angle of the centre pixel is missing.
    #[error(
        "the projection is {0}, but degrees_per_pixel is missing; expected the view angle of the centre pixel"
    )]
    NoScale(Word),
    /// The view angle is no angle of a pixel.
    #[error("degrees_per_pixel is {0}; expected 0.0001 to 5 degrees")]
    Scale(f64),
    /// A size of 0 pixels.
    #[error("the pictures are {0} × {1} pixels; expected at least 1 × 1")]
    Size(u32, u32),
    /// The polynomial is missing.
    #[error("the projection is radial, but there is no [radial]; expected coefficients and end_deg")]
    NoPolynomial,
    /// A polynomial that nothing asks for.
    #[error("[radial] is given, but the projection is {0}; expected \"radial\"")]
    UnaskedPolynomial(Word),
    /// The polynomial cannot be used.
    #[error(transparent)]
    Polynomial(#[from] RadialError),
}

impl Picture {
    /// The geometry of an instrument's pictures, or `None` where the profile does not know its projection.
    ///
    /// A picture of another size than the profile's is taken as the whole picture, scaled: its centre pixel spans more or
    /// fewer degrees.
    ///
    /// # Errors
    /// Where scale, size or polynomial are missing, impossible, or contradict the projection's name.
    ///
    /// ```
    /// use serrata_eye::{Picture, Projection};
    /// # use serrata_words::{Instrument, Projection as Word, SlowAxis};
    /// # let mut profile = Instrument {
    /// #     name: "invented".into(), source: "invented".into(), width: 2000, height: 2000, projection: Word::Equidistant,
    /// #     degrees_per_pixel: Some(0.09), radial: None, slow_axis: SlowAxis::Down, sweep_s: 0.3, gaze_range_deg: None, fovea_straight_ahead_deg: None, lasers: vec![],
    /// # };
    /// // profile: equidistant, 2000 × 2000 pixels of 0.09°
    /// let p = Picture::of(&profile, 2000, 2000).unwrap().unwrap();
    /// let edge = p.to_direction([2000., 1000.]).unwrap();
    /// assert!((edge.z().acos().to_degrees() - 90.0).abs() < 1e-9);
    /// profile.degrees_per_pixel = None;
    /// assert!(Picture::of(&profile, 2000, 2000).is_err());
    /// ```
    pub fn of(instrument: &Instrument, width: u32, height: u32) -> Result<Option<Self>, ProfileError> {
        let projection = match (instrument.projection, &instrument.radial) {
            (Word::Radial, None) => return Err(ProfileError::NoPolynomial),
            (Word::Radial, Some(r)) => Projection::Radial(RadialPolynomial::new(&r.coefficients, r.end_deg)?),
            (other, Some(_)) => return Err(ProfileError::UnaskedPolynomial(other)),
            (Word::Unknown, None) => return Ok(None),
            (Word::Stereographic, None) => Projection::Stereographic,
            (Word::Equidistant, None) => Projection::Equidistant,
            (Word::EqualArea, None) => Projection::EqualArea,
            (Word::Orthographic, None) => Projection::Orthographic,
            (Word::Gnomonic, None) => Projection::Gnomonic,
        };
        let d = instrument.degrees_per_pixel.ok_or(ProfileError::NoScale(instrument.projection))?;
        if !(1e-4..=5.0).contains(&d) {
            return Err(ProfileError::Scale(d));
        }
        for (w, h) in [(instrument.width, instrument.height), (width, height)] {
            if w == 0 || h == 0 {
                return Err(ProfileError::Size(w, h));
            }
        }
        let deg_per_px = [
            d * f64::from(instrument.width) / f64::from(width),
            d * f64::from(instrument.height) / f64::from(height),
        ];
        Ok(Some(Self { width, height, deg_per_px, projection }))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Stereographic;
    use serrata_words::{Radial, SlowAxis};

    fn profile(projection: Word, radial: Option<Radial>) -> Instrument {
        Instrument {
            name: "invented".into(),
            source: "invented".into(),
            width: 3600,
            height: 3600,
            projection,
            degrees_per_pixel: Some(0.072),
            radial,
            slow_axis: SlowAxis::Down,
            sweep_s: 0.4,
            gaze_range_deg: None,
            fovea_straight_ahead_deg: None,
            lasers: vec![],
        }
    }

    fn radial(coefficients: &[f64]) -> Option<Radial> {
        Some(Radial { coefficients: coefficients.to_vec(), end_deg: 110.0 })
    }

    /// Where 45° lies, in centre pixels, for every word.
    #[test]
    fn every_projection_can_be_named() {
        for (word, polynomial, r) in [
            (Word::Stereographic, None, 0.828_427_125),
            (Word::Equidistant, None, std::f64::consts::FRAC_PI_4),
            (Word::EqualArea, None, 0.765_366_865),
            (Word::Orthographic, None, std::f64::consts::FRAC_1_SQRT_2),
            (Word::Gnomonic, None, 1.0),
            (Word::Radial, radial(&[1.0, 0.0, 0.08]), 0.824_156_009),
        ] {
            let p = Picture::of(&profile(word, polynomial), 1800, 1800).unwrap().unwrap();
            assert_eq!(p.deg_per_px, [0.144, 0.144]);
            let at = p.to_picture(crate::Direction::from_azimuth_elevation(45.0, 0.0)).unwrap();
            assert!(((at[0] - 900.0) * 0.144f64.to_radians() - r).abs() < 1e-6, "{word:?} {at:?}");
        }
        assert_eq!(Picture::of(&profile(Word::Unknown, None), 1800, 1800), Ok(None));
        assert_eq!(Word::ALL.len(), 7);
    }

    #[test]
    fn the_stereographic_profile_is_the_stereographic_picture() {
        let p = profile(Word::Stereographic, None);
        assert_eq!(Picture::of(&p, 900, 700).unwrap(), Stereographic::of(&p, 900, 700).map(Picture::from));
    }

    #[test]
    fn what_cannot_be_is_refused_with_its_value() {
        let said = |i: &Instrument| Picture::of(i, 3600, 3600).unwrap_err().to_string();
        assert!(said(&profile(Word::Radial, None)).contains("coefficients"));
        assert!(said(&profile(Word::Gnomonic, radial(&[1.0]))).contains("gnomonic"));
        assert!(said(&profile(Word::Radial, radial(&[1.0, 0.0, -1.0]))).contains("stops growing"));
        let mut i = profile(Word::EqualArea, None);
        i.degrees_per_pixel = Some(-0.1);
        assert!(said(&i).contains("-0.1") && said(&i).contains("0.0001 to 5"), "{}", said(&i));
        i.degrees_per_pixel = None;
        assert!(said(&i).contains("equal_area"));
        assert_eq!(Picture::of(&profile(Word::Gnomonic, None), 0, 5), Err(ProfileError::Size(0, 5)));
    }
}
