//! A picture together with its coverage and its acquisition facts.
//!
//! Picture and coverage always travel together: a pixel that was never seen is *uncovered*, not zero.
//! Pixels keep the depth they came in (8 or 16 bit) behind an [`std::sync::Arc`]; float is for small working planes.
//!
//! * [`Frame`]: one picture;
//! * [`Decode`]: what reads bytes into frames; [`Picture`] reads JPEG, PNG, TIFF and BMP (DICOM is in its own crate);
//! * [`Plane`]: a small float working plane, with [`Frame::working`] as the way to it;
//! * [`remap`]: a frame on another grid, picture and coverage together.
//!
//! Not here: what the pixels mean.

mod coverage;
mod decode;
mod frame;
mod limits;
mod picture;
mod pixels;
mod plane;
mod remap;
#[doc(hidden)]
pub mod with_avx2;

pub use coverage::Coverage;
pub use decode::{Decode, DecodeError};
pub use frame::{Frame, TakeRow, Working};
pub use limits::Limits;
pub use picture::Picture;
pub use pixels::{Pixels, PixelsError, Samples};
pub use plane::Plane;
pub use remap::remap;
