//! Are the pictures complete? Speaks of pictures only: leaving after dye is a record made by staff.

mod answer;
mod assign;
mod sets;
mod types;

pub use answer::named;
pub use assign::{elapsed_ms, matches, merge_views, time_reasons};
pub use sets::{SetFrame, judge_set};
pub use types::{Candidate, Closure, Complete, Dye, Joint, Scene, Status, ViewState, ViewStatus};

use assign::assigned;
use serrata_words::{Gaze, NotHad, Phase, Verdict, View};

/// Answers which views are met, and by which frames, for a visit without dye and clock.
#[must_use]
pub fn status(views: &[View], frames: &[Candidate], closed: &[Closure]) -> Status {
    status_at(views, frames, closed, &Scene::default())
}

/// Answers which views are met, and by which frames, at a moment.
///
/// Each frame counts for at most one view. Frames that are set aside count for none; leave frames in quarantine out.
#[must_use]
pub fn status_at(views: &[View], frames: &[Candidate], closed: &[Closure], scene: &Scene<'_>) -> Status {
    let takers = assigned(views, frames, scene.dyes);
    let stands: Vec<ViewStatus> = views
        .iter()
        .enumerate()
        .map(|(i, view)| {
            let own: Vec<&Candidate> =
                frames.iter().zip(&takers).filter(|(_, t)| **t == Some(i)).map(|(f, _)| f).collect();
            view_status(view, own, frames, closed, scene)
        })
        .collect();
    answer::answer(stands, scene.unwell)
}

/// A frame's quality for its view, its time counted in.
fn worth(view: &View, f: &Candidate, scene: &Scene<'_>) -> Option<Verdict> {
    let timed = time_reasons(view, f.taken_us, scene.dyes);
    let by_time = match timed.iter().map(|r| r.must).max() {
        Some(true) => Verdict::NotUsable,
        Some(false) => Verdict::Limited,
        None => Verdict::Usable,
    };
    f.verdict.map(|v| v.max(by_time))
}

fn view_status(
    view: &View,
    mut own: Vec<&Candidate>,
    all: &[Candidate],
    closed: &[Closure],
    scene: &Scene<'_>,
) -> ViewStatus {
    own.sort_by_key(|f| {
        let w = worth(view, f, scene);
        (w.is_none(), w, f.id)
    });
    let mut why: Vec<String> =
        own.first().map_or_else(Vec::new, |f| texts(time_reasons(view, f.taken_us, scene.dyes)));
    let mut best = own.first().and_then(|f| worth(view, f, scene));
    if let Some(rule) = view.set {
        let timed = sets::timed(view, &own, scene.dyes);
        let other = rule.pair_with.map_or_else(Vec::new, |m| sets::taken_of(all, view.eye, m));
        let (verdict, reasons) = judge_set(&rule, view.window, &timed, &other);
        best = (!timed.is_empty()).then_some(verdict);
        why = texts(reasons);
    } else if let Some(j) = scene.joint.iter().find(|j| j.view == view.name) {
        // A set counts only while each of its frames still does, and only where it is better than the best frame.
        let holds = view.jointly && j.frames.iter().all(|id| own.iter().any(|f| f.id == *id));
        if holds && best.is_none_or(|b| j.verdict < b) {
            best = Some(j.verdict);
            why = vec![format!("{} frames together show {:.0} % of it", j.frames.len(), j.covered * 100.0)];
        }
    }
    let closure = closed.iter().rev().find(|c| c.view == view.name).cloned();
    let unwell = || {
        missed_unwell(view, scene).then(|| Closure {
            view: view.name.clone(),
            state: ViewState::NotDone,
            why: Some(NotHad::Unwell),
            who: "station".to_owned(),
        })
    };
    let state = match (best, &closure) {
        (Some(Verdict::Usable), _) => ViewState::Met,
        (Some(Verdict::Limited), _) => ViewState::MetWithReservations,
        (_, Some(c)) => c.state,
        _ if missed_unwell(view, scene) => ViewState::NotDone,
        _ if view.if_reach_fails && !reach_fails(view, all) => ViewState::NotWanted,
        _ if scene.unwell => ViewState::Silent,
        _ => time_state(view, scene),
    };
    let tries = own.iter().filter(|f| f.verdict.is_some()).count();
    ViewStatus {
        view: view.clone(),
        state,
        failed_tries: own.iter().filter(|f| worth(view, f, scene) == Some(Verdict::NotUsable)).count(),
        tries: if view.phase == Some(Phase::Transit) { 0 } else { tries },
        frames: own.iter().map(|f| f.id).collect(),
        why,
        closure: closure
            .or_else(unwell)
            .filter(|_| matches!(state, ViewState::NotObtainable | ViewState::NotDone)),
    }
}

/// Whether a view's window ended while the patient was unwell: nobody missed it.
fn missed_unwell(view: &View, scene: &Scene<'_>) -> bool {
    let Some((window, now)) = view.window.zip(scene.now_us) else { return false };
    let latest = scene.dyes.iter().filter(|d| d.modality == view.modality).max_by_key(|d| d.start_us);
    let Some(dye) = latest.filter(|d| !d.by_mouth) else { return false };
    let end = dye.start_us.saturating_add(i64::from(window.to_ms()) * 1000);
    end < now && scene.unwell_us.iter().any(|[from, until]| (*from..=*until).contains(&end))
}

/// A view without a picture: due, later, overdue.
fn time_state(view: &View, scene: &Scene<'_>) -> ViewState {
    if view.before_dye {
        return if scene.dyes.is_empty() { ViewState::Due } else { ViewState::Overdue };
    }
    let Some(window) = view.window else { return ViewState::Due };
    let latest = scene.dyes.iter().filter(|d| d.modality == view.modality).max_by_key(|d| d.start_us);
    if latest.is_some_and(|d| d.by_mouth) {
        return ViewState::Due;
    }
    match (latest.map(|d| d.start_us), scene.now_us) {
        (Some(start), Some(now)) => {
            // A clock that jumped back makes nothing overdue.
            let ms = now.saturating_sub(start) / 1000;
            if ms < i64::from(window.from_ms()) {
                ViewState::Later
            } else if ms > i64::from(window.to_ms()) {
                ViewState::Overdue
            } else {
                ViewState::Due
            }
        }
        (Some(_), None) => ViewState::Due,
        (None, _) => ViewState::Later,
    }
}

/// Whether the ahead frames of the same eye and kind are there and none reaches far enough.
fn reach_fails(view: &View, all: &[Candidate]) -> bool {
    let mut ahead = all
        .iter()
        .filter(|f| {
            !f.set_aside && f.gaze == Gaze::Primary && f.modality == view.modality && view.eye == f.eye
        })
        .filter(|f| f.verdict.is_some_and(|v| v != Verdict::NotUsable))
        .peekable();
    ahead.peek().is_some() && ahead.all(|f| f.reach_short)
}

fn texts(reasons: Vec<serrata_words::Reason>) -> Vec<String> {
    reasons.into_iter().map(|r| r.text).collect()
}

#[cfg(test)]
mod tests;
