//! Points in time, with the clock that said so.

use serde::{Deserialize, Serialize};

/// A time as one clock told it. Elapsed times between two clocks carry both granularities and offsets.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Stamp {
    /// Microseconds since 1970-01-01T00:00:00Z. Where `offset_minutes` is null the reading was local time
    /// taken as if it were UTC.
    pub utc_us: i64,
    /// Zone offset east of UTC in minutes, or null where the clock did not say.
    pub offset_minutes: Option<i32>,
    /// Granularity in microseconds: 1 000 000 for a clock that tells whole seconds.
    pub granularity_us: i64,
    /// Which clock: "station", or an instrument's name.
    pub clock: String,
}
