use crate::Direction;
use serrata_words::{Instrument, Point, Projection};

/// A picture that is a stereographic projection of the sphere, centred on the picture's middle.
///
/// DICOM PS3.3 C.8.17.11.1.1 for Wide Field Ophthalmic Photography Stereographic Projection images, with
/// `deg_per_px` = X/Y Coordinates Center Pixel View Angle (0022,1528), (0022,1529):
///
/// ```text
/// x' = (x − width/2)·deg_per_px[0]          y' = (height/2 − y)·deg_per_px[1]        (degrees, y' up)
/// ρ  = √(x'² + y'²)                          c  = 2·atan(ρ/2 · π/180)                 (eccentricity)
/// λ  = atan2(x'·sin c, ρ·cos c)              φ  = asin(y'·sin c / ρ)
/// back: k = 2/(1 + cos φ cos λ);             x' = 180/π·k·cos φ sin λ;  y' = 180/π·k·sin φ
/// ```
/// The standard prints its equations as pictures; the form here follows its text and Snyder, *Map Projections: A
/// Working Manual*, USGS PP 1395 (1987), eqs 20-14 to 21-15. That +y' is up is our reading; it changes no length
/// and no area. Computed here without the angles, which are the same numbers and has no special case at ρ = 0.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stereographic {
    /// Width in pixels. Example: 4000.
    pub width: u32,
    /// Height in pixels. Example: 4000.
    pub height: u32,
    /// View angle of the centre pixel along x and y, degrees at the sphere's centre; not zero. Example: 0.05.
    pub deg_per_px: [f64; 2],
}

impl Stereographic {
    /// The projection of an instrument's pictures, or `None` where the profile does not know it.
    ///
    /// A picture of another size than the profile's is taken as the whole picture, scaled: its centre pixel spans
    /// more or fewer degrees. Example: a profile of 3600 pixels of 0.072° gives 0.144° for a picture of 1800.
    #[must_use]
    pub fn of(instrument: &Instrument, width: u32, height: u32) -> Option<Self> {
        let d = instrument.degrees_per_pixel.filter(|d| *d > 0.0 && d.is_finite())?;
        if instrument.projection != Projection::Stereographic || width == 0 || height == 0 {
            return None;
        }
        let dx = d * f64::from(instrument.width) / f64::from(width);
        let dy = d * f64::from(instrument.height) / f64::from(height);
        Some(Self { width, height, deg_per_px: [dx, dy] })
    }

    /// The point of the plane that touches the sphere at the picture's centre, in half-radians: its length is the
    /// tangent of half the eccentricity.
    pub(crate) fn to_plane(self, p: Point) -> [f64; 2] {
        [
            ((p[0] - f64::from(self.width) / 2.0) * self.deg_per_px[0]).to_radians() / 2.0,
            ((f64::from(self.height) / 2.0 - p[1]) * self.deg_per_px[1]).to_radians() / 2.0,
        ]
    }

    /// From the picture (pixels, edges at integers, y down) to the view frame. Example: the picture's middle is +z, (0, 0, 1).
    #[must_use]
    pub fn to_direction(self, p: Point) -> Direction {
        let [u, v] = self.to_plane(p);
        let n = 1.0 + u * u + v * v;
        Direction::unit([2.0 * u / n, 2.0 * v / n, (2.0 - n) / n])
    }

    /// From the view frame to the picture. Points of the sphere beyond the picture's edge land outside of
    /// 0..width, 0..height; the point opposite the centre has no image and gives infinities.
    #[must_use]
    pub fn to_picture(self, d: Direction) -> Point {
        let k = 2.0 / (1.0 + d.z());
        [
            f64::from(self.width) / 2.0 + (k * d.x()).to_degrees() / self.deg_per_px[0],
            f64::from(self.height) / 2.0 - (k * d.y()).to_degrees() / self.deg_per_px[1],
        ]
    }

