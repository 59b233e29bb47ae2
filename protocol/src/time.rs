//! The two times of gunwale: monotonic stamps within one segment, and UTC.

use std::fmt;
use std::ops::{Add, Sub};

use serde::{Deserialize, Serialize};

/// Microseconds in a second.
pub const SECOND: i64 = 1_000_000;
/// Microseconds in an hour.
pub const HOUR: i64 = 3_600 * SECOND;
/// Microseconds in a day.
pub const DAY: i64 = 24 * HOUR;

/// A moment on one segment's monotonic clock, in whole microseconds from that clock's own zero.
///
/// Comparable only within a segment. The boot clock of a live run, the `t` of a tape.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize)]
pub struct Mono(pub i64);

impl Mono {
    /// The largest magnitude a stamp may have, in seconds: up to here every microsecond survives being written and read
    /// as an `f64` of seconds.
    pub const LIMIT_S: f64 = 4_294_967_295.0;

    /// A stamp from seconds, rounded to the microsecond; `None` when not finite or beyond [`Mono::LIMIT_S`].
    pub fn from_s(seconds: f64) -> Option<Mono> {
        (seconds.abs() <= Self::LIMIT_S).then(|| Mono((seconds * SECOND as f64).round() as i64))
    }

    /// Seconds since the clock's zero.
    pub fn s(self) -> f64 {
        self.0 as f64 / SECOND as f64
    }
}

/// A moment in UTC, in whole microseconds since 1970-01-01T00:00:00Z, leap seconds not counted (POSIX time).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize)]
pub struct Utc(pub i64);

impl Utc {
    /// Reads an RFC 3339 timestamp; `None` when it is not one.
    pub fn parse(text: &str) -> Option<Utc> {
        text.parse::<jiff::Timestamp>().ok().map(|t| Utc(t.as_microsecond()))
    }

    /// Midnight UTC that begins this civil date; `None` when there is no such date.
    pub fn midnight(year: i16, month: i8, day: i8) -> Option<Utc> {
        let date = jiff::civil::Date::new(year, month, day).ok()?;
        let at = date.to_zoned_datetime(jiff::tz::TimeZone::UTC).ok()?;
        Some(Utc(at.timestamp().as_microsecond()))
    }

    /// The civil date in a time zone (IANA name; an unknown name counts as UTC).
    pub fn day_in(self, timezone: &str) -> Option<jiff::civil::Date> {
        Some(self.zoned(timezone)?.date())
    }

    /// This moment in a time zone (IANA name; an unknown name counts as UTC); `None` outside the years −9999…9999.
    pub fn zoned(self, timezone: &str) -> Option<jiff::ZonedDateTime> {
        let zone = jiff::tz::TimeZone::get(timezone).unwrap_or(jiff::tz::TimeZone::UTC);
        Some(jiff::Timestamp::from_microsecond(self.0).ok()?.to_zoned_datetime(zone))
    }
}

impl fmt::Display for Utc {
    /// RFC 3339 in UTC with milliseconds: `2027-02-09T13:15:02.400Z`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let rounded = (self.0 + 500).div_euclid(1_000);
        match jiff::Timestamp::from_millisecond(rounded) {
            Ok(t) => write!(f, "{t:.3}"),
            Err(_) => write!(f, "unknown"),
        }
    }
}

macro_rules! microseconds {
    ($time:ident) => {
        impl Add<i64> for $time {
            type Output = $time;
            fn add(self, microseconds: i64) -> $time {
                $time(self.0.saturating_add(microseconds))
            }
        }
        impl Sub<i64> for $time {
            type Output = $time;
            fn sub(self, microseconds: i64) -> $time {
                $time(self.0.saturating_sub(microseconds))
            }
        }
        impl Sub for $time {
            type Output = i64;
            fn sub(self, earlier: $time) -> i64 {
                self.0.saturating_sub(earlier.0)
            }
        }
    };
}
microseconds!(Mono);
microseconds!(Utc);

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn utc_reads_and_writes_milliseconds() {
        let t = Utc::parse("2027-02-09T13:15:02.400Z").unwrap();
        assert_eq!(t.to_string(), "2027-02-09T13:15:02.400Z");
        assert_eq!((t + 600).to_string(), "2027-02-09T13:15:02.401Z");
        assert_eq!(Utc(0).to_string(), "1970-01-01T00:00:00.000Z");
    }

    #[test]
    fn the_day_is_the_local_one() {
        let t = Utc::parse("2027-02-10T03:00:00Z").unwrap();
        assert_eq!(t.day_in("America/New_York").unwrap().to_string(), "2027-02-09");
        assert_eq!(t.day_in("no/such").unwrap().to_string(), "2027-02-10");
    }

    #[test]
    fn stamps_are_exact_to_the_microsecond() {
        assert_eq!(Mono::from_s(1_799_500_000.123_456).unwrap().0, 1_799_500_000_123_456);
        assert_eq!(Mono::from_s(f64::NAN), None);
        assert_eq!(Mono::from_s(1e11), None);
    }
}
