//! A length, an area or an angle that a person draws in a picture, with everything that it assumes.

use super::error::ApiError;
use crate::area;
use serde::{Deserialize, Serialize};
use serrata_eye::{
    DomainError, EyeAxis, Measure, Picture, Radius, Spread, corner_angle_rad, path_jitter_rad,
};
use serrata_visit::{Millimetres, millimetres};
use serrata_words::{EyeState, Point, Region, round::six_digits};
use utoipa::ToSchema;

/// An outline, a path or a corner drawn in a picture.
#[derive(Debug, Deserialize, ToSchema)]
pub struct Drawn {
    /// Pixels of the picture.
    pub points: Vec<[f64; 2]>,
    /// Whether the last point is joined with the first: an area; else a length.
    pub closed: bool,
    /// Whether the angle at the second of three points is wanted instead.
    #[serde(default)]
    pub corner: bool,
}

/// A length, an area or an angle with everything that it assumes.
#[derive(Debug, Serialize, ToSchema)]
pub struct DrawnMeasure {
    /// `serrata.montage_measure/1` or `serrata.frame_measure/1`.
    pub schema: &'static str,
    /// mm of a length, mm² of an area, degrees of an angle; null without a projection.
    pub value: Option<f64>,
    /// Its 95 % interval.
    pub interval: Option<[f64; 2]>,
    /// `mm`, `mm²` or `°`.
    pub unit: &'static str,
    /// Length in degrees at the sphere's centre (eye angle).
    pub degrees: Option<f64>,
    /// Radius of the sphere, mm; null where none was needed.
    pub radius_mm: Option<f64>,
    /// Where the radius comes from: `axial_length`, `estimated`, `population` or `given`.
    pub radius_source: Option<String>,
    /// Why there is no value.
    pub uncalibrated: Option<String>,
    /// What a reader should know.
    pub warnings: Vec<String>,
}

/// What a drawn measure stands on.
pub(super) struct Ground {
    /// Where the picture's pixels lie on the sphere; none where nobody knows.
    pub picture: Option<Picture>,
    /// Size of the picture, pixels.
    pub size: [u32; 2],
    /// Size of the sphere.
    pub radius: Radius,
    /// Where the picture shows the eye's axis.
    pub axis: EyeAxis,
    /// What the state of the eye does to mm.
    pub millimetres: Millimetres,
}

impl Ground {
    /// The same with what the eye's state does to mm.
    pub fn new(
        picture: Option<Picture>,
        size: [u32; 2],
        radius: Radius,
        axis: EyeAxis,
        state: &EyeState,
    ) -> Self {
        Self { picture, size, radius, axis, millimetres: millimetres(state) }
    }
}

/// How much wider an interval is where oil or a worn lens changes the magnification (judgement).
const WIDER: f64 = 2.0;

/// An interval made wider on both sides of its value. Example: 10 (9 to 12) becomes 8 to 14.
pub(super) fn wider(value: f64, [low, high]: [f64; 2]) -> [f64; 2] {
    [(value - WIDER * (value - low)).max(0.0), value + WIDER * (high - value)]
}

