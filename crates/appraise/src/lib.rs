//! What is in a frame's pixels.

mod anatomy;
mod contour;
mod faults;
mod filter;
mod mask;
mod modality;
mod observe;
mod overlay;
mod radial;
mod reach;
mod retina;
mod scene;
mod stamp;
mod visible;

pub use modality::likely_modality;
pub use observe::{METHOD, observe};
pub use overlay::overlay;
