use super::{Folder, Input, MontageError, canvas, difference, draw, line, place};
use crate::reading::read_frames;
use bytes::Bytes;
use serde::{Deserialize, Serialize};
use serrata_assemble::{Hooks, METHOD};
use serrata_frame::Limits;
use serrata_words::{AssemblyLine, Gaze, Instrument, Modality, MosaicLine, Observation, Placement};
use sha2::{Digest, Sha256};
use std::path::{Path, PathBuf};

/// Longest side of the pictures that a server draws, pixels.
pub const CANVAS: u32 = 6000;

/// Most bytes of decoded pictures that are held to be drawn.
const HELD: usize = 2 << 30;

/// File that says what a folder holds.
const MARK: &str = "montage.json";

/// A kept frame that goes into a montage.
#[derive(Debug, Clone)]
pub struct Pick {
    /// The frame's id; its name in the assembly.
    pub id: i64,
    /// The original that it is in, and its index there.
    pub original: (String, usize),
    /// The file's name.
    pub name: String,
    /// Kind of picture.
    pub modality: Modality,
    /// The gaze that it was taken with.
    pub gaze: Gaze,
    /// The profile that its header names.
    pub instrument: Option<Instrument>,
    /// What was seen in it.
    pub observation: Observation,
    /// Whether it is of the earlier visit.
    pub earlier: bool,
}

/// A montage that is wanted.
#[derive(Debug, Clone)]
pub struct Wanted {
    /// Where it is kept.
    pub folder: PathBuf,
    /// Its frames.
    pub picks: Vec<Pick>,
}

impl Wanted {
    /// SHA-256 of everything that the result depends on, hex: originals, kinds, what was seen, method and size.
    ///
    /// # Errors
    /// Never in practice: where an observation cannot be written as JSON.
    pub fn key(&self) -> Result<String, serde_json::Error> {
        let mut hash = Sha256::new();
        hash.update(serde_json::to_vec(&(METHOD, serrata_appraise::METHOD, CANVAS))?);
        for p in &self.picks {
            let place = &p.observation.visible_retina.place;
            let one =
                (p.id, &p.original, p.modality, p.instrument.as_ref().map(|i| &i.name), place, p.earlier);
            hash.update(serde_json::to_vec(&one)?);
        }
        Ok(hex::encode(hash.finalize()))
    }
}

/// A montage as kept.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Made {
    /// What it was made of (see [`Wanted::key`]).
    pub key: String,
    /// Frames, poses and pictures.
    pub assembly: AssemblyLine,
    /// Ids of the frames that are of the earlier visit.
    pub earlier: Vec<i64>,
    /// The kinds that both visits have, with the file of their difference.
    pub differences: Vec<(Modality, String)>,
}

/// What stands in a montage's folder; none where nothing does, or what cannot be read any more.
#[must_use]
pub fn made(folder: &Path) -> Option<Made> {
    serde_json::from_slice(&std::fs::read(folder.join(MARK)).ok()?).ok()
}

/// Makes a montage: `original` gives a file's bytes. The folder appears whole or not at all.
///
/// # Errors
/// [`MontageError`]; what stood in the folder before stays.
pub fn make(
    wanted: &Wanted,
    original: impl Fn(&str) -> Result<Bytes, String>,
    hooks: &Hooks<'_>,
) -> Result<Made, MontageError> {
    let inputs = read(&wanted.picks, original, hooks)?;
    let assembly = place(&inputs, hooks);
    if hooks.cancelled() {
        return Err(MontageError::Stopped);
    }
    let placed = |i: usize| assembly.frames[i].status == Placement::Placed;
    let any_of = |earlier| (0..inputs.len()).any(|i| placed(i) && wanted.picks[i].earlier == earlier);
    let compared = wanted.picks.iter().any(|p| p.earlier);
    if compared && !(any_of(true) && any_of(false)) {
        return Err(MontageError::Apart);
    }
    let mut words = line(&inputs, &assembly);
    let canvas = canvas(&inputs, &assembly, CANVAS).ok_or(MontageError::Empty)?;
    if let Some(parent) = wanted.folder.parent() {
        std::fs::create_dir_all(parent).map_err(|e| {
            MontageError::file(parent, format!("the folder cannot be made ({e}); check the space"))
        })?;
    }
    let folder = Folder::begin(&wanted.folder, MARK)?;
    let drawn = |earlier: bool, prefix: &str| {
        let which = |i: usize| wanted.picks[i].earlier == earlier;
        draw(&inputs, &assembly, which, &canvas, prefix, folder.path(), hooks)
    };
    let later = drawn(false, if compared { "later-" } else { "mosaic-" })?;
    let before = if compared { drawn(true, "earlier-")? } else { Vec::new() };
    let differences = differences(&before, &later, folder.path())?;
    words.mosaics = before.into_iter().chain(later).collect();
    let made = Made {
        key: wanted.key().map_err(|e| MontageError::file(&wanted.folder, e.to_string()))?,
        assembly: words,
        earlier: wanted.picks.iter().filter(|p| p.earlier).map(|p| p.id).collect(),
        differences,
    };
    let text = serde_json::to_vec(&made).map_err(|e| MontageError::file(&wanted.folder, e.to_string()))?;
    std::fs::write(folder.path().join(MARK), text).map_err(|e| {
        MontageError::file(folder.path(), format!("cannot be written ({e}); check the space"))
    })?;
    folder.finish()?;
    Ok(made)
}

/// Difference pictures of the kinds that both visits have.
///
/// # Errors
/// [`MontageError::File`] where a picture cannot be read back or written.
pub fn differences(
    before: &[MosaicLine],
    after: &[MosaicLine],
    folder: &Path,
) -> Result<Vec<(Modality, String)>, MontageError> {
    let both = before.iter().filter_map(|b| Some((b, after.iter().find(|a| a.modality == b.modality)?)));
    both.map(|(b, a)| {
        let file = format!("difference-{}.png", b.modality);
        difference(&folder.join(&b.file), &folder.join(&a.file), &folder.join(&file))?;
        Ok((b.modality, file))
    })
    .collect()
}

fn read(
    picks: &[Pick],
    original: impl Fn(&str) -> Result<Bytes, String>,
    hooks: &Hooks<'_>,
) -> Result<Vec<Input>, MontageError> {
    let mut inputs: Vec<Input> = Vec::new();
    for pick in picks {
        if hooks.cancelled() {
            return Err(MontageError::Stopped);
        }
        let wrong = |what: String| MontageError::Frame { name: pick.name.clone(), what };
        let bytes = original(&pick.original.0).map_err(wrong)?;
        let frames =
            read_frames(&bytes, &Limits::default()).map_err(|e| wrong(format!("{e}; {}", e.remedy())))?;
        let frame = frames
            .into_iter()
            .nth(pick.original.1)
            .ok_or_else(|| wrong("the file holds fewer frames than it said; send it again".to_owned()))?;
        let seen = (pick.modality, pick.observation.clone());
        let called = (pick.name.clone(), pick.id.to_string());
        inputs.push(Input::new(called, frame, seen, pick.instrument.as_ref(), None, true));
        if inputs.iter().map(Input::held).sum::<usize>() > HELD {
            return Err(MontageError::TooMany { count: inputs.len(), gib: HELD >> 30 });
        }
    }
    if inputs.is_empty() { Err(MontageError::Empty) } else { Ok(inputs) }
}
