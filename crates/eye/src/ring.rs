use serrata_words::{Point, region::ring_area};

/// Why a ring of points is no outline.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum RingError {
    /// Fewer than three points.
    #[error("the outline has {0} points, three or more are expected")]
    TooFew(usize),
    /// A coordinate is not a finite number.
    #[error("point {0} of the outline is not a finite number")]
    NotFinite(usize),
    /// All points lie on one line, or on one another.
    #[error("the outline encloses no area")]
    NoArea,
    /// Two edges cross or touch. Edge `i` goes from point `i` to the next; points count from 1.
    #[error(
        "the outline crosses itself near ({:.1}, {:.1}), where the edge from point {first} meets the edge from point {second}",
        .at[0], .at[1]
    )]
    Crossing {
        /// Number of the point from which the first edge starts, from 1.
        first: usize,
        /// Number of the point from which the second edge starts, from 1.
        second: usize,
        /// Where they meet, in pixels.
        at: Point,
    },
}

/// Checks that a ring (not closed, pixels of the picture) encloses an area and does not cross itself.
///
/// Edges are straight in the picture. Every pair of edges is looked at after a sort by their left ends, so that
/// outlines with thousands of points are quick.
///
/// # Errors
/// [`RingError`], which names the point or the crossing.
///
/// ```
/// use serrata_eye::{check_ring, RingError};
/// let bow_tie = [[0., 0.], [4., 4.], [4., 0.], [0., 4.]];
/// assert_eq!(check_ring(&bow_tie), Err(RingError::Crossing { first: 1, second: 3, at: [2., 2.] }));
/// ```
pub fn check_ring(ring: &[Point]) -> Result<(), RingError> {
    let n = ring.len();
    if n < 3 {
        return Err(RingError::TooFew(n));
    }
    if let Some(i) = ring.iter().position(|p| !p.iter().all(|c| c.is_finite())) {
        return Err(RingError::NotFinite(i + 1));
    }
    if let Some(crossing) = first_crossing(ring) {
        return Err(crossing);
    }
    let reach = ring.iter().flatten().fold(0f64, |m, c| m.max(c.abs()));
    if ring_area(ring).abs() <= 1e-12 * reach * reach {
        return Err(RingError::NoArea);
    }
    Ok(())
}

/// The crossing with the lowest edge numbers.
fn first_crossing(ring: &[Point]) -> Option<RingError> {
    let n = ring.len();
    let edge = |i: usize| (ring[i], ring[(i + 1) % n]);
    let span = |i: usize| {
        let (a, b) = edge(i);
        (a[0].min(b[0]), a[0].max(b[0]))
    };
    let mut order: Vec<usize> = (0..n).collect();
    order.sort_by(|&i, &j| span(i).0.total_cmp(&span(j).0));
    let mut best: Option<(usize, usize, Point)> = None;
    for (k, &i) in order.iter().enumerate() {
        let right = span(i).1;
        for &j in order[k + 1..].iter().take_while(|&&j| span(j).0 <= right) {
            let (first, second) = (i.min(j), i.max(j));
            if best.is_some_and(|b| (b.0, b.1) <= (first, second)) {
                continue;
            }
            let neighbours = second - first == 1 || (first == 0 && second == n - 1);
            let at =
                if neighbours { fold(edge(first), edge(second)) } else { meet(edge(first), edge(second)) };
            if let Some(at) = at {
                best = Some((first, second, at));
            }
        }
    }
    best.map(|(first, second, at)| RingError::Crossing { first: first + 1, second: second + 1, at })
}

type Edge = (Point, Point);

fn turn(a: Point, b: Point, c: Point) -> f64 {
    (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
}

/// Where two edges that share no end meet.
fn meet((a, b): Edge, (c, d): Edge) -> Option<Point> {
    let (c_side, d_side) = (turn(a, b, c), turn(a, b, d));
    let (a_side, b_side) = (turn(c, d, a), turn(c, d, b));
    if c_side * d_side < 0.0 && a_side * b_side < 0.0 {
        let t = a_side / (a_side - b_side);
        return Some([a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])]);
    }
    let ends = [(c_side, c, (a, b)), (d_side, d, (a, b)), (a_side, a, (c, d)), (b_side, b, (c, d))];
    ends.into_iter().find(|(side, p, e)| *side == 0.0 && within(*p, *e)).map(|(_, p, _)| p)
}

/// Neighbouring edges share a point; they cross only where the second runs back over the first.
fn fold((a, b): Edge, (c, d): Edge) -> Option<Point> {
    let (from, joint, to) = if b == c { (a, b, d) } else { (b, a, c) };
    let back = (from[0] - joint[0]) * (to[0] - joint[0]) + (from[1] - joint[1]) * (to[1] - joint[1]);
    (turn(from, joint, to) == 0.0 && back > 0.0).then_some(joint)
}

fn within(p: Point, (a, b): Edge) -> bool {
    (0..2).all(|k| p[k] >= a[k].min(b[k]) && p[k] <= a[k].max(b[k]))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn what_is_wrong_is_named() {
        assert_eq!(check_ring(&[[0., 0.], [1., 0.]]), Err(RingError::TooFew(2)));
        assert_eq!(check_ring(&[[0., 0.], [1., f64::NAN], [1., 1.]]), Err(RingError::NotFinite(2)));
        // Back on its own way: no area, and named as the fold that it is.
        assert!(matches!(check_ring(&[[0., 0.], [4., 0.], [2., 0.]]), Err(RingError::Crossing { .. })));
        assert!(matches!(check_ring(&[[1., 1.]; 3]), Err(RingError::NoArea | RingError::Crossing { .. })));
        let text = check_ring(&[[0., 0.], [4., 4.], [4., 0.], [0., 4.]]).unwrap_err().to_string();
        assert!(
            text.contains("(2.0, 2.0)") && text.contains("point 1") && text.contains("point 3"),
            "{text}"
        );
    }

    #[test]
    fn a_corner_that_touches_an_edge_is_a_crossing() {
        let ring = [[0., 0.], [4., 0.], [4., 4.], [2., 0.], [0., 4.]];
        assert!(matches!(check_ring(&ring), Err(RingError::Crossing { first: 1, .. })));
    }

    /// Every pair, without the sort.
    fn plain(ring: &[Point]) -> Option<(usize, usize)> {
        let n = ring.len();
        let edge = |i: usize| (ring[i], ring[(i + 1) % n]);
        (0..n).flat_map(|i| (i + 1..n).map(move |j| (i, j))).find(|&(i, j)| {
            let near = j - i == 1 || (i == 0 && j == n - 1);
            if near { fold(edge(i), edge(j)).is_some() } else { meet(edge(i), edge(j)).is_some() }
        })
    }

    proptest! {
        #[test]
        fn the_sorted_search_finds_what_all_pairs_find(ring in prop::collection::vec([0f64..100., 0f64..100.], 3..24)) {
            let fast = match check_ring(&ring) {
                Err(RingError::Crossing { first, second, .. }) => Some((first - 1, second - 1)),
                _ => None,
            };
            prop_assert_eq!(fast, plain(&ring));
        }

        #[test]
        fn a_star_shaped_ring_is_an_outline(radii in prop::collection::vec(5f64..50., 3..40)) {
            let n = radii.len() as f64;
            let ring: Vec<Point> = radii.iter().enumerate().map(|(i, r)| {
                let (s, c) = (std::f64::consts::TAU * i as f64 / n).sin_cos();
                [60. + r * c, 60. + r * s]
            }).collect();
            prop_assert_eq!(check_ring(&ring), Ok(()));
        }
    }
}
