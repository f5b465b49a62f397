//! Frames of one eye, of any kinds and gazes, on one sphere: matched, posed, refused where they do not fit, drawn as one
//! picture.
//!
//! * [`Vessels`]: the vessels of a frame as a field of directions, dark or bright, so that colour and dye pictures look
//!   alike; made from a [`Source`];
//! * [`pair`]: where a second frame lies, found by correlating whole fields over turns and shifts, then small squares at
//!   three sizes; a [`Pose`] is rotation first, then affine, quadratic, cubic distortion as far as a criterion asks for
//!   it, then a smooth local correction where it predicts better than none;
//! * [`assemble`]: many frames; all poses adjusted together, frames of another eye refused;
//! * [`Canvas`], [`Part`]: the picture, drawn strip by strip with coverage and the source of each pixel.
//!
//! Where the projection is not known a nominal one stands in ([`Lens::nominal`]): degrees are then nominal and there is
//! no mm. Not here: files, and what an area means.

mod assembly;
mod coarse;
mod field;
mod filter;
mod fit;
mod hooks;
mod lens;
mod mosaic;
mod pair;
mod patches;
mod pose;
mod raster;
mod shape;
mod solve;
mod source;
mod sway;
mod warp;

pub use assembly::{Assembly, METHOD, Placed, assemble};
pub use hooks::Hooks;
pub use lens::Lens;
pub use mosaic::{Canvas, Part, Strip};
pub use pair::{Evidence, Match, Vessels, near, pair};
pub use pose::Pose;
pub use source::Source;
