//! The retina by published models other than the product's sphere: what a picture shows at a claimed eye angle, and where
//! that lies on an eye of some axial length. Only intervals are made of it ([`crate::Spread`]).
//!
//! Every number is from a publication that has no part in the truths of `tests/coverage`:
//! * arcs: Watson's two polynomials for the curve of Drasdo & Fowler, one from visual angle to mm and one back (J Vis
//!   2014;14(7):15, eqs. A5 and A6, read in open code), their mean. Their slopes disagree, in waves as long as the curve
//!   to 90°: so much is not known of the curve, wherever they happen to cross;
//! * growth of arcs: Bennett's AL − 1.82 mm and Bengtsson's AL − 1.6 mm (Graefes 1994;232:361 and 1992), their mean;
//! * size across: inner widths of 22.455 and heights of 23.290 mm in eyes of 23.67 mm (31 emmetropic adults by MRI, PMID
//!   19176097): a radius of 11.44 mm there, 11.50 mm at 24 mm;
//! * size along: retinas are oblate in emmetropia and spheres at 7 to 8 dioptres of myopia (Pope et al., Biomed Opt Express
//!   2017;8:2386), so at 23.67 + 7.5 · 0.35 = 26.3 mm, where the growth below gives 11.98 mm: 10.83 mm at 24 mm;
//! * growth of the shape: eyes grow 0.35 mm a dioptre in length, 0.19 in height, 0.10 in width (Atchison et al., IOVS
//!   2004;45:3380, 88 eyes by MRI), so that half the mean of height and width grows 0.207 mm a mm of length;
//! * makers: nobody publishes what a maker takes for the step from visual to eye angle. It is taken to lie between the curve
//!   and the chief ray traced through the textbooks' Gullstrand-Emsley eye ([`TRACED`]). A nodal sphere, which lies farther
//!   out, holds to some 10° only (Simpson, Photonics 2021;8:284).

use crate::direction::Direction;
use crate::{RetinalPoint, Rotation};

/// Axial length of the eye for which the curves hold, mm.
pub(crate) const AXIAL_MM: f64 = 24.0;
/// The nodal point lies this far behind the cornea's front, mm (textbooks; from memory).
const NODAL_MM: f64 = 7.2;
/// Half-axes of its retina across and along, mm.
const ACROSS_MM: f64 = 11.50;
const ALONG_MM: f64 = 10.83;
/// Growth of half the length, mm a mm of axial length: the axial length is one of the globe's diameters.
const ALONG_GROWTH: f64 = 0.5;
/// Growth of the equator's radius, mm a mm of axial length: (0.19 + 0.10)/2 / 0.35 / 2.
const ACROSS_GROWTH: f64 = 0.207;
/// What Bennett and Bengtsson take from the axial length, their mean in mm.
const TAKEN_MM: f64 = 1.71;
/// Beyond this visual angle Watson's first polynomial falls, radians.
const CURVE_END: f64 = 2.007;
/// Step of the tables, radians.
const STEP: f64 = 0.5 * std::f64::consts::PI / 180.0;

/// mm along a spherical retina of 12 mm at every 10° of visual angle, from 0: chief rays from the middle of the pupil through
/// the Gullstrand-Emsley eye (radii 7.8, 10, −6 mm at 0, 3.6, 7.2 mm; indices 4/3, 1.416, 4/3; length 23.89 mm; from memory), by the
/// tracer of `tests/coverage`, which checks them.
pub(crate) const TRACED: [f64; 11] =
    [0.0, 2.881, 5.739, 8.550, 11.289, 13.927, 16.430, 18.750, 20.811, 22.463, 23.393];

/// Eye angle by the traced ray, for a visual angle in radians; beyond 100° it grows on as between 90 and 100°.
fn by_ray(visual: f64) -> f64 {
    let at = visual.to_degrees() / 10.0;
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // clamped to the table
    let k = (at.floor().max(0.0) as usize).min(TRACED.len() - 2);
    #[allow(clippy::cast_precision_loss)] // below 11
    let t = at - k as f64;
    // A parabola through three neighbours, so that the slope does not jump from one to the next by more than 1 %.
    let k0 = k.saturating_sub(1).min(TRACED.len() - 3);
    #[allow(clippy::cast_precision_loss)] // below 11
    let x = at - k0 as f64;
    let [a, b, c] = [TRACED[k0], TRACED[k0 + 1], TRACED[k0 + 2]];
    let mm = if at > 10.0 {
        TRACED[10] + (t - 1.0) * (TRACED[10] - TRACED[9])
    } else {
        a * (x - 1.0) * (x - 2.0) / 2.0 - b * x * (x - 2.0) + c * x * (x - 1.0) / 2.0
    };
    mm / 12.0
}