    /// Side of a pixel at an eccentricity, as a share of the centre pixel's side: cos²(c/2).
    ///
    /// Example: half the side at 90°.
    #[must_use]
    pub fn local_scale(eccentricity_rad: f64) -> f64 {
        (eccentricity_rad / 2.0).cos().powi(2)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::angle_between;
    use proptest::prelude::*;
    use serrata_words::SlowAxis;

    const P: Stereographic = Stereographic { width: 4000, height: 4000, deg_per_px: [0.05, 0.05] };

    /// The text of C.8.17.11.1.1, angle by angle.
    fn by_the_text(p: &Stereographic, at: Point) -> (f64, f64, f64) {
        let x = (at[0] - f64::from(p.width) / 2.0) * p.deg_per_px[0];
        let y = (f64::from(p.height) / 2.0 - at[1]) * p.deg_per_px[1];
        let rho = x.hypot(y);
        let c = 2.0 * (rho / 2.0).to_radians().atan();
        if rho == 0.0 {
            return (0.0, 0.0, 0.0);
        }
        let l = (x * c.sin()).atan2(rho * c.cos());
        (l.to_degrees(), (y * c.sin() / rho).asin().to_degrees(), c.to_degrees())
    }

    /// Vectors computed with an independent script from the standard's text (reference brief on DICOM, §2).
    #[test]
    fn the_table_of_the_brief() {
        for (x, y, l, p, c) in [
            (2000., 2000., 0., 0., 0.),
            (2001., 2000., 0.049_999_997, 0., 0.049_999_997),
            (3000., 2000., 47.146_397_119, 0., 47.146_397_119),
            (4000., 2000., 82.220_105_723, 0., 82.220_105_723),
            (3000., 1000., 54.641_125_525, 39.198_736_535, 63.354_738_386),
            (4000., 4000., 106.683_832_574, -43.768_285_708, 101.965_359_284),
        ] {
            let d = P.to_direction([x, y]);
            let (gl, gp) = d.azimuth_elevation();
            let gc = angle_between(Direction::POLE, d).to_degrees();
            assert!((gl - l).abs() < 1e-9 && (gp - p).abs() < 1e-9 && (gc - c).abs() < 1e-9, "{x} {y}");
        }
        let d = angle_between(P.to_direction([3000., 2000.]), P.to_direction([2000., 1000.]));
        assert!((d.to_degrees() - 62.446_714_376).abs() < 1e-9);
        // 90° lies 2291.831 px, 100° lies 2731.298 px from the centre.
        for (deg, px) in [(90f64, 2291.831), (100., 2731.298)] {
            let at = P.to_picture(Direction::from_azimuth_elevation(deg, 0.0));
            assert!((at[0] - 2000.0 - px).abs() < 1e-3);
        }
    }

    proptest! {
        #[test]
        fn picture_and_sphere_come_back(
            x in -500f64..5000., y in -500f64..5000., w in 2u32..5000, h in 2u32..5000, dx in 0.01f64..0.3, dy in 0.01f64..0.3,
        ) {
            let p = Stereographic { width: w, height: h, deg_per_px: [dx, dy] };
            let back = p.to_picture(p.to_direction([x, y]));
            prop_assert!((back[0] - x).abs() < 1e-6 && (back[1] - y).abs() < 1e-6, "{back:?}");
        }

        #[test]
        fn the_short_form_is_the_form_of_the_standard(x in 0f64..4000., y in 0f64..4000.) {
            let (l, p, c) = by_the_text(&P, [x, y]);
            let d = P.to_direction([x, y]);
            let (gl, gp) = d.azimuth_elevation();
            prop_assert!((gl - l).abs() < 1e-9 && (gp - p).abs() < 1e-9);
            prop_assert!((angle_between(Direction::POLE, d).to_degrees() - c).abs() < 1e-9);
        }

        #[test]
        fn the_local_scale_is_that_of_a_small_step(x in 0f64..4000., y in 0f64..4000.) {
            let (a, b) = (P.to_direction([x, y]), P.to_direction([x + 1e-3, y]));
            let c = angle_between(Direction::POLE, a);
            let want = 1e-3 * 0.05 * Stereographic::local_scale(c);
            prop_assert!((angle_between(a, b).to_degrees() / want - 1.0).abs() < 1e-4);
        }
    }

    #[test]
    fn a_profile_without_projection_gives_none() {
        let mut i = Instrument {
            name: "invented".into(),
            source: "invented".into(),
            width: 3600,
            height: 3600,
            projection: Projection::Stereographic,
            degrees_per_pixel: Some(0.072),
            radial: None,
            slow_axis: SlowAxis::Down,
            sweep_s: 0.4,
            gaze_range_deg: None,
            fovea_straight_ahead_deg: None,
            lasers: vec![],
        };
        assert_eq!(Stereographic::of(&i, 900, 900).map(|s| s.deg_per_px), Some([0.288, 0.288]));
        assert_eq!(Stereographic::of(&i, 0, 900), None);
        i.projection = Projection::Unknown;
        assert_eq!(Stereographic::of(&i, 900, 900), None);
    }
}
