use serrata_assemble::{Assembly, Hooks, Lens, METHOD, Source, Vessels, assemble};
use serrata_eye::Stereographic;
use serrata_frame::{Frame, Samples};
use serrata_words::{AssembledFrame, AssemblyLine, Instrument, Modality, Observation, Placement};

/// One frame, read and looked at.
#[derive(Debug)]
pub struct Input {
    /// The file, as it is told.
    pub path: String,
    /// Its name within the assembly; no two are the same.
    pub name: String,
    /// Width and height in pixels.
    pub size: [u32; 2],
    /// The pixels, kept where a picture is drawn of them.
    pub frame: Option<Frame>,
    /// Kind of picture.
    pub modality: Modality,
    /// What was seen in it.
    pub observation: Observation,
    /// How its pixels lie on the sphere.
    pub lens: Lens,
    /// Its vessels as a field of directions.
    pub vessels: Vessels,
}

impl Input {
    /// A frame looked at: its vessels are sought inside of the visible retina that was observed.
    ///
    /// `degrees`: the centre pixel's view angle as a person gave it, else the header's, else the profile's counts; where
    /// nobody knows it a nominal lens stands in. `drawn`: the pixels are kept, since a picture is drawn of them.
    #[must_use]
    pub fn new(
        called: (String, String),
        frame: Frame,
        (modality, observation): (Modality, Observation),
        instrument: Option<&Instrument>,
        degrees: Option<f64>,
        drawn: bool,
    ) -> Self {
        let (w, h) = (frame.pixels.width(), frame.pixels.height());
        let told = degrees.map(|d| [d, d]).or(frame.facts.centre_view_angle_deg);
        let told = told.filter(|d| d.iter().all(|d| *d > 0.0 && d.is_finite()));
        let known = told.map(|deg_per_px| Stereographic { width: w, height: h, deg_per_px });
        let known = known.or_else(|| instrument.and_then(|i| Stereographic::of(i, w, h)));
        let lens = known.map_or_else(|| Lens::nominal(w, h), Lens::known);
        let source =
            Source { frame: &frame, observation: Some(&observation), modality: Some(modality), lens };
        let vessels = Vessels::of(&source);
        let frame = drawn.then_some(frame);
        let (path, name) = called;
        Self { path, name, size: [w, h], frame, modality, observation, lens, vessels }
    }

    /// Bytes that the kept pixels take.
    #[must_use]
    pub fn held(&self) -> usize {
        let Some(f) = &self.frame else { return 0 };
        let depth = if matches!(f.pixels.samples(), Samples::U16(_)) { 2 } else { 1 };
        f.pixels.width() as usize * f.pixels.height() as usize * usize::from(f.pixels.channels()) * depth
    }

    /// What is drawn of it; none where the pixels were not kept.
    #[must_use]
    pub fn source(&self) -> Option<Source<'_>> {
        let (observation, modality) = (Some(&self.observation), Some(self.modality));
        self.frame.as_ref().map(|frame| Source { frame, observation, modality, lens: self.lens })
    }
}

/// Places all frames on one sphere.
#[must_use]
pub fn place(all: &[Input], hooks: &Hooks<'_>) -> Assembly {
    let vessels: Vec<&Vessels> = all.iter().map(|i| &i.vessels).collect();
    assemble(&vessels, hooks)
}

/// The assembly as words (`serrata.assembly/1`), without pictures yet.
#[must_use]
pub fn line(all: &[Input], assembly: &Assembly) -> AssemblyLine {
    let frames: Vec<AssembledFrame> = all
        .iter()
        .zip(&assembly.frames)
        .map(|(i, p)| {
            let degrees = i.lens.projection.deg_per_px[0];
            AssembledFrame {
                path: i.path.clone(),
                name: i.name.clone(),
                modality: i.modality,
                width: i.size[0],
                height: i.size[1],
                status: p.status,
                reason: p.reason.map(str::to_owned),
                residual_deg: p.residual_px.map(|r| r.0 * degrees),
                residual_interval_deg: p.residual_px.map(|r| r.1.map(|v| v * degrees)),
                residual_px: p.residual_px.map(|r| r.0),
                rotation: p.pose.as_ref().map(serrata_assemble::Pose::quaternion),
                overlap: p.evidence.map(|e| e.overlap),
                agreeing: p.evidence.map(|e| e.agreeing),
                shape: p.pose.as_ref().map(serrata_assemble::Pose::shape),
            }
        })
        .collect();
    let placed = || all.iter().zip(&frames).filter(|(_, f)| f.status == Placement::Placed);
    AssemblyLine {
        schema: AssemblyLine::SCHEMA.to_owned(),
        method: METHOD,
        calibrated: placed().count() > 0 && placed().all(|(i, _)| i.lens.known),
        reference: assembly.reference.and_then(|r| all.get(r)).map(|i| i.name.clone()),
        frames,
        mosaics: Vec::new(),
    }
}
