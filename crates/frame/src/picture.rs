use crate::{Coverage, Decode, DecodeError, Frame, Limits, Pixels, Samples};
use image::metadata::Orientation;
use image::{DynamicImage, ImageDecoder, ImageError, ImageFormat, ImageReader};
use serrata_words::AcquisitionFacts;
use std::io::Cursor;

/// Reads JPEG (also progressive, CMYK and turned by EXIF), PNG, TIFF (8 and 16 bit) and BMP.
///
/// Pixels that a PNG or TIFF marks as wholly transparent are uncovered. Colour profiles are not applied.
#[derive(Debug, Clone, Copy, Default)]
pub struct Picture;

impl Decode for Picture {
    fn knows(&self, head: &[u8]) -> bool {
        format(head).is_some()
    }

    fn decode(&self, bytes: &[u8], limits: &Limits) -> Result<Vec<Frame>, DecodeError> {
        if bytes.is_empty() {
            return Err(DecodeError::Empty);
        }
        if bytes.len() as u64 > limits.bytes {
            return Err(DecodeError::TooMuch { what: format!("{} MB", bytes.len() / 1_000_000) });
        }
        let format =
            format(bytes).ok_or_else(|| DecodeError::Unsupported { what: foreign(bytes).to_owned() })?;
        check_single(bytes, format)?;
        let mut decoder = {
            let mut reader = ImageReader::with_format(Cursor::new(bytes), format);
            let mut own = image::Limits::default();
            own.max_alloc = Some(limits.pixels.saturating_mul(8));
            reader.limits(own);
            reader.into_decoder().map_err(broken)?
        };
        let (w, h) = decoder.dimensions();
        limits.check(w, h)?;
        let turn = decoder.orientation().map_err(broken)?;
        let mut picture = DynamicImage::from_decoder(decoder).map_err(broken)?;
        picture.apply_orientation(turn);
        Ok(vec![frame(picture)?])
    }
}

impl Picture {
    /// Width and height by the header alone, as the decoded frame will have them (turned by EXIF); none where the
    /// header cannot be read.
    #[must_use]
    pub fn size(bytes: &[u8]) -> Option<(u32, u32)> {
        let mut decoder = ImageReader::with_format(Cursor::new(bytes), format(bytes)?).into_decoder().ok()?;
        let (w, h) = decoder.dimensions();
        let turned = decoder.orientation().is_ok_and(|o| {
            matches!(
                o,
                Orientation::Rotate90
                    | Orientation::Rotate270
                    | Orientation::Rotate90FlipH
                    | Orientation::Rotate270FlipH
            )
        });
        Some(if turned { (h, w) } else { (w, h) })
    }
}

/// The format by its first bytes, among those that are read.
fn format(head: &[u8]) -> Option<ImageFormat> {
    match head {
        [0xFF, 0xD8, 0xFF, ..] => Some(ImageFormat::Jpeg),
        [0x89, b'P', b'N', b'G', ..] => Some(ImageFormat::Png),
        [b'I', b'I', 42, 0, ..] | [b'M', b'M', 0, 42, ..] => Some(ImageFormat::Tiff),
        [b'B', b'M', ..] if head.len() > 26 => Some(ImageFormat::Bmp),
        _ => None,
    }
}

/// What a file that is not read seems to be.
fn foreign(head: &[u8]) -> &'static str {
    match head {
        [b'G', b'I', b'F', b'8', ..] => "a GIF",
        [b'R', b'I', b'F', b'F', _, _, _, _, b'W', b'E', b'B', b'P', ..] => "a WebP picture",
        [b'%', b'P', b'D', b'F', ..] => "a PDF",
        [b'P', b'K', 3, 4, ..] => "a ZIP archive",
        [_, _, _, _, b'f', b't', b'y', b'p', ..] => "a HEIC, AVIF or video file",
        _ => "of an unknown kind",
    }
}

/// Refuses animations, several pages, and JPEG files that end too early, by looking at markers only.
fn check_single(bytes: &[u8], format: ImageFormat) -> Result<(), DecodeError> {
    match format {
        ImageFormat::Jpeg if !jpeg_is_whole(bytes) => Err(DecodeError::Truncated),
        ImageFormat::Png if png_is_animated(bytes) => Err(DecodeError::Several),
        ImageFormat::Tiff if tiff_pages(bytes) > 1 => Err(DecodeError::Several),
        _ => Ok(()),
    }
}

