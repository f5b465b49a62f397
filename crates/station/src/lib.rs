//! The station: intake of pictures, workers that look at them, the HTTP API with live events, and the page.
//!
//! * [`check::check_file`]: bytes to answers, as the command line uses it too;
//! * [`intake`]: a watched folder, DICOM storage, pictures dropped on the page; all end in [`intake::take`];
//! * [`work::work`]: what is kept is looked at; results are kept with the method revision that made them;
//! * [`dye`]: the frames of a dye run read as a series;
//! * [`handover`]: a visit as a package with its manifest;
//! * [`montage`]: frames of one eye as one picture, and what changed between two visits;
//! * [`api::router`]: `/api/v1`, described in `openapi.json`;
//! * [`serve::bind`]: all of it together.
//!
//! No SQL here, and no verdict is stored: judging is cheap and done anew at every request.

pub mod api;
pub mod area;
mod background;
pub mod charts;
pub mod check;
pub mod dye;
mod footprints;
mod gaze;
pub mod geometry;
pub mod handover;
pub mod instruments;
pub mod intake;
mod look;
pub mod montage;
pub mod orders;
pub mod picture;
pub mod reading;
pub mod sending;
pub mod serve;
mod station;
pub mod work;

pub use station::{Settings, Station};
