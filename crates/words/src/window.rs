//! Time windows after the start of an injection.

use serde::de::Error as _;
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::fmt;
use std::str::FromStr;

/// A stretch of time counted from the start of the injection of the view's own dye, both ends included.
///
/// In TOML and JSON it is text, so that a clinic can read it.
///
/// ```
/// use serrata_words::Window;
/// let w: Window = "4 min to 6 min".parse()?;
/// assert_eq!((w.from_ms(), w.to_ms()), (240_000, 360_000));
/// assert_eq!("8 s to 35 s".parse::<Window>()?.to_string(), "8 s to 35 s");
/// assert_eq!("90 s to 5 min".parse::<Window>()?.to_string(), "90 s to 5 min");
/// # Ok::<(), serrata_words::WindowError>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Window {
    from_ms: u32,
    to_ms: u32,
}

/// Text that is no window.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum WindowError {
    /// Not of the form "4 min to 6 min".
    #[error("\"{0}\" is no time window; write it as \"8 s to 35 s\" or \"4 min to 6 min\"")]
    Form(String),
    /// It ends before it starts.
    #[error("the time window \"{0}\" ends before it starts; write the earlier time first")]
    Backwards(String),
    /// Longer after the injection than any dye shows.
    #[error("the time window \"{0}\" ends more than 120 min after the injection; no dye picture is due then")]
    TooLate(String),
}

/// The latest end of a window: two hours, well beyond late ICG (15–60 min).
const LATEST_MS: u32 = 120 * 60_000;

impl Window {
    /// From milliseconds.
    ///
    /// # Errors
    /// [`WindowError`] where it ends before it starts or later than two hours.
    pub fn from_millis(from_ms: u32, to_ms: u32) -> Result<Self, WindowError> {
        let w = Self { from_ms, to_ms };
        match (from_ms, to_ms) {
            (f, t) if f >= t => Err(WindowError::Backwards(w.to_string())),
            (_, t) if t > LATEST_MS => Err(WindowError::TooLate(w.to_string())),
            _ => Ok(w),
        }
    }

    /// First moment, milliseconds after the start of the injection.
    #[must_use]
    pub const fn from_ms(self) -> u32 {
        self.from_ms
    }

    /// Last moment, milliseconds after the start of the injection.
    #[must_use]
    pub const fn to_ms(self) -> u32 {
        self.to_ms
    }

    /// Whether a moment (ms after the start of the injection) lies in it.
    #[must_use]
    pub const fn contains(self, ms: i64) -> bool {
        ms >= self.from_ms as i64 && ms <= self.to_ms as i64
    }
}

impl fmt::Display for Window {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} to {}", said(self.from_ms), said(self.to_ms))
    }
}

/// Whole minutes from two minutes on, else seconds.
fn said(ms: u32) -> String {
    if ms >= 120_000 && ms.is_multiple_of(30_000) || ms == 60_000 {
        format!("{} min", f64::from(ms) / 60_000.0)
    } else {
        format!("{} s", f64::from(ms) / 1000.0)
    }
}

impl FromStr for Window {
    type Err = WindowError;
    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let form = || WindowError::Form(text.to_owned());
        let (from, to) = text.split_once(" to ").ok_or_else(form)?;
        let (from_ms, to_ms) = (moment(from).ok_or_else(form)?, moment(to).ok_or_else(form)?);
        if from_ms >= to_ms {
            return Err(WindowError::Backwards(text.to_owned()));
        }
        if to_ms > LATEST_MS {
            return Err(WindowError::TooLate(text.to_owned()));
        }
        Ok(Self { from_ms, to_ms })
    }
}

/// "8 s" or "1.5 min" in milliseconds.
fn moment(text: &str) -> Option<u32> {
    let (number, unit) = text.trim().split_once(' ')?;
    let scale = match unit.trim() {
        "s" => 1000.0,
        "min" => 60_000.0,
        _ => return None,
    };
    let ms = (number.parse::<f64>().ok()? * scale).round();
    // A day at most, so that the number fits; negative and not finite are refused too.
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // in range by the check
    (0.0..=86_400_000.0).contains(&ms).then_some(ms as u32)
}

impl Serialize for Window {
    fn serialize<S: Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        s.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Window {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        String::deserialize(d)?.parse().map_err(D::Error::custom)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn windows_come_back_from_text(a in 0u32..7_200_000, d in 1u32..7_200_000) {
            prop_assume!(a + d <= LATEST_MS);
            let w = Window::from_millis(a, a + d).unwrap();
            prop_assert_eq!(w.to_string().parse::<Window>(), Ok(w));
        }

        #[test]
        fn any_text_is_answered_without_a_panic(t in ".{0,40}") {
            let _ = t.parse::<Window>();
        }
    }

    #[test]
    fn impossible_windows_say_why() {
        let why = |t: &str| t.parse::<Window>().unwrap_err().to_string();
        assert!(why("6 min to 4 min").contains("before it starts"));
        assert!(why("4 min to 4 min").contains("before it starts"));
        assert!(why("1 min to 130 min").contains("120 min"));
        assert!(why("-1 s to 3 s").contains("write it as"));
        assert!(why("NaN s to 3 s").contains("write it as"));
        assert!(why("soon").contains("write it as"));
    }
}
