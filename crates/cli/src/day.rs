//! The invented clinic day: a scenario of our own. No person, firm or device in it exists.

use serrata_phantom::{Fault, Scene};
use serrata_words::{Eye, Gaze, Modality, Side};

/// One patient of the day.
pub struct Guest {
    /// Patient's number.
    pub id: &'static str,
    /// Name as DICOM writes it.
    pub name: &'static str,
    /// Date of birth, YYYYMMDD.
    pub born: &'static str,
    /// Name of a shipped protocol.
    pub protocol: &'static str,
    /// Chair, where the patient sits.
    pub chair: Option<&'static str>,
    /// Pictures taken so far, in order.
    pub shots: Vec<Shot>,
}

/// One picture of the day.
pub struct Shot {
    /// What the phantom draws.
    pub scene: Scene,
    /// Minutes after eight o'clock.
    pub minute: u32,
    /// Whether its study fits no visit.
    pub stray: bool,
}

/// The whole day. `size`: side of the pictures in pixels.
pub fn guests(seed: u64, size: u32) -> Vec<Guest> {
    let d = Draw { size };
    vec![
        Guest {
            id: "INV-0001",
            name: "Alderwick^Juna",
            born: "19610307",
            protocol: "first-look",
            chair: Some("By the window"),
            shots: vec![
                d.shot(seed + 1, Eye::R, Modality::Colour, 5, &[]),
                d.shot(seed + 1, Eye::L, Modality::Colour, 7, &[d.blink(0.42, 0.60)]),
                d.shot(seed + 1, Eye::L, Modality::Colour, 9, &[]),
                d.shot(seed + 1, Eye::R, Modality::Faf, 12, &[]),
            ],
        },
        Guest {
            id: "INV-0002",
            name: "Brambly^Tove",
            born: "19481119",
            protocol: "diabetes",
            chair: Some("By the door"),
            shots: vec![
                d.shot(seed + 2, Eye::R, Modality::Colour, 21, &[]),
                d.shot(seed + 2, Eye::L, Modality::Colour, 24, &[Fault::Blur { sigma: 14.0 }]),
                d.turned(seed + 2, Eye::R, Gaze::Up, 27, &[]),
                d.turned(seed + 2, Eye::R, Gaze::Down, 29, &[Fault::Lid { side: Side::Bottom, share: 0.38 }]),
            ],
        },
        Guest {
            id: "INV-0003",
            name: "Cindermoor^Pell",
            born: "19900214",
            protocol: "macular-faf",
            chair: None,
            shots: vec![],
        },
        Guest {
            id: "INV-0004",
            name: "Dovetail^Wren",
            born: "19750630",
            protocol: "macular-faf",
            chair: None,
            shots: vec![
                d.shot(seed + 4, Eye::R, Modality::Faf, 2, &[]),
                d.shot(seed + 4, Eye::L, Modality::Faf, 4, &[]),
                d.shot(seed + 4, Eye::R, Modality::Colour, 6, &[]),
                d.shot(seed + 4, Eye::L, Modality::Colour, 8, &[]),
            ],
        },
        Guest {
            id: "INV-0005",
            name: "Elmbrook^Saxo",
            born: "19551203",
            protocol: "first-look",
            chair: None,
            shots: vec![
                d.mislabelled(seed + 5, Eye::R, 31),
                d.shot(seed + 5, Eye::L, Modality::Colour, 33, &[Fault::Underexposed { gain: 0.1 }]),
                d.stray(seed + 6, Eye::L, 36),
            ],
        },
    ]
}

struct Draw {
    size: u32,
}

impl Draw {
    fn scene(&self, seed: u64, eye: Eye, modality: Modality, minute: u32, faults: &[Fault]) -> Scene {
        let mut scene = Scene::new(seed, eye, modality);
        scene.size = self.size;
        scene.shot = u64::from(minute);
        scene.faults = faults.to_vec();
        scene
    }

    fn shot(&self, seed: u64, eye: Eye, modality: Modality, minute: u32, faults: &[Fault]) -> Shot {
        Shot { scene: self.scene(seed, eye, modality, minute, faults), minute, stray: false }
    }

    fn turned(&self, seed: u64, eye: Eye, gaze: Gaze, minute: u32, faults: &[Fault]) -> Shot {
        let mut shot = self.shot(seed, eye, Modality::Colour, minute, faults);
        shot.scene.gaze = gaze;
        shot
    }

    fn mislabelled(&self, seed: u64, eye: Eye, minute: u32) -> Shot {
        let mut shot = self.shot(seed, eye, Modality::Colour, minute, &[]);
        shot.scene.labelled = Some(eye.fellow());
        shot
    }

    fn stray(&self, seed: u64, eye: Eye, minute: u32) -> Shot {
        let mut shot = self.shot(seed, eye, Modality::Colour, minute, &[]);
        shot.stray = true;
        shot
    }

    /// A blink between two shares of the height.
    fn blink(&self, from: f64, to: f64) -> Fault {
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // shares of a small size
        let row = |share: f64| (f64::from(self.size) * share) as u32;
        Fault::Blink { rows: [row(from), row(to)] }
    }
}
