use crate::{Frame, Limits};

/// Reads bytes into frames. Implementations look at the content, never at the file's name.
pub trait Decode: Sync {
    /// Whether the first bytes look like something this reader knows.
    fn knows(&self, head: &[u8]) -> bool;

    /// Reads all frames.
    ///
    /// # Errors
    /// A [`DecodeError`] that says what is wrong and what to do.
    fn decode(&self, bytes: &[u8], limits: &Limits) -> Result<Vec<Frame>, DecodeError>;
}

/// Why bytes could not be read as a picture. Messages speak of "the file" so that the caller can put its name in
/// front.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum DecodeError {
    /// No bytes at all.
    #[error("the file is empty")]
    Empty,
    /// It ends too early.
    #[error("the file ends in the middle of the picture")]
    Truncated,
    /// Larger than the limits allow.
    #[error("the picture is {width} × {height} pixels, more than the {most} million that are allowed")]
    TooLarge {
        /// Width in pixels.
        width: u32,
        /// Height in pixels.
        height: u32,
        /// Limit in megapixels.
        most: u64,
    },
    /// More frames or bytes than the limits allow.
    #[error("the file holds {what}, more than allowed")]
    TooMuch {
        /// What there is too much of.
        what: String,
    },
    /// Several pictures in one file of a kind that should hold one.
    #[error("the file holds several pictures (an animation or pages), so it is not clear which one is meant")]
    Several,
    /// A kind of file that is not read.
    #[error("the file is {what}, which is not read")]
    Unsupported {
        /// What it is.
        what: String,
    },
    /// A DICOM object without pixel data.
    #[error("the DICOM object holds no picture ({what})")]
    NoPixels {
        /// What it is instead.
        what: String,
    },
    /// Damaged.
    #[error("the file is damaged: {detail}")]
    Broken {
        /// What the reader stumbled over.
        detail: String,
    },
}

impl DecodeError {
    /// A short stable word for scripts.
    #[must_use]
    pub const fn code(&self) -> &'static str {
        match self {
            Self::Empty => "empty",
            Self::Truncated => "truncated",
            Self::TooLarge { .. } => "too_large",
            Self::TooMuch { .. } => "too_much",
            Self::Several => "several_pictures",
            Self::Unsupported { .. } => "unsupported",
            Self::NoPixels { .. } => "no_pixels",
            Self::Broken { .. } => "broken",
        }
    }

    /// What a person can do about it.
    #[must_use]
    pub const fn remedy(&self) -> &'static str {
        match self {
            Self::Empty | Self::Truncated => "Copy or export it again from the instrument",
            Self::TooLarge { .. } => "Export the single frame in its original size",
            Self::TooMuch { .. } => "Export fewer frames into one file",
            Self::Several => "Export the frame you want as a file of its own",
            Self::Unsupported { .. } => "Export it as JPEG, PNG, TIFF, BMP or DICOM",
            Self::NoPixels { .. } => "Send the image object instead",
            Self::Broken { .. } => "Export it again from the instrument; if that fails too, tell the maker",
        }
    }
}