/// Measures what was drawn.
///
/// # Errors
/// [`ApiError`] 400 for points that are no path, no outline or no corner, or lie outside of the picture or of what it shows of
/// the sphere.
pub(super) fn measured(drawn: &Drawn, on: &Ground, schema: &'static str) -> Result<DrawnMeasure, ApiError> {
    let wrong = |e: &dyn std::fmt::Display| {
        ApiError::bad("points", format!("they cannot be used: {e}"), "Draw it again within the picture")
    };
    let points = &drawn.points[..];
    match (drawn.corner, drawn.closed) {
        (true, true) => return Err(wrong(&"an angle has no inside")),
        (true, false) if points.len() != 3 => return Err(wrong(&"an angle has three points")),
        (false, false) if points.len() < 2 => return Err(wrong(&"a path has two points or more")),
        _ => {}
    }
    serrata_eye::check_points(points, on.size[0], on.size[1]).map_err(|e| wrong(&e))?;
    if drawn.closed {
        serrata_eye::check_ring(points).map_err(|e| wrong(&e))?;
    }
    let mut out = DrawnMeasure {
        schema,
        value: None,
        interval: None,
        unit: if drawn.corner {
            "°"
        } else if drawn.closed {
            "mm²"
        } else {
            "mm"
        },
        degrees: None,
        radius_mm: None,
        radius_source: None,
        uncalibrated: None,
        warnings: Vec::new(),
    };
    let Some(picture) = &on.picture else {
        out.uncalibrated = Some("no projection known".to_owned());
        return Ok(out);
    };
    if drawn.corner {
        let (value, sd) = corner(picture, points)
            .map_err(|e| wrong(&e))?
            .ok_or_else(|| wrong(&"two of the three lie on one place"))?;
        let reach = 1.96 * sd;
        out.value = Some(six_digits(value));
        out.interval = Some([six_digits((value - reach).max(0.0)), six_digits((value + reach).min(180.0))]);
        return Ok(out);
    }
    let measure = if drawn.closed {
        let region = Region { polygons: vec![points.to_vec()], holes: Vec::new() };
        area::area_of(&region, picture, on.radius, on.axis).map_err(|e| wrong(&e))?
    } else {
        let angle = picture.path_rad(points).map_err(|e| wrong(&e))?;
        out.degrees = Some(angle.to_degrees());
        let jitter = path_jitter_rad(picture, points, area::POINT_SD_PX).map_err(|e| wrong(&e))?;
        let spread = Spread::of_path(picture, points, on.axis).map_err(|e| wrong(&e))?;
        Measure::length(angle, spread, jitter, on.radius)
    };
    let interval = match &on.millimetres {
        Millimetres::None(why) => {
            out.uncalibrated = Some((*why).to_owned());
            return Ok(out);
        }
        Millimetres::Given => measure.interval,
        Millimetres::Wider(why) => {
            out.warnings.push(format!("The interval is twice as wide: {why}."));
            wider(measure.value, measure.interval)
        }
    };
    out.value = Some(six_digits(measure.value));
    out.interval = Some(interval.map(six_digits));
    out.radius_mm = Some(on.radius.mm);
    out.radius_source = Some(on.radius.source.word().to_owned());
    out.warnings.extend(measure.warning().map(str::to_owned));
    Ok(out)
}

/// Angle on the sphere at the second of three points, degrees, with the standard deviation that points drawn to a pixel give
/// it; none where two of them coincide.
fn corner(picture: &Picture, points: &[Point]) -> Result<Option<(f64, f64)>, DomainError> {
    let angle = |p: &[Point]| -> Result<Option<f64>, DomainError> {
        let [a, b, c] =
            [picture.to_direction(p[0])?, picture.to_direction(p[1])?, picture.to_direction(p[2])?];
        Ok(corner_angle_rad(a, b, c).map(f64::to_degrees))
    };
    let Some(value) = angle(points)? else { return Ok(None) };
    let mut variance = 0.0;
    for (i, k) in (0..3).flat_map(|i| [(i, 0), (i, 1)]) {
        let mut moved = points.to_vec();
        moved[i][k] += area::POINT_SD_PX;
        // A point on the rim may leave what is shown: then the other side tells as much.
        if angle(&moved).is_err() {
            moved[i][k] -= 2.0 * area::POINT_SD_PX;
        }
        variance += angle(&moved)?.map_or(180f64.powi(2), |a| (a - value).powi(2));
    }
    Ok(Some((value, variance.sqrt())))
}

#[cfg(test)]
mod tests {
    use super::*;
    use serrata_eye::Stereographic;
    use serrata_words::{Eye, Gaze};

