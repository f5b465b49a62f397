//! The invented clinic day: a scenario of our own. No person, firm or device in it exists.

use serrata_phantom::{Condition, Course, DyeRun, Eyeball, Fault, Health, ParamError, Scene, instruments};
use serrata_words::{Eye, Gaze, LesionKind, Modality, Side};

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
                d.small(d.shot(seed + 4, Eye::R, Modality::Faf, 2, &[])),
                d.small(d.shot(seed + 4, Eye::L, Modality::Faf, 4, &[])),
                d.small(d.shot(seed + 4, Eye::R, Modality::Colour, 6, &[])),
                d.small(d.shot(seed + 4, Eye::L, Modality::Colour, 8, &[Fault::TooClose { strength: 0.5 }])),
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

/// A dye run of the day.
pub struct Run {
    /// Patient's number.
    pub id: &'static str,
    /// Name as DICOM writes it.
    pub name: &'static str,
    /// Date of birth, YYYYMMDD.
    pub born: &'static str,
    /// What was ordered, in words.
    pub order: &'static str,
    /// Name of a shipped protocol.
    pub protocol: &'static str,
    /// The eye that is looked at.
    pub eye: Eyeball,
    /// The frames.
    pub run: DyeRun,
}

/// The day's two dye runs: fluorescein over a diabetic retina, and both dyes in turn over a leaking macula with a slow
/// arm.
///
/// # Errors
/// Where a parameter of the scenario is out of its range, which a test rules out.
pub fn dye_runs(seed: u64, size: u32) -> Result<Vec<Run>, ParamError> {
    let marks = |kind, count| Condition::Marks { kind, count };
    let diabetic = vec![
        marks(LesionKind::Microaneurysm, 160),
        marks(LesionKind::Haemorrhage, 40),
        marks(LesionKind::Leak, 9),
        Condition::Region { kind: LesionKind::NonPerfusion, area_mm2: 45.0 },
    ];
    let macular = vec![marks(LesionKind::Drusen, 60), marks(LesionKind::Leak, 3)];
    let grow =
        |seed, eye, conditions| Eyeball::grow_with(seed, eye, &Health { conditions, ..Health::default() });
    let scene = |seed, eye, arm_to_retina_s| Scene {
        size,
        course: Course { arm_to_retina_s, speed: 1.0 },
        ..Scene::new(seed, eye, Modality::Fa)
    };
    Ok(vec![
        Run {
            id: "INV-0006",
            name: "Fennimore^Oake",
            born: "19660921",
            order: "Fluorescein, right eye in transit",
            protocol: "fa",
            eye: grow(seed + 7, Eye::R, diabetic)?,
            run: DyeRun::new(scene(seed + 7, Eye::R, 12.0), 24, &[Modality::Fa])?,
        },
        Run {
            id: "INV-0007",
            name: "Gorseley^Ivo",
            born: "19430518",
            order: "Fluorescein and ICG in turn, left eye",
            protocol: "fa-with-icg",
            eye: grow(seed + 8, Eye::L, macular)?,
            run: DyeRun::new(scene(seed + 8, Eye::L, 15.5), 24, &[Modality::Icg, Modality::Fa])?,
        },
    ])
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

    /// The same shot on the day's second instrument, at its own number of pixels.
    fn small(&self, mut shot: Shot) -> Shot {
        if let Some(other) = instruments().ok().and_then(|all| all.into_iter().nth(1)) {
            shot.scene.size = (self.size * other.width / shot.scene.instrument.width.max(1)).max(64);
            shot.scene.instrument = other;
        }
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_day_has_two_instruments_good_and_spoiled_frames_and_two_runs() {
        let day = guests(1, 360);
        let shots: Vec<_> = day.iter().flat_map(|g| &g.shots).collect();
        let mut names: Vec<_> = shots.iter().map(|s| s.scene.instrument.name.clone()).collect();
        names.sort();
        names.dedup();
        assert_eq!(names, ["demo-small", "demo-wide"]);
        assert!(shots.iter().all(|s| s.scene.check().is_ok()));
        assert!(
            shots.iter().any(|s| s.scene.faults.is_empty())
                && shots.iter().any(|s| !s.scene.faults.is_empty())
        );
        assert_eq!(dye_runs(1, 360).unwrap().len(), 2);
    }
}
