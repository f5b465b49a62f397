//! The numbers behind a verdict, as a clinic can read and change them.

use serde::{Deserialize, Serialize};
use serrata_words::{FindingKind, Modality};

/// Rules of judging. [`Rules::default`] are those that come with Serrata (`rules/default.toml`).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Rules {
    /// What each finding weighs.
    pub finding: Vec<FindingRule>,
    /// Share of the aperture lost to mendable faults together.
    pub obstructed: Limits,
    /// Macula and disc, straight ahead. Rules of a clinic that leave it out take the one that comes with Serrata.
    #[serde(default = "shipped_pole")]
    pub pole: PoleRule,
    /// Reach of the visible retina.
    pub reach: ReachRule,
    /// Pictures with the gaze turned.
    pub turned: TurnedRule,
    /// Where to look next.
    pub look: LookRule,
    /// Labels of the eye.
    pub eye: EyeRule,
    /// Tries.
    pub tries: TryRule,
}

/// What one kind of finding weighs.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FindingRule {
    /// The finding.
    pub kind: FindingKind,
    /// Kinds of picture that the rule is for; none named: all.
    #[serde(default)]
    pub only: Vec<Modality>,
    /// Score from which the finding counts.
    pub score: f64,
    /// Share of the aperture from which the frame is not usable, if ever.
    #[serde(default)]
    pub must: Option<f64>,
    /// Share of the aperture from which the frame is usable with reservations, if ever.
    #[serde(default)]
    pub should: Option<f64>,
    /// Where the numbers come from.
    pub because: String,
}

/// A must and a should.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Limits {
    /// From here on not usable.
    pub must: f64,
    /// From here on with reservations.
    pub should: f64,
    /// Where the numbers come from.
    pub because: String,
}

/// What must not be hidden straight ahead: the macula and the disc.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PoleRule {
    /// Kinds of picture that it is for.
    pub only: Vec<Modality>,
    /// Findings that it is for: those that another try mends.
    pub kinds: Vec<FindingKind>,
    /// Findings that may be the eye's own: there they are a reservation, from `perhaps_score` on.
    #[serde(default)]
    pub perhaps: Vec<FindingKind>,
    /// Score from which on these weigh.
    #[serde(default = "perhaps_score")]
    pub perhaps_score: f64,
    /// Distance from the fovea within which they count, disc diameters.
    pub fovea: f64,
    /// Probability of disc and fovea from which on they are taken.
    pub certain: f64,
    /// Where the numbers come from.
    pub because: String,
}

/// How far the visible retina has to reach, in disc diameters.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ReachRule {
    /// Kinds of picture that it is for.
    pub only: Vec<Modality>,
    /// Must, up and down.
    pub must_vertical: f64,
    /// Must, to both sides.
    pub must_horizontal: f64,
    /// Should, up and down.
    pub should_vertical: f64,
    /// Should, to both sides.
    pub should_horizontal: f64,
    /// Where the numbers come from.
    pub because: String,
}

/// What a picture with the gaze turned has to show.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TurnedRule {
    /// How far the gaze may lie beside the sector asked for, in degrees.
    pub sector_deg: f64,
    /// Least displacement of disc or fovea that tells a direction, as a share of the picture's shorter side.
    pub least_shift: f64,
    /// By how much it has to reach further into the sector than the ahead frame, in disc diameters.
    pub must_further: f64,
    /// By how much it should.
    pub should_further: f64,
    /// Share of the sector from which on what covers it makes the picture not usable.
    pub sector_lost: f64,
    /// Where the numbers come from.
    pub because: String,
}

/// When a gaze is worth proposing.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LookRule {
    /// Least gain, as a share of the retina that is wanted.
    pub least: f64,
    /// How far a gaze is turned where the instrument's profile says nothing, in degrees of eye angle.
    pub range_deg: f64,
    /// How far from the middle of its field a view is wanted, in degrees of eye angle.
    pub wanted_deg: f64,
    /// Where the numbers come from.
    pub because: String,
}

