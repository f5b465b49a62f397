//! From the angle that the patient sees to the place on the retina, and how it grows with the eye.

use crate::Radius;

/// An angle at the sphere's centre, in radians. Example: π/2 reaches the equator of a sphere.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct EyeAngle(pub f64);

/// An angle in the visual field, from the optic axis, in radians: at the nodal point near the axis, and outside of
/// the eye farther out. 90° of it are about 100° of eye angle.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct VisualAngle(pub f64);

impl EyeAngle {
    /// From degrees. Example: 180° is π.
    #[must_use]
    pub fn from_degrees(deg: f64) -> Self {
        Self(deg.to_radians())
    }

    /// In degrees. Example: π is 180°.
    #[must_use]
    pub fn degrees(self) -> f64 {
        self.0.to_degrees()
    }
}

impl VisualAngle {
    /// From degrees. Example: 180° is π.
    #[must_use]
    pub fn from_degrees(deg: f64) -> Self {
        Self(deg.to_radians())
    }

    /// In degrees. Example: π is 180°.
    #[must_use]
    pub fn degrees(self) -> f64 {
        self.0.to_degrees()
    }
}

/// Why a model cannot answer, with the value and what was expected. Example: an axial length of 60 mm.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum ModelError {
    /// Beyond the curve.
    #[error("{0:.3}° of visual angle are beyond the curve; expected 0° to 99.21°")]
    VisualAngle(f64),
    /// Beyond the curve.
    #[error("{0:.3} mm on the retina are beyond the curve; expected 0 to 21.97 mm on its eye")]
    Distance(f64),
    /// Not an eye.
    #[error("an axial length of {0} mm is not that of an eye; expected 14 to 40 mm")]
    AxialLength(f64),
    /// Not a radius.
    #[error("a radius of {0} mm is not that of an eye; expected 7 to 20 mm")]
    Radius(f64),
}

/// Visual angle ↔ distance on the retina: the curve of Drasdo & Fowler (Br J Ophthalmol 1974;58:709-14, Fig. 2), as
/// digitised by D. Brainard in 2015 (comment table of an open vision-science toolbox), monotone cubic between its
/// points (Fritsch & Carlson 1980). The product's one model of this step.
///
/// Its eye has a retina of R = 11.95 mm at the back (a table in the same figure, read in open code) and an axial
/// length of 24 mm (from memory); other eyes scale by [`bennett_mm_per_degree`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DrasdoFowler;

/// Degrees of visual angle and mm along the retina; the first point is the axis, where both are 0.
const CURVE: [(f64, f64); 13] = [
    (0.0, 0.0),
    (10.00, 2.739),
    (15.72, 4.216),
    (23.81, 6.401),
    (32.86, 8.863),
    (40.16, 10.739),
    (45.72, 12.278),
    (52.54, 13.970),
    (61.26, 15.906),
    (70.13, 17.594),
    (81.36, 19.494),
    (93.21, 21.207),
    (99.21, 21.970),
];

impl DrasdoFowler {
    /// Radius of the model's retina in mm: 11.95.
    pub const RADIUS_MM: f64 = 11.95;
    /// Axial length of the model's eye in mm: 24 (from memory).
    pub const AXIAL_MM: f64 = 24.0;

    /// Distance along the retina from the optic axis, in mm, on the model's eye.
    ///
    /// # Errors
    /// Beyond 99.21°, where the curve ends, or below 0.
    ///
    /// ```
    /// use serrata_eye::{DrasdoFowler, VisualAngle};
    /// let mm = DrasdoFowler::distance_mm(VisualAngle::from_degrees(90.0)).unwrap();
    /// assert!((mm - 20.77).abs() < 0.05); // and not 0.288 · 90 = 25.9
    /// ```
    pub fn distance_mm(angle: VisualAngle) -> Result<f64, ModelError> {
        let deg = angle.degrees();
        interpolate(&CURVE, deg).ok_or(ModelError::VisualAngle(deg))
    }

    /// Visual angle of a place on the retina, in mm from the optic axis on the model's eye: the inverse, by halving.
    ///
    /// Example: 20.77 mm are 90°.
    ///
    /// # Errors
    /// Beyond 21.97 mm or below 0.
    pub fn visual_angle(mm: f64) -> Result<VisualAngle, ModelError> {
        let (last_deg, last_mm) = CURVE[CURVE.len() - 1];
        if !(0.0..=last_mm).contains(&mm) {
            return Err(ModelError::Distance(mm));
        }
        let (mut low, mut high) = (0.0, last_deg);
        for _ in 0..60 {
            let middle = 0.5 * (low + high);
            if interpolate(&CURVE, middle).is_some_and(|at| at < mm) {
                low = middle;
            } else {
                high = middle;
            }
        }
        Ok(VisualAngle::from_degrees(0.5 * (low + high)))
    }

