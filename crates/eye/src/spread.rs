use crate::direction::{cross, dot};
use crate::retina::{AXIAL_MM, Choice, Retina, slope_sd};
use crate::{
    Direction, DomainError, EyeAxis, Picture, angle_between, densify, path_length_rad, polygon_area_sr,
};
use serrata_words::{Point, Region};
use std::sync::LazyLock;

/// How far the sphere may be from the retina, for one figure: what the figure would measure by other models.
///
/// The value is that of a sphere, as DICOM's wide-field objects and published areas have it. The retina differs, so the
/// figure is measured again on a spheroid that follows the curve of Drasdo & Fowler (1974) by Watson's polynomials, grows with
/// the axial length as eyes do by MRI, and is shown by a maker of whom nothing is known (the sources stand in the crate's
/// file `retina.rs`). Six things are varied, one at a time:
///
/// | what | how far | source |
/// |---|---|---|
/// | the maker's model | anywhere between the curve and a ray traced through the Gullstrand-Emsley eye, all equally likely | judgement |
/// | the curve's slope | some 2 %: half of what two fits of the curve differ by | Watson, J Vis 2014;14(7):15, eqs. A5 and A6 |
/// | scale near the axis, between eyes of one axial length | 0.9 % | Garway-Heath et al., Br J Ophthalmol 1998;82:643: axial-length methods against full biometry, 0.6 to 1.2 % |
/// | width of the equator, likewise | 3.4 % | Nagra et al., J Anat 2017;231:319: surfaces of 2058 ± 189 mm² spread by 9.2 %, of which the axial length's 6.4 % gives 8.0 %; the rest, 4.5 %, times 3/4 |
/// | the optic axis in the picture | angle alpha and gaze | [`EyeAxis`] |
/// | axial length | ± 1.5 mm, for [`Spread::growth`] | Atchison et al., IOVS 2004;45:3380 |
///
/// It is an interval *given that curve*: eyes in which the retina follows a ray traced through a schematic eye, some 6 %
/// farther out, lie beyond it (`docs/measuring.md`).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spread {
    /// The figure on the retina of a 24 mm eye over the figure on a sphere of 12 mm, for the two ends of what a maker may
    /// have taken, the smaller first. Example: 0.94 and 1.0 near the middle of a picture.
    pub makers: [f64; 2],
    /// Relative standard deviation of everything else between eyes of one axial length. Example: 0.02.
    pub sd: f64,
    /// Power of the axial length with which the figure on the retina grows. Example: 1.08 for a length near the axis,
    /// where a sphere has 1; about 0.7 for one across the far periphery, which grows less in width than in length.
    pub growth: f64,
}

/// Standard deviation of the scale near the axis.
const ARCS_SD: f64 = 0.009;
/// Standard deviation of the equator's width.
const ACROSS_SD: f64 = 0.034;
/// Axial lengths at which growth is measured, mm.
const AXIAL: [f64; 2] = [AXIAL_MM - 1.5, AXIAL_MM + 1.5];

/// Every retina that a figure is measured on.
struct Models {
    makers: [Retina; 3],
    waves: [Retina; 2],
    arcs: Retina,
    across: Retina,
    axial: [Retina; 2],
}

static MODELS: LazyLock<Models> = LazyLock::new(|| {
    let m = Choice::MIDDLE;
    Models {
        makers: [0.0, 0.5, 1.0].map(|maker| Retina::new(Choice { maker, ..m })),
        waves: [[slope_sd(), 0.0], [0.0, slope_sd()]].map(|waves| Retina::new(Choice { waves, ..m })),
        arcs: Retina::new(Choice { arcs: 1.0 + ARCS_SD, ..m }),
        across: Retina::new(Choice { across: 1.0 + ACROSS_SD, ..m }),
        axial: AXIAL.map(|axial_mm| Retina::new(Choice { axial_mm, ..m })),
    }
});

impl Spread {
    /// The sphere itself, of which all is known: for figures that are no retina's. Its `sd` is 0.
    pub const NONE: Self = Self { makers: [1.0, 1.0], sd: 0.0, growth: 1.0 };

