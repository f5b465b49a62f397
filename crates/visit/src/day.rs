//! Several open visits at once: chairs, what is due when and where, alarms.

use crate::{Dye, Status, ViewState};
use serrata_words::{Identity, Modality, Rank, RunMode};

/// An open visit on the board.
#[derive(Debug, Clone)]
pub struct OpenVisit<'a> {
    /// The visit.
    pub id: &'a str,
    /// For whom.
    pub identity: &'a Identity,
    /// How it stands.
    pub status: &'a Status,
    /// Its injections.
    pub dyes: &'a [Dye],
    /// Where it sits.
    pub chair: Option<&'a str>,
    /// Until when it waits.
    pub paused_until_us: Option<i64>,
    /// Whether the patient is unwell.
    pub unwell: bool,
    /// Whether its dye run was stopped by hand.
    pub run_stopped: bool,
    /// Which dye's frames are asked for.
    pub run_mode: RunMode,
}

/// Something due at a time.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Alarm {
    /// The visit.
    pub visit: String,
    /// Who it is, shortly: enough to tell apart in one room.
    pub who: String,
    /// The chair, where seated.
    pub chair: Option<String>,
    /// What is due, as people say it.
    pub what: String,
    /// From when, microseconds since 1970 UTC.
    pub from_us: i64,
    /// Until when.
    pub to_us: i64,
    /// Whether it is due now.
    pub now: bool,
    /// Whether it is worth a tone: late frames, which are due while attention is elsewhere, and patients who come back.
    pub sounds: bool,
    /// Who and what, one sentence to be said aloud.
    pub sentence: String,
    /// Another visit that needs the same chair at the same time, said in words.
    pub clash: Option<String>,
}

/// How a patient is called in an alarm: family name, first letter of the given name, day and month of birth in words.
/// Example: `Lovage A., 3 Feb`.
#[must_use]
pub fn short_identity(i: &Identity) -> String {
    let family = i.family.reveal().trim();
    let family = if family.is_empty() { i.patient_id.reveal().trim() } else { family };
    let given = i.given.reveal().trim().chars().next().map(|c| format!(" {c}.")).unwrap_or_default();
    let born = i.born.reveal().map(|b| b.screen());
    let born = born
        .as_deref()
        .and_then(|b| b.rsplit_once(' '))
        .map(|(day, _)| format!(", {day}"))
        .unwrap_or_default();
    format!("{family}{given}{born}")
}

