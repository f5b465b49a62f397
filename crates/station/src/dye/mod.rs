//! A dye run from pictures to words: the command line and the server go the same way.
//!
//! * [`Series`]: frames made small one by one, then read ([`Told`]);
//! * [`look`]: what a single frame says of dye;
//! * [`write()`]: words, curves and pictures of the phases as files;
//! * [`reading`]: readings that a server makes and keeps;
//! * [`brushed`]: a region as a person's brush leaves it; [`filled`]: which pixels lie in a region.

mod brush;
mod fill;
mod index;
pub mod reading;
mod series;
mod single;
mod written;

pub use brush::{Stroke, brushed};
pub use fill::filled;
pub use series::{Drawn, Series, Taken, Told, radius};
pub use single::look;
pub use written::{curves, write};