    /// Eye angle of a visual angle, both from the optic axis: distance / R. It holds for eyes of any size, since
    /// both grow alike. Example: 90° → 99.6°.
    ///
    /// # Errors
    /// As [`Self::distance_mm`].
    pub fn eye_angle(angle: VisualAngle) -> Result<EyeAngle, ModelError> {
        Ok(EyeAngle(Self::distance_mm(angle)? / Self::RADIUS_MM))
    }

    /// Visual angle of an eye angle: the inverse of [`Self::eye_angle`].
    ///
    /// # Errors
    /// As [`Self::visual_angle`]. Example: 110° of eye angle are beyond the curve.
    pub fn of_eye_angle(angle: EyeAngle) -> Result<VisualAngle, ModelError> {
        Self::visual_angle(angle.0 * Self::RADIUS_MM)
    }
}

/// Monotone cubic through rising points, or `None` outside of them (Fritsch & Carlson, SIAM J Numer Anal
/// 1980;17:238, with the harmonic mean of the neighbours' slopes).
fn interpolate(points: &[(f64, f64)], x: f64) -> Option<f64> {
    let k = points.windows(2).position(|w| w[0].0 <= x && x <= w[1].0)?;
    let secant = |i: usize| (points[i + 1].1 - points[i].1) / (points[i + 1].0 - points[i].0);
    let last = points.len() - 1;
    let slope = |i: usize| match i {
        0 => secant(0),
        i if i == last => secant(last - 1),
        i => {
            let (a, b) = (secant(i - 1), secant(i));
            if a * b <= 0.0 { 0.0 } else { 2.0 * a * b / (a + b) }
        }
    };
    let h = points[k + 1].0 - points[k].0;
    let t = (x - points[k].0) / h;
    let (t2, t3) = (t * t, t * t * t);
    Some(
        (2.0 * t3 - 3.0 * t2 + 1.0) * points[k].1
            + (t3 - 2.0 * t2 + t) * h * slope(k)
            + (3.0 * t2 - 2.0 * t3) * points[k + 1].1
            + (t3 - t2) * h * slope(k + 1),
    )
}

/// Bennett's scale near the axis: q = 0.01306·(AL − 1.82) mm per degree of visual angle (Bennett, Rudnicka & Edgar,
/// Graefes Arch Clin Exp Ophthalmol 1994;232:361-7; the constant from memory).
///
/// # Errors
/// Where the axial length is not that of an eye.
///
/// ```
/// use serrata_eye::bennett_mm_per_degree;
/// assert!((bennett_mm_per_degree(24.0).unwrap() - 0.28967).abs() < 1e-5);
/// assert!(bennett_mm_per_degree(60.0).is_err());
/// ```
pub fn bennett_mm_per_degree(axial_mm: f64) -> Result<f64, ModelError> {
    Ok(0.01306 * (axial_length(axial_mm)? - 1.82))
}

/// An axial length that can be that of an eye, in mm: 14 to 40 (the longest and shortest eyes reported lie well
/// within: judgement).
///
/// # Errors
/// For 5 mm or 60 mm, say.
pub fn axial_length(mm: f64) -> Result<f64, ModelError> {
    if (14.0..=40.0).contains(&mm) { Ok(mm) } else { Err(ModelError::AxialLength(mm)) }
}

impl Radius {
    /// A radius as given, where it can be that of an eye (7 to 20 mm). Example: 11 mm.
    ///
    /// # Errors
    /// For any other number.
    pub fn try_given(mm: f64) -> Result<Self, ModelError> {
        if (7.0..=20.0).contains(&mm) { Ok(Self::given(mm)) } else { Err(ModelError::Radius(mm)) }
    }

    /// Half of an axial length that can be that of an eye. Example: 24 mm → 12 mm.
    ///
    /// # Errors
    /// For any other number.
    pub fn try_from_axial_length(mm: f64) -> Result<Self, ModelError> {
        axial_length(mm).map(Self::from_axial_length)
    }
}