/// What is due when and where, the soonest first. An unwell patient has no alarms; a view whose window has passed is
/// no alarm either, it is told as overdue in its visit. Two visits at one chair in the same minute are told to both.
#[must_use]
pub fn alarms(visits: &[OpenVisit<'_>], now_us: i64) -> Vec<Alarm> {
    let mut all: Vec<Alarm> = visits.iter().filter(|v| !v.unwell).flat_map(|v| of_visit(v, now_us)).collect();
    all.sort_by(|a, b| (a.from_us, a.to_us, &a.visit).cmp(&(b.from_us, b.to_us, &b.visit)));
    let clash = |a: &Alarm| {
        let other = all.iter().find(|b| {
            b.visit != a.visit
                && b.chair.is_some()
                && b.chair == a.chair
                && b.from_us < a.to_us
                && a.from_us < b.to_us
        })?;
        Some(format!(
            "{} is due at {} in the same time",
            other.who,
            other.chair.as_deref().unwrap_or("the chair")
        ))
    };
    let clashes: Vec<Option<String>> = all.iter().map(clash).collect();
    for (a, c) in all.iter_mut().zip(clashes) {
        a.clash = c;
    }
    all
}

fn of_visit<'a>(v: &'a OpenVisit<'_>, now_us: i64) -> impl Iterator<Item = Alarm> + 'a {
    let waiting = v.paused_until_us.map(|until| Alarm {
        visit: v.id.to_owned(),
        who: short_identity(v.identity),
        chair: None,
        what: "comes back".to_owned(),
        from_us: until,
        to_us: until.saturating_add(60_000_000),
        now: now_us >= until,
        sounds: now_us >= until,
        sentence: format!("{} comes back.", short_identity(v.identity)),
        clash: None,
    });
    let timed = v.status.views.iter().filter_map(move |s| {
        if !matches!(s.state, ViewState::Due | ViewState::Later)
            || s.view.rank == Rank::Should && s.state == ViewState::Later
        {
            return None;
        }
        let window = s.view.window?;
        if v.run_stopped
            || v.run_mode == RunMode::Fa && s.view.modality == Modality::Icg
            || v.run_mode == RunMode::Icg && s.view.modality == Modality::Fa
        {
            return None;
        }
        let dye = v.dyes.iter().filter(|d| d.modality == s.view.modality).max_by_key(|d| d.start_us);
        // By mouth the windows of the needle do not hold: nothing sounds.
        let start = dye.filter(|d| !d.by_mouth)?.start_us;
        let at = |ms: u32| start.saturating_add(i64::from(ms) * 1000);
        let (from_us, to_us) = (at(window.from_ms()), at(window.to_ms()));
        let (who, what) = (short_identity(v.identity), crate::named(&s.view));
        let now = (from_us..=to_us).contains(&now_us);
        Some(Alarm {
            visit: v.id.to_owned(),
            sentence: format!("{who}: {what}{}.", if now { ", now" } else { "" }),
            who,
            chair: v.chair.map(str::to_owned),
            what,
            from_us,
            to_us,
            now,
            sounds: now && window.from_ms() >= crate::dye_run::LATE_MS,
            clash: None,
        })
    });
    waiting.into_iter().chain(timed)
}

/// Why a frame from a chair is queried, or none: it is of a patient who sits elsewhere or nowhere.
#[must_use]
pub fn chair_query(chair: &str, visit: &str, visits: &[OpenVisit<'_>]) -> Option<String> {
    let own = visits.iter().find(|v| v.id == visit)?;
    match own.chair {
        Some(c) if c == chair => None,
        Some(c) => Some(format!(
            "{} sits at {c}, and this frame comes from {chair}: is it the right patient?",
            short_identity(own.identity)
        )),
        None => {
            let there = visits.iter().find(|v| v.chair == Some(chair)).map(|v| short_identity(v.identity));
            let there = there.map(|t| format!("{t} does")).unwrap_or_else(|| "nobody does".to_owned());
            Some(format!(
                "{} does not sit at {chair}, {there}: is it the right patient?",
                short_identity(own.identity)
            ))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Ask, Protocol, Scene, status_at};
    use serrata_words::{BirthDate, Eye, Personal};

    const T0: i64 = 1_000_000_000;

    fn who(family: &str) -> Identity {
        Identity {
            family: Personal::new(family.into()),
            given: Personal::new("Ada".into()),
            born: Personal::new(BirthDate::parse("1961-02-03")),
            ..Identity::default()
        }
    }

    fn stands(dyes: &[Dye], now_us: i64) -> Status {
        let all = Protocol::shipped().unwrap();
        let fa = all.iter().find(|p| p.name == "fa").unwrap();
        let views = fa.plan(&Ask { transit: Some(Eye::R), ..Ask::default() }).unwrap().views;
        status_at(&views, &[], &[], &Scene { now_us: Some(now_us), dyes, ..Scene::default() })
    }

    #[test]
    fn alarms_come_in_time_with_a_short_identity_and_unwell_is_silent() {
        let (a, b) = (who("Lovage"), who("Mint"));
        let dyes = [
            [Dye { modality: Modality::Fa, start_us: T0, error_us: 0, by_mouth: false }],
            [Dye { modality: Modality::Fa, start_us: T0 + 30_000_000, error_us: 0, by_mouth: false }],
        ];
        let now = T0 + 250_000_000;
        let s = [stands(&dyes[0], now), stands(&dyes[1], now)];
        let visit = |i: usize, unwell| OpenVisit {
            id: ["v1", "v2"][i],
            identity: [&a, &b][i],
            status: &s[i],
            dyes: &dyes[i],
            chair: Some("chair one"),
            paused_until_us: None,
            unwell,
            run_stopped: false,
            run_mode: RunMode::InTurn,
        };
        let both = alarms(&[visit(0, false), visit(1, false)], now);
        assert!(both.windows(2).all(|w| w[0].from_us <= w[1].from_us));
        let first = both.iter().find(|a| a.what.contains("4 min")).unwrap();
        assert_eq!((first.who.as_str(), first.now), ("Lovage A., 3 Feb", true));
        assert!(first.sounds && first.sentence.starts_with("Lovage A., 3 Feb: Right eye (OD), fluorescein"));
        assert!(first.clash.as_ref().unwrap().contains("Mint"));
        let one = alarms(&[visit(0, true), visit(1, false)], now);
        assert!(one.iter().all(|a| a.visit == "v2"));
        assert!(chair_query("chair two", "v1", &[visit(0, false)]).unwrap().contains("chair one"));
        assert!(chair_query("chair one", "v1", &[visit(0, false)]).is_none());
    }

    #[test]
    fn a_clock_that_jumps_back_makes_nothing_overdue() {
        let dyes = [Dye { modality: Modality::Fa, start_us: T0, error_us: 0, by_mouth: false }];
        let s = stands(&dyes, T0 - 3_600_000_000);
        assert!(s.views.iter().filter(|v| v.view.window.is_some()).all(|v| v.state == ViewState::Later));
    }
}
