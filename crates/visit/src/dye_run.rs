//! The dye run at a moment: clocks, which frames are asked for, one sentence, and what is worth a tone.

use crate::{Dye, Status, ViewState, ViewStatus, named};
use serde::{Deserialize, Serialize};
use serrata_words::{Eye, Modality, Rank, RunMode};

/// What a run looks like at a moment.
#[derive(Debug, Clone, PartialEq)]
pub struct RunNow {
    /// One clock an injection, the latest of each dye last.
    pub clocks: Vec<RunClock>,
    /// Frames with a time, those that are asked for first.
    pub frames: Vec<RunFrame>,
    /// What to do, one sentence.
    pub sentence: String,
    /// What is worth a tone: a late frame that is due while attention is elsewhere. Its name stays the same while it is due, so
    /// that it sounds once; none where the patient is unwell or the run is stopped.
    pub tone: Option<String>,
}

/// A dye's clock.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct RunClock {
    /// Which dye.
    pub dye: Dye,
    /// Microseconds since the injection began; never below 0, also where a clock jumped back.
    pub elapsed_us: i64,
    /// Whether a later injection of the same dye took its place.
    pub superseded: bool,
}

crate::states! {
    /// How a frame of the run stands.
    RunState {
        /// Asked for at this moment.
        Now = "now",
        /// Asked for within half a minute.
        Soon = "soon",
        /// Its time is still to come.
        Later = "later",
        /// Its time has passed; a late frame still beats none, save in the transit.
        Missed = "missed",
        /// There, or there with reservations.
        Done = "done",
        /// Closed by a person, or because the patient was unwell.
        Closed = "closed",
        /// Not asked for: unwell, stopped, or the other dye alone was chosen.
        Silent = "silent",
    }
}

/// A frame that the protocol wants at a time.
#[derive(Debug, Clone, PartialEq)]
pub struct RunFrame {
    /// Name of its view.
    pub view: String,
    /// The view as people say it.
    pub what: String,
    /// Which eye, where the view says.
    pub eye: Option<Eye>,
    /// Which dye.
    pub modality: Modality,
    /// The other dye whose frame belongs to each of it, where the protocol wants pairs.
    pub pair_with: Option<Modality>,
    /// Whether it is required.
    pub required: bool,
    /// How it stands.
    pub state: RunState,
    /// From when, microseconds since 1970 UTC; none before its dye was given, and by mouth.
    pub from_us: Option<i64>,
    /// Until when.
    pub to_us: Option<i64>,
    /// How many frames count for it.
    pub taken: usize,
    /// Why it is there only with reservations, such as its true minute.
    pub why: Vec<String>,
}

/// Frames are announced so long before, microseconds (judgement).
const SOON_US: i64 = 30_000_000;

/// Frames whose window begins so late after the injection sound: in the first passage the eyes are on the clock anyway
/// (judgement).
pub(crate) const LATE_MS: u32 = 120_000;

/// The run as it is `now_us`. `status` is that of the visit at the same moment.
#[must_use]
pub fn run_now(
    status: &Status,
    dyes: &[Dye],
    mode: RunMode,
    stopped: bool,
    unwell: bool,
    now_us: i64,
) -> RunNow {
    let latest = |m: Modality| dyes.iter().filter(|d| d.modality == m).max_by_key(|d| d.start_us);
    let clocks = dyes
        .iter()
        .map(|d| RunClock {
            dye: *d,
            elapsed_us: now_us.saturating_sub(d.start_us).max(0),
            superseded: latest(d.modality).is_some_and(|l| l.start_us > d.start_us),
        })
        .collect();
    let silent = |m: Modality| {
        unwell
            || stopped
            || mode == RunMode::Fa && m == Modality::Icg
            || mode == RunMode::Icg && m == Modality::Fa
    };
    let mut frames: Vec<(RunFrame, u32)> = status
        .views
        .iter()
        .filter(|v| v.view.modality.is_dye() && v.state != ViewState::NotWanted)
        .filter_map(|v| {
            let window = v.view.window?;
            let start = latest(v.view.modality).filter(|d| !d.by_mouth).map(|d| d.start_us);
            let at = |ms: u32| start.map(|s| s.saturating_add(i64::from(ms) * 1000));
            let mut frame = of_view(v, at(window.from_ms()), at(window.to_ms()), now_us);
            if silent(v.view.modality)
                && matches!(frame.state, RunState::Now | RunState::Soon | RunState::Later | RunState::Missed)
            {
                frame.state = RunState::Silent;
            }
            Some((frame, window.from_ms()))
        })
        .collect();
    // Of both dyes at once the ICG frame comes first (common practice, no source).
    frames.sort_by_key(|(f, from)| (f.state as usize, f.to_us, f.modality == Modality::Fa, *from));
    let tone = frames
        .iter()
        .find(|(f, from)| f.state == RunState::Now && *from >= LATE_MS)
        .map(|(f, _)| format!("{} {}", f.view, f.from_us.unwrap_or_default()));
    let frames: Vec<RunFrame> = frames.into_iter().map(|(f, _)| f).collect();
    let sentence = sentence(&frames, dyes, stopped, unwell, now_us);
    RunNow { clocks, frames, sentence, tone }
}

