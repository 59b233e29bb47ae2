//! Makes the fields of a sentence such that the `nmea` crate (0.8) reads them, and reads them right.
//!
//! The crate gives up a whole sentence for one field it cannot read, and takes some that it should not (`nan`, minutes
//! above 59, degrees without leading zeros). So each field is looked at first. A field that would mislead the crate
//! goes to it empty, or as a harmless letter; what such a field does say is read by `read.rs` from the original.
//! A sentence with nothing to mend goes through as it is, without a copy. [`NmeaSentence`](nmea::NmeaSentence) is built
//! directly, so neither the crate's cap of 102 bytes nor its second look at the checksum applies.

use std::borrow::Cow;

use super::fields::{Angle, Fields, angle, day_month_year, is_digits, is_number, tod_us};

/// The fields of one type of sentence, as the crate reads them.
pub(super) struct Form {
    kinds: &'static [Kind],
    /// Fewest fields the crate reads.
    least: usize,
    /// Most fields the crate bears.
    most: usize,
}

/// What the crate can read in one field.
#[derive(Debug, Clone, Copy)]
enum Kind {
    /// A time of day, or nothing.
    Time,
    /// A decimal number, or nothing.
    Number,
    /// A decimal number not below zero, or nothing.
    Positive,
    /// Digits whose value lies between these, or nothing.
    Whole(u16, u16),
    /// Digits; `0` serves for nothing.
    Count,
    /// `ddmmyy`, a date that exists, or nothing.
    DayMonthYear,
    /// Four digits, or nothing.
    Year,
    /// Digits up to 13, perhaps after a minus, or nothing.
    ZoneHours,
    /// One of these letters; the second text serves for anything else.
    Letter(&'static str, &'static str),
    /// Anything: the crate does not look at it, or does not mind.
    Any,
    /// Magnetic variation, E or W: two fields, both or none of which are there.
    Variation,
    /// Latitude, N or S, longitude, E or W: four fields, all or none of which are there.
    Position,
}
use Kind::*;

/// RMC: time, status, position, knots, course, date, variation; mode and navigational status do no harm.
pub(super) const RMC: Form = Form {
    kinds: &[Time, Letter("AV", "V"), Position, Number, Number, DayMonthYear, Variation],
    least: 11,
    most: usize::MAX,
};
/// GGA: time, position, quality, satellites, HDOP, altitude, M, geoid, M.
pub(super) const GGA: Form = Form {
    kinds: &[
        Time,
        Position,
        Letter("012345678", "0"),
        Whole(0, 9999),
        Number,
        Number,
        Letter("M", ""),
        Number,
        Letter("M", ""),
    ],
    least: 12,
    most: usize::MAX,
};
/// ZDA: time, day, month, year, zone hours, zone minutes.
pub(super) const ZDA: Form = Form {
    kinds: &[Time, Whole(1, 31), Whole(1, 12), Year, ZoneHours, Whole(0, 59)],
    least: 6,
    most: usize::MAX,
};
/// GNS: time, position, modes, satellites, HDOP, altitude, geoid, age, station.
pub(super) const GNS: Form = Form {
    kinds: &[Time, Position, Letter("ADEFNPRMS", "N"), Count, Number, Number, Number, Any, Any],
    least: 12,
    most: usize::MAX,
};
/// GLL: position, time, status, mode.
pub(super) const GLL: Form =
    Form { kinds: &[Position, Time, Letter("AV", "V"), Letter("ADEFNPRMS", "")], least: 7, most: usize::MAX };
/// DPT: depth below the transducer, offset, range.
pub(super) const DPT: Form = Form { kinds: &[Positive, Positive, Number], least: 2, most: 3 };
/// MTW: temperature, C.
pub(super) const MTW: Form = Form { kinds: &[Number, Letter("C", "C")], least: 2, most: usize::MAX };

impl Form {
    /// A sentence's data as the crate can take it: itself when all is well.
    pub fn mend<'a>(&self, data: &'a str, fields: &Fields<'a>) -> Cow<'a, str> {
        let all = self.least <= fields.count && fields.count <= self.most;
        if all && self.places().all(|(kind, i)| kind.fits(i, fields)) {
            return Cow::Borrowed(data);
        }
        let mut text = String::with_capacity(120);
        for (kind, i) in self.places() {
            if i > 0 {
                text.push(',');
            }
            kind.write(i, fields, &mut text);
        }
        Cow::Owned(text)
    }

