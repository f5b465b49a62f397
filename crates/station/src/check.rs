//! From bytes to an answer: decode, observe, judge. The command line and the server go the same way.

use crate::{instruments, reading::read_frames};
use serrata_frame::{DecodeError, Frame, Limits, Pixels};
use serrata_visit::{Rules, advice_for, judge};
use serrata_words::appraisal::Source;
use serrata_words::{
    AppraisalLine, Eye, EyeState, Gaze, Instrument, Judgement, Milliseconds, Modality, Observation,
    VesselsLine, View,
};
use sha2::{Digest, Sha256};
use std::time::Instant;

/// What a person said of the pictures, where the files do not say it themselves; it wins over the files.
#[derive(Debug, Clone, Default)]
pub struct Asked {
    /// Labelled eye.
    pub eye: Option<Eye>,
    /// Kind of picture.
    pub modality: Option<Modality>,
    /// Commanded gaze.
    pub gaze: Option<Gaze>,
    /// Instrument profile.
    pub instrument: Option<Instrument>,
}

/// One checked frame.
#[derive(Debug)]
pub struct Checked {
    /// The answer.
    pub line: AppraisalLine,
    frame: Option<Frame>,
    observation: Observation,
    judgement: Judgement,
}

impl Checked {
    /// The picture with what was found drawn on it; none after [`Checked::release`].
    #[must_use]
    pub fn overlay(&self) -> Option<Pixels> {
        let frame = self.frame.as_ref()?;
        let name = self.line.path.rsplit('/').next().unwrap_or(&self.line.path);
        Some(serrata_appraise::overlay(frame, &self.observation, &self.judgement, name))
    }

    /// The vessel map at the working size, 255 where a vessel is plain; none after [`Checked::release`].
    #[must_use]
    pub fn vessels(&self) -> Option<Pixels> {
        Some(serrata_appraise::vessel_map(self.frame.as_ref()?, self.line.modality).picture())
    }

    /// The vessels as lines with their branchings, crossings and ends; none after [`Checked::release`].
    #[must_use]
    pub fn vessel_lines(&self) -> Option<VesselsLine> {
        let found = serrata_appraise::vessel_lines(self.frame.as_ref()?, self.line.modality);
        Some(VesselsLine {
            schema: "serrata.vessels/1".to_owned(),
            path: self.line.path.clone(),
            frame: self.line.frame,
            width: self.line.width,
            height: self.line.height,
            method: serrata_appraise::METHOD,
            lines: found.lines,
            nodes: found.nodes,
        })
    }

    /// Lets the pixels go, so that a long list of answers stays small.
    pub fn release(&mut self) {
        self.frame = None;
    }
}

/// What a frame is judged as: what a person said, else the label, else what the pixels look like.
#[derive(Debug, Clone)]
pub struct Labels {
    /// Labelled eye.
    pub eye: Option<Eye>,
    /// Kind of picture.
    pub modality: Modality,
    /// Gaze.
    pub gaze: Gaze,
    /// Instrument.
    pub instrument: Option<Instrument>,
}

impl Labels {
    /// Settles what a frame is judged as.
    #[must_use]
    pub fn of(frame: &Frame, asked: &Asked) -> Self {
        let facts = &frame.facts;
        let named = facts.instrument.as_deref();
        let instrument = asked
            .instrument
            .clone()
            .or_else(|| instruments::shipped().into_iter().find(|i| Some(i.name.as_str()) == named));
        Self {
            eye: asked.eye.or(facts.eye),
            modality: asked
                .modality
                .or(facts.modality)
                .unwrap_or_else(|| serrata_appraise::likely_modality(frame)),
            gaze: asked.gaze.or(facts.gaze).unwrap_or(Gaze::Primary),
            instrument,
        }
    }
}

/// Checks all frames of a file. `start` is when reading it began; decoding is counted from there.
///
/// # Errors
/// [`DecodeError`] where the bytes are no picture.
pub fn check_file(
    path: &str,
    bytes: &[u8],
    asked: &Asked,
    limits: &Limits,
    start: Instant,
) -> Result<Vec<Checked>, DecodeError> {
    let frames = read_frames(bytes, limits)?;
    #[allow(clippy::cast_precision_loss)] // a file has few frames
    let decode = start.elapsed().as_secs_f64() * 1000.0 / frames.len().max(1) as f64;
    let sha256 = hex::encode(Sha256::digest(bytes));
    let rules = Rules::default();
    Ok((0u32..)
        .zip(frames)
        .map(|(index, frame)| {
            let began = Instant::now();
            let labels = Labels::of(&frame, asked);
            let observation = serrata_appraise::observe(&frame, labels.modality, labels.instrument.as_ref());
            let observe = began.elapsed().as_secs_f64() * 1000.0;
            let view = View::default_of(labels.modality, labels.gaze);
            let judgement = judge(&observation, &view, labels.eye, &EyeState::default(), &[], &rules);
            let source = Source {
                path,
                frame: index,
                sha256: &sha256,
                labelled: labels.eye,
                instrument: labels.instrument.as_ref().map(|i| i.name.as_str()),
            };
            let mut line = AppraisalLine::new(&source, &view, &observation, &judgement, |f| {
                advice_for(f, &EyeState::default())
            });
            crate::area::fill(&mut line, &frame, labels.instrument.as_ref());
            crate::gaze::fill(&mut line, &frame.facts, labels.instrument.as_ref());
            line.milliseconds = Some(Milliseconds { decode, observe });
            Checked { line, frame: Some(frame), observation, judgement }
        })
        .collect())
}