/// When a label of the eye is called wrong.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct EyeRule {
    /// Probability of the other eye from which on it is.
    pub certain: f64,
    /// Where the number comes from.
    pub because: String,
}

/// When to change something, and when to stop.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TryRule {
    /// Tries with the same leading fault after which something else has to change.
    pub change_after: usize,
    /// Tries with the same leading fault after which to stop.
    pub stop_after: usize,
    /// The same for a person to be spared.
    pub stop_after_spare: usize,
    /// Tries in all on a view after which to stop.
    pub stop_in_all: usize,
    /// The same for a person to be spared.
    pub stop_in_all_spare: usize,
    /// How much the haze of two tries may differ and still be the same, as a share.
    pub same_haze: f64,
    /// Tries at a late dye view, after which the best is kept.
    pub late: usize,
    /// Share of the picture that another try has to win, unless it lifts a must.
    pub gain: f64,
    /// Where the numbers come from.
    pub because: String,
}

/// Rules that cannot be read, with line and reason.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("the rules cannot be read: {0}")]
pub struct RulesError(String);

impl Rules {
    /// Reads rules.
    ///
    /// # Errors
    /// [`RulesError`] with line and reason.
    pub fn from_toml(text: &str) -> Result<Self, RulesError> {
        toml::from_str(text).map_err(|e| RulesError(e.to_string().trim().to_owned()))
    }

    /// The rule for a finding in a kind of picture: the first that names the kind, else the first for all.
    #[must_use]
    pub fn of(&self, kind: FindingKind, modality: Modality) -> Option<&FindingRule> {
        let of_kind = || self.finding.iter().filter(|r| r.kind == kind);
        of_kind().find(|r| r.only.contains(&modality)).or_else(|| of_kind().find(|r| r.only.is_empty()))
    }
}

impl Default for Rules {
    fn default() -> Self {
        #[allow(clippy::expect_used)] // the text is part of the program; a test reads it
        Self::from_toml(include_str!("../rules/default.toml")).expect("the rules that come with the program")
    }
}

const fn perhaps_score() -> f64 {
    0.5
}

fn shipped_pole() -> PoleRule {
    Rules::default().pole
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_default_rules_read_and_give_reasons() {
        let r = Rules::default();
        assert!(r.finding.iter().all(|f| !f.because.is_empty()));
        assert!(r.of(FindingKind::Blink, Modality::Colour).is_some());
    }

    #[test]
    fn a_rule_for_one_kind_of_picture_wins() {
        let mut r = Rules::default();
        let mut own = r.of(FindingKind::Blur, Modality::Fa).unwrap().clone();
        own.only = vec![Modality::Fa];
        own.score = 0.9;
        r.finding.push(own);
        assert!((r.of(FindingKind::Blur, Modality::Fa).unwrap().score - 0.9).abs() < 1e-9);
        assert!((r.of(FindingKind::Blur, Modality::Colour).unwrap().score - 0.9).abs() > 0.1);
    }

    #[test]
    fn rules_without_the_pole_take_the_shipped_one() {
        let text = include_str!("../rules/default.toml");
        let (before, after) = (text.find("[pole]").unwrap(), text.find("# Reach from the fovea").unwrap());
        let older = format!("{}{}", &text[..before], &text[after..]);
        assert_eq!(Rules::from_toml(&older).unwrap(), Rules::default());
    }

    /// A clinic's file from before the reservation at the pole.
    #[test]
    fn a_pole_without_a_reservation_reads_and_has_none() {
        let text = include_str!("../rules/default.toml");
        let older: String =
            text.lines().filter(|l| !l.starts_with("perhaps")).map(|l| format!("{l}\n")).collect();
        assert!(older.len() < text.len());
        assert!(Rules::from_toml(&older).unwrap().pole.perhaps.is_empty());
    }

    #[test]
    fn errors_name_the_line() {
        assert!(Rules::from_toml("finding = 3").unwrap_err().to_string().contains("line 1"));
    }
}
