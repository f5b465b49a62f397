use super::{Ask, Plan, Protocol, Question};
use serrata_words::{Eye, Gaze, Modality, Phase, Rank, View, Window};

/// A marked frame of the earlier visit.
#[derive(Debug, Clone, PartialEq)]
pub struct EarlierFrame {
    /// Its eye.
    pub eye: Eye,
    /// Its kind.
    pub modality: Modality,
    /// Its gaze.
    pub gaze: Gaze,
    /// Its part of the dye run, where it had one.
    pub phase: Option<Phase>,
    /// The window that it stood for, where it had one.
    pub window: Option<Window>,
    /// What was marked, in the clinic's words, for example "lesion at 5 o'clock".
    pub marked: String,
}

impl Protocol {
    /// The views that repeat the marked frames of an earlier visit, then those that the protocol lists.
    ///
    /// Frames that ask for the same picture become one view that shows all that was marked. Where the protocol's
    /// own view asks for a picture that is repeated anyway, it is left out.
    ///
    /// # Errors
    /// [`Question::Earlier`] where nothing was marked, and what [`Protocol::plan`] asks.
    pub fn follow_up(&self, earlier: &[EarlierFrame], ask: &Ask) -> Result<Plan, Question> {
        if earlier.is_empty() {
            return Err(Question::Earlier);
        }
        let mut views: Vec<View> = Vec::new();
        for f in earlier {
            let shows = format!(
                "{} whole, with at least one disc diameter around it, and an earlier landmark",
                f.marked
            );
            let same = |v: &&mut View| {
                v.eye == Some(f.eye) && v.modality == f.modality && v.gaze == f.gaze && v.window == f.window
            };
            if let Some(v) = views.iter_mut().find(same) {
                if !v.shows.contains(&shows) {
                    v.shows.push(shows);
                }
                continue;
            }
            views.push(View {
                name: format!("as before {}: {} {} {}", views.len() + 1, f.modality, f.gaze, f.eye),
                eye: Some(f.eye),
                phase: f.phase,
                window: f.window,
                before_dye: f.modality == Modality::Faf || f.phase == Some(Phase::Control),
                rank: Rank::Must,
                shows: vec![shows],
                ..View::default_of(f.modality, f.gaze)
            });
        }
        let eyes: Vec<Eye> = views.iter().filter_map(|v| v.eye).collect();
        let mut plan = self.plan_of(&Ask { eyes, ..ask.clone() })?;
        plan.views.retain(|own| {
            !views.iter().any(|v| {
                v.eye == own.eye && v.modality == own.modality && v.gaze == own.gaze && v.window == own.window
            })
        });
        views.append(&mut plan.views);
        plan.views = views;
        Ok(plan)
    }
}
