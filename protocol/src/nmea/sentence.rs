//! What sentences say, in small types of our own: SI units, degrees, microseconds.
//!
//! Fields as in "NMEA Revealed" (the gpsd project). A value is `None` when its field is empty, missing or out of reason.

use serde::{Deserialize, Serialize};

use crate::time::{DAY, SECOND, Utc};

/// One sentence, as far as it serves here.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Sentence {
    /// Recommended minimum: time, date, position, speed and course.
    Rmc(Rmc),
    /// Fix data: time, position, quality.
    Gga(Gga),
    /// Position error statistics.
    Gst(Gst),
    /// Dilution of precision and fix mode.
    Gsa(Gsa),
    /// Speed and course.
    Vtg(Vtg),
    /// Time and date.
    Zda(Zda),
    /// Fix data of several satellite systems.
    Gns(Gns),
    /// Position.
    Gll(Gll),
    /// Depth of water: DPT, DBT or DBS.
    Depth(Depth),
    /// Water temperature: MTW.
    WaterTemp {
        /// Degrees Celsius, −5…60.
        c: f64,
    },
    /// A right sentence of which nothing is used.
    Other,
}

/// A position on WGS 84.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct LatLon {
    /// Degrees north, −90…90.
    pub lat: f64,
    /// Degrees east, −180…180.
    pub lon: f64,
}

/// A civil date, UTC, that exists.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Date {
    /// Year; from two digits, 80…99 are 1980…1999.
    pub year: i16,
    /// 1…12.
    pub month: i8,
    /// 1…31.
    pub day: i8,
}

impl Date {
    /// This date, if there is such a day.
    pub fn new(year: i16, month: i8, day: i8) -> Option<Date> {
        jiff::civil::Date::new(year, month, day).ok().map(|_| Date { year, month, day })
    }

    /// The moment of this date at a time of day, microseconds.
    pub fn at(self, tod_us: i64) -> Option<Utc> {
        Some(Utc::midnight(self.year, self.month, self.day)? + tod_us)
    }
}

/// A time of day must stay below this, microseconds: 24 h and the leap second, 23:59:60.999999.
pub(super) const TOD_END: i64 = DAY + SECOND;

/// What a sentence says about the position of its moment.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fix {
    /// Measured from satellites; the GGA quality: 1 GNSS, 2 differential, 3 PPS or precise, 4 RTK fixed, 5 RTK float, 9
    /// (some receivers) SBAS.
    Good(u8),
    /// Void, estimated, manual or simulated: there is no position at that moment.
    Void,
    /// Nothing.
    Silent,
}

/// RMC.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rmc {
    /// UTC time of day of the fix, microseconds.
    pub tod_us: Option<i64>,
    /// UTC date of the fix.
    pub date: Option<Date>,
    /// Status and mode together.
    pub fix: Fix,
    /// Position.
    pub position: Option<LatLon>,
    /// Speed over ground, m/s, 0…100.
    pub speed_m_s: Option<f64>,
    /// Course over ground, degrees true, 0 ≤ course < 360.
    pub course_deg: Option<f64>,
}

impl Rmc {
    /// UTC of the fix when it is valid and dated.
    pub fn utc(&self) -> Option<Utc> {
        match self.fix {
            Fix::Good(_) => self.date?.at(self.tod_us?),
            Fix::Void | Fix::Silent => None,
        }
    }
}

/// GGA.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gga {
    /// UTC time of day of the fix, microseconds.
    pub tod_us: Option<i64>,
    /// Quality.
    pub fix: Fix,
    /// Position.
    pub position: Option<LatLon>,
    /// Horizontal dilution of precision, above 0.
    pub hdop: Option<f64>,
}

/// GST.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gst {
    /// UTC time of day of the fix, microseconds.
    pub tod_us: Option<i64>,
    /// Standard deviation of latitude, metres, above 0.
    pub lat_sd_m: Option<f64>,
    /// Standard deviation of longitude, metres, above 0.
    pub lon_sd_m: Option<f64>,
}

/// GSA. It has no time: it belongs to the epoch it is sent in. A receiver sends one for each satellite system, and one
/// without a fix says nothing about the others.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gsa {
    /// Horizontal dilution of precision, above 0.
    pub hdop: Option<f64>,
}

/// VTG. It has no time: it belongs to the epoch it is sent in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Vtg {
    /// Speed over ground, m/s, 0…100; `None` also when its mode is void or estimated.
    pub speed_m_s: Option<f64>,
    /// Course over ground, degrees true, 0 ≤ course < 360; `None` also when its mode is void or estimated.
    pub course_deg: Option<f64>,
}

/// ZDA.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Zda {
    /// UTC time of day, microseconds.
    pub tod_us: Option<i64>,
    /// UTC date.
    pub date: Option<Date>,
}

impl Zda {
    /// UTC, valid or not: ZDA does not say. Believe it only while positions are valid.
    pub fn utc(&self) -> Option<Utc> {
        self.date?.at(self.tod_us?)
    }
}

/// GNS.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gns {
    /// UTC time of day of the fix, microseconds.
    pub tod_us: Option<i64>,
    /// The modes of all satellite systems together.
    pub fix: Fix,
    /// Position.
    pub position: Option<LatLon>,
    /// Horizontal dilution of precision, above 0.
    pub hdop: Option<f64>,
}

