//! Who acts, and when.

use std::borrow::Cow;
use std::time::{SystemTime, UNIX_EPOCH};

/// Who does something, and when: both go into the audit trail.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct By {
    /// `station` for what the program does by itself, else the id of an account; never a person's name.
    pub who: Cow<'static, str>,
    /// When, in microseconds since 1970-01-01T00:00:00Z by the station's clock.
    pub at_us: i64,
}

impl By {
    /// The program itself, now.
    #[must_use]
    pub fn station() -> Self {
        Self { who: Cow::Borrowed("station"), at_us: now_us() }
    }

    /// The person behind an account, now. `account` is the account's id, not a name.
    pub fn person(account: impl Into<String>) -> Self {
        Self { who: Cow::Owned(account.into()), at_us: now_us() }
    }

    /// The same at another time.
    #[must_use]
    pub fn at(mut self, at_us: i64) -> Self {
        self.at_us = at_us;
        self
    }
}

/// The station's clock in microseconds since 1970; 0 where the clock stands before that.
fn now_us() -> i64 {
    let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
    i64::try_from(since.as_micros()).unwrap_or(i64::MAX)
}
