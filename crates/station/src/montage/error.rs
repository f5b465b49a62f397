use std::path::PathBuf;

/// Why a montage, a comparison or a growth cannot be had: one sentence with its remedy.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum MontageError {
    /// A file or folder that cannot be used.
    #[error("{}: {what}", path.display())]
    File {
        /// Which.
        path: PathBuf,
        /// What is wrong, and what to do.
        what: String,
    },
    /// No frame of the eye that can be read.
    #[error("there is no frame to put together; take one first")]
    Empty,
    /// The decoded pictures would not fit into the memory that is held for them.
    #[error(
        "{count} pictures fill more than the {gib} GiB that are held for drawing; name fewer, or draw nothing"
    )]
    TooMany {
        /// How many there are.
        count: usize,
        /// What is held.
        gib: usize,
    },
    /// Two visits whose frames do not lie on one sphere.
    #[error(
        "the frames of the two visits do not fit together, so nothing is compared; check that they are of one eye"
    )]
    Apart,
    /// An outline that cannot be measured.
    #[error("\"{outline}\": {what}")]
    Outline {
        /// As it was given.
        outline: String,
        /// What is wrong, and what to do.
        what: String,
    },
    /// A frame whose points cannot be carried over.
    #[error("{name}: {what}")]
    Frame {
        /// The frame's name.
        name: String,
        /// Why.
        what: String,
    },
    /// Stopped by a person or by the server's end.
    #[error("it was stopped; make it again")]
    Stopped,
}

impl MontageError {
    pub(crate) fn file(path: &std::path::Path, what: impl Into<String>) -> Self {
        Self::File { path: path.to_path_buf(), what: what.into() }
    }
}
