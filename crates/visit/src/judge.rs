//! What an observation means for a view.

use crate::advice::advice_for;
use crate::covered::{covered, covering};
use crate::pole;
use crate::rules::Rules;
use crate::turned;
use serrata_words::{
    Eye, EyeState, Finding, FindingKind, Gaze, Judgement, Next, Observation, Phase, Reason, Verdict, View,
};

/// An earlier try at the same view.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Try {
    /// Its leading fault.
    pub leading: Option<FindingKind>,
    /// Its verdict.
    pub verdict: Verdict,
    /// Score of its haze, 0 where there was none.
    pub haze: f64,
}

impl Try {
    /// What a judged frame leaves behind for the next try.
    #[must_use]
    pub fn of(observation: &Observation, judgement: &Judgement) -> Self {
        Self {
            leading: judgement.reasons.first().and_then(|r| r.finding),
            verdict: judgement.verdict,
            haze: haze(observation),
        }
    }
}

/// What came before a frame.
#[derive(Debug, Clone, Copy, Default)]
pub struct Before<'a> {
    /// The tries at the same view, oldest first.
    pub tries: &'a [Try],
    /// The best frame straight ahead of the same eye and kind: a turned gaze has to show more than that one.
    pub ahead: Option<&'a Observation>,
    /// What the best frame of this eye and view at an earlier visit was judged.
    pub best: Option<&'a Judgement>,
}

impl<'a> From<&'a [Try]> for Before<'a> {
    fn from(tries: &'a [Try]) -> Self {
        Self { tries, ..Self::default() }
    }
}

impl<'a, const N: usize> From<&'a [Try; N]> for Before<'a> {
    fn from(tries: &'a [Try; N]) -> Self {
        Self { tries, ..Self::default() }
    }
}

/// Judges an observation for a view: musts make it not usable, shoulds usable with reservations.
///
/// `labelled` is the eye on the label, after correction by a person; `before` are the tries at the same view before
/// this one, and what this eye gave elsewhere. Disease, laser scars, gas and oil are no faults and do not occur here. A pure function: call it as often as
/// something changes.
#[must_use]
pub fn judge<'a>(
    observation: &Observation,
    view: &View,
    labelled: Option<Eye>,
    eye: &EyeState,
    before: impl Into<Before<'a>>,
    rules: &Rules,
) -> Judgement {
    let before = before.into();
    let mut reasons = label_reasons(observation, view, labelled, rules);
    let mut counting: Vec<&Finding> = Vec::new();
    for f in &observation.findings {
        if let Some(reason) = finding_reason(f, view, eye, rules) {
            reasons.push(reason);
            counting.push(f);
        }
    }
    let lost = no_retina(&reasons);
    if !lost {
        reasons.extend(pole::reasons(observation, view, eye, rules));
        reasons.extend(obstructed_reason(observation, view, rules));
        reasons.extend(reach_reasons(observation, view, rules));
        reasons.extend(turned::reasons(observation, view, before.ahead, rules));
    }
    reasons.sort_by_key(|r| !r.must); // stable: the strongest finding stays first
    let verdict = if reasons.iter().any(|r| r.must) {
        Verdict::NotUsable
    } else if reasons.is_empty() {
        Verdict::Usable
    } else {
        Verdict::Limited
    };
    let mut advice: Vec<String> = Vec::new();
    if verdict != Verdict::Usable {
        let all = reasons.iter().filter_map(|r| r.finding).filter_map(|k| {
            let all = || observation.findings.iter();
            let own = counting.iter().copied().chain(all()).find(|f| f.kind == k).cloned();
            advice_for(&own.unwrap_or_else(|| Finding::new(k, 1.0, 0.0)), eye)
        });
        let short = reasons.iter().find(|r| r.rule.starts_with("reach")).map(|r| {
            let side = r.rule.trim_start_matches("reach ");
            format!("The {side} side is cut short: re-centre on the pupil, both eyes wide open, and take it again.")
        });
        for sentence in all.chain(short) {
            if !advice.contains(&sentence) {
                advice.push(sentence);
            }
        }
    }
    if view.phase == Some(Phase::Transit) {
        // Judged as a set: every frame is kept, and there are no second tries.
        let still = "Blink, hold still, look here.".to_owned();
        advice = if verdict == Verdict::Usable { Vec::new() } else { vec![still] };
        return Judgement { verdict, next: Next::Keep, reasons, advice };
    }
    let gain: f64 = counting.iter().map(|f| f.fraction).sum();
    let little = gain < rules.tries.gain && !reasons.iter().any(|r| r.rule.starts_with("reach"));
    if verdict == Verdict::Limited && little {
        return Judgement { verdict, next: Next::Keep, reasons, advice };
    }
    let late = view.phase == Some(Phase::Late) && before.tries.len() + 1 >= rules.tries.late;
    let this = Try { leading: reasons.first().and_then(|r| r.finding), verdict, haze: haze(observation) };
    let mut next = next_step(this, &reasons, eye, before.tries, rules, &mut advice);
    if next == Next::TryAgain && before.best.is_some_and(|b| as_good_as_ever(&reasons, b)) {
        advice.insert(
            0,
            "As good as this eye's best picture of earlier visits: no better one is known of it.".to_owned(),
        );
        next = if verdict == Verdict::NotUsable { Next::Stop } else { Next::Keep };
    }
    // Late beats missing: two tries in the window, then the best is kept.
    let next = if late && next == Next::TryAgain { Next::Keep } else { next };
    Judgement { verdict, next, reasons, advice }
}

