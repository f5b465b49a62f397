//! The camera's clock tied to ours by when its frames arrive.

/// How far an instrument's clock is behind the station's.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ClockTie {
    /// What is added to the instrument's times, microseconds; 0 where nothing speaks against two clocks that agree.
    pub offset_us: i64,
    /// Within what it may be wrong, microseconds.
    pub error_us: i64,
}

/// Most that the quickest frame of a live sender takes from the shutter to the station, microseconds (judgement).
const QUICKEST_US: i64 = 5_000_000;

/// Frames come live where they were taken over at least so long, and came with delays that differ by no more than
/// [`QUICKEST_US`]: frames that are sent together later come with delays as different as the times at which they were taken.
const SPAN_US: i64 = 20_000_000;

/// Ties a clock to ours: `frames` as (taken by its clock, received by ours), microseconds since 1970.
///
/// No frame comes before it is taken, so the offset is at most the least delay; and where at least three frames come live, it is
/// at most five seconds less than that. None where frames do not come live. Whole seconds and the like are the caller's
/// `granularity_us`.
///
/// Example: three frames over 30 s, each received 120.4 s after its own clock says: the clock is 117.9 ± 2.5 s behind.
#[must_use]
pub fn clock_tie(frames: &[(i64, i64)], granularity_us: i64) -> Option<ClockTie> {
    let delay = |f: &(i64, i64)| f.1.saturating_sub(f.0);
    let (least, most) = (frames.iter().map(delay).min()?, frames.iter().map(delay).max()?);
    let first = frames.iter().map(|f| f.0).min()?;
    let last = frames.iter().map(|f| f.0).max()?;
    let spread = QUICKEST_US.saturating_add(granularity_us);
    if frames.len() < 3 || last.saturating_sub(first) < SPAN_US || most.saturating_sub(least) > spread {
        return None;
    }
    let low = least.saturating_sub(spread);
    if (low..=least).contains(&0) {
        return Some(ClockTie { offset_us: 0, error_us: least.max(-low) });
    }
    Some(ClockTie { offset_us: low + (least - low) / 2, error_us: (least - low) / 2 + 1 })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_clock_that_is_two_minutes_behind_is_found_out() {
        let frames: Vec<(i64, i64)> =
            (0..4).map(|k| (k * 10_000_000, k * 10_000_000 + 120_400_000)).collect();
        let tie = clock_tie(&frames, 0).unwrap();
        assert_eq!(tie, ClockTie { offset_us: 117_900_000, error_us: 2_500_001 });
    }

    #[test]
    fn frames_sent_together_later_say_nothing() {
        let frames: Vec<(i64, i64)> = (0..8).map(|k| (k * 10_000_000, 300_000_000 + k * 400_000)).collect();
        assert_eq!(clock_tie(&frames, 0), None);
        assert_eq!(clock_tie(&[(0, 1)], 0), None);
    }

    proptest! {
        #[test]
        fn the_true_offset_lies_within_the_error(
            offset in -600_000_000i64..600_000_000,
            delays in proptest::collection::vec(100_000i64..4_900_000, 3..12),
        ) {
            let frames: Vec<(i64, i64)> = delays
                .iter()
                .zip(0i64..)
                .map(|(d, k)| (k * 11_000_000, k * 11_000_000 + offset + d))
                .collect();
            let tie = clock_tie(&frames, 0).unwrap();
            prop_assert!((tie.offset_us - offset).abs() <= tie.error_us, "{:?} {}", tie, offset);
        }
    }
}