/// GLL.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gll {
    /// UTC time of day of the fix, microseconds.
    pub tod_us: Option<i64>,
    /// Status and mode together.
    pub fix: Fix,
    /// Position.
    pub position: Option<LatLon>,
}

/// A depth of water and where it is counted from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Depth {
    /// Metres, above 0 (sounders that lost the bottom send 0) and at most 12 000.
    pub m: f64,
    /// From where.
    pub below: DepthBelow,
}

/// Where a depth is counted from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DepthBelow {
    /// The surface.
    Surface,
    /// The transducer; how deep that is was not said.
    Transducer,
}

impl Sentence {
    /// The time of day this sentence's fix was made at, microseconds; `None` for sentences that make no epoch.
    pub fn fix_tod_us(&self) -> Option<i64> {
        match self {
            Sentence::Rmc(s) => s.tod_us,
            Sentence::Gga(s) => s.tod_us,
            Sentence::Gst(s) => s.tod_us,
            Sentence::Gns(s) => s.tod_us,
            Sentence::Gll(s) => s.tod_us,
            // ZDA tells the time it is sent, which need not be that of a fix.
            Sentence::Zda(_) | Sentence::Gsa(_) | Sentence::Vtg(_) => None,
            Sentence::Depth(_) | Sentence::WaterTemp { .. } | Sentence::Other => None,
        }
    }
}

/// What status and mode of RMC or GLL say together; a letter is `None` when its field is not one letter.
///
/// Before NMEA 4.1 the status was A for modes A and D only, so V beside F, R or P is a good fix. No mode at all is the
/// form before 2.3.
pub(super) fn fix_of_status(status: Option<u8>, mode: Option<u8>) -> Fix {
    match (status, mode) {
        (Some(b'A'), None) => Fix::Good(1),
        (Some(b'A'), Some(mode)) | (Some(b'V'), Some(mode @ (b'F' | b'R' | b'P'))) => fix_of_mode(mode),
        _ => Fix::Void,
    }
}

/// What the mode letters of GNS say, one a satellite system: systems without a fix (N) do not count against others.
pub(super) fn fix_of_modes(modes: &[u8]) -> Fix {
    let fixes = || modes.iter().filter(|m| **m != b'N').map(|m| fix_of_mode(*m));
    if modes.is_empty() {
        Fix::Silent
    } else if fixes().any(|fix| fix == Fix::Void) {
        Fix::Void
    } else {
        fixes().next().unwrap_or(Fix::Void)
    }
}

/// What one mode letter says.
pub(super) fn fix_of_mode(mode: u8) -> Fix {
    match mode {
        b'A' => Fix::Good(1),
        b'D' => Fix::Good(2),
        b'P' => Fix::Good(3),
        b'R' => Fix::Good(4),
        b'F' => Fix::Good(5),
        _ => Fix::Void,
    }
}

/// What GGA's quality says.
pub(super) fn fix_of_quality(quality: Option<u8>) -> Fix {
    match quality {
        Some(digit @ (b'1'..=b'5' | b'9')) => Fix::Good(digit - b'0'),
        Some(_) => Fix::Void,
        None => Fix::Silent,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn status_and_mode_together() {
        let v = |quality| Fix::Good(quality);
        let cases = [
            ("A", "", v(1)),
            ("A", "A", v(1)),
            ("A", "D", v(2)),
            ("A", "P", v(3)),
            ("A", "R", v(4)),
            ("A", "F", v(5)),
            ("V", "R", v(4)),
            ("V", "F", v(5)),
            ("V", "P", v(3)),
            ("V", "A", Fix::Void),
            ("V", "D", Fix::Void),
            ("V", "", Fix::Void),
            ("A", "E", Fix::Void),
            ("A", "M", Fix::Void),
            ("A", "N", Fix::Void),
            ("A", "S", Fix::Void),
            ("A", "X", Fix::Void),
            ("", "A", Fix::Void),
            ("", "R", Fix::Void),
        ];
        for (status, mode, expected) in cases {
            let letter = |s: &str| s.bytes().next();
            assert_eq!(fix_of_status(letter(status), letter(mode)), expected, "{status} {mode}");
        }
    }

    #[test]
    fn modes_of_several_systems() {
        let cases = [
            ("", Fix::Silent),
            ("A", Fix::Good(1)),
            ("NDD", Fix::Good(2)),
            ("NRNN", Fix::Good(4)),
            ("AAN", Fix::Good(1)),
            ("NN", Fix::Void),
            ("AE", Fix::Void),
            ("S", Fix::Void),
        ];
        for (modes, expected) in cases {
            assert_eq!(fix_of_modes(modes.as_bytes()), expected, "{modes}");
        }
    }

    #[test]
    fn qualities() {
        for quality in b'0'..=b'9' {
            let good = matches!(quality, b'1'..=b'5' | b'9');
            let expected = if good { Fix::Good(quality - b'0') } else { Fix::Void };
            assert_eq!(fix_of_quality(Some(quality)), expected);
        }
        assert_eq!(fix_of_quality(None), Fix::Silent);
    }

    #[test]
    fn dates_exist() {
        assert_eq!(Date::new(2023, 2, 29), None);
        let date = Date::new(2027, 12, 31).unwrap();
        assert_eq!(date.at(86_399_500_000).unwrap().to_string(), "2027-12-31T23:59:59.500Z");
        assert_eq!(date.at(DAY).unwrap().to_string(), "2028-01-01T00:00:00.000Z");
    }
}