/// mm along the retina by eq. A5, for a visual angle in radians.
fn arc_forth(visual: f64) -> f64 {
    let deg = visual.to_degrees();
    0.268 * deg + 3.427e-4 * deg * deg - 8.3309e-6 * deg.powi(3)
}

/// mm along the retina by eq. A6 turned round by halving, for a visual angle in radians.
fn arc_back(visual: f64) -> f64 {
    let deg = visual.to_degrees();
    let of = |r: f64| r * (3.556 + r * (0.05993 + r * (-0.007_358 + r * 3.027e-4)));
    halve(30.0, |r| of(r) < deg)
}

/// mm along the retina for a visual angle in radians: the mean of both.
fn curve(visual: f64) -> f64 {
    0.5 * (arc_forth(visual) + arc_back(visual))
}

/// Relative standard error of the curve's slope: half of what both differ by, as the root mean square over 0 to 90°.
pub(crate) fn slope_sd() -> f64 {
    let of = |arc: fn(f64) -> f64, v: f64| arc(v + STEP) - arc(v);
    let half = |k: i32| {
        let v = f64::from(k) * STEP;
        0.5 * (of(arc_back, v) / of(arc_forth, v)).ln()
    };
    ((0..180).map(|k| half(k).powi(2)).sum::<f64>() / 180.0).sqrt()
}

/// The place at which `below` stops to hold, between 0 and an end.
fn halve(end: f64, below: impl Fn(f64) -> bool) -> f64 {
    let (mut low, mut high) = (0.0, end);
    for _ in 0..50 {
        let middle = 0.5 * (low + high);
        if below(middle) { low = middle } else { high = middle }
    }
    0.5 * (low + high)
}

/// One choice of everything that is not known of an eye and of the maker of its picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Choice {
    /// What the maker takes: 0 the curve, 1 the traced ray.
    pub(crate) maker: f64,
    /// How far the slope of the curve is off, in a wave from the axis and in one a quarter later.
    pub(crate) waves: [f64; 2],
    /// Axial length in mm.
    pub(crate) axial_mm: f64,
    /// Arcs longer by this factor.
    pub(crate) arcs: f64,
    /// Equator wider by this factor, and with it the places where rays land.
    pub(crate) across: f64,
}

impl Choice {
    /// The middle of all.
    pub(crate) const MIDDLE: Self =
        Self { maker: 0.5, waves: [0.0; 2], axial_mm: AXIAL_MM, arcs: 1.0, across: 1.0 };
}

/// Tables of a choice: claimed eye angle → visual angle → place on a spheroid.
#[derive(Debug, Clone)]
pub(crate) struct Retina {
    /// Visual angle for every [`STEP`] of claimed eye angle, 0 to π.
    visual: Vec<f64>,
    /// Parametric angle on the spheroid for every [`STEP`] of visual angle.
    place: Vec<f64>,
    /// Angle on a sphere of the same surface at which as much of it is enclosed, for every [`STEP`] of parametric angle.
    even: Vec<f64>,
    /// Half-axes in mm.
    across: f64,
    along: f64,
    /// Surface of the whole spheroid in mm².
    pub(crate) surface: f64,
}

impl Retina {
    pub(crate) fn new(c: Choice) -> Self {
        let grown = c.axial_mm - AXIAL_MM;
        let usual = ACROSS_MM + ACROSS_GROWTH * grown;
        let across = usual * c.across;
        let along = ALONG_MM + ALONG_GROWTH * grown;
        let (arcs, _) = walk(usual, along);
        let (_, mut even) = walk(across, along);
        let surface = even[even.len() - 1];
        even.iter_mut().for_each(|a| *a = 2.0 * (*a / surface).clamp(0.0, 1.0).sqrt().asin());
        let length = curve(std::f64::consts::FRAC_PI_2);
        let scale = c.arcs * (c.axial_mm - TAKEN_MM) / (AXIAL_MM - TAKEN_MM);
        // Beyond the curve's end arcs grow as they do on its last degree.
        let arc = |v: f64| {
            let in_curve = v.min(CURVE_END - STEP);
            let last = (curve(CURVE_END - STEP) - curve(CURVE_END - 3.0 * STEP)) / (2.0 * STEP);
            let s = curve(in_curve) + last * (v - in_curve);
            let turn = std::f64::consts::TAU / length;
            let [first, second] = c.waves;
            scale * (s + (first * (turn * s).sin() + second * (1.0 - (turn * s).cos())) / turn)
        };
        let said = |v: f64| {
            let v_in = v.min(CURVE_END - STEP);
            let by_curve = curve(v_in) / (AXIAL_MM / 2.0) + (v - v_in);
            c.maker * by_ray(v) + (1.0 - c.maker) * by_curve
        };
        let steps = || (0..=360).map(|k| f64::from(k) * STEP);
        Self {
            visual: steps().map(|e| halve(std::f64::consts::PI, |v| said(v) < e)).collect(),
            place: steps()
                .map(|v| landed(inverse(&arcs, arc(v)), [usual, across], along, c.axial_mm))
                .collect(),
            even,
            across,
            along,
            surface,
        }
    }