/// Score of the haze, 0 where there is none.
fn haze(o: &Observation) -> f64 {
    o.findings.iter().filter(|f| f.kind == FindingKind::Haze).map(|f| f.score).fold(0.0, f64::max)
}

/// Whether every reason against a frame stood against the eye's earlier best too, and no must is new.
fn as_good_as_ever(reasons: &[Reason], best: &Judgement) -> bool {
    let known = |r: &Reason| best.reasons.iter().any(|b| b.rule == r.rule && (b.must || !r.must));
    !reasons.is_empty() && reasons.iter().all(known)
}

fn no_retina(reasons: &[Reason]) -> bool {
    reasons.iter().any(|r| r.finding == Some(FindingKind::NoRetina))
}

/// Labels against anatomy.
fn label_reasons(o: &Observation, view: &View, labelled: Option<Eye>, rules: &Rules) -> Vec<Reason> {
    let Some(seen) = o.eye.inferred.filter(|_| o.eye.probability >= rules.eye.certain) else {
        return Vec::new();
    };
    let wrong = |rule: &str, said: Eye, what: &str| Reason {
        rule: rule.to_owned(),
        finding: Some(FindingKind::WrongEye),
        must: true,
        text: format!("{what} {}, the anatomy looks like {}", said.screen(), seen.screen()),
    };
    match (labelled, view.eye) {
        (Some(l), _) if l != seen => vec![wrong("label", l, "labelled")],
        (None, Some(v)) if v != seen => vec![wrong("view", v, "ordered is")],
        _ => Vec::new(),
    }
}

/// Whether a finding is the glare of oil or gas in the eye, which no try mends.
pub(crate) const fn glares(eye: &EyeState, kind: FindingKind) -> bool {
    (eye.oil || eye.gas) && matches!(kind, FindingKind::Reflex)
}

/// What one finding weighs, if anything.
fn finding_reason(f: &Finding, view: &View, eye: &EyeState, rules: &Rules) -> Option<Reason> {
    use FindingKind::{Blur, Haze, NoRetina, Overexposed, Smear, Underexposed};
    // A control frame is nearly black, and says so by showing nothing.
    if view.phase == Some(Phase::Control) && matches!(f.kind, NoRetina | Underexposed | Blur | Haze | Smear) {
        return None;
    }
    let rule = rules.of(f.kind, view.modality)?;
    if f.score < rule.score {
        return None;
    }
    // Late dye is judged on the disc's rim, not on vessels; the glare of oil or gas is no overexposure.
    let eased = view.phase == Some(Phase::Late) && f.kind == Blur
        || glares(eye, f.kind)
        || (eye.oil || eye.gas) && f.kind == Overexposed;
    let reached = rule.must.is_some_and(|m| f.fraction >= m);
    let must = reached && !eased;
    if !reached && !rule.should.is_some_and(|s| f.fraction >= s) {
        return None;
    }
    Some(Reason {
        rule: f.kind.word().to_owned(),
        finding: Some(f.kind),
        must,
        text: match f.side {
            Some(side) => format!("{} ({side}), {:.0} % of the picture", f.kind.screen(), f.fraction * 100.0),
            None if f.fraction > 0.0 => {
                format!("{}, {:.0} % of the picture", f.kind.screen(), f.fraction * 100.0)
            }
            None => f.kind.screen().to_owned(),
        },
    })
}

