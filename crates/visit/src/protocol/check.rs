use super::Protocol;
use super::wanted::{EyeWanted, GazeWanted, Wanted};
use serde::Deserialize;
use serrata_words::{Modality, Phase};
use std::collections::BTreeMap;
use std::fmt;
use toml::Spanned;

/// One fault of a protocol's text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ProtocolFault {
    /// Line, from 1.
    pub line: usize,
    /// What is wrong and what to do.
    pub reason: String,
}

/// Why a protocol cannot be used: all faults, in order of lines.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ProtocolError {
    /// The faults.
    pub faults: Vec<ProtocolFault>,
}

impl fmt::Display for ProtocolError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (i, fault) in self.faults.iter().enumerate() {
            write!(f, "{}line {}: {}", if i > 0 { "; " } else { "" }, fault.line, fault.reason)?;
        }
        Ok(())
    }
}

impl std::error::Error for ProtocolError {}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Raw {
    name: Spanned<String>,
    title: String,
    source: Spanned<String>,
    #[serde(default)]
    notes: Vec<String>,
    #[serde(default)]
    options: BTreeMap<String, String>,
    #[serde(default)]
    one_shot: Vec<Spanned<String>>,
    #[serde(default)]
    repeats_earlier: bool,
    #[serde(rename = "view", default)]
    wanted: Vec<Spanned<Wanted>>,
}

pub(super) fn read(text: &str) -> Result<Protocol, ProtocolError> {
    let line_of = |at: usize| 1 + text.as_bytes().iter().take(at).filter(|b| **b == b'\n').count();
    let raw: Raw = toml::from_str(text).map_err(|e| {
        let line = e.span().map_or(1, |s| line_of(s.start));
        ProtocolError { faults: vec![ProtocolFault { line, reason: e.message().trim().to_owned() }] }
    })?;
    let mut faults = Vec::new();
    let mut fault = |at: usize, reason: String| faults.push(ProtocolFault { line: line_of(at), reason });
    if raw.name.get_ref().trim().is_empty() || raw.name.get_ref().contains(char::is_whitespace) {
        fault(raw.name.span().start, "the name is for files and commands; write it without spaces".into());
    }
    if raw.source.get_ref().trim().is_empty() {
        fault(
            raw.source.span().start,
            "say where the list comes from, or \"common practice, no source\"".into(),
        );
    }
    if raw.wanted.is_empty() && !raw.repeats_earlier {
        fault(raw.name.span().start, "the protocol lists no views; add at least one [[view]]".into());
    }
    for (i, spanned) in raw.wanted.iter().enumerate() {
        let (v, at) = (spanned.get_ref(), spanned.span().start);
        if raw.wanted[..i].iter().any(|w| w.get_ref().name == v.name) {
            fault(at, format!("two views are called \"{}\"; give each its own name", v.name));
        }
        for reason in of_view(v, &raw.options) {
            fault(at, format!("view \"{}\": {reason}", v.name));
        }
    }
    for s in &raw.one_shot {
        if !raw.wanted.iter().any(|w| w.get_ref().name == *s.get_ref()) {
            fault(s.span().start, format!("the short form names \"{}\", which is no view here", s.get_ref()));
        }
    }
    if faults.is_empty() {
        return Ok(Protocol {
            name: raw.name.into_inner(),
            title: raw.title,
            source: raw.source.into_inner(),
            notes: raw.notes,
            options: raw.options,
            one_shot: raw.one_shot.into_iter().map(Spanned::into_inner).collect(),
            repeats_earlier: raw.repeats_earlier,
            wanted: raw.wanted.into_iter().map(Spanned::into_inner).collect(),
        });
    }
    faults.sort_by_key(|f| f.line);
    Err(ProtocolError { faults })
}

