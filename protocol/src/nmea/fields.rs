//! The fields of a sentence, and the plain readings of one field.

use super::sentence::{Date, TOD_END};
use crate::time::SECOND;

/// Most fields looked at; no sentence read here has more than 18.
const MOST: usize = 20;

/// The comma-separated fields after the address; one that is missing reads as empty.
#[derive(Debug, Clone, Copy)]
pub(super) struct Fields<'a> {
    at: [&'a str; MOST],
    /// How many there are.
    pub count: usize,
}

impl<'a> Fields<'a> {
    /// The fields of the text between the comma after the address and the `*`.
    pub fn of(data: &'a str) -> Fields<'a> {
        let mut fields = Fields { at: [""; MOST], count: 0 };
        let mut start = 0;
        // By bytes: a search per field costs more than the short fields do.
        let commas = data.bytes().enumerate().filter(|(_, byte)| *byte == b',').map(|(at, _)| at);
        for (place, end) in fields.at.iter_mut().zip(commas.chain([data.len()])) {
            *place = data.get(start..end).unwrap_or_default();
            start = end + 1;
            fields.count += 1;
        }
        fields
    }

    /// Field `i`, counted from 0.
    pub fn get(&self, i: usize) -> &'a str {
        self.at.get(i).copied().unwrap_or("")
    }

    /// Field `i` without white space when it is one character.
    pub fn letter(&self, i: usize) -> Option<u8> {
        match self.get(i).trim_ascii().as_bytes() {
            [letter] => Some(*letter),
            _ => None,
        }
    }

    /// Field `i` as a number.
    pub fn number(&self, i: usize) -> Option<f64> {
        number(self.get(i))
    }
}

/// A decimal number as NMEA has them: a sign, digits, a point. No exponent, no `nan`, no `inf`.
pub(super) fn number(field: &str) -> Option<f64> {
    let field = field.trim_ascii();
    if is_number(field) { field.parse().ok() } else { None }
}

/// Whether this is a decimal number, white space not allowed. At most 32 characters, so that
/// it is finite.
pub(super) fn is_number(field: &str) -> bool {
    let bytes = field.as_bytes();
    let digits = match bytes {
        [b'+' | b'-', digits @ ..] => digits,
        digits => digits,
    };
    let points = digits.iter().filter(|b| **b == b'.').count();
    let all = digits.iter().all(|b| b.is_ascii_digit() || *b == b'.');
    all && points <= 1 && digits.len() > points && bytes.len() <= 32
}

/// Whether this is one or more digits.
pub(super) fn is_digits(field: &str) -> bool {
    !field.is_empty() && field.bytes().all(|b| b.is_ascii_digit())
}

/// A time of day `hhmmss` or `hhmmss.s…`, microseconds, cut (not rounded) below the microsecond.
///
/// Second 60 is taken as a leap second: 23:59:60 reads as 24 h exactly.
pub(super) fn tod_us(field: &str) -> Option<i64> {
    let (whole, fraction) = match field.trim_ascii().split_once('.') {
        Some((whole, fraction)) => (whole, fraction),
        None => (field.trim_ascii(), ""),
    };
    let [h1, h2, m1, m2, s1, s2] = whole.as_bytes() else { return None };
    let two = |tens: &u8, ones: &u8| {
        let both = tens.is_ascii_digit() && ones.is_ascii_digit();
        both.then(|| i64::from(tens - b'0') * 10 + i64::from(ones - b'0'))
    };
    let (h, m, s) = (two(h1, h2)?, two(m1, m2)?, two(s1, s2)?);
    if h > 23 || m > 59 || s > 60 {
        return None;
    }
    let mut us = 0;
    let mut unit = SECOND;
    for digit in fraction.bytes() {
        if !digit.is_ascii_digit() {
            return None;
        }
        unit /= 10;
        us += i64::from(digit - b'0') * unit;
    }
    Some((h * 3600 + m * 60 + s) * SECOND + us).filter(|tod| *tod < TOD_END)
}

/// How a latitude or longitude is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Angle {
    /// Degrees with all their digits, minutes below 60.
    Sound,
    /// Readable, but degrees without their leading zeros or with too many.
    Loose,
    /// Not an angle.
    No,
}

/// How an angle `d…dmm.m…` is written whose degrees should have `degree_digits` digits and be at most `most`. The two
/// digits left of the point are whole minutes.
pub(super) fn angle(field: &str, degree_digits: usize, most: u32) -> Angle {
    let bytes = field.as_bytes();
    let point = bytes.iter().position(|b| *b == b'.').unwrap_or(bytes.len());
    let (whole, fraction) = bytes.split_at_checked(point).unwrap_or((bytes, &[]));
    let digits = |part: &[u8]| part.iter().all(u8::is_ascii_digit);
    let sound = !whole.is_empty() && digits(whole) && digits(fraction.get(1..).unwrap_or(&[]));
    let (degrees, minutes) = whole.split_at_checked(whole.len().saturating_sub(2)).unwrap_or((&[], whole));
    let value = |part: &[u8]| {
        part.iter().fold(0u32, |sum, b| sum.saturating_mul(10).saturating_add(u32::from(b - b'0')))
    };
    if !sound || value(minutes) > 59 || value(degrees) > most {
        Angle::No
    } else if whole.len() == degree_digits + 2 {
        Angle::Sound
    } else {
        Angle::Loose
    }
}

