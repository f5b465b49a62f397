//! Montages: frames of one eye put on one sphere and drawn, what changed between two visits, and the folders that the
//! results are kept in. The command line and the API go the same way.
//!
//! * [`Input`]: one frame with what was seen in it; [`place`] puts them on one sphere, [`line()`] says it in words;
//! * [`draw`]: one picture a kind; [`difference`]: what brightened and darkened between two of them;
//! * [`growth`]: a marked area on two visits, and whether it grew;
//! * [`Folder`]: a folder that appears whole or not at all;
//! * [`make`]: a montage that a server makes and keeps.

mod difference;
mod draw;
mod error;
mod folder;
mod growth;
mod input;
mod make;
mod points;

pub use difference::difference;
pub use draw::{canvas, draw};
pub use error::MontageError;
pub use folder::Folder;
pub use growth::{Growth, Marked, growth};
pub use input::{Input, line, place};
pub use make::{CANVAS, Made, Pick, Wanted, differences, made, make};
pub use points::{carry, pose};
