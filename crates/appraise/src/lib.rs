//! What is in a frame's pixels.

mod contour;
mod filter;
mod mask;
mod observe;
mod radial;
mod scene;
mod visible;

pub use observe::{METHOD, observe};
