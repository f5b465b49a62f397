//! A visit handed over as a package: originals as they came, what was seen and judged, what people did.
//!
//! * [`Contents`]: what goes in; [`pack`] writes it as a zip with its manifest;
//! * [`copy`]: a copy of an original that does not name the patient; [`writing_in_a_corner`]: what its header may not say;
//! * [`unpack`]: a zip to a folder; [`prove`]: a folder against its manifest, file by file.

mod contents;
mod copies;
mod corners;
mod derived;
mod pack;
mod prove;
mod secret;

pub use contents::{Contents, Entry};
pub use copies::copy;
pub use corners::writing_in_a_corner;
pub use derived::Derived;
pub use pack::pack;
pub use prove::{MANIFEST, Proof, prove, unpack};
pub use secret::house_secret;
