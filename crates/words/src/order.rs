//! Orders: what the clinician asked for.

use crate::{Eye, Personal};
use serde::{Deserialize, Serialize};

crate::words! {
    /// Where an order came from.
    OrderSource("order source") {
        /// The hospital's worklist.
        Worklist = "worklist",
        /// A table.
        Csv = "csv",
        /// Typed in.
        Typed = "typed",
    }
}

crate::words! {
    /// Whether an order stands.
    OrderState("order state") {
        /// It stands.
        Open = "open",
        /// Whoever asked took it back.
        Cancelled = "cancelled",
    }
}

/// A day of birth. Shown with the month in letters, since day and month are swapped between countries.
///
/// ```
/// use serrata_words::BirthDate;
/// let d = BirthDate::parse("1961-02-03").unwrap();
/// assert_eq!(d.screen(), "3 Feb 1961");
/// assert_eq!(BirthDate::parse("19610203"), Some(d)); // as DICOM writes it
/// assert_eq!(BirthDate::parse("03/02/1961"), None); // nobody can tell day from month
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct BirthDate {
    year: u16,
    month: u8,
    day: u8,
}

const MONTHS: [&str; 12] =
    ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];

impl BirthDate {
    /// From `YYYY-MM-DD` or DICOM's `YYYYMMDD`; `None` for anything else and for days that do not exist.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        let digits: String = match text.len() {
            8 => text.to_owned(),
            10 if text.as_bytes()[4] == b'-' && text.as_bytes()[7] == b'-' => text.replace('-', ""),
            _ => return None,
        };
        if digits.len() != 8 || !digits.bytes().all(|b| b.is_ascii_digit()) {
            return None;
        }
        let (year, month, day) =
            (digits[..4].parse().ok()?, digits[4..6].parse().ok()?, digits[6..].parse().ok()?);
        let leap = year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
        let days = match month {
            1 | 3 | 5 | 7 | 8 | 10 | 12 => 31,
            4 | 6 | 9 | 11 => 30,
            2 if leap => 29,
            2 => 28,
            _ => return None,
        };
        (year >= 1850 && (1..=days).contains(&day)).then_some(Self { year, month, day })
    }

    /// With the month in letters.
    #[must_use]
    pub fn screen(self) -> String {
        format!("{} {} {}", self.day, MONTHS[usize::from(self.month) - 1], self.year)
    }

    /// `YYYY-MM-DD`.
    #[must_use]
    pub fn iso(self) -> String {
        format!("{:04}-{:02}-{:02}", self.year, self.month, self.day)
    }

    /// Full years on a day (`year`, `month`, `day`); 0 before birth.
    #[must_use]
    pub fn years_on(self, year: u16, month: u8, day: u8) -> u16 {
        let had = (month, day) >= (self.month, self.day);
        year.saturating_sub(self.year).saturating_sub(u16::from(!had && year > self.year))
    }
}

impl TryFrom<String> for BirthDate {
    type Error = String;
    fn try_from(text: String) -> Result<Self, Self::Error> {
        Self::parse(&text).ok_or_else(|| "a date of birth is written YYYY-MM-DD".to_owned())
    }
}

impl From<BirthDate> for String {
    fn from(d: BirthDate) -> Self {
        d.iso()
    }
}

/// Who a patient is said to be: what two people compare aloud.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct Identity {
    /// The clinic's number for the patient.
    pub patient_id: Personal<String>,
    /// Who gave that number, where known.
    pub issuer: Option<String>,
    /// Family name.
    pub family: Personal<String>,
    /// Given names.
    pub given: Personal<String>,
    /// Day of birth, where known.
    pub born: Personal<Option<BirthDate>>,
    /// `F`, `M`, `O`, or none, as DICOM writes it.
    pub sex: Option<String>,
}

/// What the clinician asked for.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Order {
    /// The order's number (DICOM accession number), or a provisional one.
    pub number: String,
    /// Whether the number was made here because the worklist was out of reach; merged later by a person who sees both.
    pub provisional: bool,
    /// Where it came from.
    pub source: OrderSource,
    /// Whether it stands.
    pub state: OrderState,
    /// For whom.
    pub identity: Identity,
    /// DICOM Study Instance UID, where the worklist gave one.
    pub study_uid: Option<String>,
    /// When, local time as given, `YYYY-MM-DDTHH:MM`, or none.
    pub scheduled: Option<String>,
    /// What was asked, in the clinician's words.
    pub asked: String,
    /// The protocol that it stands for, where known.
    pub protocol: Option<String>,
    /// Eyes that were ordered; both where the order is silent.
    pub eyes: Vec<Eye>,
    /// The transit eye of a dye run: asked of the clinician, never assumed.
    pub transit: Option<Eye>,
    /// Options of the protocol that were ordered, for example "full".
    pub options: Vec<String>,
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn dates_come_back_and_nothing_panics(t in "[0-9-]{0,12}") {
            if let Some(d) = BirthDate::parse(&t) {
                prop_assert_eq!(BirthDate::parse(&d.iso()), Some(d));
            }
        }
        #[test]
        fn any_text_is_answered(t in ".{0,12}") {
            let _ = BirthDate::parse(&t);
        }
    }

    #[test]
    fn days_that_do_not_exist_are_no_dates() {
        assert_eq!(BirthDate::parse("1961-02-29"), None);
        assert!(BirthDate::parse("2000-02-29").is_some());
        assert_eq!(BirthDate::parse("1961-13-01"), None);
        let d = BirthDate::parse("2020-06-15").unwrap();
        assert_eq!((d.years_on(2026, 6, 14), d.years_on(2026, 6, 15), d.years_on(2019, 1, 1)), (5, 6, 0));
    }
}
