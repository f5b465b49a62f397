use serrata_words::Point;

/// What is wrong with an outline or a path, with the place; points count from 1. Example: two edges that cross at (5, 5).
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum RingError {
    /// Too few points.
    #[error("it has {got} points; expected at least {expected}")]
    TooFewPoints {
        /// Points that were given.
        got: usize,
        /// Points that are needed.
        expected: usize,
    },
    /// A coordinate is not a number.
    #[error("point {0} is not a pair of finite numbers")]
    NotFinite(usize),
    /// A point lies outside the picture.
    #[error(
        "point {index} ({x}, {y}) lies outside the picture; expected 0 to {width} across and 0 to {height} down"
    )]
    Outside {
        /// Which point, from 1.
        index: usize,
        /// Its x.
        x: f64,
        /// Its y.
        y: f64,
        /// Width of the picture in pixels.
        width: u32,
        /// Height of the picture in pixels.
        height: u32,
    },
    /// Two edges cross or touch.
    #[error(
        "it crosses itself near ({x:.1}, {y:.1}): the edge from point {first} and the edge from point {second} meet; draw it without crossings"
    )]
    Crossing {
        /// Point at which the first edge starts, from 1.
        first: usize,
        /// Point at which the second edge starts, from 1.
        second: usize,
        /// Where they meet.
        x: f64,
        /// Where they meet.
        y: f64,
    },
    /// Nothing is enclosed.
    #[error("it encloses no area: its points lie on one line or on one spot")]
    NoArea,
}

/// Checks points of a picture: finite, and within 0..width, 0..height (edges included).
///
/// # Errors
/// The first point that is not; the number in the message counts from 1.
pub fn check_points(points: &[Point], width: u32, height: u32) -> Result<(), RingError> {
    for (i, [x, y]) in points.iter().copied().enumerate() {
        let index = i + 1;
        if !(x.is_finite() && y.is_finite()) {
            return Err(RingError::NotFinite(index));
        }
        if !((0.0..=f64::from(width)).contains(&x) && (0.0..=f64::from(height)).contains(&y)) {
            return Err(RingError::Outside { index, x, y, width, height });
        }
    }
    Ok(())
}

/// Checks that a ring (not closed) has an area and does not cross or touch itself.
///
/// Points that repeat the one before are allowed. All pairs of edges are looked at, so an outline of 10,000 points
/// takes some tenths of a second.
///
/// # Errors
/// The first fault, for a crossing with both edges and the place where they meet.
///
/// ```
/// use serrata_eye::check_ring;
/// let bow_tie = [[0., 0.], [10., 10.], [10., 0.], [0., 10.]];
/// assert!(check_ring(&bow_tie).unwrap_err().to_string().contains("near (5.0, 5.0)"));
/// ```
pub fn check_ring(ring: &[Point]) -> Result<(), RingError> {
    if let Some(i) = ring.iter().position(|p| !(p[0].is_finite() && p[1].is_finite())) {
        return Err(RingError::NotFinite(i + 1));
    }
    let kept: Vec<(usize, Point)> = ring
        .iter()
        .copied()
        .enumerate()
        .filter(|(i, p)| *p != ring[(i + ring.len() - 1) % ring.len()] || ring.len() == 1)
        .collect();
    if ring.len() < 3 {
        return Err(RingError::TooFewPoints { got: ring.len(), expected: 3 });
    }
    let n = kept.len();
    let extent = kept.iter().flat_map(|(_, p)| p.map(f64::abs)).fold(1.0, f64::max);
    let cross = |a: Point, b: Point, c: Point| (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);
    let flat = |i: usize| cross(kept[0].1, kept[i].1, kept[(i + 1) % n].1).abs() <= 1e-12 * extent * extent;
    if n < 3 || (1..n).all(flat) {
        return Err(RingError::NoArea);
    }
    for i in 0..n {
        for j in i + 1..n {
            let edge = |k: usize| (kept[k].1, kept[(k + 1) % n].1);
            let ((a, b), (c, d)) = (edge(i), edge(j));
            let beside = j == i + 1 || (i == 0 && j == n - 1);
            let at = if beside { folded(a, b, c, d) } else { meet(a, b, c, d) };
            if let Some([x, y]) = at {
                return Err(RingError::Crossing { first: kept[i].0 + 1, second: kept[j].0 + 1, x, y });
            }
        }
    }
    Ok(())
}