    /// Visual directions, about the picture's centre, turned so that the eye's axis is the pole. `axis` is where the
    /// picture shows the eye's axis, in the view frame.
    fn seen_from(&self, axis: Direction) -> impl Fn(Direction) -> RetinalPoint + '_ {
        let visual = |d: Direction| {
            let at = RetinalPoint::from_direction(d);
            let v = lookup(&self.visual, at.eccentricity_deg.to_radians());
            RetinalPoint { eccentricity_deg: v.to_degrees(), ..at }
        };
        let to = visual(axis);
        let turn = Rotation::tilting(to.meridian_deg, to.eccentricity_deg).inverse();
        move |d| {
            let v = visual(d);
            if to.eccentricity_deg == 0.0 {
                return v;
            }
            RetinalPoint::from_direction(turn.apply(v.to_direction()))
        }
    }

    /// Where what a picture claims at directions of the view frame lies on the retina, mm.
    pub(crate) fn places(&self, axis: Direction) -> impl Fn(Direction) -> [f64; 3] + '_ {
        let seen = self.seen_from(axis);
        move |d| {
            let v = seen(d);
            let t = lookup(&self.place, v.eccentricity_deg.to_radians());
            let (s, c) = v.meridian_deg.to_radians().sin_cos();
            [self.across * t.sin() * c, self.across * t.sin() * s, self.along * t.cos()]
        }
    }

    /// The same on a sphere of equal surface, on which areas are kept.
    pub(crate) fn evenly(&self, axis: Direction) -> impl Fn(Direction) -> Direction + '_ {
        let seen = self.seen_from(axis);
        move |d| {
            let v = seen(d);
            let t = lookup(&self.place, v.eccentricity_deg.to_radians());
            RetinalPoint { eccentricity_deg: lookup(&self.even, t).to_degrees(), ..v }.to_direction()
        }
    }
}

/// Where a ray that lands at a parametric angle of an eye of usual width lands in one of another width: straight on from the
/// nodal point, so that in a wider eye it lands farther out.
fn landed(t: f64, [usual, across]: [f64; 2], along: f64, axial: f64) -> f64 {
    if (usual - across).abs() < 1e-12 {
        return t;
    }
    // From the back towards the cornea (z), and away from the axis (x).
    let from = axial - NODAL_MM;
    let (dx, dz) = (usual * t.sin(), along * (1.0 - t.cos()) - from);
    // (k·dx / across)² + ((from + k·dz) / along − 1)² = 1, the farther k.
    let h = from / along - 1.0;
    let (a, b, c) = ((dx / across).powi(2) + (dz / along).powi(2), h * dz / along, h * h - 1.0);
    let k = (-b + (b * b - a * c).max(0.0).sqrt()) / a;
    (k * dx / across).atan2(-(h + k * dz / along))
}

/// Arcs from the back in mm, and the surface enclosed in mm², for every [`STEP`] of parametric angle, 0 to π.
fn walk(across: f64, along: f64) -> (Vec<f64>, Vec<f64>) {
    let (mut arcs, mut areas) = (vec![0.0], vec![0.0]);
    let (mut arc, mut area) = (0.0, 0.0);
    for k in 0..360 {
        let t = (f64::from(k) + 0.5) * STEP;
        let ds = STEP * (across * t.cos()).hypot(along * t.sin());
        arc += ds;
        area += std::f64::consts::TAU * across * t.sin() * ds;
        arcs.push(arc);
        areas.push(area);
    }
    (arcs, areas)
}

/// A table with [`STEP`] at a place, in straight lines.
fn lookup(table: &[f64], x: f64) -> f64 {
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // clamped to the table
    let k = ((x / STEP).floor().max(0.0) as usize).min(table.len() - 2);
    #[allow(clippy::cast_precision_loss)] // below 361
    let t = x / STEP - k as f64;
    table[k] + t.clamp(0.0, 1.0) * (table[k + 1] - table[k])
}

