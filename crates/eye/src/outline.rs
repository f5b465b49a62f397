use crate::{DomainError, Picture, RetinalPoint, Rotation};
use serrata_words::{Point, Region};

/// The outlines of a region of a picture in the retinal frame, as a chart draws them: lists of points in degrees of eye
/// angle, for example 400 of them for the edge of a frame.
///
/// Rings are not closed; what the outer rings enclose minus the holes is meant, on the side away from the point
/// opposite the picture's centre.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Outlines {
    /// Outer rings; 1 for a frame without gaps.
    pub rings: Vec<Vec<RetinalPoint>>,
    /// Holes in them; 0 for a frame without gaps.
    pub holes: Vec<Vec<RetinalPoint>>,
}

/// Puts points onto the edges of a ring so that no piece is longer than `step` (same unit as the points).
///
/// Example: a square of side 10 with step 5 has 8 points. Points that are not finite, and a step that is not above
/// zero, leave the ring as it is.
#[must_use]
pub fn densify(ring: &[Point], step: f64) -> Vec<Point> {
    let mut out = Vec::with_capacity(ring.len());
    for (i, a) in ring.iter().enumerate() {
        let b = ring[(i + 1) % ring.len()];
        let pieces = ((b[0] - a[0]).hypot(b[1] - a[1]) / step).ceil();
        let pieces = if step > 0.0 && pieces.is_finite() { pieces.clamp(1.0, 100_000.0) } else { 1.0 };
        out.push(*a);
        let mut k = 1.0;
        while k < pieces {
            let t = k / pieces;
            out.push([a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])]);
            k += 1.0;
        }
    }
    out
}

/// Maps a region of a picture (pixels) onto the retina.
///
/// `to_retina` turns the view frame into the retinal frame: [`Rotation::from_landmarks`] where fovea and disc were
/// found, else [`Rotation::from_gaze`]. Edges are cut so that no piece spans more than `step_deg` at the picture's
/// centre: an edge that is straight in the picture is curved on the chart.
///
/// # Errors
/// Where an edge leaves what the projection shows.
///
/// ```
/// use serrata_eye::{outline, Picture, Rotation, Stereographic};
/// use serrata_words::Region;
/// let p = Picture::from(Stereographic { width: 400, height: 400, deg_per_px: [0.5, 0.5] });
/// let square = Region { polygons: vec![vec![[0., 0.], [400., 0.], [400., 400.], [0., 400.]]], holes: vec![] };
/// let f = outline(&square, &p, Rotation::NONE, 2.0).unwrap();
/// assert_eq!(f.rings[0].len(), 400);
/// assert!((f.rings[0][0].meridian_deg - 135.0).abs() < 1e-9); // the upper left corner
/// ```
pub fn outline(
    region: &Region,
    picture: &Picture,
    to_retina: Rotation,
    step_deg: f64,
) -> Result<Outlines, DomainError> {
    let step = step_deg / picture.deg_per_px[0].abs().max(picture.deg_per_px[1].abs());
    let map = |rings: &[Vec<Point>]| {
        let one = |ring: &Vec<Point>| {
            let points = densify(ring, step).into_iter();
            points
                .map(|p| Ok(RetinalPoint::from_direction(to_retina.apply(picture.to_direction(p)?))))
                .collect::<Result<Vec<_>, DomainError>>()
        };
        rings.iter().map(one).collect::<Result<Vec<_>, _>>()
    };
    Ok(Outlines { rings: map(&region.polygons)?, holes: map(&region.holes)? })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Direction, Stereographic, polygon_area_sr, region_area_sr};
    use proptest::prelude::*;
    use serrata_words::{Eye, Gaze};

    const P: Stereographic = Stereographic { width: 3600, height: 3600, deg_per_px: [0.07, 0.07] };

    proptest! {
        #[test]
        fn no_piece_is_longer_than_the_step(ring in prop::collection::vec([0f64..100., 0f64..100.], 1..8), step in 0.5f64..40.) {
            let d = densify(&ring, step);
            prop_assert!(ring.iter().all(|p| d.contains(p)));
            for (i, a) in d.iter().enumerate() {
                let b = d[(i + 1) % d.len()];
                prop_assert!((b[0] - a[0]).hypot(b[1] - a[1]) <= step + 1e-9);
            }
        }

        /// Turning the eye changes where a footprint lies, not how large it is.
        #[test]
        fn a_footprint_keeps_its_area(x in 600f64..3000., y in 600f64..3000., r in 50f64..600.) {
            let ring: Vec<Point> = vec![[x - r, y - r], [x + r, y - r], [x + r, y + r], [x - r, y + r]];
            let region = Region { polygons: vec![ring], holes: vec![] };
            let turn = Rotation::from_gaze(Gaze::UpLeft, 25.0);
            let f = outline(&region, &P.into(), turn, 0.5).unwrap();
            let points: Vec<Direction> = f.rings[0].iter().map(|p| p.to_direction()).collect();
            let area = polygon_area_sr(&points, turn.apply(Direction::POLE)).abs();
            let want = region_area_sr(&P, &region);
            prop_assert!((area - want).abs() < 1e-4 * want.max(0.1), "{area} {want}");
        }
    }

    #[test]
    fn landmarks_put_the_fovea_in_the_middle_and_the_disc_on_its_meridian() {
        for eye in [Eye::R, Eye::L] {
            let side = if eye == Eye::R { 1.0 } else { -1.0 };
            let (fovea, disc) = ([1700., 2100.], [1700. + side * 230., 2040.]);
            let pose = Rotation::from_landmarks(P.to_direction(fovea), P.to_direction(disc), eye).unwrap();
            let at = |p| RetinalPoint::from_direction(pose.apply(P.to_direction(p)));
            assert!(at(fovea).eccentricity_deg < 1e-6);
            assert!((at(disc).meridian_deg - RetinalPoint::mean_disc(eye).meridian_deg).abs() < 1e-6);
        }
    }

    #[test]
    fn bad_steps_and_empty_rings_do_no_harm() {
        assert_eq!(densify(&[], 1.0), Vec::<Point>::new());
        assert_eq!(densify(&[[0., 0.], [9., 0.]], 0.0).len(), 2);
        assert_eq!(densify(&[[0., 0.], [f64::INFINITY, 0.]], 1.0).len(), 2);
        assert_eq!(outline(&Region::default(), &P.into(), Rotation::NONE, 1.0), Ok(Outlines::default()));
    }
}
