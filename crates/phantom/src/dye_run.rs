//! A whole dye run, frame by frame.

use crate::circulation::{Circulation, Course};
use crate::params::{ParamError, within};
use crate::{Eyeball, Rendered, Scene};
use serrata_words::{DyeTimes, Modality};

/// A dye run of one eye. Frames are made as they are asked for, so that a run of any length needs the memory of one.
#[derive(Debug, Clone)]
pub struct DyeRun {
    /// What all frames share.
    pub scene: Scene,
    /// Seconds since injection and kind of each frame.
    pub plan: Vec<(f64, Modality)>,
}

impl DyeRun {
    /// A run of so many frames: every second from 8 to 35 s, then ever slower, the last at 10 min (20 min with ICG);
    /// fewer frames are spread over the same time. With both dyes ICG and fluorescein come in turn, a pair 1.5 s
    /// apart (common practice: at most 3 s).
    ///
    /// # Errors
    /// No frame, or more than 2000.
    pub fn new(scene: Scene, frames: u32, dyes: &[Modality]) -> Result<Self, ParamError> {
        within("frames of a dye run", f64::from(frames), 1.0..=2000.0)?;
        let end = if dyes.contains(&Modality::Icg) { 1200.0 } else { 600.0 };
        let transit = f64::from(frames) * 0.6;
        let kinds = if dyes.is_empty() { &[Modality::Fa][..] } else { dyes };
        let at = |k: f64| {
            if k <= transit {
                8.0 + 27.0 * k / transit.max(1.0)
            } else {
                let t = (k - transit) / (f64::from(frames) - 1.0 - transit).max(1.0);
                35.0 * (end / 35.0f64).powf(t.min(1.0))
            }
        };
        let many = f64::from(u32::try_from(kinds.len()).unwrap_or(1));
        let plan = (0..frames)
            .map(|k| {
                let kind = kinds[k as usize % kinds.len()];
                let within_pair = f64::from(k % u32::try_from(kinds.len()).unwrap_or(1));
                // A pair starts together and follows at its own pace.
                let start = at(f64::from(k) - within_pair);
                let next = at(f64::from(k) - within_pair + many);
                (start + within_pair * ((next - start) / many).min(1.5), kind)
            })
            .collect();
        Ok(Self { scene, plan })
    }

    /// The frames in order, made one at a time.
    pub fn frames<'a>(&'a self, eye: &'a Eyeball) -> impl Iterator<Item = Rendered> + 'a {
        let circulation = Circulation::new(eye, self.course());
        (0..self.plan.len())
            .filter_map(|k| self.scene_of(k))
            .map(move |scene| eye.render_in(&scene, scene.modality.is_dye().then_some(&circulation)))
    }

    /// The scene of one frame, counted from 0: for its masks, or to make it alone. `None` beyond the last.
    #[must_use]
    pub fn scene_of(&self, k: usize) -> Option<Scene> {
        let (seconds, kind) = *self.plan.get(k)?;
        Some(Scene {
            shot: self.scene.shot.wrapping_add(k as u64),
            dye_s: seconds,
            modality: kind,
            labelled_modality: Some(kind),
            ..self.scene.clone()
        })
    }

    /// The run's times.
    #[must_use]
    pub fn times(&self, eye: &Eyeball) -> DyeTimes {
        Circulation::new(eye, self.course()).times()
    }

    /// How the dye comes and goes.
    #[must_use]
    pub const fn course(&self) -> Course {
        self.scene.course
    }
}
