//! A kept frame judged for its view: the verdict is computed anew at every request, never stored.

use super::error::ApiError;
use super::types::FrameBrief;
use crate::Station;
use crate::work::observed_as;
use serrata_store::{FrameState, KeptFrame, StoredObservation, Visit};
use serrata_visit::{Before, Candidate, Plan, Try, carried_person, for_judging, judge};
use serrata_words::{
    Eye, EyeState, Fact, Gaze, Judgement, Modality, Observation, PersonState, Rank, Verdict, View, undone,
};

/// A frame with its observation and what that means for its view.
pub struct Judged {
    /// The frame as kept.
    pub kept: KeptFrame,
    /// What was seen, once it was.
    pub observation: Option<Observation>,
    /// What that means.
    pub judgement: Option<Judgement>,
    /// The view it was judged for.
    pub view: View,
    /// The eye it counts as: corrected, labelled, or seen.
    pub eye: Option<Eye>,
    /// What is known of that eye and the person today.
    pub state: EyeState,
}

/// What is known of a patient beside the visit's own frames.
#[derive(Default)]
pub struct Known {
    /// The person's state today, else as it was carried from the last visit.
    pub person: PersonState,
    /// The best frame of each eye, kind and gaze at the last visit.
    pub last: Vec<Judged>,
}

impl Judged {
    /// Judges one frame. `views` are those of its visit, `earlier` its frames before this one.
    ///
    /// # Errors
    /// Where what is kept cannot be read back.
    pub fn new(
        station: &Station,
        kept: KeptFrame,
        seen: Option<&StoredObservation>,
        visit: Option<&Visit>,
        views: &[View],
        earlier: &[Self],
        known: &Known,
    ) -> Result<Self, ApiError> {
        let observation = seen.map(StoredObservation::observation).transpose()?;
        let modality =
            kept.modality().or_else(|| seen.and_then(|s| observed_as(&s.body))).unwrap_or(Modality::Colour);
        let gaze = kept.gaze().unwrap_or(Gaze::Primary);
        let eye = kept.eye().or_else(|| observation.as_ref().and_then(|o| o.eye.inferred));
        let view = views
            .iter()
            .find(|v| v.modality == modality && v.gaze == gaze && v.eye == eye)
            .cloned()
            .unwrap_or_else(|| View::default_of(modality, gaze));
        let state = match (visit, eye) {
            (Some(v), Some(Eye::R)) => v.right_eye.clone(),
            (Some(v), Some(Eye::L)) => v.left_eye.clone(),
            _ => EyeState::default(),
        };
        let state = for_judging(&state, &known.person);
        let tries: Vec<Try> = earlier
            .iter()
            .filter(|e| e.view == view && e.eye == eye)
            .filter_map(|e| Some(Try::of(e.observation.as_ref()?, e.judgement.as_ref()?)))
            .collect();
        let best = of_last(&known.last, eye, modality, gaze).and_then(|b| b.judgement.as_ref());
        let before = Before { tries: &tries, ahead: ahead(earlier, eye, modality), best };
        let judgement =
            observation.as_ref().map(|o| judge(o, &view, kept.eye(), &state, before, station.rules()));
        Ok(Self { kept, observation, judgement, view, eye, state })
    }

    /// The frame as a line.
    #[must_use]
    pub fn brief(&self) -> FrameBrief {
        let k = &self.kept;
        let known = self.observation.is_some() || k.modality().is_some();
        FrameBrief {
            id: k.id.0,
            visit_id: k.visit_id.map(|v| v.0),
            name: k.name.clone(),
            eye: self.eye.map(|e| e.word().to_owned()),
            modality: known.then(|| self.view.modality.word().to_owned()),
            gaze: self.view.gaze.word().to_owned(),
            acquired_utc_us: k.facts.acquired.as_ref().map(|s| s.utc_us),
            received_utc_us: k.received_us,
            state: match k.state {
                FrameState::Waiting => "waiting",
                FrameState::Checked => "checked",
                FrameState::Failed => "failed",
            }
            .to_owned(),
            verdict: self.judgement.as_ref().map(|j| j.verdict.word().to_owned()),
            next: self.judgement.as_ref().map(|j| j.next.word().to_owned()),
            leading: match (&self.judgement, &k.failure) {
                (Some(j), _) => j.reasons.first().map(|r| r.text.clone()),
                (None, Some(f)) => Some(f.message.clone()),
                (None, None) => None,
            },
            query: k.query.clone().or_else(|| dated_ahead(k)),
            quarantined: k.quarantined,
            set_aside: k.set_aside.clone(),
        }
    }

    /// The frame as completeness sees it.
    #[must_use]
    pub fn candidate(&self) -> Candidate {
        Candidate {
            id: self.kept.id.0,
            eye: self.eye,
            modality: self.view.modality,
            gaze: self.view.gaze,
            verdict: self.judgement.as_ref().map(|j| j.verdict),
            next: self.judgement.as_ref().map(|j| j.next),
            set_aside: self.kept.set_aside.is_some(),
            taken_us: self.kept.facts.acquired.as_ref().map(|s| s.utc_us),
            reach_short: self
                .judgement
                .as_ref()
                .is_some_and(|j| j.reasons.iter().any(|r| r.rule.starts_with("reach"))),
        }
    }
}

