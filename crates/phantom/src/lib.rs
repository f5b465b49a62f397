//! A simulated eye and scanner: pictures of a retina that nobody has, with the truth about each of them.
//!
//! [`Eyeball::grow`] makes an eye out of a seed: a sphere of some axial length with disc, fovea, arteries and veins,
//! choroidal vessels with their vortex ampullae, and pigment. [`Eyeball::render`] looks at it through an invented
//! instrument ([`instruments()`]), ahead or with the gaze turned, as one kind of picture, with faults where asked, and
//! returns the frame together with its [`serrata_words::FrameTruth`].
//!
//! Everything is invented or drawn from published distributions, named where they are used; a picture depends on its
//! [`Scene`] alone, not on the number of threads. It serves as ground truth for geometry, coverage, faults and dye,
//! and as the demo's clinic day. How near it comes to real pictures, and where it does not, is measured in
//! `docs/phantom.md`; nothing should be tuned on it alone.
//!
//! ```
//! use serrata_phantom::{render, Fault, Scene};
//! use serrata_words::{Eye, FindingKind, Modality};
//! let mut scene = Scene::new(7, Eye::R, Modality::Colour);
//! scene.size = 240;
//! scene.faults.push(Fault::Blink { rows: [100, 130] });
//! let made = render(&scene);
//! assert_eq!((made.frame.pixels.width(), made.frame.pixels.channels()), (240, 3));
//! assert!(made.truth.findings.iter().any(|f| f.kind == FindingKind::Blink && f.rows == Some([100, 130])));
//! ```

mod aperture;
mod blood;
mod canvas;
mod choroid;
mod circulation;
mod contour;
mod covers;
mod dirt;
mod dye_run;
mod eyeball;
mod health;
mod instruments;
mod lashes;
mod marks;
mod masks;
mod noise;
mod optics;
mod paint;
mod params;
mod raw;
mod render;
mod scene;
mod sensor;
mod setup;
mod sight;
mod surround;
mod tissue;
mod track;
mod truth;
mod vessels;
mod view;

pub use circulation::Course;
pub use dye_run::DyeRun;
pub use eyeball::Eyeball;
pub use health::{Condition, Health};
pub use instruments::{InstrumentError, instruments};
pub use masks::Mask;
pub use params::ParamError;
pub use render::{Rendered, render};
pub use scene::{Fault, Scene};
pub use setup::Setup;
pub use sight::Sight;
