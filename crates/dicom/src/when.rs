//! Dates and times of DICOM (DA, TM, DT) to and from [`Stamp`].

use jiff::civil::{Date, DateTime, Time};
use serrata_words::Stamp;

/// A reading: local time and its granularity in µs.
struct Reading {
    time: Time,
    granularity_us: i64,
}

/// A stamp from a DT value, with the object's zone offset where the value has none of its own.
pub(crate) fn from_dt(dt: &str, zone: Option<i32>, clock: &str) -> Option<Stamp> {
    let (local, own) = match dt.rfind(['+', '-']) {
        Some(at) => (&dt[..at], offset(&dt[at..])),
        None => (dt, None),
    };
    from_da_tm(local.get(..8)?, local.get(8..)?, own.or(zone), clock)
}

/// A stamp from a date and a time.
pub(crate) fn from_da_tm(da: &str, tm: &str, zone: Option<i32>, clock: &str) -> Option<Stamp> {
    let date = date(da)?;
    let reading = time(tm)?;
    let local = DateTime::from_parts(date, reading.time).to_zoned_datetime(jiff::tz::TimeZone::UTC).ok()?;
    let utc_us = local.timestamp().as_microsecond() - i64::from(zone.unwrap_or(0)) * 60_000_000;
    Some(Stamp {
        utc_us,
        offset_minutes: zone,
        granularity_us: reading.granularity_us,
        clock: clock.to_owned(),
    })
}

/// `YYYYMMDD`, also the old form with dots.
pub(crate) fn date(da: &str) -> Option<Date> {
    let digits: String = da.trim().chars().filter(|c| *c != '.').collect();
    if digits.len() != 8 || !digits.bytes().all(|b| b.is_ascii_digit()) {
        return None;
    }
    Date::new(digits[..4].parse().ok()?, digits[4..6].parse().ok()?, digits[6..].parse().ok()?).ok()
}

/// `HH`, `HHMM`, `HHMMSS` or `HHMMSS.F…`, also the old form with colons.
fn time(tm: &str) -> Option<Reading> {
    let text: String = tm.trim().chars().filter(|c| *c != ':').collect();
    let (whole, fraction) = text.split_once('.').unwrap_or((&text, ""));
    let digits = |s: &str| s.bytes().all(|b| b.is_ascii_digit());
    if !digits(whole) || !digits(fraction) || fraction.len() > 6 {
        return None;
    }
    let part = |i: usize| whole.get(i..i + 2).map_or(Some(0), |s| s.parse::<i8>().ok());
    let granularity_us = match (whole.len(), fraction.len()) {
        (2, 0) => 3_600_000_000,
        (4, 0) => 60_000_000,
        (6, n) => 10i64.pow(6 - u32::try_from(n).ok()?),
        _ => return None,
    };
    let micro: i32 = format!("{fraction:0<6}").parse().ok()?;
    // A leap second is told as :60.
    let time = Time::new(part(0)?, part(2)?, part(4)?.min(59), micro * 1000).ok()?;
    Some(Reading { time, granularity_us })
}

/// `+0900` or `-0330` in minutes.
pub(crate) fn offset(text: &str) -> Option<i32> {
    let (sign, digits) = match text.trim().split_at_checked(1)? {
        ("+", d) => (1, d),
        ("-", d) => (-1, d),
        _ => return None,
    };
    if digits.len() != 4 || !digits.bytes().all(|b| b.is_ascii_digit()) {
        return None;
    }
    let minutes = digits[..2].parse::<i32>().ok()? * 60 + digits[2..].parse::<i32>().ok()?;
    (minutes <= 14 * 60).then_some(sign * minutes)
}

/// A stamp as DICOM writes it: date, time and zone offset. A fraction is written to the clock's granularity.
pub(crate) struct Written {
    pub date: String,
    pub time: String,
    pub zone: Option<String>,
}

/// Writes a stamp in the local time of its clock.
pub(crate) fn write(stamp: &Stamp) -> Option<Written> {
    let shift = i64::from(stamp.offset_minutes.unwrap_or(0)) * 60_000_000;
    let local = jiff::Timestamp::from_microsecond(stamp.utc_us.checked_add(shift)?)
        .ok()?
        .to_zoned_datetime(jiff::tz::TimeZone::UTC)
        .datetime();
    let micro = local.subsec_nanosecond() / 1000;
    let all = format!("{:02}{:02}{:02}.{micro:06}", local.hour(), local.minute(), local.second());
    let keep = match stamp.granularity_us {
        3_600_000_000.. => 2,
        60_000_000.. => 4,
        1_000_000.. => 6,
        100_000.. => 8,
        10_000.. => 9,
        1_000.. => 10,
        100.. => 11,
        10.. => 12,
        _ => 13,
    };
    Some(Written {
        date: format!("{:04}{:02}{:02}", local.year(), local.month(), local.day()),
        time: all[..keep].to_owned(),
        zone: stamp
            .offset_minutes
            .map(|m| format!("{}{:02}{:02}", if m < 0 { '-' } else { '+' }, m.abs() / 60, m.abs() % 60)),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_zone_is_taken_off() {
        let s = from_dt("20260102030405.5+0100", None, "c").unwrap();
        assert_eq!(
            (s.utc_us, s.offset_minutes, s.granularity_us),
            (1_767_319_445_500_000, Some(60), 100_000)
        );
        let s = from_dt("20260102030405", Some(-90), "c").unwrap();
        assert_eq!((s.utc_us, s.granularity_us), (1_767_328_445_000_000, 1_000_000));
        assert_eq!(from_da_tm("2026.01.02", "03:04", None, "c").unwrap().granularity_us, 60_000_000);
        assert!(from_dt("20261302", None, "c").is_none());
        assert!(from_dt("2026", None, "c").is_none());
    }

    proptest! {
        #[test]
        fn stamps_come_back(us in 0i64..4_000_000_000_000_000, zone in prop::option::of(-840i32..=840), digits in 0u32..=6) {
            let granularity_us = 10i64.pow(6 - digits);
            let stamp = Stamp { utc_us: us - us % granularity_us, offset_minutes: zone, granularity_us, clock: "c".into() };
            let w = write(&stamp).unwrap();
            let dt = format!("{}{}{}", w.date, w.time, w.zone.clone().unwrap_or_default());
            prop_assert_eq!(&from_dt(&dt, None, "c").unwrap(), &stamp);
            let zone = w.zone.and_then(|z| offset(&z));
            prop_assert_eq!(&from_da_tm(&w.date, &w.time, zone, "c").unwrap(), &stamp);
        }

        #[test]
        fn any_text_is_taken(dt in "\\PC{0,30}", tm in "\\PC{0,20}") {
            let _ = from_dt(&dt, None, "c");
            let _ = from_da_tm(&dt, &tm, offset(&tm), "c");
        }
    }
}
