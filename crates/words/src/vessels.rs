//! Vessels of a frame as lines: `serrata.vessels/1`.

use crate::{Method, Point};
use serde::{Deserialize, Serialize};

crate::words! {
    /// What happens to vessels at a place.
    VesselNodeKind("kind of a place on vessels") {
        /// A line ends: it leaves what can be seen, or grows too thin.
        End = "end",
        /// Three lines meet.
        Branching = "branching",
        /// Four lines or more meet: as a rule two vessels that lie over one another.
        Crossing = "crossing",
    }
}

crate::words! {
    /// Which way a vessel carries blood.
    VesselKind("kind of a vessel") {
        /// From the heart; blood rich in oxygen, which red light passes.
        Artery = "artery",
        /// Back to the heart; blood that red light shows dark.
        Vein = "vein",
    }
}

/// What a line is held for, with how sure that is: `{"name":"vein","probability":0.93}`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct VesselGuess {
    /// Artery or vein.
    pub name: VesselKind,
    /// Probability of that kind, 0.8 to 1; less is not told.
    #[serde(serialize_with = "crate::round::share")]
    pub probability: f64,
}

/// One centre line from node to node.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct VesselLine {
    /// Along its middle, pixels of the frame.
    #[serde(serialize_with = "crate::round::ring")]
    pub points: Vec<Point>,
    /// Median width between its steepest sides, pixels of the frame, blur included; null where no edge was found.
    #[serde(serialize_with = "crate::round::pixel_opt")]
    pub width_px: Option<f64>,
    /// Artery or vein; null where it cannot be told: farther than 8 disc radii from the disc, in frames below some 1700 pixels, and in anything but
    /// a wide colour picture by red and green light.
    #[serde(default)]
    pub kind: Option<VesselGuess>,
}

/// A place where lines meet or end.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct VesselNode {
    /// Pixels of the frame, to the right.
    #[serde(serialize_with = "crate::round::pixel")]
    pub x: f64,
    /// Pixels of the frame, downwards.
    #[serde(serialize_with = "crate::round::pixel")]
    pub y: f64,
    /// What it is.
    pub kind: VesselNodeKind,
    /// Numbers of the lines that meet there.
    pub lines: Vec<usize>,
}

/// The vessels of a frame as one line of JSON.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct VesselsLine {
    /// Always `serrata.vessels/1`.
    pub schema: String,
    /// The file.
    pub path: String,
    /// Index of the frame in the file, from 0.
    pub frame: u32,
    /// Width of the frame in pixels.
    pub width: u32,
    /// Height of the frame in pixels.
    pub height: u32,
    /// The method that made it.
    pub method: Method,
    /// Centre lines.
    pub lines: Vec<VesselLine>,
    /// Ends, branchings and crossings.
    pub nodes: Vec<VesselNode>,
}
