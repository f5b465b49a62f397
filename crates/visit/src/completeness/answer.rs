//! The answer in words.

use super::types::{Complete, Status, ViewState, ViewStatus};
use serrata_words::{Eye, Modality, Rank, View};

pub(super) fn answer(views: Vec<ViewStatus>, unwell: bool) -> Status {
    let open: Vec<&ViewStatus> = views.iter().filter(|v| v.state.open()).collect();
    let as_ordered = |v: &ViewStatus| matches!(v.state, ViewState::Met | ViewState::NotWanted);
    let complete = if !open.is_empty() {
        Complete::NotYet
    } else if views.iter().all(as_ordered) {
        Complete::Complete
    } else {
        Complete::AsFarAsPossible
    };
    let sentence = match complete {
        Complete::Complete => "The pictures are complete.".to_owned(),
        Complete::AsFarAsPossible => {
            let rest: Vec<String> = views.iter().filter(|v| !as_ordered(v)).map(said_of).collect();
            format!("The pictures are complete as far as possible: {}.", rest.join("; "))
        }
        Complete::NotYet if unwell => "The patient is unwell: nothing is asked for now.".to_owned(),
        Complete::NotYet => not_yet(&open),
    };
    let next_step = if unwell { None } else { next(&open) };
    Status { complete, sentence, next_step, views }
}

/// The shortest list: what is required, else what is wanted; both eyes said once.
fn not_yet(open: &[&ViewStatus]) -> String {
    let musts: Vec<&ViewStatus> = open.iter().copied().filter(|v| v.view.rank == Rank::Must).collect();
    let wanted = open.len() - musts.len();
    let (list, tail) = match (musts.is_empty(), wanted) {
        (true, _) => (open.to_vec(), " (wanted, not required)".to_owned()),
        (false, 0) => (musts, String::new()),
        (false, n) => (musts, format!("; and {n} more wanted")),
    };
    let mut said: Vec<String> = Vec::new();
    let mut told = vec![false; list.len()];
    for (i, v) in list.iter().enumerate() {
        if told[i] {
            continue;
        }
        let twin = list.iter().enumerate().skip(i + 1).find(|(_, w)| {
            w.view.eye == v.view.eye.map(Eye::fellow)
                && v.view.eye.is_some()
                && picture(&w.view) == picture(&v.view)
                && w.state == v.state
        });
        let who = match (twin, v.view.eye) {
            (Some((k, _)), _) => {
                told[k] = true;
                "both eyes"
            }
            (None, Some(e)) => e.screen(),
            (None, None) => "either eye",
        };
        said.push(format!("{who}, {}{}", picture(&v.view), when(v)));
    }
    format!("Not yet: {}{tail}.", said.join("; "))
}

fn when(v: &ViewStatus) -> &'static str {
    if v.state == ViewState::Overdue { " (overdue)" } else { "" }
}

/// The first due picture of the highest rank; one whose time is passing comes before those that can wait.
fn next(open: &[&ViewStatus]) -> Option<String> {
    let order = |v: &&&ViewStatus| {
        let time = match v.state {
            ViewState::Due if v.view.window.is_some() => 0,
            ViewState::Due => 1,
            ViewState::Overdue => 2,
            _ => 3,
        };
        (time == 3, time == 2 && v.view.phase.is_some(), v.view.rank, time)
    };
    let v = open.iter().min_by_key(order)?; // the first of equals
    let what = named(&v.view);
    Some(match (v.state, v.failed_tries) {
        (ViewState::Later, _) => match v.view.window {
            Some(w) => format!("{what}, {w} after the injection"),
            None => what,
        },
        (ViewState::Overdue, _) if v.view.before_dye => {
            format!("{what}: dye was given before it; close it with a reason")
        }
        (ViewState::Overdue, _) if v.view.phase == Some(serrata_words::Phase::Transit) => {
            format!("{what}: the transit is over; close it with a reason")
        }
        (ViewState::Overdue, _) => format!("{what}, overdue: late is better than none"),
        (_, 0) => what,
        (_, 1) => format!("{what}, a second try"),
        (_, n) => format!("{what}, after {n} tries that were not usable"),
    })
}

/// A view as people say it. Example: `Right eye (OD), colour, straight ahead`.
#[must_use]
pub fn named(view: &View) -> String {
    format!("{}, {}", view.eye.map_or("Either eye", Eye::screen), picture(view))
}

/// Kind and gaze, and the time where it has one.
fn picture(view: &View) -> String {
    let kind = match view.modality {
        Modality::Colour => "colour",
        Modality::Infrared => "infrared",
        Modality::Red => "red channel",
        Modality::Green => "green channel",
        Modality::Faf => "autofluorescence (FAF)",
        Modality::Fa => "fluorescein (FA)",
        Modality::Icg => "indocyanine green (ICG)",
    };
    let gaze = view.gaze.screen();
    match view.window {
        Some(w) => format!("{kind}, {gaze}, {w}"),
        None if view.phase == Some(serrata_words::Phase::Control) => format!("{kind} control, {gaze}"),
        None => format!("{kind}, {gaze}"),
    }
}

fn said_of(v: &ViewStatus) -> String {
    let what = match v.state {
        ViewState::MetWithReservations => "with reservations",
        ViewState::NotObtainable => "not obtainable",
        ViewState::NotDone => "not done",
        other => other.word(),
    };
    let why =
        v.closure.as_ref().and_then(|c| c.why).map(|w| format!(" ({})", w.screen())).unwrap_or_default();
    format!("{} {what}{why}", named(&v.view))
}
