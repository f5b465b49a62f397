use serrata_words::{Eye, Gaze, Instrument, Modality, Projection, Side, SlowAxis};

/// What goes wrong in a frame.
#[derive(Debug, Clone, PartialEq)]
pub enum Fault {
    /// The lid is down while these lines are swept: half-open, in pixels of the frame; rows, or columns where the
    /// instrument's slow axis is horizontal.
    Blink {
        /// Lines from..to.
        rows: [u32; 2],
    },
    /// A lid covers this share of the aperture.
    Lid {
        /// The side that it comes from.
        side: Side,
        /// Share of the aperture, 0 to 1.
        share: f64,
    },
    /// Lashes hang in from a side.
    Lash {
        /// The side that they come from.
        side: Side,
        /// How far they reach in, as a share of the picture's side.
        length: f64,
        /// How many.
        count: u32,
    },
    /// Out of focus.
    Blur {
        /// Standard deviation of a Gaussian in pixels of the instrument's full-size picture (scaled with the frame).
        sigma: f64,
    },
    /// Too dark.
    Underexposed {
        /// Factor on the signal, below 1.
        gain: f64,
    },
    /// Too bright.
    Overexposed {
        /// Factor on the signal, above 1.
        gain: f64,
    },
    /// The pupil is off the axis, so that one side is lost behind the iris.
    OffCentre {
        /// The side that is lost.
        side: Side,
        /// Share of the aperture, 0 to 1.
        share: f64,
    },
    /// The eye jumps when this line is swept.
    Motion {
        /// First line after the jump.
        row: u32,
        /// Jump to the right of the picture, degrees at the sphere's centre.
        shift_deg: f64,
    },
    /// A veil of scattered light.
    Haze {
        /// 0 to 1.
        strength: f64,
    },
}

/// One frame to be made.
#[derive(Debug, Clone, PartialEq)]
pub struct Scene {
    /// Seed of the patient: both eyes follow from it.
    pub seed: u64,
    /// Seed of this shot: small misalignment, lashes, noise.
    pub shot: u64,
    /// The eye.
    pub eye: Eye,
    /// Kind of picture.
    pub modality: Modality,
    /// Commanded gaze.
    pub gaze: Gaze,
    /// How far the gaze is turned when not straight ahead, eye angle in degrees.
    pub turn_deg: f64,
    /// Side of the picture in pixels, cut to 16..=8192; other sizes than the instrument's show the same field.
    pub size: u32,
    /// What goes wrong, beyond the everyday.
    pub faults: Vec<Fault>,
    /// Whether a few lashes and a corner of lid come in at the edge, as they do in most real pictures.
    pub everyday: bool,
    /// The eye on the label, or none.
    pub labelled: Option<Eye>,
    /// Seconds since the dye was injected (dye pictures only).
    pub dye_s: f64,
    /// The instrument.
    pub instrument: Instrument,
}

impl Scene {
    /// A full-size frame straight ahead without faults, through the main instrument, labelled right, 60 s after dye.
    #[must_use]
    pub fn new(seed: u64, eye: Eye, modality: Modality) -> Self {
        let instrument =
            crate::instruments().ok().and_then(|all| all.into_iter().next()).unwrap_or_else(plain);
        Self {
            seed,
            shot: 0,
            eye,
            modality,
            gaze: Gaze::Primary,
            turn_deg: serrata_eye::GAZE_DEG,
            size: instrument.width,
            faults: Vec::new(),
            everyday: true,
            labelled: Some(eye),
            dye_s: 60.0,
            instrument,
        }
    }
}

/// Stands in where the built-in profiles do not read (a test rules that out), so that making a scene cannot fail.
fn plain() -> Instrument {
    Instrument {
        name: "plain".to_owned(),
        source: "invented".to_owned(),
        width: 3600,
        height: 3600,
        projection: Projection::Stereographic,
        degrees_per_pixel: Some(0.074),
        slow_axis: SlowAxis::Down,
        sweep_s: 0.4,
        lasers: Vec::new(),
    }
}
