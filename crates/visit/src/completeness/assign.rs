//! Which view a frame counts for.

use super::types::{Candidate, Dye};
use serrata_words::{Modality, Phase, Rank, Reason, View};

/// Whether a frame is a picture of a view: same kind and gaze, and the same eye. A frame whose eye nobody knows
/// matches nothing. Times are not looked at.
#[must_use]
pub fn matches(view: &View, frame: &Candidate) -> bool {
    view.modality == frame.modality
        && view.gaze == frame.gaze
        && view.eye.is_none_or(|e| frame.eye == Some(e))
}

/// Milliseconds from the start of the last injection of a dye that began before the frame, or `None` where nobody
/// knows the time or none had begun.
#[must_use]
pub fn elapsed_ms(modality: Modality, taken_us: Option<i64>, dyes: &[Dye]) -> Option<i64> {
    let taken = taken_us?;
    dyes.iter()
        .filter(|d| d.modality == modality && d.start_us.saturating_sub(d.error_us) <= taken)
        .map(|d| d.start_us)
        .max()
        .map(|start| taken.saturating_sub(start) / 1000)
}

/// What a frame's time means for its view: autofluorescence after fluorescein and a control frame after the injection
/// are never usable; a colour frame after dye, and a late frame taken late, are kept with reservations.
#[must_use]
pub fn time_reasons(view: &View, taken_us: Option<i64>, dyes: &[Dye]) -> Vec<Reason> {
    let reason =
        |must: bool, text: String| vec![Reason { rule: "time".to_owned(), finding: None, must, text }];
    // Autofluorescence is spoilt by fluorescein, whether or not a protocol says so.
    if view.modality == Modality::Faf && after(Modality::Fa, taken_us, dyes) {
        return reason(true, "autofluorescence after fluorescein is never usable".to_owned());
    }
    if view.before_dye {
        let dyed = [Modality::Fa, Modality::Icg].into_iter().any(|m| after(m, taken_us, dyes));
        return match (dyed, view.phase) {
            (true, Some(Phase::Control)) => {
                reason(true, "the control frame came after the injection".to_owned())
            }
            (true, _) => reason(false, "taken after dye, and wanted before".to_owned()),
            (false, _) => Vec::new(),
        };
    }
    let Some(window) = view.window else { return Vec::new() };
    if by_mouth(view.modality, taken_us, dyes) {
        return reason(
            false,
            "dye by mouth: the windows of the needle do not hold, a person judges the time".to_owned(),
        );
    }
    match elapsed_ms(view.modality, taken_us, dyes) {
        None => reason(true, "its time after the injection is not known".to_owned()),
        Some(ms) if window.contains(ms) => Vec::new(),
        #[allow(clippy::cast_precision_loss)] // minutes of a visit
        Some(ms) => {
            let late = ms > i64::from(window.to_ms()) && view.phase != Some(Phase::Transit);
            let said = if ms >= 120_000 {
                format!("{:.1} min", ms as f64 / 60_000.0)
            } else {
                format!("{:.1} s", ms as f64 / 1000.0)
            };
            reason(!late, format!("taken {said} after the injection, wanted {window}"))
        }
    }
}

/// Whether the dye that a frame shows was taken by mouth.
fn by_mouth(modality: Modality, taken_us: Option<i64>, dyes: &[Dye]) -> bool {
    let begun = |d: &&Dye| {
        d.modality == modality && taken_us.is_none_or(|t| d.start_us.saturating_sub(d.error_us) <= t)
    };
    dyes.iter().filter(begun).max_by_key(|d| d.start_us).is_some_and(|d| d.by_mouth)
}

/// Whether a dye had begun; a frame whose time nobody knows counts as after.
fn after(dye: Modality, taken_us: Option<i64>, dyes: &[Dye]) -> bool {
    dyes.iter().any(|d| d.modality == dye && taken_us.is_none_or(|t| t >= d.start_us))
}

/// For each frame the view that it counts for, at most one: the first whose time it meets, else the last whose time
/// had passed (by mouth: by the same times, with reservations), else the first of that picture.
pub(super) fn assigned(views: &[View], frames: &[Candidate], dyes: &[Dye]) -> Vec<Option<usize>> {
    let one = |f: &Candidate| {
        let of_picture = || views.iter().enumerate().filter(|(_, v)| matches(v, f));
        let reasons = |v: &View| time_reasons(v, f.taken_us, dyes);
        let fits = of_picture().find(|(_, v)| reasons(v).is_empty());
        let late = || {
            of_picture()
                .filter(|(_, v)| reasons(v).iter().all(|r| !r.must))
                .max_by_key(|(_, v)| v.window.map(|w| w.to_ms()))
        };
        let in_time = |v: &View| {
            let ms = elapsed_ms(v.modality, f.taken_us, dyes);
            v.window.zip(ms).is_some_and(|(w, ms)| w.contains(ms))
        };
        let within = || of_picture().find(|(_, v)| in_time(v) && reasons(v).iter().all(|r| !r.must));
        // A frame of no window's time stands for no windowed view.
        let spoilt = || of_picture().find(|(_, v)| v.window.is_none());
        fits.or_else(within).or_else(late).or_else(spoilt).map(|(i, _)| i)
    };
    frames.iter().map(|f| if f.set_aside { None } else { one(f) }).collect()
}

/// The views of several orders as one list: a picture that two orders ask for is due once, with the higher rank.
#[must_use]
pub fn merge_views(lists: &[Vec<View>]) -> Vec<View> {
    let mut all: Vec<View> = Vec::new();
    for v in lists.iter().flatten() {
        let same = |w: &&mut View| {
            w.eye == v.eye
                && w.modality == v.modality
                && w.gaze == v.gaze
                && w.window == v.window
                && w.phase == v.phase
                && w.set == v.set
        };
        if let Some(w) = all.iter_mut().find(same) {
            w.rank = w.rank.min(v.rank);
            w.before_dye |= v.before_dye;
            w.if_reach_fails &= v.if_reach_fails;
            w.jointly &= v.jointly;
            w.shows.extend(v.shows.iter().filter(|s| !w.shows.contains(s)).cloned().collect::<Vec<_>>());
            continue;
        }
        let mut new = v.clone();
        let taken = |name: &str, all: &[View]| all.iter().any(|w| w.name == name);
        let mut n = 2;
        while taken(&new.name, &all) {
            new.name = format!("{} ({n})", v.name);
            n += 1;
        }
        all.push(new);
    }
    all.sort_by_key(|v| v.rank != Rank::Must); // stable
    all
}
