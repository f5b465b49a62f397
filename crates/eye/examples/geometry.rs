//! The sphere over standard input and output, one JSON object a line: for the outside checks, which hold it against
//! other people's libraries. Azimuth and elevation (`lon`, `lat`) in degrees, everything else in radians and steradians.
//!
//! ```text
//! {"op":"distance","a":[0,0],"b":[15.5,1.5]}                               {"value":0.27175890}
//! {"op":"project","kind":"laea","centre":[0,0],"at":[15.5,1.5]}            {"x":0.2696,"y":0.0264}
//! ```

use serde::{Deserialize, Serialize};
use serrata_eye::{
    Direction, Footprint, PixelMask, Plane, Projection, Rotation, Stereographic, angle_between, bearing_rad,
    path_length_rad, polygon_area_sr,
};
use std::io::{BufRead, Write};

type LonLat = [f64; 2];

/// What is asked.
#[derive(Deserialize)]
#[serde(tag = "op", rename_all = "snake_case")]
enum Ask {
    Distance {
        a: LonLat,
        b: LonLat,
    },
    Bearing {
        a: LonLat,
        b: LonLat,
    },
    Path {
        points: Vec<LonLat>,
    },
    Area {
        ring: Vec<LonLat>,
        inside: LonLat,
    },
    Project {
        kind: String,
        centre: LonLat,
        at: LonLat,
    },
    Unproject {
        kind: String,
        centre: LonLat,
        at: [f64; 2],
    },
    Rotate {
        towards: f64,
        tilt: f64,
        turn: f64,
        at: [f64; 3],
    },
    Footprints {
        a: Vec<LonLat>,
        a_outside: LonLat,
        b: Vec<LonLat>,
        b_outside: LonLat,
    },
    /// A cap as pixels of a stereographic picture centred on the fovea.
    MaskCap {
        size: u32,
        deg_per_px: f64,
        centre: LonLat,
        half_deg: f64,
    },
    /// Seconds of a footprint from a picture whose covered part is an ellipse.
    TimeMask {
        width: u32,
        height: u32,
        deg_per_px: f64,
        rounds: u32,
    },
    /// Seconds of many polygon areas.
    TimeArea {
        ring: Vec<LonLat>,
        inside: LonLat,
        rounds: u32,
    },
}

/// What is answered.
#[derive(Serialize, Default)]
struct Answer {
    #[serde(skip_serializing_if = "Option::is_none")]
    value: Option<f64>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    values: Vec<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    error: Option<String>,
}

impl Answer {
    fn one(value: f64) -> Self {
        Self { value: Some(value), ..Self::default() }
    }

    fn many(values: Vec<f64>) -> Self {
        Self { values, ..Self::default() }
    }

    fn error(e: impl std::fmt::Display) -> Self {
        Self { error: Some(e.to_string()), ..Self::default() }
    }
}

/// Longitude and latitude with latitude's pole up, as maps have them.
fn on([lon, lat]: LonLat) -> Direction {
    Direction::from_azimuth_elevation(lon, lat)
}

fn ring(points: &[LonLat]) -> Vec<Direction> {
    points.iter().map(|p| on(*p)).collect()
}

fn kind(name: &str) -> Option<Projection> {
    Some(match name {
        "stere" => Projection::Stereographic,
        "aeqd" => Projection::Equidistant,
        "laea" => Projection::EqualArea,
        "ortho" => Projection::Orthographic,
        "gnom" => Projection::Gnomonic,
        _ => return None,
    })
}

