//! A fence around foreign decoders.

use serrata_frame::DecodeError;
use std::panic::{AssertUnwindSafe, catch_unwind};

/// Runs a decoder of another crate. These state no promise never to panic, and what they are given comes from
/// outside, so that a panic in one becomes an error about the file.
pub(super) fn fenced<T>(
    name: &str,
    decode: impl FnOnce() -> Result<T, DecodeError>,
) -> Result<T, DecodeError> {
    // Nothing that the closure touches is used after a panic: it owns its decoder, and its input is read only.
    catch_unwind(AssertUnwindSafe(decode)).unwrap_or_else(|_| {
        Err(DecodeError::Broken { detail: format!("its {name} picture cannot be decoded") })
    })
}