fn turn(a: Point, b: Point, c: Point) -> f64 {
    (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
}

fn between(a: Point, b: Point, p: Point) -> bool {
    (0..2).all(|k| a[k].min(b[k]) <= p[k] && p[k] <= a[k].max(b[k]))
}

/// Where two edges that share no end meet.
fn meet(a: Point, b: Point, c: Point, d: Point) -> Option<Point> {
    if (0..2).any(|k| a[k].max(b[k]) < c[k].min(d[k]) || c[k].max(d[k]) < a[k].min(b[k])) {
        return None;
    }
    let (ta, tb) = (turn(c, d, a), turn(c, d, b));
    let (tc, td) = (turn(a, b, c), turn(a, b, d));
    if ta * tb < 0.0 && tc * td < 0.0 {
        let t = ta / (ta - tb);
        return Some([a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])]);
    }
    [(ta, a, c, d), (tb, b, c, d), (tc, c, a, b), (td, d, a, b)]
        .into_iter()
        .find(|(t, p, from, to)| *t == 0.0 && between(*from, *to, *p))
        .map(|(_, p, ..)| p)
}

/// Whether the edge after another goes back over it, and where it turns.
fn folded(a: Point, b: Point, c: Point, d: Point) -> Option<Point> {
    // Either b is c, or (at the ring's end) d is a.
    let (tip, one, two) = if b == c { (b, a, d) } else { (a, b, c) };
    let along = (one[0] - tip[0]) * (two[0] - tip[0]) + (one[1] - tip[1]) * (two[1] - tip[1]);
    (turn(tip, one, two) == 0.0 && along > 0.0).then_some(tip)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// Rings that are stars about a point never cross.
        #[test]
        fn stars_are_simple(radii in prop::collection::vec(10f64..90., 3..40)) {
            let n = radii.len() as f64;
            let ring: Vec<Point> = radii.iter().enumerate().map(|(i, r)| {
                let (s, c) = (std::f64::consts::TAU * i as f64 / n).sin_cos();
                [100. + r * c, 100. + r * s]
            }).collect();
            prop_assert_eq!(check_ring(&ring), Ok(()));
        }

        #[test]
        fn nothing_panics(ring in prop::collection::vec([prop::num::f64::ANY, prop::num::f64::ANY], 0..8)) {
            let _ = check_ring(&ring);
            let _ = check_points(&ring, 10, 10);
        }
    }

    #[test]
    fn faults_are_named() {
        let bow = [[0., 0.], [10., 10.], [10., 0.], [0., 10.]];
        assert_eq!(check_ring(&bow), Err(RingError::Crossing { first: 1, second: 3, x: 5., y: 5. }));
        assert_eq!(check_ring(&[[0., 0.], [5., 5.], [9., 9.]]), Err(RingError::NoArea));
        assert_eq!(check_ring(&[[3., 3.]; 5]), Err(RingError::NoArea));
        assert_eq!(check_ring(&[[3., 3.], [4., 4.]]), Err(RingError::TooFewPoints { got: 2, expected: 3 }));
        assert_eq!(check_ring(&[[3., 3.], [f64::NAN, 4.], [5., 1.]]), Err(RingError::NotFinite(2)));
        // A spike, and a ring that touches itself in a corner.
        assert!(matches!(
            check_ring(&[[0., 0.], [8., 0.], [4., 0.], [4., 5.]]),
            Err(RingError::Crossing { .. })
        ));
        assert!(matches!(
            check_ring(&[[0., 0.], [4., 0.], [2., 2.], [4., 4.], [0., 4.], [2., 2.]]),
            Err(RingError::Crossing { .. })
        ));
        assert_eq!(check_ring(&[[0., 0.], [0., 0.], [4., 0.], [4., 4.]]), Ok(()));
        let e = check_points(&[[1., 1.], [11., 2.]], 10, 10).unwrap_err();
        assert!(e.to_string().contains("point 2 (11, 2)"), "{e}");
    }
}
