//! Profiles of instruments (`instruments/*.toml`).

use crate::Modality;
use serde::{Deserialize, Serialize};

crate::words! {
    /// How the sphere is drawn on the picture: distance r from the middle, in radii of the sphere, for an eye angle c.
    Projection("projection") {
        /// Stereographic, as DICOM PS3.3 C.8.17.11: r = 2·tan(c/2).
        Stereographic = "stereographic",
        /// Equidistant: r = c.
        Equidistant = "equidistant",
        /// Equal-area (Lambert): r = 2·sin(c/2).
        EqualArea = "equal_area",
        /// Orthographic: r = sin c.
        Orthographic = "orthographic",
        /// Gnomonic: r = tan c.
        Gnomonic = "gnomonic",
        /// The instrument's own polynomial, given in `radial`.
        Radial = "radial",
        /// Not known: no mm.
        Unknown = "unknown",
    }
}

crate::words! {
    /// The image axis along which the sweep advances.
    SlowAxis("slow axis") {
        /// Row after row, downwards.
        Down = "down",
        /// Row after row, upwards.
        Up = "up",
        /// Column after column, to the right.
        Right = "right",
        /// Column after column, to the left.
        Left = "left",
    }
}

/// One light source.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Laser {
    /// What it is for, for example "red".
    pub name: String,
    /// Wavelength in nm.
    pub nm: f64,
    /// Power at the cornea in mW, or null where the maker does not say.
    #[serde(default)]
    pub mw: Option<f64>,
    /// Kinds of picture for which it shines; none named: not known, and no light figure.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub kinds: Vec<Modality>,
}

/// An instrument's own projection: r = k1·c + k2·c² + k3·c³ + …, c the eye angle from the middle in radians, r in radii of the
/// sphere at the middle's scale (so k1 is 1 where `degrees_per_pixel` is the middle's).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Radial {
    /// k1, k2, k3, … Example: 1, 0, 0.08.
    pub coefficients: Vec<f64>,
    /// Eye angle in degrees up to which they hold. Example: 110.
    pub end_deg: f64,
}

/// What is known of an instrument. Without a profile a frame is uncalibrated: no ms, no mm, no light figure.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Instrument {
    /// Name.
    pub name: String,
    /// Where the numbers come from, for example "invented for the demo".
    pub source: String,
    /// Width of its pictures in pixels.
    pub width: u32,
    /// Height of its pictures in pixels.
    pub height: u32,
    /// Projection of its pictures.
    pub projection: Projection,
    /// View angle of the centre pixel, degrees at the sphere's centre; null where the projection is unknown.
    #[serde(default)]
    pub degrees_per_pixel: Option<f64>,
    /// Its own polynomial, where `projection` says `radial`; null for the others.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub radial: Option<Radial>,
    /// Slow axis of the sweep.
    pub slow_axis: SlowAxis,
    /// Time of one sweep in seconds.
    pub sweep_s: f64,
    /// How far its target can turn the gaze, degrees of eye angle; null where nobody says.
    #[serde(default)]
    pub gaze_range_deg: Option<f64>,
    /// Where its pictures show the fovea when the eye looks straight ahead: degrees of eye angle to the right of the picture's
    /// middle and above it; null is the middle.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fovea_straight_ahead_deg: Option<[f64; 2]>,
    /// Light sources.
    #[serde(default)]
    pub lasers: Vec<Laser>,
}

impl Instrument {
    /// Milliseconds from the start of the sweep at which a line along the slow axis is exposed.
    ///
    /// `line` counts from the edge at which the picture's coordinates start, `lines` is the frame's size along
    /// the slow axis. Example: line 1800 of 3600 with a 0.4 s sweep downwards is at 200 ms.
    #[must_use]
    pub fn line_ms(&self, line: f64, lines: u32) -> f64 {
        let share = line / f64::from(lines.max(1));
        let share = match self.slow_axis {
            SlowAxis::Down | SlowAxis::Right => share,
            SlowAxis::Up | SlowAxis::Left => 1.0 - share,
        };
        share * self.sweep_s * 1000.0
    }
}
