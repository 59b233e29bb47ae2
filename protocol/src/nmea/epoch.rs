//! Joins the sentences of one moment into an epoch, and says whether it is a position.
//!
//! A receiver tells one fix in several sentences: GGA its quality, RMC its date and speed, GST its errors. They carry the
//! same time of day; GSA and VTG carry none and belong to the epoch they come in.

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};

use super::sentence::{Date, Fix, LatLon, Sentence};
use crate::time::{DAY, Mono, SECOND};

/// An epoch is complete when its last sentence is this old, microseconds.
const QUIET_US: i64 = 600_000;
/// A time of day is remembered until it has not been heard for this long, microseconds: then it is of another day.
const FORGET_US: i64 = 60 * SECOND;
/// So many times of day are remembered: 6 s at 10 Hz, a minute at 1 Hz.
const REMEMBERED: usize = 64;

/// A valid position and what was said of it at the same moment.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Epoch {
    /// Arrival of its first sentence.
    pub t: Mono,
    /// UTC time of day of the fix, microseconds, below 24 h and one leap second.
    pub tod_us: i64,
    /// UTC date as the receiver gave it with this fix: it may be wrong.
    pub date: Option<Date>,
    /// Degrees north, WGS 84.
    pub lat: f64,
    /// Degrees east, WGS 84, −180…180.
    pub lon: f64,
    /// As in GGA: 1 GNSS, 2 differential, 3 PPS or precise, 4 RTK fixed, 5 RTK float, 9 SBAS. From the mode without GGA.
    pub quality: u8,
    /// Horizontal dilution of precision, above 0.
    pub hdop: Option<f64>,
    /// Standard deviation of latitude by GST, metres, above 0.
    pub lat_sd_m: Option<f64>,
    /// Standard deviation of longitude by GST, metres, above 0.
    pub lon_sd_m: Option<f64>,
    /// Speed over ground, m/s, 0…100.
    pub speed_m_s: Option<f64>,
    /// Course over ground, degrees true, 0 ≤ course < 360.
    pub course_deg: Option<f64>,
}

/// Joins sentences, in order of arrival, into epochs.
///
/// An epoch is a position when some sentence with a position says its fix is good and none says it is void, estimated,
/// manual or simulated. Only positions are returned, each time of day once: copies that come late, twice or from a
/// second receiver on the wire make no other epoch. A time before the last is another moment, though: receivers set
/// their clocks back a little when they get their first fixes.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Epochs {
    open: Option<Open>,
    /// The last times of day that were returned or said to be void, oldest first.
    closed: VecDeque<Heard>,
}

/// A time of day and when it was last heard.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Heard {
    tod_us: i64,
    t: Mono,
}

/// A value and the rank of the sentence that gave it: a higher rank replaces it, an equal one does not.
type Ranked<T> = Option<(u8, T)>;

fn rank<T>(held: &mut Ranked<T>, rank: u8, value: Option<T>) {
    if let Some(value) = value
        && held.as_ref().is_none_or(|(other, _)| rank > *other)
    {
        *held = Some((rank, value));
    }
}

/// The epoch being gathered.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Open {
    first: Mono,
    last: Mono,
    tod_us: i64,
    void: bool,
    date: Ranked<Date>,
    fix: Ranked<(LatLon, u8)>,
    hdop: Ranked<f64>,
    sd_m: Ranked<(Option<f64>, Option<f64>)>,
    speed_m_s: Ranked<f64>,
    course_deg: Ranked<f64>,
}

impl Epochs {
    /// Takes the next sentence, which arrived at `t`; returns the epoch that this shows to be complete.
    pub fn take(&mut self, t: Mono, sentence: &Sentence) -> Option<Epoch> {
        let complete = self.advance(t);
        let Some(tod_us) = sentence.fix_tod_us() else {
            // A fix without a time, RMC before the first fix, say, is of no moment.
            if let (Some(open), Sentence::Gsa(_) | Sentence::Vtg(_) | Sentence::Zda(_)) =
                (&mut self.open, sentence)
            {
                open.add(sentence);
            }
            return complete;
        };
        if let Some(open) = &mut self.open
            && open.tod_us == tod_us
        {
            open.last = t;
            open.add(sentence);
            return complete;
        }
        if self.is_copy(t, tod_us) {
            return complete;
        }
        let before = self.finish();
        let mut open = Open::new(t, tod_us);
        open.add(sentence);
        self.open = Some(open);
        complete.or(before)
    }

