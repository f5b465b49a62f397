use super::Protocol;
use super::wanted::{EyeWanted, Wanted};
use serde::{Deserialize, Serialize};
use serrata_words::{Eye, Order, Rank, View};

/// What an order says beyond the protocol's name.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Ask {
    /// Eyes ordered; none named: both.
    pub eyes: Vec<Eye>,
    /// The eye to begin with: the one with the complaint, or the worse one.
    pub first: Option<Eye>,
    /// The transit eye, as the clinician named it.
    pub transit: Option<Eye>,
    /// Options ordered.
    pub options: Vec<String>,
    /// The short form: a person of whom only one shot can be had.
    pub one_shot: bool,
}

impl Ask {
    /// What an order says.
    #[must_use]
    pub fn of(order: &Order) -> Self {
        Self {
            eyes: order.eyes.clone(),
            first: None,
            transit: order.transit,
            options: order.options.clone(),
            one_shot: false,
        }
    }
}

/// What an order stands for: the views that are due, most important first.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Plan {
    /// Name of the protocol.
    pub name: String,
    /// Its title.
    pub title: String,
    /// Where the list comes from.
    pub source: String,
    /// The views.
    #[serde(rename = "view")]
    pub views: Vec<View>,
}

/// What has to be asked before a protocol becomes a plan.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum Question {
    /// The transit eye.
    #[error("which is the transit eye? Ask the clinician; it is never assumed")]
    TransitEye,
    /// An option that the protocol does not have.
    #[error("\"{given}\" is no option of this protocol; use one of: {known}")]
    Option {
        /// What was given.
        given: String,
        /// What there is.
        known: String,
    },
    /// It repeats the marked frames of an earlier visit.
    #[error(
        "this protocol repeats the marked frames of an earlier visit; name the visit, or mark frames in it"
    )]
    Earlier,
}

impl Protocol {
    /// The views that an order stands for.
    ///
    /// # Errors
    /// [`Question`]: what has to be asked first.
    pub fn plan(&self, ask: &Ask) -> Result<Plan, Question> {
        if self.repeats_earlier {
            return Err(Question::Earlier);
        }
        self.plan_of(ask)
    }

    pub(super) fn plan_of(&self, ask: &Ask) -> Result<Plan, Question> {
        for o in &ask.options {
            if !self.options.contains_key(o) {
                let known: Vec<&str> = self.options.keys().map(String::as_str).collect();
                let known = if known.is_empty() { "none".to_owned() } else { known.join(", ") };
                return Err(Question::Option { given: o.clone(), known });
            }
        }
        let mut views = Vec::new();
        for w in &self.wanted {
            views.extend(expand(w, ask)?.into_iter().map(|v| (w.name.as_str(), v)));
        }
        if ask.one_shot {
            let place = |name: &str| self.one_shot.iter().position(|s| s == name);
            for (name, v) in &mut views {
                v.rank = if place(name).is_some() { Rank::Must } else { Rank::Should };
            }
            views.sort_by_key(|(name, _)| place(name).unwrap_or(usize::MAX)); // stable
        }
        Ok(Plan {
            name: self.name.clone(),
            title: self.title.clone(),
            source: self.source.clone(),
            views: views.into_iter().map(|(_, v)| v).collect(),
        })
    }
}

/// One wanted picture for each of its eyes.
fn expand(w: &Wanted, ask: &Ask) -> Result<Vec<View>, Question> {
    let has = |list: &[String]| list.iter().any(|o| ask.options.contains(o));
    if !w.only_when.is_empty() && !has(&w.only_when) {
        return Ok(Vec::new());
    }
    let rank = if has(&w.must_when) {
        Rank::Must
    } else if has(&w.should_when) {
        Rank::Should
    } else {
        w.rank
    };
    let transit = || ask.transit.ok_or(Question::TransitEye);
    let eyes = match w.eye {
        EyeWanted::R => vec![Eye::R],
        EyeWanted::L => vec![Eye::L],
        EyeWanted::Both => ordered(ask),
        EyeWanted::Transit => vec![transit()?],
        EyeWanted::Fellow => vec![transit()?.fellow()],
    };
    let of = |eye: Eye| View {
        name: format!("{} {eye}", w.name),
        eye: Some(eye),
        modality: w.modality,
        gaze: w.gaze.of(eye),
        rank,
        phase: w.phase,
        window: w.window,
        before_dye: w.before_dye,
        set: w.set,
        jointly: w.jointly,
        if_reach_fails: w.if_reach_fails,
        shows: w.shows.clone(),
    };
    Ok(eyes.into_iter().map(of).collect())
}

/// The ordered eyes, the one to begin with first.
fn ordered(ask: &Ask) -> Vec<Eye> {
    let first = ask.first.or(ask.transit).unwrap_or(Eye::R);
    let all = [first, first.fellow()];
    all.into_iter().filter(|e| ask.eyes.is_empty() || ask.eyes.contains(e)).collect()
}
