//! A visit handed over as a package: originals as they came, what was seen and judged, what people did.
//!
//! * [`Contents`]: what goes in; [`pack`] writes it as a zip with its manifest;
//! * [`unpack`]: a zip to a folder; [`prove`]: a folder against its manifest, file by file.

mod contents;
mod pack;
mod prove;

pub use contents::{Contents, Entry, README};
pub use pack::pack;
pub use prove::{MANIFEST, Proof, prove, unpack};