fn answer(ask: &Ask) -> Answer {
    match ask {
        Ask::Distance { a, b } => Answer::one(angle_between(on(*a), on(*b))),
        Ask::Bearing { a, b } => {
            bearing_rad(on(*a), on(*b)).map_or_else(|| Answer::error("no bearing"), Answer::one)
        }
        Ask::Path { points } => Answer::one(path_length_rad(&ring(points))),
        Ask::Area { ring: r, inside } => Answer::one(polygon_area_sr(&ring(r), on(*inside))),
        Ask::Project { kind: k, centre: [l, p], at } => match kind(k) {
            Some(k) => match Plane::centred(k, *l, *p).project(on(*at)) {
                Ok(xy) => Answer::many(xy.to_vec()),
                Err(e) => Answer::error(e),
            },
            None => Answer::error("no such projection"),
        },
        Ask::Unproject { kind: k, centre: [l, p], at } => match kind(k) {
            Some(k) => match Plane::centred(k, *l, *p).unproject(*at) {
                Ok(d) => {
                    let (l, p) = d.azimuth_elevation();
                    Answer::many(vec![l, p])
                }
                Err(e) => Answer::error(e),
            },
            None => Answer::error("no such projection"),
        },
        Ask::Rotate { towards, tilt, turn, at } => {
            let r = Rotation::tilting(*towards, *tilt).then(Rotation::turning(*turn));
            Direction::new(*at)
                .map_or_else(|| Answer::error("no direction"), |d| Answer::many(r.apply(d).xyz().to_vec()))
        }
        Ask::Footprints { a, a_outside, b, b_outside } => {
            let a = Footprint::from_rings(&[ring(a)], on(*a_outside));
            let b = if b.is_empty() { a.clone() } else { Footprint::from_rings(&[ring(b)], on(*b_outside)) };
            Answer::many(vec![
                a.area_sr(),
                b.area_sr(),
                a.union(&b).area_sr(),
                a.intersection(&b).area_sr(),
                a.difference(&b).area_sr(),
            ])
        }
        Ask::MaskCap { size, deg_per_px, centre, half_deg } => {
            let picture = Stereographic { width: *size, height: *size, deg_per_px: [*deg_per_px; 2] };
            let (c, half) = (on(*centre), half_deg.to_radians().cos());
            let mask = PixelMask::from_fn(*size, *size, |x, y| {
                let [a, b, z] = picture.to_direction([f64::from(x) + 0.5, f64::from(y) + 0.5]).xyz();
                a * c.x() + b * c.y() + z * c.z() > half
            });
            Answer::one(Footprint::from_mask(&mask, &picture, Rotation::NONE).area_sr())
        }
        Ask::TimeMask { width, height, deg_per_px, rounds } => {
            let picture = Stereographic { width: *width, height: *height, deg_per_px: [*deg_per_px; 2] };
            let (w, h) = (f64::from(*width) / 2.0, f64::from(*height) / 2.0);
            let mask = PixelMask::from_fn(*width, *height, |x, y| {
                ((f64::from(x) - w) / w).powi(2) + ((f64::from(y) - h) / h).powi(2) < 0.9
            });
            let turn = Rotation::tilting(30.0, 10.0);
            Answer::many(
                (0..*rounds)
                    .map(|_| timed(|| Footprint::from_mask(&mask, &picture, turn).area_sr()))
                    .collect(),
            )
        }
        Ask::TimeArea { ring: r, inside, rounds } => {
            let (r, inside) = (ring(r), on(*inside));
            Answer::many((0..*rounds).map(|_| timed(|| polygon_area_sr(&r, inside))).collect())
        }
    }
}

/// Seconds that something took.
fn timed(f: impl Fn() -> f64) -> f64 {
    let start = std::time::Instant::now();
    std::hint::black_box(f());
    start.elapsed().as_secs_f64()
}

fn main() -> std::io::Result<()> {
    let mut out = std::io::BufWriter::new(std::io::stdout().lock());
    for line in std::io::stdin().lock().lines() {
        let said = match serde_json::from_str::<Ask>(&line?) {
            Ok(ask) => answer(&ask),
            Err(e) => Answer::error(e),
        };
        serde_json::to_writer(&mut out, &said)?;
        writeln!(out)?;
    }
    out.flush()
}
