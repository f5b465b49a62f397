//! Any bytes as a picture file: an answer or an error.
#![no_main]

use libfuzzer_sys::fuzz_target;
use serrata_frame::{Decode, Limits, Picture};

fuzz_target!(|bytes: &[u8]| {
    let limits = Limits { pixels: 1 << 22, frames: 64, bytes: 1 << 24 };
    if let Ok(frames) = Picture.decode(bytes, &limits) {
        let p = &frames[0].pixels;
        assert!(u64::from(p.width()) * u64::from(p.height()) <= limits.pixels);
    }
});
