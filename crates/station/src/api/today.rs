//! What the day asks of a visit, beside its pictures: identity, cautions, the needle, light, what happened.

use super::error::ApiError;
use super::orders::{line, protocols};
use super::stand::Stand;
use super::types::{Answered, FactLine, Remark, Today};
use crate::Station;
use serrata_store::Visit;
use serrata_visit::{
    ASSUMPTIONS, chair_notes, dose_said, fact_said, frame_light, halts, light_record, note_said,
    only_touched, questions, stops, wiping_line,
};
use serrata_words::{Event, Eye, Fact, Injection};

/// What the day asks of a visit.
///
/// # Errors
/// Where the store fails.
pub async fn today(station: &Station, visit: &Visit, s: &Stand) -> Result<Today, ApiError> {
    let protocols = protocols()?;
    let orders = station.store().orders_of(visit.id).await?;
    let lines = orders
        .into_iter()
        .map(|k| {
            let mut shown = line(&k.order, &protocols);
            shown.visit_id = Some(k.visit_id.0);
            shown.merged_into = k.merged_into;
            shown
        })
        .collect();
    let answers = questions(&s.views)
        .into_iter()
        .map(|q| {
            let given = s.facts.answers.get(q.id);
            let kept = |e: &&Event| matches!(&e.fact, Fact::Answered { question, .. } if question == q.id);
            Answered {
                id: q.id.to_owned(),
                question: q.text.to_owned(),
                answer: given.map(|(a, ..)| a.clone()),
                who: given.map(|(_, w, _)| w.clone()),
                fact: standing(s).rev().find(kept).map(|e| e.seq),
            }
        })
        .collect();
    let mut notes = chair_notes(&[&visit.right_eye, &visit.left_eye], &s.person);
    if visit.right_eye.red_eye || visit.left_eye.red_eye {
        notes.push(wiping_line(&station.settings().lines, true));
    }
    Ok(Today {
        scheduled: visit.scheduled.clone(),
        orders: lines,
        identity: s.facts.identity.as_ref().map(|(what, who, _)| format!("{} ({who})", what.join(", "))),
        first: first(s),
        stops: halts(&s.views, &answered(s)),
        notes,
        right_eye: visit.right_eye.clone(),
        left_eye: visit.left_eye.clone(),
        person: s.person.clone(),
        answers,
        remarks: standing(s).filter_map(remark).collect(),
        needle: s.facts.injections.iter().map(needle).collect(),
        after_needle: standing(s).filter_map(after_needle).collect(),
        unwell: s.facts.unwell,
        calls_open: s.facts.calls.iter().filter(|c| c.reached.is_none()).count(),
        paused_until_utc_us: s.facts.paused_until_us,
        light: light(station, visit, s),
        facts: s.events.iter().map(|e| fact(e, s)).collect(),
    })
}

/// Answers by the id of their question. Only one that begins with "yes" is a yes: a stop is never missed for a word more.
fn answered(s: &Stand) -> Vec<(&str, bool)> {
    let yes = |a: &str| a.trim().to_lowercase().starts_with("yes");
    s.facts.answers.iter().map(|(id, (a, ..))| (id.as_str(), yes(a))).collect()
}

/// The facts that were not undone, oldest first.
fn standing(s: &Stand) -> impl DoubleEndedIterator<Item = &Event> {
    s.events.iter().filter(|e| !s.facts.undone.contains(&e.seq))
}

fn remark(e: &Event) -> Option<Remark> {
    let Fact::Remarked { text } = &e.fact else { return None };
    Some(Remark { fact: e.seq, text: text.clone(), who: e.who.clone(), at_utc_us: e.at_us })
}

fn after_needle(e: &Event) -> Option<Remark> {
    let Fact::Noted { note } = &e.fact else { return None };
    Some(Remark { fact: e.seq, text: note_said(note), who: e.who.clone(), at_utc_us: e.at_us })
}

/// What comes before anything else.
fn first(s: &Stand) -> Vec<String> {
    let mut said = Vec::new();
    if s.facts.unwell {
        said.push("The patient is unwell: nothing is due. Staff stay with the patient.".to_owned());
    }
    if s.facts.calls.iter().any(|c| c.reached.is_none()) {
        said.push("Clinician to look now: nobody was reached yet.".to_owned());
    }
    if s.facts.identity.is_none() {
        said.push("Two identifiers are not ticked yet.".to_owned());
    }
    said.extend(stops(&s.views, &answered(s)));
    said.extend(queries(s));
    for j in &s.judged {
        let name = &j.kept.name;
        if j.kept.quarantined {
            said.push(format!("{name}: waits for a second person on its way to another patient."));
        }
        let wrong =
            j.observation.as_ref().and_then(|o| o.eye.inferred).zip(j.kept.eye()).filter(|(a, b)| a != b);
        if let (Some((seen, labelled)), None) = (wrong, &j.kept.set_aside) {
            said.push(format!(
                "{name}: labelled {labelled}, the anatomy looks like {seen}: check which eye it is."
            ));
        }
    }
    said
}