fn of_view(v: &ViewStatus, from_us: Option<i64>, to_us: Option<i64>, now_us: i64) -> RunFrame {
    let state = match v.state {
        ViewState::Met | ViewState::MetWithReservations => RunState::Done,
        ViewState::NotObtainable | ViewState::NotDone | ViewState::NotWanted => RunState::Closed,
        ViewState::Silent => RunState::Silent,
        ViewState::Overdue => RunState::Missed,
        // By mouth nothing is due at a second: a person judges the time.
        ViewState::Due if from_us.is_none() => RunState::Later,
        ViewState::Due => RunState::Now,
        ViewState::Later if from_us.is_some_and(|f| f.saturating_sub(now_us) <= SOON_US) => RunState::Soon,
        ViewState::Later => RunState::Later,
    };
    RunFrame {
        view: v.view.name.clone(),
        what: named(&v.view),
        eye: v.view.eye,
        modality: v.view.modality,
        pair_with: v.view.set.and_then(|s| s.pair_with),
        required: v.view.rank == Rank::Must,
        state,
        from_us,
        to_us,
        taken: v.frames.len(),
        why: v.why.clone(),
    }
}

const fn spoken(dye: Modality) -> &'static str {
    if matches!(dye, Modality::Icg) { "indocyanine green" } else { "fluorescein" }
}

