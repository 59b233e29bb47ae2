//! Times and days of records, as text, counted from 1970. Rows follow each other in time, so the last date is kept.

use gunwale_protocol::time::Utc;

const EPOCH: jiff::civil::Date = jiff::civil::date(1970, 1, 1);
/// Milliseconds of a day.
const DAY: i64 = 86_400_000;

/// Reads dates, and remembers one.
#[derive(Default)]
pub struct Calendar {
    date: String,
    days: i32,
}

impl Calendar {
    /// Days since 1970 of a date `YYYY-MM-DD`.
    pub fn days(&mut self, text: &str) -> Option<i32> {
        if self.date != text {
            let date: jiff::civil::Date = text.parse().ok()?;
            self.days = date.since(EPOCH).ok()?.get_days();
            text.clone_into(&mut self.date);
        }
        Some(self.days)
    }

    /// Milliseconds since 1970 of an RFC 3339 time.
    pub fn milliseconds(&mut self, text: &str) -> Option<i64> {
        let (date, time) = text.split_at_checked(10)?;
        match of_day(time.as_bytes()) {
            Some(of_day) => Some(i64::from(self.days(date)?) * DAY + of_day),
            None => Utc::parse(text).map(|utc| utc.0.div_euclid(1_000)),
        }
    }
}

/// Milliseconds of the day, of a time in the form that records have: `THH:MM:SS.mmmZ`.
fn of_day(time: &[u8]) -> Option<i64> {
    let [b'T', h1, h2, b':', m1, m2, b':', s1, s2, b'.', a, b, c, b'Z'] = *time else { return None };
    let digits = |digits: &[u8]| {
        digits.iter().try_fold(0, |n, d| d.is_ascii_digit().then(|| n * 10 + i64::from(d - b'0')))
    };
    let (h, m, s) = (digits(&[h1, h2])?, digits(&[m1, m2])?, digits(&[s1, s2])?);
    (h < 24 && m < 60 && s < 60).then_some(((h * 60 + m) * 60 + s) * 1_000 + digits(&[a, b, c])?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn times_and_days_count_from_1970() {
        let mut calendar = Calendar::default();
        for (text, expected) in [
            ("1970-01-01T00:00:00.000Z", Some(0)),
            ("2027-02-09T13:15:02.400Z", Some(1_802_178_902_400)),
            ("2027-02-09T08:15:02.4-05:00", Some(1_802_178_902_400)),
            ("1969-12-31T23:59:59.999Z", Some(-1)),
            ("2027-02-30T00:00:00.000Z", None),
            ("2027-02-09T24:00:00.000Z", None),
            ("unknown", None),
            ("", None),
        ] {
            assert_eq!(calendar.milliseconds(text), expected, "{text}");
        }
        for (text, expected) in [
            ("1970-01-01", Some(0)),
            ("2027-02-09", Some(20_858)),
            ("2027-02-30", None),
            ("2027-02-09", Some(20_858)),
            ("1969-12-31", Some(-1)),
            ("", None),
        ] {
            assert_eq!(calendar.days(text), expected, "{text}");
        }
    }

    proptest! {
        #[test]
        fn every_time_of_a_record_is_read_as_it_was_written(ms in -30_000_000_000_000i64..200_000_000_000_000) {
            let text = Utc(ms * 1_000).to_string();
            prop_assert_eq!(Calendar::default().milliseconds(&text), Some(ms));
        }
    }
}