/// Everything that is wrong with one view.
fn of_view(v: &Wanted, options: &BTreeMap<String, String>) -> Vec<String> {
    let mut said = Vec::new();
    let dye = v.modality.is_dye();
    if v.name.trim().is_empty() {
        said.push("it has no name".to_owned());
    }
    if v.window.is_some() && !dye {
        said.push(format!(
            "a time window counts from an injection, and {} needs none; take the window out",
            v.modality
        ));
    }
    if v.window.is_some() && v.before_dye {
        said.push(
            "it cannot come before dye and have a time after the injection; keep one of the two".to_owned(),
        );
    }
    if dye && v.window.is_none() && !v.before_dye {
        said.push("a dye picture needs a window, or before_dye = true for the control frame".to_owned());
    }
    if v.phase == Some(Phase::Control) && !v.before_dye {
        said.push("the control frame comes before dye; write before_dye = true".to_owned());
    }
    if v.phase.is_some() && !dye {
        said.push("only a dye picture has a phase; take the phase out".to_owned());
    }
    if v.modality == Modality::Faf && !v.before_dye {
        said.push("autofluorescence after fluorescein is never usable; write before_dye = true".to_owned());
    }
    if v.phase == Some(Phase::Transit) && v.set.is_none() {
        said.push("a transit is judged as a set; add set = { frames = …, max_gap_s = … }".to_owned());
    }
    if let Some(set) = v.set {
        said.extend(of_set(&set, v));
    }
    if v.if_reach_fails && v.gaze == GazeWanted::Primary {
        said.push(
            "if_reach_fails is for turned gazes; the ahead frame is what they are held against".to_owned(),
        );
    }
    if v.eye == EyeWanted::Fellow && v.phase == Some(Phase::Transit) {
        said.push("the transit is of the transit eye; write eye = \"transit\"".to_owned());
    }
    for o in v.must_when.iter().chain(&v.should_when).chain(&v.only_when) {
        if !options.contains_key(o) {
            let known: Vec<&str> = options.keys().map(String::as_str).collect();
            let known = if known.is_empty() { "none is declared".to_owned() } else { known.join(", ") };
            said.push(format!("\"{o}\" is no option; declare it in [options] ({known})"));
        }
    }
    said
}

fn of_set(set: &serrata_words::SetRule, v: &Wanted) -> Vec<String> {
    let mut said = Vec::new();
    let wrong = |x: Option<f64>| x.is_some_and(|x| !(x > 0.0 && x <= 3600.0));
    if wrong(set.max_gap_s) || wrong(set.wanted_gap_s) || wrong(set.pair_s) {
        said.push("gaps are seconds above 0 and at most an hour".to_owned());
    }
    if set.pair_with.is_some() != set.pair_s.is_some() {
        said.push("a pair needs both pair_with and pair_s".to_owned());
    }
    if set.pair_with == Some(v.modality) {
        said.push("a pair is of two kinds of picture; name the other kind in pair_with".to_owned());
    }
    if set.frames == 0 && set.max_gap_s.is_none() && set.pair_with.is_none() {
        said.push("the set asks for nothing; give frames, max_gap_s or a pair".to_owned());
    }
    said
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const HEAD: &str = "name = \"x\"\ntitle = \"X\"\nsource = \"s\"\n";
    const VIEW: &str =
        "[[view]]\nname = \"v\"\neye = \"R\"\nmodality = \"fa\"\ngaze = \"up\"\nrank = \"must\"\n";

    fn said(rest: &str) -> String {
        read(&format!("{HEAD}{rest}")).unwrap_err().to_string()
    }

    #[test]
    fn errors_name_the_line_and_the_reason() {
        let eye = said("[[view]]\nname = \"v\"\neye = \"Q\"\n");
        assert!(eye.starts_with("line 6:") && eye.contains('Q'), "{eye}");
        let gaze = said(&VIEW.replace("\"up\"", "\"sideways\""));
        assert!(
            gaze.starts_with("line 8:") && gaze.contains("sideways") && gaze.contains("temporal"),
            "{gaze}"
        );
        let window = said(&format!("{VIEW}window = \"6 min to 4 min\"\n"));
        assert!(window.starts_with("line 10:") && window.contains("before it starts"), "{window}");
    }

    #[test]
    fn all_faults_are_named_at_once() {
        let text = format!(
            "{VIEW}{}",
            VIEW.replace("\"fa\"", "\"faf\"").replace("rank", "must_when = [\"full\"]\nrank")
        );
        let e = read(&format!("{HEAD}one_shot = [\"no\"]\n{text}")).unwrap_err();
        let all = e.to_string();
        for part in ["short form", "needs a window", "two views", "never usable", "no option"] {
            assert!(all.contains(part), "{part}: {all}");
        }
        assert!(e.faults.windows(2).all(|w| w[0].line <= w[1].line));
    }

    #[test]
    fn an_empty_protocol_is_refused() {
        assert!(said("").contains("lists no views"));
    }

    proptest! {
        #[test]
        fn any_text_is_answered_without_a_panic(t in ".{0,80}") {
            let _ = read(&t);
            let _ = read(&format!("{HEAD}[[view]]\n{t}"));
        }
    }
}