/// What a person should look at before frames are trusted; the same of several frames is said once.
fn queries(s: &Stand) -> Vec<String> {
    let mut all: Vec<(String, Vec<&str>)> = Vec::new();
    for j in &s.judged {
        let Some(query) = j.brief().query else { continue };
        match all.iter_mut().find(|(q, _)| *q == query) {
            Some((_, names)) => names.push(&j.kept.name),
            None => all.push((query, vec![&j.kept.name])),
        }
    }
    all.into_iter()
        .map(|(query, names)| match names.as_slice() {
            [one] => format!("{one}: {query}"),
            several => format!("{} frames: {query}", several.len()),
        })
        .collect()
}

/// An injection as a sentence; millilitres never without strength.
fn needle(i: &Injection) -> String {
    if only_touched(i) {
        let took = i.seconds.map_or_else(String::new, |s| format!(", {s:.0} s long"));
        return format!("{}: start marked by a touch{took}; the record is still to be filled in", i.drug);
    }
    let dose = match i.mg {
        Some(mg) => dose_said(mg, i.strength).unwrap_or_else(|e| e.to_string()),
        None => "dose not written down".to_owned(),
    };
    let parts = [
        ("given by ", &i.given_by),
        ("prescribed by ", &i.prescribed_by),
        ("", &i.site),
        ("lot ", &i.lot),
        ("expires ", &i.expiry),
    ];
    // What nobody wrote is asked for elsewhere.
    let written = parts.iter().filter(|(_, value)| !value.trim().is_empty());
    written.fold(format!("{}: {dose}", i.drug), |said, (name, value)| format!("{said}, {name}{value}"))
}

/// Light of each eye in words, with what it assumes; no figure where none can be said.
fn light(station: &Station, visit: &Visit, s: &Stand) -> Vec<String> {
    let mut said = Vec::new();
    for eye in [Eye::R, Eye::L] {
        let state = if eye == Eye::R { &visit.right_eye } else { &visit.left_eye };
        let of_eye: Vec<_> = s.judged.iter().filter(|j| j.eye == Some(eye)).collect();
        if of_eye.is_empty() {
            continue;
        }
        let each: Result<Vec<_>, _> = of_eye
            .iter()
            .map(|j| {
                let named = station.instrument_of(j.kept.facts.instrument.as_deref());
                frame_light(j.view.modality, named, state, &s.person)
            })
            .collect();
        said.push(match each {
            Ok(frames) => {
                let r = light_record(&frames);
                format!(
                    "{}: {} frame{}, {:.1} s of light; highest share of ISO 15004-2:2007 group 1: {:.4} (aphakic weighting), {:.4} (thermal)",
                    eye.screen(), r.frames, if r.frames == 1 { "" } else { "s" }, r.seconds, r.highest_a, r.highest_r
                )
            }
            Err(why) => format!("{}: {why}", eye.screen()),
        });
    }
    if !said.is_empty() {
        said.extend(ASSUMPTIONS.map(str::to_owned));
    }
    said
}

fn fact(e: &Event, s: &Stand) -> FactLine {
    let kind = serde_json::to_value(&e.fact).ok();
    let kind = kind.as_ref().and_then(|v| v["kind"].as_str()).unwrap_or_default().to_owned();
    // What was undone is said in its own words.
    let of = match e.fact {
        Fact::Undone { seq } => {
            s.events.iter().find(|old| old.seq == seq).and_then(|old| fact_said(&old.fact))
        }
        _ => None,
    };
    FactLine {
        seq: e.seq,
        at_utc_us: e.at_us,
        who: e.who.clone(),
        text: of
            .map(|old| format!("undone: {old}"))
            .or_else(|| fact_said(&e.fact))
            .unwrap_or_else(|| kind.replace('_', " ")),
        kind,
        happened_utc_us: match &e.fact {
            Fact::NeedleBegan { start_us, .. } => Some(*start_us),
            Fact::NeedleEnded { end_us, .. } => Some(*end_us),
            _ => None,
        },
        reason: e.reason.clone(),
        can_be_undone: e.fact.can_be_undone(),
        undone: s.facts.undone.contains(&e.seq),
    }
}
