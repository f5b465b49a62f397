use crate::DecodeError;

/// Limits that are read from the header before memory is taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Limits {
    /// Most pixels of one frame.
    pub pixels: u64,
    /// Most frames of one file.
    pub frames: u64,
    /// Most bytes of one file.
    pub bytes: u64,
}

impl Default for Limits {
    /// 160 megapixels a frame (the largest montage is 8k × 8k = 64), 2,000 frames, 1 GiB a file: judgement.
    fn default() -> Self {
        Self { pixels: 160_000_000, frames: 2_000, bytes: 1 << 30 }
    }
}

impl Limits {
    /// Refuses a picture by its header.
    ///
    /// # Errors
    /// [`DecodeError::TooLarge`] above the limit, [`DecodeError::Broken`] where a side is zero.
    pub fn check(&self, width: u32, height: u32) -> Result<(), DecodeError> {
        if width == 0 || height == 0 {
            return Err(DecodeError::Broken {
                detail: format!("its header says {width} × {height} pixels")
            });
        }
        if u64::from(width) * u64::from(height) > self.pixels {
            return Err(DecodeError::TooLarge { width, height, most: self.pixels / 1_000_000 });
        }
        Ok(())
    }
}