/// Whether an end marker follows the first scan. Inside a scan 0xFF is always stuffed, so FF D9 is the end.
fn jpeg_is_whole(bytes: &[u8]) -> bool {
    let mut at = 2;
    while let Some(&[marker, kind, high, low]) =
        bytes.get(at..at + 4).and_then(|s| <&[u8; 4]>::try_from(s).ok())
    {
        if marker != 0xFF {
            return true; // let the decoder say what is wrong
        }
        if kind == 0xFF {
            at += 1;
            continue;
        }
        if kind == 0xDA {
            return bytes[at..].windows(2).rev().any(|w| w == [0xFF, 0xD9]);
        }
        at += 2 + (usize::from(high) << 8 | usize::from(low)).max(2);
    }
    false
}

/// Whether an animation control chunk stands before the first data chunk.
fn png_is_animated(bytes: &[u8]) -> bool {
    let mut at = 8usize;
    while let Some(head) = bytes.get(at..at + 8) {
        match &head[4..8] {
            b"acTL" => return true,
            b"IDAT" => return false,
            _ => {}
        }
        let length = u32::from_be_bytes([head[0], head[1], head[2], head[3]]) as usize;
        let Some(next) = at.checked_add(12).and_then(|a| a.checked_add(length)) else { return false };
        at = next;
    }
    false
}

/// How many pages a TIFF has, counted to 2 at most.
fn tiff_pages(bytes: &[u8]) -> usize {
    let little = bytes.first() == Some(&b'I');
    let word = |at: usize| {
        let b: [u8; 4] = bytes.get(at..at.checked_add(4)?)?.try_into().ok()?;
        Some(if little { u32::from_le_bytes(b) } else { u32::from_be_bytes(b) } as usize)
    };
    let short = |at: usize| {
        let b: [u8; 2] = bytes.get(at..at.checked_add(2)?)?.try_into().ok()?;
        Some(if little { u16::from_le_bytes(b) } else { u16::from_be_bytes(b) } as usize)
    };
    let next = word(4).and_then(|ifd| word(ifd.checked_add(2 + 12 * short(ifd)?)?));
    match next {
        Some(0) | None => 1,
        Some(_) => 2,
    }
}

fn broken(e: ImageError) -> DecodeError {
    let text = e.to_string();
    match e {
        ImageError::Unsupported(_) => DecodeError::Unsupported { what: format!("of a kind with {text}") },
        ImageError::IoError(io) if io.kind() == std::io::ErrorKind::UnexpectedEof => DecodeError::Truncated,
        _ if text.contains("end of file")
            || text.contains("unexpected EOF")
            || text.contains("Exhausted") =>
        {
            DecodeError::Truncated
        }
        _ => DecodeError::Broken { detail: text },
    }
}

/// Turns what the decoder gave into a frame, without changing its depth.
fn frame(picture: DynamicImage) -> Result<Frame, DecodeError> {
    let (w, h) = (picture.width(), picture.height());
    let mut clear: Option<Coverage> = None;
    let (channels, samples) = match picture {
        DynamicImage::ImageLuma8(b) => (1, Samples::U8(b.into_raw().into())),
        DynamicImage::ImageRgb8(b) => (3, Samples::U8(b.into_raw().into())),
        DynamicImage::ImageLuma16(b) => (1, Samples::U16(b.into_raw().into())),
        DynamicImage::ImageRgb16(b) => (3, Samples::U16(b.into_raw().into())),
        DynamicImage::ImageLumaA8(b) => {
            clear = Some(Coverage::from_fn(w, h, |x, y| b.get_pixel(x, y).0[1] > 0));
            (1, Samples::U8(DynamicImage::ImageLumaA8(b).into_luma8().into_raw().into()))
        }
        DynamicImage::ImageRgba8(b) => {
            clear = Some(Coverage::from_fn(w, h, |x, y| b.get_pixel(x, y).0[3] > 0));
            (3, Samples::U8(DynamicImage::ImageRgba8(b).into_rgb8().into_raw().into()))
        }
        DynamicImage::ImageLumaA16(b) => {
            clear = Some(Coverage::from_fn(w, h, |x, y| b.get_pixel(x, y).0[1] > 0));
            (1, Samples::U16(DynamicImage::ImageLumaA16(b).into_luma16().into_raw().into()))
        }
        DynamicImage::ImageRgba16(b) => {
            clear = Some(Coverage::from_fn(w, h, |x, y| b.get_pixel(x, y).0[3] > 0));
            (3, Samples::U16(DynamicImage::ImageRgba16(b).into_rgb16().into_raw().into()))
        }
        other => {
            return Err(DecodeError::Unsupported {
                what: format!("a picture of {:?} pixels", other.color()),
            });
        }
    };
    let pixels =
        Pixels::new(w, h, channels, samples).map_err(|e| DecodeError::Broken { detail: e.to_string() })?;
    Ok(Frame {
        pixels,
        coverage: clear.unwrap_or_else(|| Coverage::full(w, h)),
        facts: AcquisitionFacts::default(),
    })
}
