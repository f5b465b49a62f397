use crate::circulation::Circulation;
use crate::covers::Covers;
use crate::optics::Optics;
use crate::paint::Painter;
use crate::scene::{Fault, Scene};
use crate::{Eyeball, raw, sensor, truth};
use serrata_frame::{Coverage, Frame, Pixels, Samples};
use serrata_words::{AcquisitionFacts, FrameTruth, Modality};

/// A frame with its truth.
#[derive(Debug, Clone)]
pub struct Rendered {
    /// The picture: colour has three channels of which blue is empty, all other kinds are grey; 8 bit.
    pub frame: Frame,
    /// What it really shows.
    pub truth: FrameTruth,
}

/// Grows the scene's eye and looks at it. For several frames of one eye grow an [`Eyeball`] once.
#[must_use]
pub fn render(scene: &Scene) -> Rendered {
    Eyeball::grow(scene.seed, scene.eye).render(scene)
}

impl Eyeball {
    /// Looks at this eye. The scene's `seed` and `eye` are taken from the eye, whatever the scene says.
    #[must_use]
    pub fn render(&self, scene: &Scene) -> Rendered {
        let circulation = scene.modality.is_dye().then(|| Circulation::new(self, scene.course));
        self.render_in(scene, circulation.as_ref())
    }

    /// Looks at this eye, with the course of its dye made before.
    pub(crate) fn render_in(&self, scene: &Scene, circulation: Option<&Circulation>) -> Rendered {
        let scene = &Scene { seed: self.seed, eye: self.eye, ..scene.clone() };
        let optics = Optics::new(scene);
        let covers = Covers::new(scene, &optics);
        let empty = scene.faults.contains(&Fault::NoRetina);
        let moment = circulation.map(|c| c.at(scene.dye_s, scene.modality == Modality::Icg));
        let painter = Painter::new(self, scene, &optics, moment.as_ref());
        let mut light = if empty { painter.dark() } else { painter.paint() };
        sensor::spread(&mut light, scene, &optics, &covers, self.media);
        let samples = sensor::expose(&light, scene, &optics, &covers);
        let channels = if light.channels.len() == 2 { 3 } else { 1 };
        #[allow(clippy::expect_used)] // the sensor fills width × height × channels by construction
        let pixels = Pixels::new(optics.size, optics.height, channels, Samples::U8(samples.into()))
            .expect("as many samples as the picture has");
        let facts = AcquisitionFacts {
            eye: scene.labelled,
            modality: scene.labelled_modality,
            gaze: Some(scene.gaze),
            instrument: Some(scene.instrument.name.clone()),
            // Only a stereographic picture is described by it.
            centre_view_angle_deg: (!optics.view.even).then_some(optics.view.picture.deg_per_px),
            axial_length_mm: Some((self.axial_length_mm, "MEASURED".to_owned())),
            note: (channels == 3).then(|| "two lasers, red and green: blue is empty".to_owned()),
            ..AcquisitionFacts::default()
        };
        let frame = Frame { coverage: Coverage::full(optics.size, optics.height), pixels, facts };
        let made = Rendered { frame, truth: truth::of(self, scene, &optics, &covers, circulation) };
        if scene.raw { raw::stretch(made) } else { made }
    }
}
