//! A whole frame from one projection to another and back, with its coverage.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // tests

use serrata_eye::{Picture, Projection, RadialPolynomial, Rotation};
use serrata_frame::{Frame, Pixels, Samples, remap};

const SIDE: u32 = 200;

fn picture(projection: Projection) -> Picture {
    Picture { width: SIDE, height: SIDE, deg_per_px: [0.6, 0.6], projection }
}

/// Smooth, so that mixing pixels twice costs little.
fn frame() -> Frame {
    let at = |i: u32| 128.0 + 90.0 * (f64::from(i % SIDE) / 23.0).sin() * (f64::from(i / SIDE) / 31.0).cos();
    let v: Vec<u16> = (0..SIDE * SIDE).map(|i| (at(i) * 200.0) as u16).collect();
    Frame::bare(Pixels::new(SIDE, SIDE, 1, Samples::U16(v.into())).unwrap())
}

fn drawn(old: &Frame, from: &Picture, to: &Picture, turn: Rotation) -> Frame {
    remap(old, SIDE, SIDE, |p| from.to_picture(turn.apply(to.to_direction(p).ok()?)).ok()).unwrap()
}

#[test]
fn every_projection_comes_back_also_turned() {
    let stereographic = picture(Projection::Stereographic);
    let own = RadialPolynomial::new(&[1.0, 0.02, 0.05], 110.0).unwrap();
    for other in [
        Projection::Equidistant,
        Projection::EqualArea,
        Projection::Orthographic,
        Projection::Gnomonic,
        Projection::Radial(own),
    ] {
        let (f, other) = (frame(), picture(other));
        let turn = Rotation::tilting(70.0, 8.0).then(Rotation::turning(12.0));
        let there = drawn(&f, &stereographic, &other, turn);
        let back = drawn(&there, &other, &stereographic, turn.inverse());
        let mut seen = 0;
        for y in 0..SIDE {
            for x in 0..SIDE {
                if back.coverage.at(x, y) {
                    seen += 1;
                    let off = (back.pixels.at(x, y, 0) - f.pixels.at(x, y, 0)).abs();
                    assert!(off < 0.012, "{:?} {x} {y}: {off}", other.projection);
                } else {
                    assert_eq!(back.pixels.at(x, y, 0), 0.0);
                }
            }
        }
        assert!(seen > SIDE * SIDE / 5, "{:?}: {seen}", other.projection);
        // What lies beyond a projection's domain is not covered.
        assert!(there.coverage.count() > 0 && there.facts.centre_view_angle_deg.is_none());
    }
}

#[test]
fn beyond_the_orthographic_edge_nothing_is_covered() {
    let there = drawn(
        &frame(),
        &picture(Projection::Stereographic),
        &picture(Projection::Orthographic),
        Rotation::NONE,
    );
    // 1 radius is 95.5 pixels: the corners lie outside of it.
    assert!(
        !there.coverage.at(2, 2)
            && !there.coverage.at(SIDE - 1, SIDE / 2 + 80)
            && there.coverage.at(SIDE / 2, SIDE / 2)
    );
}
