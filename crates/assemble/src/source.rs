use crate::Lens;
use serrata_frame::Frame;
use serrata_words::{Modality, Observation};

/// One frame as it goes into an assembly.
#[derive(Debug, Clone, Copy)]
pub struct Source<'a> {
    /// The picture.
    pub frame: &'a Frame,
    /// What was seen in it: the visible retina bounds where vessels are looked for.
    pub observation: Option<&'a Observation>,
    /// Kind of picture; without it dark or bright vessels are told by which stand out.
    pub modality: Option<Modality>,
    /// How its pixels lie on the sphere.
    pub lens: Lens,
}
