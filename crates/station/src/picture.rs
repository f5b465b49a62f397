//! Pictures for people: overlays as PNG, frames as small JPEG for the page.

use image::codecs::jpeg::JpegEncoder;
use serrata_frame::{Frame, Pixels, Samples};
use std::io::{Error, ErrorKind, Result, Write};
use std::path::Path;

/// Writes 8-bit pixels as PNG; the file appears whole or not at all.
///
/// # Errors
/// As the file system says; [`ErrorKind::InvalidInput`] for 16-bit pixels.
pub fn write_png(pixels: &Pixels, to: &Path) -> Result<()> {
    let Samples::U8(data) = pixels.samples() else {
        return Err(Error::new(ErrorKind::InvalidInput, "overlays have 8 bits"));
    };
    let kind =
        if pixels.channels() == 3 { image::ExtendedColorType::Rgb8 } else { image::ExtendedColorType::L8 };
    let mut png = Vec::new();
    image::codecs::png::PngEncoder::new(&mut png)
        .write_image(data, pixels.width(), pixels.height(), kind)
        .map_err(|e| Error::other(e.to_string()))?;
    write_whole(&png, to)
}

/// Writes a file that appears whole or not at all.
///
/// # Errors
/// As the file system says.
pub fn write_whole(bytes: &[u8], to: &Path) -> Result<()> {
    let half = to.with_extension("part");
    let written = std::fs::File::create(&half)
        .and_then(|mut f| f.write_all(bytes))
        .and_then(|()| std::fs::rename(&half, to));
    if written.is_err() {
        let _ = std::fs::remove_file(&half); // nothing half-written stays; the first error is the one to tell
    }
    written
}

use image::ImageEncoder;

/// A frame as JPEG whose longer side is at most `longest` pixels, with 16-bit pixels cut to 8.
///
/// # Errors
/// Where the encoder refuses.
pub fn jpeg(frame: &Frame, longest: u32) -> Result<Vec<u8>> {
    let small = frame.working(longest.max(16));
    let (w, h) = (small.channels[0].width, small.channels[0].height);
    let mut data = Vec::with_capacity(w * h * small.channels.len());
    for i in 0..w * h {
        for plane in &small.channels {
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // cut to 0..=255 before
            data.push((plane.data[i] * 255.0).round().clamp(0.0, 255.0) as u8);
        }
    }
    let kind =
        if small.channels.len() == 3 { image::ExtendedColorType::Rgb8 } else { image::ExtendedColorType::L8 };
    let (w, h) = (u32::try_from(w).map_err(Error::other)?, u32::try_from(h).map_err(Error::other)?);
    let mut out = Vec::new();
    JpegEncoder::new_with_quality(&mut out, 88)
        .write_image(&data, w, h, kind)
        .map_err(|e| Error::other(e.to_string()))?;
    Ok(out)
}