/// A date `ddmmyy` that exists; 80…99 are 1980…1999, as GPS time began in 1980.
pub(super) fn day_month_year(field: &str) -> Option<Date> {
    let field = field.trim_ascii();
    if field.len() != 6 || !is_digits(field) {
        return None;
    }
    let two = |from: usize| field.get(from..from + 2)?.parse::<i8>().ok();
    let year = i16::from(two(4)?);
    Date::new(if year >= 80 { 1900 + year } else { 2000 + year }, two(2)?, two(0)?)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_plain_decimals() {
        let cases = [
            ("1.5", Some(1.5)),
            ("-0.25", Some(-0.25)),
            ("+07", Some(7.0)),
            (" 3.7 ", Some(3.7)),
            (".5", Some(0.5)),
            ("5.", Some(5.0)),
            ("", None),
            (".", None),
            ("-", None),
            ("nan", None),
            ("inf", None),
            ("1e5", None),
            ("1.2.3", None),
            ("--1", None),
            ("1 2", None),
            ("0x10", None),
            ("123456789012345678901234567890123", None),
        ];
        for (field, expected) in cases {
            assert_eq!(number(field), expected, "{field:?}");
        }
    }

    #[test]
    fn times_of_day_are_exact_microseconds() {
        let at = |h: i64, m: i64, s: i64, us: i64| Some((h * 3600 + m * 60 + s) * SECOND + us);
        let cases = [
            ("000000", at(0, 0, 0, 0)),
            ("123519", at(12, 35, 19, 0)),
            ("123519.", at(12, 35, 19, 0)),
            ("160012.71", at(16, 0, 12, 710_000)),
            ("235959.9999999999", at(23, 59, 59, 999_999)),
            ("235960.00", at(23, 59, 60, 0)),
            ("235960.999999", at(23, 59, 60, 999_999)),
            ("120060", at(12, 0, 60, 0)),
            ("240000", None),
            ("126000", None),
            ("123561", None),
            ("12351", None),
            ("1235190", None),
            ("-12519", None),
            ("12351x", None),
            ("123519.x", None),
            ("123519.-1", None),
            ("123519,5", None),
            ("", None),
        ];
        for (field, expected) in cases {
            assert_eq!(tod_us(field), expected, "{field:?}");
        }
    }

    #[test]
    fn angles_have_their_minutes_left_of_the_point() {
        let cases = [
            ("4807.038", 2, Angle::Sound),
            ("4807", 2, Angle::Sound),
            ("4807.", 2, Angle::Sound),
            ("01131.000", 3, Angle::Sound),
            ("807.038", 2, Angle::Loose),
            ("7.038", 2, Angle::Loose),
            ("1131.000", 3, Angle::Loose),
            ("004807.038", 2, Angle::Loose),
            ("104807.038", 2, Angle::No),
            ("9059.9", 2, Angle::Sound),
            ("9100.0", 2, Angle::No),
            ("18059.9", 3, Angle::Sound),
            ("30000.0", 3, Angle::No),
            ("8960.000000", 2, Angle::No),
            ("48-7.038", 2, Angle::No),
            ("-807.038", 2, Angle::No),
            ("48nan", 2, Angle::No),
            ("4807.0.3", 2, Angle::No),
            (".5", 2, Angle::No),
            ("", 2, Angle::No),
        ];
        for (field, degree_digits, expected) in cases {
            let most = if degree_digits == 2 { 90 } else { 180 };
            assert_eq!(angle(field, degree_digits, most), expected, "{field:?}");
        }
    }

    #[test]
    fn dates_have_the_century_of_gps() {
        let cases = [
            ("230394", Date::new(1994, 3, 23)),
            ("050180", Date::new(1980, 1, 5)),
            ("311282", Date::new(1982, 12, 31)),
            ("311299", Date::new(1999, 12, 31)),
            ("010100", Date::new(2000, 1, 1)),
            ("311279", Date::new(2079, 12, 31)),
            ("290228", Date::new(2028, 2, 29)),
            ("290227", None),
            ("2208-1", None),
            ("22081", None),
            ("01012027", None),
            ("", None),
        ];
        for (field, expected) in cases {
            assert_eq!(day_month_year(field), expected, "{field:?}");
        }
    }

    #[test]
    fn missing_fields_read_as_empty() {
        let fields = Fields::of("a,,c");
        assert_eq!(
            (fields.count, fields.get(0), fields.get(1), fields.get(2), fields.get(3)),
            (3, "a", "", "c", "")
        );
        assert_eq!((fields.letter(0), fields.letter(1), fields.letter(99)), (Some(b'a'), None, None));
        assert_eq!(Fields::of(&",".repeat(100)).count, MOST);
    }
}