    /// Says that it is `now` and every sentence before has been taken; returns the epoch that this completes.
    pub fn advance(&mut self, now: Mono) -> Option<Epoch> {
        let quiet = self.open.as_ref().is_some_and(|open| now - open.last >= QUIET_US);
        if quiet { self.finish() } else { None }
    }

    /// When [`Epochs::advance`] will complete the open epoch, were nothing more to come.
    pub fn deadline(&self) -> Option<Mono> {
        self.open.as_ref().map(|open| open.last + QUIET_US)
    }

    /// Says that no more sentences come; returns the epoch that was open.
    pub fn finish(&mut self) -> Option<Epoch> {
        let open = self.open.take()?;
        let heard = Heard { tod_us: open.tod_us, t: open.last };
        let void = open.void;
        let epoch = open.epoch().filter(|_| !void);
        if void || epoch.is_some() {
            self.closed.push_back(heard);
            if self.closed.len() > REMEMBERED {
                self.closed.pop_front();
            }
        }
        epoch
    }

    /// Whether this time of day was closed before. Hearing it again keeps it in mind.
    fn is_copy(&mut self, t: Mono, tod_us: i64) -> bool {
        let same = |heard: &&mut Heard| (heard.tod_us - tod_us) % DAY == 0 && t - heard.t <= FORGET_US;
        let found = self.closed.iter_mut().rev().find(same);
        found.map(|heard| heard.t = t).is_some()
    }
}

impl Open {
    fn new(t: Mono, tod_us: i64) -> Open {
        Open {
            first: t,
            last: t,
            tod_us,
            void: false,
            date: None,
            fix: None,
            hdop: None,
            sd_m: None,
            speed_m_s: None,
            course_deg: None,
        }
    }

    fn add(&mut self, sentence: &Sentence) {
        match sentence {
            Sentence::Gga(s) => {
                self.fix(4, s.fix, s.position);
                rank(&mut self.hdop, 3, s.hdop);
            }
            Sentence::Gns(s) => {
                self.fix(3, s.fix, s.position);
                rank(&mut self.hdop, 2, s.hdop);
            }
            Sentence::Rmc(s) => {
                self.fix(2, s.fix, s.position);
                rank(&mut self.date, 2, s.date);
                rank(&mut self.speed_m_s, 2, s.speed_m_s);
                rank(&mut self.course_deg, 2, s.course_deg);
            }
            Sentence::Gll(s) => self.fix(1, s.fix, s.position),
            Sentence::Gst(s) => rank(&mut self.sd_m, 1, Some((s.lat_sd_m, s.lon_sd_m))),
            Sentence::Gsa(s) => rank(&mut self.hdop, 1, s.hdop),
            Sentence::Vtg(s) => {
                rank(&mut self.speed_m_s, 1, s.speed_m_s);
                rank(&mut self.course_deg, 1, s.course_deg);
            }
            // Its time is when it was sent: the date is of this fix only when that is the same.
            Sentence::Zda(s) if s.tod_us == Some(self.tod_us) => rank(&mut self.date, 1, s.date),
            Sentence::Zda(_) | Sentence::Depth(_) | Sentence::WaterTemp { .. } | Sentence::Other => {}
        }
    }

    fn fix(&mut self, of_rank: u8, fix: Fix, position: Option<LatLon>) {
        match fix {
            Fix::Good(quality) => rank(&mut self.fix, of_rank, position.map(|position| (position, quality))),
            Fix::Void => self.void = true,
            Fix::Silent => {}
        }
    }

