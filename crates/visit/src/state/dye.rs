//! Facts around the needle: a touch starts a clock, the record is filled in later.

use super::VisitFacts;
use crate::Dye;
use serrata_words::{Drug, Fact, Injection, Modality, Route, Stamp};

/// A record that starts this near a touched start is that injection's, microseconds.
const SAME_US: u64 = 60_000_000;

impl VisitFacts {
    pub(super) fn of_dye(&mut self, fact: &Fact) -> Result<(), String> {
        match fact {
            Fact::NeedleBegan { drug, route, start_us, start_error_us } => {
                self.injections.push(touched(*drug, *route, *start_us, *start_error_us));
            }
            Fact::NeedleEnded { drug, end_us } => {
                let i = self.injections.iter_mut().rev().find(|i| i.drug == *drug);
                let i = i.ok_or_else(|| format!("no injection of {drug} was begun"))?;
                #[allow(clippy::cast_precision_loss)] // microseconds of some seconds
                let seconds = end_us.saturating_sub(i.start_us) as f64 / 1e6;
                if seconds < 0.0 {
                    return Err("it ended before it began".to_owned());
                }
                i.seconds = Some(seconds);
            }
            Fact::Injected { injection } => {
                // A record of the same start is that record written anew.
                let same = |i: &&mut Injection| {
                    let off = i.start_us.abs_diff(injection.start_us);
                    i.drug == injection.drug && (off == 0 || (only_touched(i) && off <= SAME_US))
                };
                match self.injections.iter_mut().rev().find(same) {
                    // The touch was made at the moment itself: its times stand.
                    Some(i) => {
                        let (start_us, start_error_us) = (i.start_us, i.start_error_us);
                        let seconds = i.seconds.or(injection.seconds);
                        *i = Injection { start_us, start_error_us, seconds, ..(**injection).clone() };
                    }
                    None => self.injections.push((**injection).clone()),
                }
            }
            Fact::RunStopped => self.run_stopped = true,
            Fact::RunResumed => self.run_stopped = false,
            Fact::RunModeChosen { mode } => self.run_mode = *mode,
            _ => {}
        }
        Ok(())
    }

    /// Injections as clocks.
    #[must_use]
    pub fn dyes(&self) -> Vec<Dye> {
        let one = |i: &Injection| Dye {
            modality: shown_by(i.drug),
            start_us: i.start_us,
            error_us: i.start_error_us,
            by_mouth: i.route == Route::Mouth,
        };
        self.injections.iter().map(one).collect()
    }

    /// The same, with a dye that nobody marked taken from the frames' own headers (Contrast/Bolus Start Time): the earliest
    /// start of each kind. What a person marked comes before any header.
    #[must_use]
    pub fn dyes_with(&self, headers: &[(Modality, Stamp)]) -> Vec<Dye> {
        let mut all = self.dyes();
        for modality in [Modality::Fa, Modality::Icg] {
            if all.iter().any(|d| d.modality == modality) {
                continue;
            }
            let said = headers.iter().filter(|(m, _)| *m == modality).min_by_key(|(_, s)| s.utc_us);
            all.extend(said.map(|(_, s)| Dye {
                modality,
                start_us: s.utc_us,
                error_us: s.granularity_us,
                by_mouth: false,
            }));
        }
        all
    }
}

/// The kind of picture that shows a dye.
const fn shown_by(drug: Drug) -> Modality {
    match drug {
        Drug::Fluorescein => Modality::Fa,
        Drug::Icg => Modality::Icg,
    }
}

fn touched(drug: Drug, route: Route, start_us: i64, start_error_us: i64) -> Injection {
    Injection {
        drug,
        route,
        prescribed_by: String::new(),
        given_by: String::new(),
        site: String::new(),
        flow_checked: false,
        strength: None,
        lot: String::new(),
        expiry: String::new(),
        mg: None,
        rule: None,
        second_person: None,
        seconds: None,
        start_us,
        start_error_us,
    }
}

/// Whether nothing but a touch is known of an injection: its record is still to be filled in.
#[must_use]
pub fn only_touched(i: &Injection) -> bool {
    i.prescribed_by.is_empty() && i.given_by.is_empty() && i.lot.is_empty() && i.mg.is_none()
}
