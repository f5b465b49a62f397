//! What is in a frame's pixels.

mod anatomy;
mod contour;
mod faults;
mod filter;
mod mask;
mod observe;
mod radial;
mod reach;
mod retina;
mod scene;
mod stamp;
mod visible;

pub use observe::{METHOD, observe};