    fn ground(state: &EyeState) -> Ground {
        let picture = Stereographic { width: 4000, height: 4000, deg_per_px: [0.05; 2] };
        let axis = EyeAxis::of(Gaze::Primary, Some(Eye::R));
        Ground::new(Some(picture.into()), [4000; 2], Radius::from_axial_length(24.0), axis, state)
    }

    fn told(points: &[[f64; 2]], closed: bool, corner: bool, on: &Ground) -> DrawnMeasure {
        measured(&Drawn { points: points.to_vec(), closed, corner }, on, "serrata.frame_measure/1").unwrap()
    }

    #[test]
    fn lengths_areas_and_angles_come_from_the_sphere() {
        let on = ground(&EyeState::default());
        // The brief on DICOM, §2: 62.446714376° between these two, 12 mm a radian.
        let path = told(&[[3000., 2000.], [2000., 1000.]], false, false, &on);
        assert!((path.value.unwrap() - 62.446_714_376f64.to_radians() * 12.0).abs() < 1e-4);
        assert_eq!((path.unit, path.radius_mm), ("mm", Some(12.0)));
        let area = told(&[[1990., 1990.], [2010., 1990.], [2010., 2010.], [1990., 2010.]], true, false, &on);
        assert!((area.value.unwrap() / (1f64.to_radians() * 12.0).powi(2) - 1.0).abs() < 1e-3);
        // A stereographic picture keeps angles: two straight lines through its middle are great circles.
        let right = told(&[[3000., 2000.], [2000., 2000.], [2000., 500.]], false, true, &on);
        assert_eq!((right.value, right.unit, right.radius_mm), (Some(90.0), "°", None));
        let [low, high] = right.interval.unwrap();
        assert!(low < 90.0 && low > 89.7 && high > 90.0 && high < 90.3, "{low} {high}");
    }

    #[test]
    fn the_state_of_the_eye_widens_or_takes_away_mm_and_leaves_angles() {
        let gas = EyeState { gas: true, ..EyeState::default() };
        let points = [[3000., 2000.], [2000., 2000.], [2000., 500.]];
        let none = told(&points, false, false, &ground(&gas));
        assert!(none.value.is_none() && none.uncalibrated.is_some() && none.degrees.is_some());
        assert!(told(&points, false, true, &ground(&gas)).value.is_some());
        let oil = EyeState { oil: true, ..EyeState::default() };
        let (plain, wide) = (
            told(&points, false, false, &ground(&EyeState::default())),
            told(&points, false, false, &ground(&oil)),
        );
        let width = |m: &DrawnMeasure| m.interval.map_or(0.0, |[low, high]| high - low);
        assert!(width(&wide) > 1.5 * width(&plain) && wide.value == plain.value);
        assert!(wide.warnings.iter().any(|w| w.contains("oil")), "{:?}", wide.warnings);
        assert_eq!(wider(10.0, [9.0, 12.0]), [8.0, 14.0]);
    }

    #[test]
    fn what_cannot_be_measured_is_refused_in_words() {
        let on = ground(&EyeState::default());
        for (points, closed, corner) in [
            (vec![[1., 1.]], false, false),
            (vec![[1., 1.], [2., 2.]], false, true),
            (vec![[1., 1.], [1., 1.], [2., 2.]], false, true),
            (vec![[1., 1.], [2., 2.], [3., 1.]], true, true),
            (vec![[-1., 1.], [2., 2.]], false, false),
            (vec![[0., 0.], [10., 10.], [10., 0.], [0., 10.]], true, false),
        ] {
            assert!(measured(&Drawn { points, closed, corner }, &on, "x").is_err());
        }
        let blind = Ground { picture: None, ..ground(&EyeState::default()) };
        let said = told(&[[1., 1.], [2., 2.]], false, false, &blind);
        assert_eq!((said.value, said.uncalibrated.as_deref()), (None, Some("no projection known")));
    }
}
