//! What is in a frame's pixels: visible retina, faults, optic disc and fovea, which eye it is, sharpness.
//!
//! [`observe`] looks at one frame and gives a [`serrata_words::Observation`], which knows no order and no history;
//! [`likely_modality`] says what kind of picture it seems to be; [`overlay`] draws what was seen, for people.
//!
//! Everything works on a plane of at most 860 pixels along the longer side, where a second-order vessel is still two
//! pixels wide; sharpness alone is measured on the frame's own pixels. Lengths are shares of the picture or disc
//! radii, so that a frame and its enlargement are seen alike. The numbers that decide were found on 18 real frames of
//! seven eyes and 36 graded pictures made from them: stated beside each, and no validation.
//!
//! Not here: what an observation means for an order (that is judging), and where on the sphere of the eye things lie.

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
mod vessel_kind;
mod vessel_light;
mod vessel_lines;
mod vessel_map;
mod visible;

pub use contour::outline_of;
pub use modality::likely_modality;
pub use observe::{METHOD, observe, observe_steps};
pub use overlay::overlay;
pub use vessel_light::{VesselLight, vessel_light};
pub use vessel_lines::{VesselLines, vessel_lines};
pub use vessel_map::{VesselMap, vessel_map};
