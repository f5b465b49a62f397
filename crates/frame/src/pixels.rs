use std::sync::Arc;

/// Samples in native depth, interleaved by pixel, rows from top to bottom.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Samples {
    /// 8 bit.
    U8(Arc<Vec<u8>>),
    /// 16 bit, full range (stored values of fewer bits are scaled up by the reader).
    U16(Arc<Vec<u16>>),
}

/// A grid of pixels with 1 (grey) or 3 (red, green, blue) channels.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Pixels {
    width: u32,
    height: u32,
    channels: u8,
    samples: Samples,
}

/// Samples that do not fit their grid.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("{samples} samples do not fill {width} × {height} pixels of {channels} channels")]
pub struct PixelsError {
    width: u32,
    height: u32,
    channels: u8,
    samples: usize,
}

impl Pixels {
    /// A grid from interleaved samples.
    ///
    /// # Errors
    /// Where the count does not match, a side is zero, or there are neither 1 nor 3 channels.
    pub fn new(width: u32, height: u32, channels: u8, samples: Samples) -> Result<Self, PixelsError> {
        let n = match &samples {
            Samples::U8(v) => v.len(),
            Samples::U16(v) => v.len(),
        };
        let want = u64::from(width) * u64::from(height) * u64::from(channels);
        if want == 0 || want != n as u64 || !matches!(channels, 1 | 3) {
            return Err(PixelsError { width, height, channels, samples: n });
        }
        Ok(Self { width, height, channels, samples })
    }

    /// Width in pixels.
    #[must_use]
    pub const fn width(&self) -> u32 {
        self.width
    }

    /// Height in pixels.
    #[must_use]
    pub const fn height(&self) -> u32 {
        self.height
    }

    /// 1 (grey) or 3 (red, green, blue).
    #[must_use]
    pub const fn channels(&self) -> u8 {
        self.channels
    }

    /// The samples.
    #[must_use]
    pub const fn samples(&self) -> &Samples {
        &self.samples
    }

    /// One sample as 0 to 1. Outside the grid the nearest pixel is taken.
    #[must_use]
    pub fn at(&self, x: u32, y: u32, channel: u8) -> f32 {
        let (x, y, c) = (x.min(self.width - 1), y.min(self.height - 1), channel.min(self.channels - 1));
        let i = (y as usize * self.width as usize + x as usize) * self.channels as usize + c as usize;
        match &self.samples {
            Samples::U8(v) => f32::from(v[i]) / 255.0,
            Samples::U16(v) => f32::from(v[i]) / 65535.0,
        }
    }
}