    /// For a path of great-circle arcs in a picture, by where it shows the eye's axis.
    ///
    /// # Errors
    /// Where a point is not on the sphere.
    ///
    /// ```
    /// use serrata_eye::{EyeAxis, Picture, Spread, Stereographic};
    /// let p = Picture::from(Stereographic { width: 4000, height: 4000, deg_per_px: [0.05, 0.05] });
    /// let s = Spread::of_path(&p, &[[2000., 2000.], [2400., 2000.]], EyeAxis::MIDDLE).unwrap();
    /// assert!(s.makers[0] > 0.9 && s.makers[1] < 1.01 && (s.growth - 1.08).abs() < 0.01);
    /// ```
    pub fn of_path(picture: &Picture, path: &[Point], axis: EyeAxis) -> Result<Self, DomainError> {
        let on: Vec<Direction> = path.iter().map(|p| picture.to_direction(*p)).collect::<Result<_, _>>()?;
        let sphere = path_length_rad(&on) * AXIAL_MM / 2.0;
        let on = in_pieces(&on);
        Ok(Self::between(sphere, axis, |retina, axis| {
            let place = retina.places(axis);
            let places: Vec<_> = on.iter().map(|d| place(*d)).collect();
            let step = |w: &[[f64; 3]]| (0..3).map(|i| (w[1][i] - w[0][i]).powi(2)).sum::<f64>().sqrt();
            places.windows(2).map(step).sum()
        }))
    }

    /// For a region of a picture; its edges are cut into pieces of at most 1°.
    ///
    /// # Errors
    /// Where an edge leaves what the projection shows. Example: 0.92 to 1.0 for a disc-sized region near the middle.
    pub fn of_region(picture: &Picture, region: &Region, axis: EyeAxis) -> Result<Self, DomainError> {
        let step = 1.0 / picture.deg_per_px[0].abs().max(picture.deg_per_px[1].abs());
        let rings = |rings: &[Vec<Point>]| -> Result<Vec<Vec<Direction>>, DomainError> {
            rings
                .iter()
                .map(|r| densify(r, step).into_iter().map(|p| picture.to_direction(p)).collect())
                .collect()
        };
        let (outer, holes) = (rings(&region.polygons)?, rings(&region.holes)?);
        let figure = |turn: &dyn Fn(Direction) -> Direction| -> f64 {
            let inside = turn(Direction::POLE);
            let one = |r: &Vec<Direction>| {
                polygon_area_sr(&r.iter().map(|d| turn(*d)).collect::<Vec<_>>(), inside).abs()
            };
            outer.iter().map(one).sum::<f64>() - holes.iter().map(one).sum::<f64>()
        };
        let sphere = figure(&|d| d) * (AXIAL_MM / 2.0).powi(2);
        Ok(Self::between(sphere, axis, |retina, axis| {
            let even = retina.evenly(axis);
            figure(&even) * retina.surface / (4.0 * std::f64::consts::PI)
        }))
    }

    /// What `figure` measures on all the models, over what it measures on the sphere.
    fn between(sphere: f64, axis: EyeAxis, figure: impl Fn(&Retina, Direction) -> f64) -> Self {
        let m = &*MODELS;
        let by = |r: &Retina| figure(r, axis.at) / sphere;
        let middle = by(&m.makers[1]);
        if !(sphere > 0.0 && middle > 0.0 && middle.is_finite()) {
            return Self::NONE;
        }
        let makers = [by(&m.makers[0]), middle, by(&m.makers[2])];
        let low = makers.iter().copied().fold(f64::INFINITY, f64::min);
        let high = makers.iter().copied().fold(0.0, f64::max);
        let off = |r: &Retina| by(r) / middle - 1.0;
        let curve = off(&m.waves[0]).hypot(off(&m.waves[1]));
        let aside = |k: usize| {
            if axis.sd_deg[k] > 0.0 {
                figure(&m.makers[1], axis.moved(k)) / sphere / middle - 1.0
            } else {
                0.0
            }
        };
        let sd = off(&m.arcs).hypot(off(&m.across)).hypot(curve).hypot(aside(0)).hypot(aside(1));
        let growth = (by(&m.axial[1]) / by(&m.axial[0])).ln() / (AXIAL[1] / AXIAL[0]).ln();
        Self { makers: [low, high], sd, growth }
    }
}