/// What to say where a contact lens and a long eye meet: worn lenses of ±3 to ±9 D changed the disc's area by more
/// than 10 % in half of the eyes of 26 mm and longer, in 3.6 % of those of 24 to 26 mm, in none of 22 to 24 mm
/// (Lim et al., BMC Ophthalmol 2021, 10.1186/s12886-021-01900-y).
///
/// ```
/// assert!(serrata_eye::contact_lens_warning(true, 26.4).is_some());
/// assert!(serrata_eye::contact_lens_warning(true, 24.0).is_none());
/// ```
#[must_use]
pub fn contact_lens_warning(worn: bool, axial_mm: f64) -> Option<&'static str> {
    (worn && axial_mm >= 26.0).then_some(
        "A contact lens is worn and the eye is 26 mm or longer: areas may be off by more than 10 %. Measure without the lens.",
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Watson, J Vis 2014;14(7):15, eq. A5, read in open code: a cubic fitted to the same curve.
    fn watson(deg: f64) -> f64 {
        0.268 * deg + 3.427e-4 * deg * deg - 8.3309e-6 * deg.powi(3)
    }

    /// A sphere of radius R with a nodal point N before the retina: arc = R·(θ + asin((N−R)/R·sin θ)).
    fn nodal_sphere(deg: f64, r: f64, n: f64) -> f64 {
        let t = deg.to_radians();
        r * (t + ((n - r) / r * t.sin()).asin())
    }

    fn mm(deg: f64) -> f64 {
        DrasdoFowler::distance_mm(VisualAngle::from_degrees(deg)).unwrap()
    }

    #[test]
    fn the_curve_goes_through_its_points_and_near_its_other_fits() {
        for (deg, want) in CURVE {
            assert!((mm(deg) - want).abs() < 1e-12);
            assert!((watson(deg) - want).abs() <= 0.2, "{deg}");
        }
        // Dispersion of the models in the far periphery, and the error of constants off the axis.
        for k in 0..=990 {
            let deg = f64::from(k) / 10.0;
            assert!((mm(deg) - watson(deg)).abs() <= 0.2, "{deg}");
        }
        assert!((nodal_sphere(60., 12., 16.67) - 16.6915).abs() < 1e-4);
        assert!((nodal_sphere(60., 12., 16.67) - mm(60.)).abs() < 1.2);
        assert!((0.288 * 60. - mm(60.)) / mm(60.) > 0.08 && (0.288 * 90. - mm(90.)) / mm(90.) > 0.2);
        // Slope at the axis: 0.28 to 0.29 mm a degree (BioNumbers 105343) is met by the first ten degrees within 3 %.
        assert!((0.27..0.29).contains(&(mm(10.) / 10.)));
    }

    /// A trap: 90° of visual angle lie at 20.82 mm by Watson's fit, which is 99.8° at the centre of R = 11.95 mm.
    #[test]
    fn visual_and_eye_angle_differ() {
        let eye = DrasdoFowler::eye_angle(VisualAngle::from_degrees(90.)).unwrap();
        assert!((eye.degrees() - 99.8).abs() < 0.5, "{}", eye.degrees());
    }

    proptest! {
        #[test]
        fn angles_come_back(deg in 0f64..99.2) {
            let back = DrasdoFowler::of_eye_angle(DrasdoFowler::eye_angle(VisualAngle::from_degrees(deg)).unwrap()).unwrap();
            prop_assert!((back.degrees() - deg).abs() < 1e-9);
        }

        #[test]
        fn the_curve_rises(a in 0f64..99., d in 0.001f64..0.2) {
            prop_assert!(mm(a + d) > mm(a));
        }
    }

    /// Brief on published figures, §1.2: Bennett's values, and Bengtsson & Krakau (Graefes 1992) as the second.
    #[test]
    fn bennett_and_bengtsson_agree() {
        let q = |al| bennett_mm_per_degree(al).unwrap();
        for (al, want) in [
            (20., 0.23743),
            (22., 0.26355),
            (23.5, 0.28314),
            (24., 0.28967),
            (26., 0.31579),
            (28., 0.34191),
            (30., 0.36803),
        ] {
            assert!((q(al) - want).abs() < 1e-5, "{al}");
        }
        for (al, factor) in [(22., 0.8278), (26., 1.1885), (28., 1.3932), (30., 1.6142)] {
            assert!(((q(al) / q(24.)).powi(2) - factor).abs() < 1e-4);
        }
        let bengtsson = |al: f64| al - 1.6;
        assert!((bengtsson(24.) / bengtsson(26.) - 0.918).abs() < 1e-4);
        assert!((q(24.) / q(26.) / (bengtsson(24.) / bengtsson(26.)) - 1.0).abs() < 1.1e-3);
    }

    /// 15.57° and 5.6° from fovea to disc (Rohrschneider, IOVS 2004;45:3257) are visual angles: on this curve 4.2 mm,
    /// and not the 2.99 mm that they would be as eye angles at R = 11 mm.
    #[test]
    fn the_published_disc_is_in_visual_angle() {
        assert!((mm(15.570_640) - 4.18).abs() < 0.03, "{}", mm(15.570_640));
    }

    #[test]
    fn what_is_no_eye_is_refused() {
        for al in [5., 60., f64::NAN, -24., f64::INFINITY] {
            let e = Radius::try_from_axial_length(al).unwrap_err();
            assert!(e.to_string().contains("14 to 40 mm"), "{e}");
            assert!(Radius::try_given(al).is_err());
        }
        assert!(DrasdoFowler::distance_mm(VisualAngle::from_degrees(120.)).is_err());
        assert!(DrasdoFowler::distance_mm(VisualAngle(f64::NAN)).is_err());
        assert!(DrasdoFowler::visual_angle(-1.).is_err());
        assert_eq!(contact_lens_warning(false, 30.), None);
    }
}
