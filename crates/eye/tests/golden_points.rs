//! The table of points by which the page's own geometry is held against this crate: `web/src/lib/golden.json`.
//!
//! Run with `SERRATA_WRITE_GOLDEN=1` to write it anew.

#![allow(clippy::unwrap_used)] // helpers of tests may fail loudly

use serde_json::{Value, json};
use serrata_eye::{Picture, Plane, Projection, RadialPolynomial};

const SIZE: [u32; 2] = [3000, 2400];

/// Pictures of every projection, with the words of the API.
fn pictures() -> Vec<(&'static str, f64, Picture)> {
    let polynomial = RadialPolynomial::new(&[1.0, 0.02, 0.07], 115.0).unwrap();
    [
        ("stereographic", 179.0, Projection::Stereographic),
        ("equidistant", 180.0, Projection::Equidistant),
        ("equal_area", 180.0, Projection::EqualArea),
        ("orthographic", 90.0, Projection::Orthographic),
        ("gnomonic", 89.0, Projection::Gnomonic),
        ("radial", 115.0, Projection::Radial(polynomial)),
    ]
    .map(|(word, end, projection)| {
        (word, end, Picture { width: SIZE[0], height: SIZE[1], deg_per_px: [0.07, 0.075], projection })
    })
    .into()
}

/// Ways to draw a part of the sphere, with the page's words.
fn lenses() -> [(&'static str, Projection); 3] {
    [
        ("stereographic", Projection::Stereographic),
        ("equal_area", Projection::EqualArea),
        ("equidistant", Projection::Equidistant),
    ]
}

fn rounded(p: [f64; 2]) -> [f64; 2] {
    p.map(|v| (v * 1e6).round() / 1e6)
}

fn table() -> Value {
    let geometry = |(word, end, p): &(&str, f64, Picture)| {
        let coefficients: &[f64] = if *word == "radial" { &[1.0, 0.02, 0.07] } else { &[] };
        json!({"projection": word, "size": SIZE, "degrees_per_pixel": p.deg_per_px, "coefficients": coefficients, "end_deg": end})
    };
    let mut points = Vec::new();
    for (number, (_, _, picture)) in pictures().iter().enumerate() {
        for (word, lens) in lenses() {
            for (azimuth, elevation) in [(0.0, 0.0), (28.0, -17.0), (-55.0, 30.0)] {
                let plane = Plane::centred(lens.clone(), azimuth, elevation);
                for at in [[0.0, 0.0], [0.21, 0.1], [-0.5, 0.33], [0.02, -0.74], [1.1, 0.9]] {
                    // Beyond what a picture can show there is nothing to draw.
                    let pixel = plane.unproject(at).and_then(|d| picture.to_picture(d)).ok();
                    points.push(json!({
                        "picture": number, "lens": word, "azimuth": azimuth, "elevation": elevation, "plane": at,
                        "pixel": pixel.map(rounded),
                    }));
                }
            }
        }
    }
    json!({
        "comment": "Made by crates/eye/tests/golden_points.rs: a place in a plane about a point of the sphere (radii, y up), and the pixel that shows it.",
        "pictures": pictures().iter().map(geometry).collect::<Vec<_>>(),
        "points": points,
    })
}

#[test]
fn the_pages_table_is_that_of_this_crate() {
    let file = concat!(env!("CARGO_MANIFEST_DIR"), "/../../web/src/lib/golden.json");
    let made = table();
    if std::env::var_os("SERRATA_WRITE_GOLDEN").is_some() {
        std::fs::write(file, format!("{}\n", serde_json::to_string(&made).unwrap())).unwrap();
    }
    let kept: Value = serde_json::from_str(&std::fs::read_to_string(file).unwrap()).unwrap();
    let (made, kept) = (made["points"].as_array().unwrap(), kept["points"].as_array().unwrap());
    assert_eq!(made.len(), kept.len());
    for (a, b) in made.iter().zip(kept) {
        assert_eq!((&a["picture"], &a["lens"], &a["plane"]), (&b["picture"], &b["lens"], &b["plane"]));
        match (a["pixel"].as_array(), b["pixel"].as_array()) {
            (Some(a), Some(b)) => {
                for (a, b) in a.iter().zip(b) {
                    // Rounding differs in the last place from processor to processor.
                    assert!((a.as_f64().unwrap() - b.as_f64().unwrap()).abs() < 2e-6, "{a} {b}");
                }
            }
            (a, b) => assert_eq!(a.is_some(), b.is_some(), "run with SERRATA_WRITE_GOLDEN=1"),
        }
    }
    assert!(made.iter().filter(|p| !p["pixel"].is_null()).count() > 200);
}
