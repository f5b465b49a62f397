//! How the sphere is laid on the picture.

use serrata_eye::{Direction, Stereographic};
use serrata_words::{Instrument, Point, Projection};

/// A stereographic picture, or an equidistant one: real ultra-widefield frames as they are handed on show the way from disc to fovea as about
/// 0.114 of their width (annotations of 18 frames), which is 22.4° of 196° laid out evenly; a stereographic picture of the same field has 0.083.
#[derive(Debug, Clone, Copy)]
pub(crate) struct View {
    /// Sides, and the scale in the middle; its own projection where `even` is not set.
    pub picture: Stereographic,
    pub even: bool,
}

impl View {
    /// That of an instrument whose field fills the width; pixels are square. Stereographic where the instrument knows neither projection.
    pub fn of(instrument: &Instrument, width: u32, height: u32) -> Self {
        let even = instrument.projection == Projection::Equidistant;
        let stereographic = Instrument { projection: Projection::Stereographic, ..instrument.clone() };
        let known = even || instrument.projection == Projection::Stereographic;
        let deg = Stereographic::of(&stereographic, width, width)
            .filter(|_| known)
            .map_or(266.0 / f64::from(width), |p| p.deg_per_px[0]);
        Self { picture: Stereographic { width, height, deg_per_px: [deg; 2] }, even }
    }

    /// Width of the middle pixel, radians.
    pub fn pixel(self) -> f64 {
        self.picture.deg_per_px[0].to_radians()
    }

    /// From the picture (pixels, edges at integers, y down) to the view frame.
    pub fn to_direction(self, p: Point) -> Direction {
        if !self.even {
            return self.picture.to_direction(p);
        }
        let (x, y) =
            (p[0] - f64::from(self.picture.width) / 2.0, f64::from(self.picture.height) / 2.0 - p[1]);
        let (s, c) = (x.hypot(y) * self.pixel()).min(std::f64::consts::PI).sin_cos();
        let n = x.hypot(y).max(1e-9);
        Direction::new([s * x / n, s * y / n, c]).unwrap_or(Direction::POLE)
    }

    /// From the view frame to the picture.
    pub fn to_picture(self, d: Direction) -> Point {
        if !self.even {
            return self.picture.to_picture(d);
        }
        let k = self.lay(d.z()) / self.pixel();
        [f64::from(self.picture.width) / 2.0 + k * d.x(), f64::from(self.picture.height) / 2.0 - k * d.y()]
    }

    /// What a direction's part across the axis is multiplied by to lie on the plane (radians in the middle), at that cosine of the
    /// eccentricity.
    pub fn lay(self, z: f64) -> f64 {
        if self.even { even(z) } else { 2.0 / (1.0 + z) }
    }

    /// How much larger than in the middle things are drawn there: the mean of along and across where these differ.
    pub fn stretch(self, z: f64) -> f64 {
        if self.even { even(z).sqrt() } else { self.lay(z) }
    }
}

/// Angle over sine at a cosine.
fn even(z: f64) -> f64 {
    let c = z.clamp(-1.0, 1.0).acos();
    if c < 1e-4 { 1.0 } else { c / c.sin().max(1e-9) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn view(projection: Projection) -> View {
        let mut i = crate::Scene::new(1, serrata_words::Eye::R, serrata_words::Modality::Colour).instrument;
        i.projection = projection;
        View::of(&i, 900, 700)
    }

    proptest! {
        /// There and back; and what is drawn grows as places there lie apart.
        #[test]
        fn there_and_back(x in 20.0f64..880.0, y in 20.0f64..680.0, is_even in any::<bool>()) {
            let v = view(if is_even { Projection::Equidistant } else { Projection::Stereographic });
            let [a, b] = v.to_picture(v.to_direction([x, y]));
            prop_assert!((a - x).abs() < 1e-6 && (b - y).abs() < 1e-6, "{} {}", a, b);
            let d = |p| v.to_direction(p);
            let step = serrata_eye::angle_between(d([x, y]), d([x + 1.0, y]))
                * serrata_eye::angle_between(d([x, y]), d([x, y + 1.0]));
            let want = (v.pixel() / v.stretch(d([x, y]).z())).powi(2);
            prop_assert!(is_even || (step / want - 1.0).abs() < 0.02, "{} {}", step, want);
        }
    }

    #[test]
    fn an_equidistant_picture_has_one_scale_from_its_middle() {
        let v = view(Projection::Equidistant);
        let off = |px: f64| {
            serrata_eye::angle_between(v.to_direction([450.0, 350.0]), v.to_direction([450.0 + px, 350.0]))
        };
        assert!((off(300.0) / off(100.0) - 3.0).abs() < 1e-9);
        // A field of one pixel at 90° is wider across than along by 90° over its sine.
        assert!((v.stretch(0.0) - std::f64::consts::FRAC_PI_2.sqrt()).abs() < 1e-9);
    }
}