/// A path of great-circle arcs in pieces of at most 2°.
fn in_pieces(on: &[Direction]) -> Vec<Direction> {
    let mut out: Vec<Direction> = on.first().copied().into_iter().collect();
    for w in on.windows(2) {
        let angle = angle_between(w[0], w[1]);
        // At right angles to the first, in the arc's plane; where there is none (equal, opposite) the arc stays whole.
        let n = cross(w[0].xyz(), w[1].xyz());
        if dot(n, n) > 1e-24 {
            let side = cross(n, w[0].xyz()).map(|c| c / dot(n, n).sqrt());
            let pieces = (angle.to_degrees() / 2.0).ceil().max(1.0);
            let mut k = 1.0;
            while k < pieces {
                let (s, c) = (angle * k / pieces).sin_cos();
                let a = w[0].xyz();
                out.push(Direction::unit([0, 1, 2].map(|i| c * a[i] + s * side[i])));
                k += 1.0;
            }
        }
        out.push(w[1]);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{RetinalPoint, Stereographic};
    use proptest::prelude::*;
    use serrata_words::{Eye, Gaze};

    fn picture() -> Picture {
        Stereographic { width: 4000, height: 4000, deg_per_px: [0.05, 0.05] }.into()
    }

    fn square(x: f64, y: f64, side: f64) -> Region {
        Region {
            polygons: vec![vec![[x, y], [x + side, y], [x + side, y + side], [x, y + side]]],
            holes: vec![],
        }
    }

    #[test]
    fn nothing_has_no_spread() {
        assert_eq!(Spread::between(0.0, EyeAxis::MIDDLE, |_, _| 0.0), Spread::NONE);
        assert_eq!(
            Spread::of_path(&picture(), &[[5., 5.], [5., 5.]], EyeAxis::MIDDLE).unwrap(),
            Spread::NONE
        );
        assert_eq!(Spread::of_region(&picture(), &Region::default(), EyeAxis::MIDDLE).unwrap(), Spread::NONE);
    }

    /// A small square's area goes as its two sides' lengths together.
    #[test]
    fn areas_are_lengths_times_lengths() {
        for x in [2100., 2800., 3500.] {
            let area = Spread::of_region(&picture(), &square(x, 1990., 20.), EyeAxis::MIDDLE).unwrap();
            let side = |p: [Point; 2]| Spread::of_path(&picture(), &p, EyeAxis::MIDDLE).unwrap();
            let along = side([[x, 2000.], [x + 20., 2000.]]);
            let across = side([[x + 10., 1990.], [x + 10., 2010.]]);
            for k in 0..2 {
                let want = along.makers[k] * across.makers[k];
                assert!((area.makers[k] / want - 1.0).abs() < 5e-3, "{x}: {area:?} {along:?} {across:?}");
            }
            assert!((area.growth - along.growth - across.growth).abs() < 0.03);
        }
    }

    #[test]
    fn far_from_the_axis_an_eye_grows_less_in_width() {
        let side = |p: [Point; 2]| Spread::of_path(&picture(), &p, EyeAxis::MIDDLE).unwrap();
        let (near, far) = (side([[2040., 1980.], [2040., 2020.]]), side([[3800., 1900.], [3800., 2100.]]));
        assert!((near.growth - 24.0 / 22.29).abs() < 0.01, "{near:?}");
        assert!(far.growth < 0.75 * near.growth, "{far:?}");
    }

    #[test]
    fn what_is_not_known_of_the_axis_widens_far_figures() {
        let side = |axis| Spread::of_path(&picture(), &[[3700., 2000.], [3800., 2000.]], axis).unwrap();
        let known = side(EyeAxis::of(Gaze::Primary, Some(Eye::R)));
        let unknown = side(EyeAxis::of(Gaze::Primary, None));
        assert!(unknown.sd > 1.5 * known.sd && known.sd > side(EyeAxis::MIDDLE).sd, "{known:?} {unknown:?}");
    }

    proptest! {
        /// The gaze turned aside moves the figure against the axis, and the interval with it.
        #[test]
        fn with_the_axis_elsewhere_a_figure_there_is_near_it(m in 0f64..360., e in 10f64..50.) {
            let at = RetinalPoint { eccentricity_deg: e, meridian_deg: m }.to_direction();
            let axis = EyeAxis { at, sd_deg: [0.0; 2] };
            let at = picture().to_picture(at).unwrap();
            let s = Spread::of_path(&picture(), &[[at[0] - 20., at[1]], [at[0] + 20., at[1]]], axis).unwrap();
            prop_assert!((s.growth - 24.0 / 22.29).abs() < 0.02, "{:?}", s);
        }
    }
}
