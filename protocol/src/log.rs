//! The clock of a plain NMEA log: it has no stamps, so its sentences' own time of day is the clock.
//!
//! Stamps never run backwards: where the log's time of day does (a receiver whose clock was wrong before its first fix,
//! a log put together from pieces), the clock stands still and goes on from there.

use crate::time::{DAY, Mono, SECOND};

/// Position of the time of day among a sentence's fields, for the sentences that have one.
const TIMED: [(&str, usize); 6] = [("RMC", 1), ("GGA", 1), ("GNS", 1), ("GST", 1), ("ZDA", 1), ("GLL", 5)];

/// Stamps the sentences of a plain log.
#[derive(Debug, Clone, Default)]
pub struct LogClock {
    t: Mono,
    time_of_day: Option<i64>,
}

impl LogClock {
    /// The stamp of the next sentence.
    pub fn stamp(&mut self, sentence: &str) -> Mono {
        if let Some(now) = time_of_day(sentence) {
            if let Some(before) = self.time_of_day {
                // The shorter way round the clock; half a day or more ahead is as good as back.
                let ahead = (now - before + DAY / 2).rem_euclid(DAY) - DAY / 2;
                self.t = self.t + ahead.max(0);
            }
            self.time_of_day = Some(now);
        }
        self.t
    }
}

/// A sentence's time of day, microseconds since midnight, if it is one of those that say it: `hhmmss.sss`.
fn time_of_day(sentence: &str) -> Option<i64> {
    let kind = sentence.get(3..6)?;
    let (_, field) = TIMED.iter().find(|(timed, _)| *timed == kind)?;
    let text = sentence.split([',', '*']).nth(*field)?;
    let two = |from: usize| text.get(from..from + 2)?.parse::<u8>().ok();
    let (hours, minutes) = (two(0)?, two(2)?);
    let seconds: f64 = text.get(4..)?.parse().ok()?;
    let in_range = hours < 24 && minutes < 60 && (0.0..61.0).contains(&seconds);
    let whole = (i64::from(hours) * 60 + i64::from(minutes)) * 60 * SECOND;
    in_range.then(|| whole + (seconds * SECOND as f64).round() as i64)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stamps(times: &[&str]) -> Vec<f64> {
        let mut clock = LogClock::default();
        times.iter().map(|time| clock.stamp(&format!("$GPRMC,{time},A*00")).s()).collect()
    }

    #[test]
    fn the_time_of_day_is_the_clock() {
        assert_eq!(stamps(&["101500.00", "101501.00", "101503.25"]), [0.0, 1.0, 3.25]);
    }

    #[test]
    fn midnight_goes_on_and_backwards_stands_still() {
        assert_eq!(stamps(&["235959.50", "000000.50"]), [0.0, 1.0]);
        assert_eq!(stamps(&["151600", "045800", "045801"]), [0.0, 0.0, 1.0]);
    }

    #[test]
    fn sentences_without_a_time_stand_at_the_last_one() {
        let mut clock = LogClock::default();
        let text =
            ["$GPGSA,A,3*00", "$GPRMC,101500,A*00", "$GPGLL,1,N,2,E,101502,A*00", "$GPVTG,1*00", "$P*00", ""];
        let stamps: Vec<f64> = text.iter().map(|s| clock.stamp(s).s()).collect();
        assert_eq!(stamps, [0.0, 0.0, 2.0, 2.0, 2.0, 2.0]);
    }
}