/// Where a rising table with [`STEP`] has a value.
fn inverse(table: &[f64], value: f64) -> f64 {
    let k = table.partition_point(|a| *a < value).clamp(1, table.len() - 1);
    let (a, b) = (table[k - 1], table[k]);
    #[allow(clippy::cast_precision_loss)] // below 361
    let from = (k - 1) as f64 * STEP;
    from + STEP * ((value - a) / (b - a)).clamp(0.0, 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::angle_between;
    use proptest::prelude::*;

    /// Brief on published figures, §1.1: eq. A5 at seven angles, and A6 back to within 0.5°.
    #[test]
    fn the_two_polynomials_are_those_that_were_read() {
        for (deg, mm) in [(10f64, 2.7059), (30., 8.1235), (60., 15.5142), (80., 19.3679), (90., 20.8226)] {
            assert!((arc_forth(deg.to_radians()) - mm).abs() < 1e-4);
        }
        for (deg, back) in [(60f64, 59.654f64), (80., 80.489), (90., 90.505)] {
            let mm = arc_forth(deg.to_radians());
            assert!((arc_back(back.to_radians()) - mm).abs() < 1e-3, "{deg}");
        }
        assert!((slope_sd() - 0.013_75).abs() < 1e-4, "{}", slope_sd());
    }

    #[test]
    fn a_spheroid_that_is_a_sphere_has_its_surface_and_arcs() {
        let (arcs, areas) = walk(12.0, 12.0);
        assert!((areas[360] / (4.0 * std::f64::consts::PI * 144.0) - 1.0).abs() < 1e-5);
        assert!((areas[120] / areas[360] - 0.25).abs() < 1e-5); // a cap of 60° is a quarter
        assert!((arcs[180] - 6.0 * std::f64::consts::PI).abs() < 1e-9);
        // Oblate, by Knud Thomsen's formula (p = 1.6075), which is good to 1.1 %.
        let p = 1.6075f64;
        let (b, c) = (11.5f64.powf(p), 10.83f64.powf(p));
        let thomsen = 4.0 * std::f64::consts::PI * ((b * b + 2.0 * b * c) / 3.0).powf(1.0 / p);
        let middle = Retina::new(Choice::MIDDLE);
        assert!((middle.surface / thomsen - 1.0).abs() < 0.011);
        // A longer eye is wider by less than it is longer, and a sphere at 26.3 mm.
        let long = Retina::new(Choice { axial_mm: 26.3, ..Choice::MIDDLE });
        assert!((long.across - 11.976).abs() < 1e-3 && (long.along - long.across).abs() < 0.01);
    }

    #[test]
    fn rays_land_farther_out_in_a_wider_eye_and_as_before_near_the_axis() {
        let at = |t: f64, across: f64| landed(t, [11.5, across], 10.83, 24.0);
        for k in 0..=120 {
            let t = f64::from(k).to_radians();
            assert!((at(t, 11.5 + 1e-9) - t).abs() < 1e-8, "{k}");
        }
        // Transverse distances: hardly changed at 10°, by the whole 3.4 % where the ray goes across.
        let wider = |t: f64| 1.034 * at(t, 11.5 * 1.034).sin() / t.sin();
        assert!((wider(0.17) - 1.0).abs() < 2e-3 && (wider(1.57) - 1.034).abs() < 2e-3, "{}", wider(0.17));
    }

    proptest! {
        #[test]
        fn places_keep_the_meridian_and_the_order(e in 0.5f64..120., d in 0.6f64..20., m in 0f64..359., maker in 0f64..1.) {
            let r = Retina::new(Choice { maker, ..Choice::MIDDLE });
            let on = r.evenly(Direction::POLE);
            let to = |e: f64| RetinalPoint::from_direction(on(RetinalPoint { eccentricity_deg: e, meridian_deg: m }.to_direction()));
            let (a, b) = (to(e), to(e + d));
            prop_assert!(a.eccentricity_deg < b.eccentricity_deg);
            prop_assert!((a.meridian_deg - m).abs() < 1e-6);
        }

        #[test]
        fn the_axis_is_the_pole_wherever_the_picture_shows_it(e in 0f64..60., m in 0f64..360.) {
            let r = Retina::new(Choice::MIDDLE);
            let axis = RetinalPoint { eccentricity_deg: e, meridian_deg: m }.to_direction();
            prop_assert!(angle_between(r.evenly(axis)(axis), Direction::POLE) < 1e-6);
        }
    }
}