    /// The position, if there is one.
    fn epoch(self) -> Option<Epoch> {
        fn value<T>(ranked: Ranked<T>) -> Option<T> {
            ranked.map(|(_, value)| value)
        }
        let (position, quality) = value(self.fix)?;
        let (lat_sd_m, lon_sd_m) = value(self.sd_m).unwrap_or_default();
        Some(Epoch {
            t: self.first,
            tod_us: self.tod_us,
            date: value(self.date),
            lat: position.lat,
            lon: position.lon,
            quality,
            hdop: value(self.hdop),
            lat_sd_m,
            lon_sd_m,
            speed_m_s: value(self.speed_m_s),
            course_deg: value(self.course_deg),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::nmea::read;
    use proptest::prelude::*;

    /// Sentences without checksums, which `read` does not look at, each at its arrival in seconds.
    fn stream(lines: &[(f64, &str)]) -> Vec<(Mono, Sentence)> {
        lines.iter().map(|(t, text)| (Mono::from_s(*t).unwrap(), read(&format!("${text}*00")))).collect()
    }

    fn epochs(stream: &[(Mono, Sentence)]) -> Vec<Epoch> {
        let mut epochs = Epochs::default();
        let mut found: Vec<_> = stream.iter().filter_map(|(t, sentence)| epochs.take(*t, sentence)).collect();
        found.extend(epochs.finish());
        found
    }

    #[test]
    fn one_moment_is_one_epoch() {
        let found = epochs(&stream(&[
            (9.0, "GPVTG,90.0,T,,M,9.0,N,,K,A"),
            (10.0, "GPGLL,4400.0000,N,12100.0000,W,000001.00,A,A"),
            (10.1, "GPRMC,000001.00,A,4400.0001,N,12100.0001,W,1.0,45.0,100127,,,A"),
            (10.2, "GPVTG,90.0,T,,M,9.0,N,,K,A"),
            (10.3, "GPGSA,A,3,,,,,,,,,,,,,2.0,1.5,1.3"),
            (10.4, "GPGGA,000001.00,4400.0002,N,12100.0002,W,2,08,1.1,10,M,,M,,"),
            (10.4, "GPGGA,000001.00,4500.0000,N,12100.0002,W,1,08,0.5,10,M,,M,,"),
            (10.5, "GPGST,000001.00,,,,,0.6,0.8,"),
            (10.6, "SDDPT,3.0,0.4"),
            (11.0, "GPRMC,000002.00,A,4400.0003,N,12100.0003,W,2.0,,100127,,,D"),
            (11.1, "GPGSA,A,3,,,,,,,,,,,,,2.0,1.5,1.3"),
            (11.2, "GPVTG,90.0,T,,M,9.0,N,,K,A"),
        ]));
        let t = |t| Mono::from_s(t).unwrap();
        let first = Epoch {
            t: t(10.0),
            tod_us: SECOND,
            date: Date::new(2027, 1, 10),
            lat: 44.0 + 0.0002 / 60.0,
            lon: -(121.0 + 0.0002 / 60.0),
            quality: 2,
            hdop: Some(1.1),
            lat_sd_m: Some(0.6),
            lon_sd_m: Some(0.8),
            speed_m_s: Some(1852.0 / 3600.0),
            course_deg: Some(45.0),
        };
        let second = Epoch {
            t: t(11.0),
            tod_us: 2 * SECOND,
            lat: 44.0 + 0.0003 / 60.0,
            lon: -(121.0 + 0.0003 / 60.0),
            hdop: Some(1.5),
            lat_sd_m: None,
            lon_sd_m: None,
            speed_m_s: Some(2.0 * (1852.0 / 3600.0)),
            course_deg: Some(90.0),
            ..first
        };
        assert_eq!(found, vec![first, second]);
    }

    const GGA1: &str = "GPGGA,120001.00,4400.0000,N,12100.0000,W,1,08,1.1,10,M,,M,,";
    const RMC1: &str = "GPRMC,120001.00,A,4400.0000,N,12100.0000,W,1.0,45.0,100127,,,A";
    const RMC2: &str = "GNRMC,120002.00,A,4400.0000,N,12100.0000,W,1.0,45.0,100127,,,A";
    const RMC3: &str = "GPRMC,120003.00,A,4400.0000,N,12100.0000,W,1.0,45.0,100127,,,A";

    #[test]
    fn what_makes_a_position() {
        let place = "4400.0000,N,12100.0000,W";
        let gga = |quality| format!("GPGGA,120001.00,{place},{quality},08,1.1,10,M,,M,,");
        let rmc = |status, mode| format!("GPRMC,120001.00,{status},{place},1.0,45.0,100127,,,{mode}");
        let gns = |modes| format!("GNGNS,120001.00,{place},{modes},08,1.1,10,,,");
        let cases: Vec<(Vec<String>, Option<u8>)> = vec![
            (vec![gga("1")], Some(1)),
            (vec![gga("9")], Some(9)),
            (vec![gga("0")], None),
            (vec![gga("6")], None),
            (vec![gga("7")], None),
            (vec![gga("8")], None),
            (vec![gga("")], None),
            (vec![gga(""), rmc("A", "D")], Some(2)),
            (vec![rmc("A", "")], Some(1)),
            (vec![rmc("V", "F"), gga("5")], Some(5)),
            (vec![gga("1"), rmc("V", "")], None),
            (vec![rmc("V", "N"), gga("1")], None),
            (vec![gga("1"), rmc("A", "E")], None),
            (vec![gga("6"), rmc("A", "A")], None),
            (vec![gns("NDD")], Some(2)),
            (vec![gns("NDD"), gga("2")], Some(2)),
            (vec![gns("NN"), gga("2")], None),
            (vec![gns("SAN"), gga("2")], None),
            (vec![gns(""), gga("2")], Some(2)),
            (vec![gns("")], None),
            // A satellite system without a fix, or a speed without one, says nothing about the position.
            (vec![gga("1"), "GNGSA,A,1,,,,,,,,,,,,,,,,4".into(), "GNVTG,,T,,M,,N,,K,N".into()], Some(1)),
            // Without a time a sentence belongs to nothing.
            (vec![gga("1"), "GPRMC,,V,,,,,,,,,,N".into()], Some(1)),
            (vec!["GPGST,120001.00,,,,,0.6,0.8,".into(), "GPZDA,120001.00,10,01,2027,,".into()], None),
            (vec![gga("1").replace("4400.0000", "8960.0000")], None),
            (vec![gga("1").replace("4400.0000", "0000.0000").replace("12100.0000", "00000.0000")], None),
            (vec![gga("1").replace(place, ",,,"), rmc("A", "D")], Some(2)),
        ];
        for (texts, expected) in cases {
            let lines: Vec<_> = texts.iter().map(|text| (1.0, text.as_str())).collect();
            let found = epochs(&stream(&lines));
            assert_eq!(found.first().map(|epoch| epoch.quality), expected, "{texts:?}");
        }
    }

    #[test]
    fn each_moment_counts_once() {
        const VOID1: &str = "GPRMC,120001.00,V,,,,,,,100127,,,N";
        const MIDNIGHT: &str = "GPRMC,235959.00,A,4400.0000,N,12100.0000,W,1.0,45.0,100127,,,A";
        const AFTER: &str = "GPRMC,000000.00,A,4400.0000,N,12100.0000,W,1.0,45.0,110127,,,A";
        const LEAP: &str = "GPRMC,235960.00,A,4400.0000,N,12100.0000,W,1.0,45.0,100127,,,A";
        const ZDA: &str = "GPZDA,120001.50,10,01,2027,,";
        type Case = (&'static [(f64, &'static str)], &'static [f64]);
        let cases: &[Case] = &[
            (&[(1.0, GGA1), (1.1, RMC1), (2.0, RMC2)], &[1.0, 2.0]),
            (&[(1.0, GGA1), (1.0, GGA1), (1.1, RMC1), (1.1, RMC1)], &[1.0]),
            // A pause of more than 0.6 s closes an epoch; what comes later of it is late.
            (&[(1.0, GGA1), (1.7, RMC1), (2.0, RMC2)], &[1.0, 2.0]),
            // Late copies, also across midnight, also while the next is open.
            (
                &[(1.0, RMC1), (2.0, RMC2), (2.1, RMC1), (2.2, RMC2), (3.0, RMC3), (3.0, RMC1)],
                &[1.0, 2.0, 3.0],
            ),
            (&[(1.0, MIDNIGHT), (2.0, AFTER), (2.1, MIDNIGHT), (2.7, MIDNIGHT), (3.4, AFTER)], &[1.0, 2.0]),
            // A time sent between does not split an epoch.
            (&[(1.0, GGA1), (1.1, ZDA), (1.2, RMC1)], &[1.0]),
            // Void is void, also when a good copy comes after the pause.
            (&[(1.0, VOID1), (1.7, RMC1), (2.0, RMC2)], &[2.0]),
            // Void times do not stand in the way of a clock set back a little when the fix comes.
            (&[(1.0, "GPRMC,120003.00,V,,,,,,,100127,,,N"), (2.0, RMC1), (3.0, RMC2)], &[2.0, 3.0]),
            // Nor do times already taken: a receiver set its clock back by 0.302 s after its first fix ("telit-he910" in
            // the gpsd project's test logs).
            (
                &[
                    (1.0, GGA1),
                    (2.0, "GPGGA,120000.70,4400.0000,N,12100.0000,W,1,08,1.1,10,M,,M,,"),
                    (3.0, GGA1),
                ],
                &[1.0, 2.0],
            ),
            // A leap second is the midnight after it.
            (&[(1.0, LEAP), (2.0, AFTER)], &[1.0]),
            // A receiver that repeats its last fix for ever is one epoch.
            (&[(1.0, RMC1), (50.0, RMC1), (100.0, RMC1), (150.0, RMC1)], &[1.0]),
            // The same time another day is another moment.
            (&[(1.0, RMC3), (86_399.0, RMC1), (86_400.0, RMC2)], &[1.0, 86_399.0, 86_400.0]),
        ];
        for (lines, expected) in cases {
            let found: Vec<f64> = epochs(&stream(lines)).iter().map(|epoch| epoch.t.s()).collect();
            assert_eq!(found, *expected, "{lines:?}");
        }
    }

    /// A stream of sentences with times that move on, repeat and go back, at times that do not go back.
    fn any_stream() -> impl Strategy<Value = Vec<(Mono, Sentence)>> {
        let one = (0i64..1_500_000, 0u32..8, 0u32..7).prop_map(|(pause, second, kind)| {
            let tod = format!("1200{second:02}.00");
            let text = match kind {
                0 => GGA1.replace("120001.00", &tod),
                1 => RMC1.replace("120001.00", &tod),
                2 => format!("GPRMC,{tod},V,,,,,,,100127,,,N"),
                3 => format!("GPGST,{tod},,,,,0.6,0.{second}1,"),
                4 => format!("GPVTG,{second}.0,T,,M,9.0,N,,K,A"),
                5 => format!("GPGSA,A,3,,,,,,,,,,,,,2.0,1.{second},1.3"),
                _ => format!("GPZDA,{tod},10,01,2027,,"),
            };
            (pause, read(&format!("${text}*00")))
        });
        prop::collection::vec(one, 0..40).prop_map(|steps| {
            let mut t = Mono(0);
            steps
                .into_iter()
                .map(|(pause, sentence)| {
                    t = t + pause;
                    (t, sentence)
                })
                .collect()
        })
    }

    proptest! {
        #[test]
        fn sentences_given_twice_change_nothing(stream in any_stream()) {
            let twice: Vec<_> = stream.iter().flat_map(|given| [*given, *given]).collect();
            prop_assert_eq!(epochs(&twice), epochs(&stream));
        }

        #[test]
        fn when_time_is_told_changes_nothing(stream in any_stream(), extra in prop::collection::vec(0i64..60_000_000, 0..20)) {
            let mut told = Epochs::default();
            let mut found = Vec::new();
            let mut extra = extra;
            extra.sort_unstable();
            let mut extra = extra.into_iter().peekable();
            for (t, sentence) in &stream {
                while let Some(now) = extra.next_if(|now| *now <= t.0) {
                    found.extend(told.advance(Mono(now)));
                }
                found.extend(told.take(*t, sentence));
            }
            found.extend(told.finish());
            prop_assert_eq!(found, epochs(&stream));
        }

        #[test]
        fn a_snapshot_goes_on_exactly(stream in any_stream(), cut in any::<prop::sample::Index>()) {
            let cut = cut.index(stream.len() + 1);
            let mut state = Epochs::default();
            let mut found: Vec<_> = stream[..cut].iter().filter_map(|(t, s)| state.take(*t, s)).collect();
            let mut resumed: Epochs = serde_json::from_str(&serde_json::to_string(&state).unwrap()).unwrap();
            prop_assert_eq!(&resumed, &state);
            found.extend(stream[cut..].iter().filter_map(|(t, s)| resumed.take(*t, s)));
            found.extend(resumed.finish());
            prop_assert_eq!(found, epochs(&stream));
        }
    }
}
