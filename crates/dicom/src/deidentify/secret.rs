//! Numbers, dates and names of a copy: made of the originals and a secret, so that all copies of one house fit together and
//! nobody without the secret finds the way back.

use crate::{uid, when};
use sha2::{Digest, Sha256};

/// Longest shift, days: beyond a year, so that a season does not stay (judgement).
const LONGEST_DAYS: u64 = 1000;

/// A secret of the house that hands over.
#[derive(Clone, Copy, PartialEq, Eq)]
pub struct Secret(pub [u8; 32]);

impl std::fmt::Debug for Secret {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Secret")
    }
}

impl Secret {
    fn of(&self, what: &str, text: &str) -> [u8; 32] {
        let mut hash = Sha256::new();
        // Twice, inside and outside, so that nothing can be added to it.
        hash.update(self.0);
        hash.update(what);
        hash.update([0]);
        hash.update(text);
        let inner = hash.finalize();
        let mut hash = Sha256::new();
        hash.update(self.0);
        hash.update(inner);
        hash.finalize().into()
    }

    /// The number that stands for a UID in every copy.
    ///
    /// ```
    /// let secret = serrata_dicom::Secret([7; 32]);
    /// assert_eq!(secret.uid("1.2.3"), secret.uid("1.2.3"));
    /// assert_ne!(secret.uid("1.2.3"), serrata_dicom::Secret([8; 32]).uid("1.2.3"));
    /// ```
    #[must_use]
    pub fn uid(&self, original: &str) -> String {
        uid::derived(&self.of("uid", original))
    }

    /// Days by which all dates of a patient are moved, from −1000 to −1: whole days, so that the time of day, and with it the
    /// clock of a dye run, stays.
    #[must_use]
    #[allow(clippy::cast_possible_wrap)] // up to a thousand
    pub fn days(&self, patient_id: &str) -> i64 {
        let h = self.of("days", patient_id);
        let n = u64::from_le_bytes([h[0], h[1], h[2], h[3], h[4], h[5], h[6], h[7]]);
        -((n % LONGEST_DAYS) as i64) - 1
    }

    /// A code for a patient, ten letters and digits after `C-`.
    #[must_use]
    pub fn code(&self, patient_id: &str) -> String {
        const LETTERS: &[u8] = b"23456789ABCDEFGHJKLMNPQRSTUVWXYZ";
        let h = self.of("code", patient_id);
        let text: String = h[..10].iter().map(|b| char::from(LETTERS[usize::from(*b) % 32])).collect();
        format!("C-{text}")
    }
}

/// A DA or DT value moved by whole days; none where it is no date. What follows the day stays.
pub(super) fn moved(value: &str, days: i64) -> Option<String> {
    let value = value.trim_matches([' ', '\0']);
    let day = value.get(..8).filter(|d| d.bytes().all(|b| b.is_ascii_digit()))?;
    let date = when::date(day)?;
    let moved = date.checked_add(jiff::Span::new().try_days(days).ok()?).ok()?;
    Some(format!("{:04}{:02}{:02}{}", moved.year(), moved.month(), moved.day(), &value[8..]))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn dates_move_by_whole_days_and_back(y in 1900i32..2100, m in 1u32..=12, d in 1u32..=28, days in -1000i64..0, rest in "[0-9.+]{0,12}") {
            let value = format!("{y:04}{m:02}{d:02}{rest}");
            let there = moved(&value, days).unwrap();
            prop_assert_ne!(&there, &value);
            prop_assert_eq!(moved(&there, -days).unwrap(), value);
            prop_assert_eq!(&there[8..], &rest);
        }

        #[test]
        fn any_text_is_taken(text in "\\PC{0,20}", days in -1000i64..0) {
            let _ = moved(&text, days);
        }
    }

    #[test]
    fn what_stands_for_a_patient_is_the_same_for_one_secret_only() {
        let (a, b) = (Secret([1; 32]), Secret([2; 32]));
        assert_eq!(a.code("P1"), a.code("P1"));
        assert_ne!(a.code("P1"), a.code("P2"));
        assert_ne!(a.code("P1"), b.code("P1"));
        assert!((-1000..0).contains(&a.days("P1")));
        assert!(uid::is_valid(&a.uid("1.2.3")));
        assert_eq!(format!("{a:?}"), "Secret");
    }
}