fn sentence(frames: &[RunFrame], dyes: &[Dye], stopped: bool, unwell: bool, now_us: i64) -> String {
    if unwell {
        return "The patient is unwell: nothing is asked for. Staff stay with the patient.".to_owned();
    }
    if dyes.is_empty() {
        return "No injection is marked yet: touch when the needle goes in.".to_owned();
    }
    if stopped {
        return "The run is stopped by hand; its clocks go on.".to_owned();
    }
    let of = |s: RunState| frames.iter().filter(move |f| f.state == s);
    let seconds = |us: i64| us.saturating_sub(now_us).max(0) / 1_000_000;
    let now: Vec<&RunFrame> = of(RunState::Now).collect();
    if let [first, rest @ ..] = now.as_slice() {
        let left = first.to_us.map(seconds).unwrap_or_default();
        let other = rest.iter().find(|f| f.modality != first.modality && f.eye == first.eye);
        return match other.map(|f| f.modality).or(first.pair_with) {
            Some(m) => format!("Now in turn: {}, then {}; {left} s left.", first.what, spoken(m)),
            None => format!("Now: {}; {left} s left.", first.what),
        };
    }
    if let Some(f) = of(RunState::Soon).min_by_key(|f| f.from_us) {
        return format!("In {} s: {}.", f.from_us.map(seconds).unwrap_or_default(), f.what);
    }
    let missed = of(RunState::Missed).count();
    if let Some(f) = of(RunState::Later).filter(|f| f.from_us.is_some()).min_by_key(|f| f.from_us) {
        let s = f.from_us.map(seconds).unwrap_or_default();
        return format!("Next in {} min {:02} s: {}.", s / 60, s % 60, f.what);
    }
    match missed {
        0 => "Nothing more is due in this run.".to_owned(),
        1 => "The time of one frame is over: take it late, or close it with a reason.".to_owned(),
        n => format!("The times of {n} frames are over: take them late, or close them with a reason."),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Ask, Candidate, Protocol, Scene, status_at};
    use serrata_words::{Gaze, Verdict, View};

    const T0: i64 = 1_000_000_000_000;

    fn views(name: &str) -> Vec<View> {
        let all = Protocol::shipped().unwrap();
        let p = all.iter().find(|p| p.name == name).unwrap();
        p.plan(&Ask { transit: Some(Eye::R), ..Ask::default() }).unwrap().views
    }

    fn dye(modality: Modality, by_mouth: bool) -> Dye {
        Dye { modality, start_us: T0, error_us: 500_000, by_mouth }
    }

    fn at(views: &[View], dyes: &[Dye], frames: &[Candidate], s: i64, unwell: &[[i64; 2]]) -> (Status, i64) {
        let now = T0 + s * 1_000_000;
        let ill = unwell.iter().any(|u| (u[0]..=u[1]).contains(&now));
        let scene = Scene { now_us: Some(now), dyes, unwell: ill, unwell_us: unwell, ..Scene::default() };
        (status_at(views, frames, &[], &scene), now)
    }

    fn run(s: i64, mode: RunMode, stopped: bool) -> RunNow {
        let (v, d) = (views("fa-with-icg"), [dye(Modality::Icg, false), dye(Modality::Fa, false)]);
        let (status, now) = at(&v, &d, &[], s, &[]);
        run_now(&status, &d, mode, stopped, false, now)
    }

    #[test]
    fn of_both_dyes_the_icg_frame_comes_first_and_either_can_be_taken_alone() {
        let both = run(12, RunMode::InTurn, false);
        assert!(
            both.sentence.starts_with("Now in turn: Right eye (OD), indocyanine green"),
            "{}",
            both.sentence
        );
        assert!(both.tone.is_none(), "in the first passage nothing sounds");
        let alone = run(12, RunMode::Fa, false);
        assert!(alone.frames.iter().all(|f| f.modality == Modality::Fa || f.state == RunState::Silent));
    }

    #[test]
    fn a_late_frame_sounds_once_and_not_while_stopped() {
        let late = run(250, RunMode::InTurn, false);
        let tone = late.tone.clone().unwrap();
        assert_eq!(run(260, RunMode::InTurn, false).tone, Some(tone));
        assert!(run(165, RunMode::InTurn, false).frames.iter().any(|f| f.state == RunState::Soon));
        let stopped = run(250, RunMode::InTurn, true);
        assert!(stopped.tone.is_none() && stopped.sentence.contains("stopped"));
    }

    #[test]
    fn unwell_is_silent_and_what_passed_meanwhile_is_closed_without_blame() {
        let (v, d) = (views("fa"), [dye(Modality::Fa, false)]);
        let ill = [[T0 + 200_000_000, T0 + 700_000_000]];
        let (status, now) = at(&v, &d, &[], 300, &ill);
        let during = run_now(&status, &d, RunMode::InTurn, false, true, now);
        assert!(during.tone.is_none() && during.sentence.contains("unwell"));
        assert!(
            !during
                .frames
                .iter()
                .any(|f| matches!(f.state, RunState::Now | RunState::Missed | RunState::Soon))
        );
        let (status, now) = at(&v, &d, &[], 710, &ill);
        let after = run_now(&status, &d, RunMode::InTurn, false, false, now);
        let five = status.views.iter().find(|v| v.view.name == "fa late at 5 min R").unwrap();
        assert_eq!(five.state, ViewState::NotDone);
        assert_eq!(five.closure.as_ref().unwrap().why, Some(serrata_words::NotHad::Unwell));
        assert!(
            after
                .frames
                .iter()
                .filter(|f| f.view.contains("late at 5 min"))
                .all(|f| f.state == RunState::Closed)
        );
    }

    #[test]
    fn a_frame_taken_late_says_its_true_minute() {
        let (v, d) = (views("fa"), [dye(Modality::Fa, false)]);
        let mut f = Candidate::new(1, Some(Eye::R), Modality::Fa, Gaze::Primary);
        (f.verdict, f.taken_us) = (Some(Verdict::Usable), Some(T0 + 405_000_000));
        let (status, now) = at(&v, &d, &[f], 420, &[]);
        let r = run_now(&status, &d, RunMode::InTurn, false, false, now);
        let five = r.frames.iter().find(|f| f.view == "fa late at 5 min R").unwrap();
        assert_eq!(five.state, RunState::Done);
        assert!(five.why.iter().any(|w| w.contains("6.8 min") || w.contains("6.7 min")), "{:?}", five.why);
    }

    #[test]
    fn by_mouth_nothing_is_due_at_a_second_and_a_clock_that_jumps_back_counts_from_zero() {
        let (v, d) = (views("fa"), [dye(Modality::Fa, true)]);
        let (status, now) = at(&v, &d, &[], 300, &[]);
        let r = run_now(&status, &d, RunMode::InTurn, false, false, now);
        assert!(r.tone.is_none() && r.frames.iter().all(|f| f.from_us.is_none() && f.state != RunState::Now));
        let (status, now) = at(&v, &[dye(Modality::Fa, false)], &[], -50, &[]);
        let r = run_now(&status, &[dye(Modality::Fa, false)], RunMode::InTurn, false, false, now);
        assert_eq!(r.clocks[0].elapsed_us, 0);
    }

    #[test]
    fn a_second_injection_starts_a_clock_of_its_own() {
        let again = Dye { start_us: T0 + 900_000_000, ..dye(Modality::Fa, false) };
        let d = [dye(Modality::Fa, false), again];
        let (status, now) = at(&views("fa"), &d, &[], 912, &[]);
        let r = run_now(&status, &d, RunMode::InTurn, false, false, now);
        assert_eq!(r.clocks.iter().map(|c| c.superseded).collect::<Vec<_>>(), [true, false]);
        assert!(r.frames.iter().any(|f| f.state == RunState::Now));
    }
}