/// The best frame straight ahead of an eye and a kind.
fn ahead(frames: &[Judged], eye: Option<Eye>, modality: Modality) -> Option<&Observation> {
    frames
        .iter()
        .filter(|j| j.eye == eye && eye.is_some() && j.view.modality == modality)
        .filter(|j| j.view.gaze == Gaze::Primary && j.kept.set_aside.is_none() && !j.kept.quarantined)
        .filter_map(|j| Some((j.judgement.as_ref()?.verdict, j.observation.as_ref()?)))
        .filter(|(verdict, _)| *verdict != Verdict::NotUsable)
        .min_by_key(|(verdict, _)| *verdict)
        .map(|(_, o)| o)
}

/// What is known of the patient beside the visit's own frames: the person's state, and what the eyes gave last time.
async fn known(station: &Station, visit: &Visit) -> Result<Known, ApiError> {
    let store = station.store();
    let facts = store.facts(visit.id).await?;
    let gone = undone(&facts);
    let noted = facts.into_iter().rev().filter(|e| !gone.contains(&e.seq)).find_map(|e| match e.fact {
        Fact::PersonNoted { state } => Some(*state),
        _ => None,
    });
    let person = match noted {
        Some(today) => today,
        None => store.earlier_person(visit.id).await?.map(|p| carried_person(&p)).unwrap_or_default(),
    };
    let Some(last) = store.earlier_visit(visit.id).await? else {
        return Ok(Known { person, ..Known::default() });
    };
    let then = judged_frames(station, &last, &Known::default()).await?;
    let mut best: Vec<Judged> = Vec::new();
    // A frame on its way to another patient may be that one's.
    let counts = |j: &Judged| j.eye.is_some() && j.kept.set_aside.is_none() && !j.kept.quarantined;
    for j in then.into_iter().filter(counts) {
        let Some(verdict) = j.judgement.as_ref().map(|j| j.verdict) else { continue };
        let same = |b: &&mut Judged| {
            b.eye == j.eye && b.view.modality == j.view.modality && b.view.gaze == j.view.gaze
        };
        match best.iter_mut().find(same) {
            Some(b) if b.judgement.as_ref().is_some_and(|before| verdict < before.verdict) => *b = j,
            Some(_) => {}
            None => best.push(j),
        }
    }
    Ok(Known { person, last: best })
}

/// The best frame of an eye, a kind and a gaze at the last visit.
#[must_use]
pub fn of_last(last: &[Judged], eye: Option<Eye>, modality: Modality, gaze: Gaze) -> Option<&Judged> {
    last.iter().find(|b| b.eye == eye && b.view.modality == modality && b.view.gaze == gaze)
}

/// How far a clock may run ahead before it is told: a day and the widest zone where it does not say its zone.
const AHEAD_US: i64 = 15 * 3_600_000_000;

/// How far it may run ahead where it says its zone (judgement).
const AHEAD_IN_ZONE_US: i64 = 10 * 60_000_000;

/// A frame that was taken after it came: its instrument's clock is wrong.
fn dated_ahead(k: &KeptFrame) -> Option<String> {
    let taken = k.facts.acquired.as_ref()?;
    let allowed = if taken.offset_minutes.is_some() { AHEAD_IN_ZONE_US } else { AHEAD_US };
    (taken.utc_us > k.received_us.saturating_add(allowed))
        .then(|| "It is dated later than it came: look at the instrument's clock.".to_owned())
}

/// All frames of a visit, judged in the order in which they were taken, and what is known of the patient beside them.
///
/// # Errors
/// Where the store fails.
pub async fn of_visit(station: &Station, visit: &Visit) -> Result<(Known, Vec<Judged>), ApiError> {
    let known = known(station, visit).await?;
    let judged = judged_frames(station, visit, &known).await?;
    Ok((known, judged))
}

async fn judged_frames(station: &Station, visit: &Visit, known: &Known) -> Result<Vec<Judged>, ApiError> {
    let views = views_of(visit);
    let seen = station.store().observations_of_visit(visit.id).await?;
    let mut frames = station.store().frames_of_visit(visit.id).await?;
    frames.sort_by_key(|f| (f.facts.acquired.as_ref().map_or(f.received_us, |s| s.utc_us), f.id));
    let mut judged: Vec<Judged> = Vec::with_capacity(frames.len());
    for kept in frames {
        let one = kept.observation_id.and_then(|id| seen.iter().find(|s| s.id == id));
        let next = Judged::new(station, kept, one, Some(visit), &views, &judged, known)?;
        judged.push(next);
    }
    Ok(judged)
}

/// The views that a visit's order stands for; most important first.
#[must_use]
pub fn views_of(visit: &Visit) -> Vec<View> {
    let mut views =
        serde_json::from_value::<Plan>(visit.protocol.clone()).map(|p| p.views).unwrap_or_default();
    views.sort_by_key(|v| v.rank != Rank::Must);
    views
}

/// A date of birth as it is shown: with the month in letters, since day and month get swapped between countries.
///
/// Example: "19610307" and "1961-03-07" both give "07 Mar 1961".
#[must_use]
pub fn birth_date(text: &str) -> Option<String> {
    let digits: String = text.chars().filter(char::is_ascii_digit).collect();
    let date = jiff::civil::Date::strptime("%Y%m%d", &digits).ok()?;
    Some(date.strftime("%d %b %Y").to_string())
}

#[cfg(test)]
mod tests {
    #[test]
    fn birth_dates_have_their_month_in_letters() {
        assert_eq!(super::birth_date("19610307").as_deref(), Some("07 Mar 1961"));
        assert_eq!(super::birth_date("1961-03-07").as_deref(), Some("07 Mar 1961"));
        assert_eq!(super::birth_date("1961-13-07"), None);
    }
}
