use crate::circulation::Course;
use crate::setup::Setup;
use serrata_words::{Eye, Gaze, Instrument, Modality, Projection, Side, SlowAxis};

/// What goes wrong in a frame.
#[derive(Debug, Clone, PartialEq)]
pub enum Fault {
    /// The lid is down while these lines are swept: half-open, in pixels of the frame; rows, or columns where the
    /// instrument's slow axis is horizontal. The lid's margin is an arch, so that the sides are covered some lines
    /// sooner and longer than the middle: the lines are those of which at least half of the picture's width is
    /// covered, and the finding's rows and times in the truth are the same.
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
    /// The eye is too near: both lids, their lashes and the iris at the ends come in (common practice, no source).
    TooClose {
        /// 0 to 1: at 1 half of the aperture is lost.
        strength: f64,
    },
    /// The eye is too far: the iris, out of focus, closes the field from all round (common practice, no source).
    TooFar {
        /// 0 to 1: at 1 half of the aperture is lost.
        strength: f64,
    },
    /// The iris throws a soft shadow from a side; the retina still shows through.
    IrisShadow {
        /// The side that it comes from.
        side: Side,
        /// Share of the aperture, 0 to 1.
        share: f64,
    },
    /// The instrument's own light comes back from cornea, lens or a contact lens: a burnt-out spot with its ghost. Pictures of
    /// what glows (autofluorescence, dyes) show none: their barrier filter holds that light back.
    Reflex {
        /// Middle in shares of the picture's width and height.
        at: [f64; 2],
        /// Radius as a share of the picture's width.
        radius: f64,
    },
    /// A clot in the vitreous throws a soft shadow with a tail.
    Floater {
        /// Middle in shares of the picture's width and height.
        at: [f64; 2],
        /// Radius as a share of the picture's width.
        radius: f64,
        /// Light that it takes, 0 to 1.
        dark: f64,
    },
    /// Grease wiped over the front surface: streaks that veil and blur.
    Smear {
        /// Middle in shares of the picture's width and height.
        at: [f64; 2],
        /// Radius as a share of the picture's width.
        radius: f64,
        /// 0 to 1.
        strength: f64,
    },
    /// Dust in the instrument: the same spots in every frame of the instrument, 3 to 10 % of the light each.
    Dust {
        /// How many spots.
        count: u32,
        /// Which deposit: another number after the instrument was cleaned.
        deposit: u64,
    },
    /// Part of the picture is out of focus: tear film, a cataract's spoke, a steep periphery.
    RegionalBlur {
        /// Middle in shares of the picture's width and height.
        at: [f64; 2],
        /// Radius as a share of the picture's width.
        radius: f64,
        /// Standard deviation of a Gaussian in pixels of the instrument's full-size picture.
        sigma: f64,
    },
    /// Nobody looks in: an empty chamber.
    NoRetina,
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
    /// Width of the picture in pixels, cut to 16..=8192; other widths than the instrument's show the same field.
    pub size: u32,
    /// Height in pixels, or none for a square; a lower picture is cut from the square's middle. Cut to 16..=8192.
    pub height: Option<u32>,
    /// What goes wrong, beyond the everyday.
    pub faults: Vec<Fault>,
    /// Whether a few lashes and a corner of lid come in at the edge, as they do in most real pictures.
    pub everyday: bool,
    /// The eye on the label, or none.
    pub labelled: Option<Eye>,
    /// The kind on the label, or none.
    pub labelled_modality: Option<Modality>,
    /// Seconds since the dye was injected (dye pictures only).
    pub dye_s: f64,
    /// How the dye comes and goes (dye pictures only).
    pub course: Course,
    /// Whether the picture keeps the uneven stretch of a frame that was not projected.
    pub raw: bool,
    /// Whether what lies beyond the aperture is stored too: the edge of the instrument's front and the lit face about it, out of focus, as some
    /// sources of pictures keep it. It is no part of the aperture.
    pub surround: bool,
    /// How the instrument is set, or none: then as everyday shots differ, or plain without the everyday.
    pub setup: Option<Setup>,
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
            height: None,
            faults: Vec::new(),
            everyday: true,
            labelled: Some(eye),
            labelled_modality: Some(modality),
            dye_s: 60.0,
            course: Course::default(),
            raw: false,
            surround: false,
            setup: None,
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
        radial: None,
        slow_axis: SlowAxis::Down,
        sweep_s: 0.4,
        gaze_range_deg: None,
        fovea_straight_ahead_deg: None,
        lasers: Vec::new(),
    }
}
