//! Readings of dye runs that a server makes and keeps: one folder an eye and a dye.

use super::{Series, Taken, radius, write};
use crate::reading::read_frames;
use bytes::Bytes;
use serde::{Deserialize, Serialize};
use serrata_assemble::Hooks;
use serrata_frame::Limits;
use serrata_words::{DyeLine, Eye, Instrument, Modality};
use sha2::{Digest, Sha256};
use std::path::{Path, PathBuf};

use crate::montage::Folder;

/// File that says what a folder holds.
const MARK: &str = "reading.json";

/// A kept frame of a run.
#[derive(Debug, Clone)]
pub struct RunFrame {
    /// The frame's id; its name in the reading.
    pub id: i64,
    /// The original that it is in, and its index there.
    pub original: (String, usize),
    /// Seconds since the injection, by the station's clock.
    pub seconds: Option<f64>,
    /// The profile that its header names.
    pub instrument: Option<Instrument>,
}

/// A reading that is wanted.
#[derive(Debug, Clone)]
pub struct Wanted {
    /// Where it is kept.
    pub folder: PathBuf,
    /// Whose frames.
    pub eye: Eye,
    /// Of which dye.
    pub modality: Modality,
    /// Its frames.
    pub frames: Vec<RunFrame>,
    /// Axial length, mm, where measured.
    pub axial_length_mm: Option<f64>,
}

impl Wanted {
    /// SHA-256 of everything that the result depends on, hex.
    ///
    /// # Errors
    /// Never in practice: where the numbers cannot be written as JSON.
    pub fn key(&self) -> Result<String, serde_json::Error> {
        let mut hash = Sha256::new();
        let methods = (serrata_dye::METHOD, serrata_appraise::METHOD);
        hash.update(serde_json::to_vec(&(methods, self.eye, self.modality, self.axial_length_mm))?);
        for f in &self.frames {
            let name = f.instrument.as_ref().map(|i| &i.name);
            hash.update(serde_json::to_vec(&(f.id, &f.original, f.seconds, name))?);
        }
        Ok(hex::encode(hash.finalize()))
    }
}

/// A reading as kept.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Kept {
    /// What it was made of (see [`Wanted::key`]).
    pub key: String,
    /// The reading; frames are named by their ids.
    pub line: DyeLine,
    /// Width and height of the reference frame, pixels: outlines are in them.
    pub size: [u32; 2],
}

/// What stands in a reading's folder; none where nothing does, or what cannot be read any more.
#[must_use]
pub fn kept(folder: &Path) -> Option<Kept> {
    serde_json::from_slice(&std::fs::read(folder.join(MARK)).ok()?).ok()
}

/// Why a reading cannot be had: one sentence with its remedy.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ReadingError {
    /// A frame that cannot be read.
    #[error("frame {id}: {what}")]
    Frame {
        /// The frame.
        id: i64,
        /// What is wrong, and what to do.
        what: String,
    },
    /// Nothing to read.
    #[error("there is no frame of this dye to read; take one first")]
    Empty,
    /// The folder cannot be written.
    #[error("{0}")]
    Folder(String),
    /// Stopped by the server's end.
    #[error("it was stopped; read the run again")]
    Stopped,
}

/// Reads a run: `original` gives a file's bytes. The folder appears whole or not at all; what stood there before stays where it
/// fails.
///
/// # Errors
/// [`ReadingError`].
pub fn read(
    wanted: &Wanted,
    original: impl Fn(&str) -> Result<Bytes, String>,
    hooks: &Hooks<'_>,
) -> Result<(), ReadingError> {
    let mut series = Series::default();
    let mut sizes = Vec::new();
    for (k, f) in wanted.frames.iter().enumerate() {
        if hooks.cancelled() {
            return Err(ReadingError::Stopped);
        }
        let wrong = |what: String| ReadingError::Frame { id: f.id, what };
        let bytes = original(&f.original.0).map_err(wrong)?;
        let frames =
            read_frames(&bytes, &Limits::default()).map_err(|e| wrong(format!("{e}; {}", e.remedy())))?;
        let frame = frames
            .get(f.original.1)
            .ok_or_else(|| wrong("the file holds fewer frames than it said; send it again".to_owned()))?;
        let taken = Taken {
            modality: wanted.modality,
            eye: Some(wanted.eye),
            seconds: f.seconds,
            instrument: f.instrument.as_ref(),
            degrees: None,
        };
        series.add(f.id.to_string(), frame, taken).map_err(|e| wrong(e.to_string()))?;
        sizes.push((f.id.to_string(), [frame.pixels.width(), frame.pixels.height()]));
        if let Some(tell) = hooks.progress {
            tell(k + 1, wanted.frames.len());
        }
    }
    let folder = |e: &dyn std::fmt::Display| ReadingError::Folder(format!("{e}; check the space"));
    let radius = radius(wanted.axial_length_mm).map_err(|e| folder(&e))?;
    let told = series.read(wanted.modality, radius, &[]).ok_or(ReadingError::Empty)?;
    let size = sizes.iter().find(|(name, _)| Some(name) == told.line.reference.as_ref());
    let kept = Kept {
        key: wanted.key().map_err(|e| folder(&e))?,
        line: told.line.clone(),
        size: size.map_or([0, 0], |s| s.1),
    };
    if let Some(parent) = wanted.folder.parent() {
        std::fs::create_dir_all(parent).map_err(|e| folder(&e))?;
    }
    let place = Folder::begin(&wanted.folder, MARK).map_err(|e| folder(&e))?;
    write(place.path(), &[told]).map_err(|e| folder(&e))?;
    let text = serde_json::to_vec(&kept).map_err(|e| folder(&e))?;
    std::fs::write(place.path().join(MARK), text).map_err(|e| folder(&e))?;
    place.finish().map_err(|e| folder(&e))
}
