//! Originals: write-once files named by their SHA-256.

/// Where an original stands after [`crate::Store::put_original`].
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Original {
    /// SHA-256 of the bytes, hex.
    pub sha256: String,
    /// Size in bytes.
    pub size: u64,
    /// Whether it was there before.
    pub existed: bool,
}