    /// Each kind with the place of its first field.
    fn places(&self) -> impl Iterator<Item = (Kind, usize)> {
        self.kinds.iter().scan(0, |next, kind| {
            let i = *next;
            *next += kind.width();
            Some((*kind, i))
        })
    }
}

impl Kind {
    /// How many fields it spans.
    fn width(self) -> usize {
        match self {
            Position => 4,
            Variation => 2,
            _ => 1,
        }
    }

    /// Whether the crate can take the fields from `i` on as they are.
    fn fits(self, i: usize, fields: &Fields) -> bool {
        let field = fields.get(i);
        match self {
            Position => {
                let [lat, ns, lon, ew] = [0, 1, 2, 3].map(|part| fields.get(i + part));
                let there = latitude(lat) == Angle::Sound && longitude(lon) == Angle::Sound;
                there && directions(ns, ew)
                    || lat.is_empty() && ns.is_empty() && lon.is_empty() && ew.is_empty()
            }
            Variation => {
                let ew = fields.get(i + 1);
                field.is_empty() && ew.is_empty() || is_number(field) && matches!(ew, "E" | "W")
            }
            _ => self.fits_one(field),
        }
    }

    /// Whether the crate can take this one field.
    fn fits_one(self, field: &str) -> bool {
        match self {
            Letter(letters, instead) => field == instead || field.len() == 1 && letters.contains(field),
            Count => is_digits(field) && field.len() <= 4,
            Any => true,
            _ if field.is_empty() => true,
            // The crate refuses second 60, and rounds a long fraction up to a second that it then refuses.
            Time => field.len() <= 15 && field.get(4..6) != Some("60") && tod_us(field).is_some(),
            Number => is_number(field),
            Positive => is_number(field) && !field.starts_with('-'),
            Whole(least, most) => {
                Count.fits_one(field) && field.parse().is_ok_and(|n| (least..=most).contains(&n))
            }
            DayMonthYear => day_month_year(field).is_some(),
            Year => is_digits(field) && field.len() == 4,
            ZoneHours => Whole(0, 13).fits_one(field.strip_prefix('-').unwrap_or(field)) && field != "-",
            Variation | Position => false,
        }
    }

    /// Writes the fields from `i` on as the crate can take them.
    fn write(self, i: usize, fields: &Fields, text: &mut String) {
        match self {
            Position => write_position([0, 1, 2, 3].map(|part| fields.get(i + part).trim_ascii()), text),
            Variation => text.push(','),
            _ => {
                let field = fields.get(i).trim_ascii();
                text.push_str(if self.fits_one(field) { field } else { self.instead() });
            }
        }
    }

    /// What goes to the crate in place of a field that does not fit.
    fn instead(self) -> &'static str {
        match self {
            Letter(_, instead) => instead,
            Count => "0",
            _ => "",
        }
    }
}

fn latitude(field: &str) -> Angle {
    angle(field, 2, 90)
}

fn longitude(field: &str) -> Angle {
    angle(field, 3, 180)
}

fn directions(ns: &str, ew: &str) -> bool {
    matches!(ns, "N" | "S") && matches!(ew, "E" | "W")
}

fn write_position([lat, ns, lon, ew]: [&str; 4], text: &mut String) {
    if latitude(lat) == Angle::No || longitude(lon) == Angle::No || !directions(ns, ew) {
        text.push_str(",,,");
        return;
    }
    write_angle(lat, 4, text);
    text.push(',');
    text.push_str(ns);
    text.push(',');
    write_angle(lon, 5, text);
    text.push(',');
    text.push_str(ew);
}

/// Writes an angle with exactly this many digits left of the point; a surplus is zeros, as its degrees are in range.
fn write_angle(field: &str, digits: usize, text: &mut String) {
    let whole = field.find('.').unwrap_or(field.len());
    text.extend(std::iter::repeat_n('0', digits.saturating_sub(whole)));
    text.push_str(field.get(whole.saturating_sub(digits)..).unwrap_or(""));
}