/// Mendable faults that cover retina, together.
fn obstructed_reason(o: &Observation, view: &View, rules: &Rules) -> Option<Reason> {
    let covering = || covering(o, view.modality, rules);
    let share = covered(o, covering(), |_, _| true);
    let must = share >= rules.obstructed.must;
    (share >= rules.obstructed.should).then(|| Reason {
        rule: "obstructed".to_owned(),
        finding: covering().max_by(|a, b| a.fraction.total_cmp(&b.fraction)).map(|f| f.kind),
        must,
        text: format!("{:.0} % of the picture is covered", share * 100.0),
    })
}

/// Reach, for views straight ahead.
fn reach_reasons(o: &Observation, view: &View, rules: &Rules) -> Vec<Reason> {
    let rule = &rules.reach;
    let Some(r) = o.reach.filter(|_| asks_reach(view) && rule.only.contains(&view.modality)) else {
        return Vec::new();
    };
    [
        ("superior", r.superior, rule.must_vertical, rule.should_vertical),
        ("inferior", r.inferior, rule.must_vertical, rule.should_vertical),
        ("nasal", r.nasal, rule.must_horizontal, rule.should_horizontal),
        ("temporal", r.temporal, rule.must_horizontal, rule.should_horizontal),
    ]
    .into_iter()
    .filter(|(_, reach, _, should)| reach < should)
    .map(|(side, reach, must, _)| Reason {
        rule: format!("reach {side}"),
        finding: None,
        must: reach < must,
        text: format!("reaches only {reach:.1} disc diameters on the {side} side"),
    })
    .collect()
}

/// Reach and the pole are asked of pictures straight ahead, and not of the moments of a dye run that ask for something else.
pub(crate) fn asks_reach(view: &View) -> bool {
    view.gaze == Gaze::Primary && matches!(view.phase, None | Some(Phase::Mid))
}

/// What to do next, apart from quality.
fn next_step(
    this: Try,
    reasons: &[Reason],
    eye: &EyeState,
    earlier: &[Try],
    rules: &Rules,
    advice: &mut Vec<String>,
) -> Next {
    let verdict = this.verdict;
    let mendable = reasons.iter().any(|r| {
        r.finding.is_some_and(|k| {
            !matches!(k, FindingKind::Floater | FindingKind::WrongEye | FindingKind::WrongModality)
        }) || r.rule.starts_with("reach")
            || r.rule == "gaze"
    });
    if verdict == Verdict::Usable || (verdict == Verdict::Limited && !mendable) {
        return Next::Keep;
    }
    // A wrong label is mended by a person, not by another picture.
    let label = |r: &Reason| matches!(r.finding, Some(FindingKind::WrongEye | FindingKind::WrongModality));
    if verdict == Verdict::NotUsable && reasons.iter().filter(|r| r.must).all(label) {
        return Next::Keep;
    }
    if !mendable {
        return Next::Stop;
    }
    let t = &rules.tries;
    let (stop, in_all) =
        if eye.spare { (t.stop_after_spare, t.stop_in_all_spare) } else { (t.stop_after, t.stop_in_all) };
    let hazy = this.leading == Some(FindingKind::Haze);
    // Haze that a blink and a clean surface lessen is worth going on; haze that stays is the eye's.
    let alike = |t: &&Try| {
        t.leading == this.leading
            && t.verdict != Verdict::Usable
            && (!hazy || (t.haze - this.haze).abs() <= rules.tries.same_haze * this.haze.max(t.haze))
    };
    let same = earlier.iter().rev().take_while(alike).count();
    if same + 1 >= stop || earlier.len() + 1 >= in_all {
        advice.insert(
            0,
            if hazy {
                "Stop here: the haze stays. Note it, and say today if it is new."
            } else {
                "Stop here: close this view with the best frame, or as not obtainable."
            }
            .to_owned(),
        );
        return Next::Stop;
    }
    if same + 1 >= rules.tries.change_after {
        advice.insert(
            0,
            "The same fault again: change something first (gaze, hand, clean surface, person).".to_owned(),
        );
    }
    // Readable with reservations is kept as well: the next try may be worse.
    Next::TryAgain
}
