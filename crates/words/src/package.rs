//! Contract `serrata.package/1`: what a package of a visit holds, file by file.

use serde::{Deserialize, Serialize};

/// `manifest.json` of a package.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PackageManifest {
    /// Always `serrata.package/1`.
    pub schema: String,
    /// The program that made it, with its version.
    pub made_by: String,
    /// Who asked for it.
    pub who: String,
    /// When, microseconds since 1970 UTC.
    pub made_utc_us: i64,
    /// Number of the visit in the house that made it.
    pub visit_id: i64,
    /// Whether identifying values were taken out.
    pub deidentified: bool,
    /// Whether the pictures are complete, in words.
    pub complete: String,
    /// All files but this one, in the order of their paths.
    pub files: Vec<PackageFile>,
    /// Frames that are not in it, and why.
    pub left_out: Vec<LeftOut>,
}

impl PackageManifest {
    /// The contract's name.
    pub const SCHEMA: &'static str = "serrata.package/1";
}

/// A file of a package.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PackageFile {
    /// Path in the package, parts parted by `/`.
    pub path: String,
    /// Length in bytes.
    pub bytes: u64,
    /// SHA-256, hex.
    pub sha256: String,
    /// The frames that it holds; empty where it is no original.
    pub frames: Vec<i64>,
}

/// A frame that is not in a package.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct LeftOut {
    /// The frame.
    pub frame: i64,
    /// Its file's name.
    pub name: String,
    /// Why.
    pub reason: String,
}
