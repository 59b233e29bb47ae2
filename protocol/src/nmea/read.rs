//! From the text of a sentence to what it says.
//!
//! The `nmea` crate reads positions, ZDA's date, depth below the transducer and water temperature, after `mend` has
//! looked at the fields. Read here from the fields themselves is what the crate gets wrong or coarse:
//! - time of day (refuses 23:59:60) and RMC's date (1980–1982 become 2080–2082);
//! - speed, course, HDOP and standard deviations (single precision), so all of GST;
//! - VTG (km/h never read) and GSA (integer DOPs taken for satellites, refused when partly empty);
//! - status, mode and quality (GGA 9, GNS with other than one or two modes);
//! - DBT, which it does not have, and DBS, which it does not reach from a sentence.

use nmea::sentences::{parse_dpt, parse_gga, parse_gll, parse_gns, parse_mtw, parse_rmc, parse_zda};
use nmea::{NmeaSentence, SentenceType};

use super::fields::{Fields, day_month_year, tod_us};
use super::mend::{self, Form};
use super::sentence::{
    Date, Depth, DepthBelow, Fix, Gga, Gll, Gns, Gsa, Gst, LatLon, Rmc, Sentence, Vtg, Zda, fix_of_mode,
    fix_of_modes, fix_of_quality, fix_of_status,
};

/// Metres in a nautical mile (BIPM, SI brochure, 8th edition, table 8); a knot is one an hour.
const NAUTICAL_MILE: f64 = 1852.0;
/// Metres in a foot (international foot).
const FOOT: f64 = 0.3048;
/// No boat here is faster; receivers that are coming to say so.
const FASTEST_M_S: f64 = 100.0;

/// What a sentence says.
///
/// It must be one that [`exactly_one`](super::exactly_one) or [`salvage`](super::salvage) gave: the checksum is not
/// looked at again. Any talker is taken; `!`, proprietary and unknown sentences are [`Sentence::Other`].
pub fn read(sentence: &str) -> Sentence {
    let Some((address, data)) = split(sentence) else { return Sentence::Other };
    let fields = || Fields::of(data);
    let said = match address {
        [b'P', ..] => None,
        [_, _, b'R', b'M', b'C'] => rmc(data, fields()),
        [_, _, b'G', b'G', b'A'] => gga(data, fields()),
        [_, _, b'G', b'S', b'T'] => gst(fields()),
        [_, _, b'G', b'S', b'A'] => gsa(fields()),
        [_, _, b'V', b'T', b'G'] => vtg(fields()),
        [_, _, b'Z', b'D', b'A'] => zda(data, fields()),
        [_, _, b'G', b'N', b'S'] => gns(data, fields()),
        [_, _, b'G', b'L', b'L'] => gll(data, fields()),
        [_, _, b'D', b'P', b'T'] => dpt(data, fields()),
        [_, _, b'D', b'B', b'T'] => feet_and_metres(fields(), DepthBelow::Transducer),
        [_, _, b'D', b'B', b'S'] => feet_and_metres(fields(), DepthBelow::Surface),
        [_, _, b'M', b'T', b'W'] => mtw(data, fields()),
        _ => None,
    };
    said.unwrap_or(Sentence::Other)
}

/// The address of a `$` sentence and its fields, as text.
fn split(sentence: &str) -> Option<(&[u8], &str)> {
    let inside = sentence.strip_prefix('$')?;
    let text = inside.get(..inside.len().checked_sub(3)?)?;
    let (address, data) = text.split_at_checked(5)?;
    Some((address.as_bytes(), data.strip_prefix(',')?))
}

/// What the crate's parser makes of the mended fields. It refuses none of those: a test gives it any.
fn ask<T>(
    form: &Form,
    message_id: SentenceType,
    data: &str,
    fields: &Fields,
    parse: impl for<'s> FnOnce(NmeaSentence<'s>) -> Result<T, nmea::Error<'s>>,
) -> Option<T> {
    let mended = form.mend(data, fields);
    parse(NmeaSentence { talker_id: "GN", message_id, data: &mended, checksum: 0 }).ok()
}

fn rmc(data: &str, f: Fields) -> Option<Sentence> {
    let said = ask(&mend::RMC, SentenceType::RMC, data, &f, parse_rmc)?;
    Some(Sentence::Rmc(Rmc {
        tod_us: tod_us(f.get(0)),
        date: day_month_year(f.get(8)),
        fix: fix_of_status(f.letter(1), f.letter(11)),
        position: position(said.lat, said.lon),
        speed_m_s: f.number(6).map(knots).and_then(speed),
        course_deg: f.number(7).and_then(course),
    }))
}

fn gga(data: &str, f: Fields) -> Option<Sentence> {
    let said = ask(&mend::GGA, SentenceType::GGA, data, &f, parse_gga)?;
    Some(Sentence::Gga(Gga {
        tod_us: tod_us(f.get(0)),
        fix: fix_of_quality(f.letter(5)),
        position: position(said.latitude, said.longitude),
        hdop: f.number(7).and_then(above_zero),
    }))
}

fn gns(data: &str, f: Fields) -> Option<Sentence> {
    let said = ask(&mend::GNS, SentenceType::GNS, data, &f, parse_gns)?;
    Some(Sentence::Gns(Gns {
        tod_us: tod_us(f.get(0)),
        fix: fix_of_modes(f.get(5).trim_ascii().as_bytes()),
        position: position(said.lat, said.lon),
        hdop: f.number(7).and_then(above_zero),
    }))
}

fn gll(data: &str, f: Fields) -> Option<Sentence> {
    let said = ask(&mend::GLL, SentenceType::GLL, data, &f, parse_gll)?;
    Some(Sentence::Gll(Gll {
        tod_us: tod_us(f.get(4)),
        fix: fix_of_status(f.letter(5), f.letter(6)),
        position: position(said.latitude, said.longitude),
    }))
}

fn gst(f: Fields) -> Option<Sentence> {
    Some(Sentence::Gst(Gst {
        tod_us: tod_us(f.get(0)),
        lat_sd_m: f.number(5).and_then(above_zero),
        lon_sd_m: f.number(6).and_then(above_zero),
    }))
}

fn gsa(f: Fields) -> Option<Sentence> {
    // After two modes and twelve satellites: PDOP, HDOP, VDOP.
    Some(Sentence::Gsa(Gsa { hdop: f.number(15).and_then(above_zero) }))
}

fn vtg(f: Fields) -> Option<Sentence> {
    // The very old form is four bare numbers, no letters between: true, magnetic, knots, km/h.
    let (kn, km_h) = if f.count == 4 { (f.number(2), f.number(3)) } else { (f.number(4), f.number(6)) };
    let void = f.letter(8).is_some_and(|mode| fix_of_mode(mode) == Fix::Void);
    let m_s = kn.map(knots).or(km_h.map(|km_h| km_h / 3.6));
    Some(Sentence::Vtg(Vtg {
        speed_m_s: m_s.and_then(speed).filter(|_| !void),
        course_deg: f.number(0).and_then(course).filter(|_| !void),
    }))
}

fn zda(data: &str, f: Fields) -> Option<Sentence> {
    let said = ask(&mend::ZDA, SentenceType::ZDA, data, &f, parse_zda)?;
    let date =
        || Date::new(said.year?.try_into().ok()?, said.month?.try_into().ok()?, said.day?.try_into().ok()?);
    Some(Sentence::Zda(Zda { tod_us: tod_us(f.get(0)), date: date() }))
}

fn dpt(data: &str, f: Fields) -> Option<Sentence> {
    let said = ask(&mend::DPT, SentenceType::DPT, data, &f, parse_dpt)?;
    // A positive offset reaches from the transducer up to the surface, a negative one down to the keel.
    match said.offset {
        Some(offset) if offset > 0.0 => depth(said.water_depth?, offset, DepthBelow::Surface),
        _ => depth(said.water_depth?, 0.0, DepthBelow::Transducer),
    }
}

fn feet_and_metres(f: Fields, below: DepthBelow) -> Option<Sentence> {
    depth(f.number(2).or(f.number(0).map(|feet| feet * FOOT))?, 0.0, below)
}

fn mtw(data: &str, f: Fields) -> Option<Sentence> {
    let said = ask(&mend::MTW, SentenceType::MTW, data, &f, parse_mtw)?;
    let celsius = f.get(1).is_empty() || f.letter(1) == Some(b'C');
    let c = said.temperature.filter(|c| celsius && (-5.0..=60.0).contains(c))?;
    Some(Sentence::WaterTemp { c })
}

/// A position in range. Exactly 0° N 0° E is what some receivers send for none.
fn position(lat: Option<f64>, lon: Option<f64>) -> Option<LatLon> {
    let (lat, lon) = lat.zip(lon)?;
    let known = lat.abs() <= 90.0 && lon.abs() <= 180.0 && (lat != 0.0 || lon != 0.0);
    known.then_some(LatLon { lat, lon })
}

fn depth(reading_m: f64, offset_m: f64, below: DepthBelow) -> Option<Sentence> {
    let m = reading_m + offset_m;
    (reading_m > 0.0 && m <= 12_000.0).then_some(Sentence::Depth(Depth { m, below }))
}

/// Metres a second.
fn knots(kn: f64) -> f64 {
    kn * NAUTICAL_MILE / 3600.0
}

fn speed(m_s: f64) -> Option<f64> {
    (0.0..=FASTEST_M_S).contains(&m_s).then_some(m_s)
}

fn course(deg: f64) -> Option<f64> {
    (0.0..=360.0).contains(&deg).then_some(deg % 360.0)
}

fn above_zero(value: f64) -> Option<f64> {
    Some(value).filter(|value| *value > 0.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::nmea::exactly_one;
    use crate::time::SECOND;
    use proptest::prelude::*;

    fn tod(h: i64, m: i64, s: i64, us: i64) -> Option<i64> {
        Some((h * 3600 + m * 60 + s) * SECOND + us)
    }

    fn at(lat: f64, lon: f64) -> Option<LatLon> {
        Some(LatLon { lat, lon })
    }

    /// Sentences marked G are from "NMEA Revealed" (the gpsd project), R from a receiver manual; the positions of the others
    /// were computed with pynmea2 and pynmeagps.
    #[test]
    fn sentences_of_the_books() {
        let rmc = |tod_us, date, position, kn: f64, course_deg| {
            let speed_m_s = Some(kn * 1852.0 / 3600.0);
            Sentence::Rmc(Rmc { tod_us, date, fix: Fix::Good(1), position, speed_m_s, course_deg })
        };
        let cases = [
            (
                // G
                "$GNRMC,001031.00,A,4404.13993,N,12118.86023,W,0.146,,100117,,,A*7B",
                rmc(
                    tod(0, 10, 31, 0),
                    Date::new(2017, 1, 10),
                    at(44.0 + 4.13993 / 60.0, -(121.0 + 18.86023 / 60.0)),
                    0.146,
                    None,
                ),
            ),
            (
                "$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A",
                rmc(
                    tod(12, 35, 19, 0),
                    Date::new(1994, 3, 23),
                    at(48.0 + 7.038 / 60.0, 11.0 + 31.0 / 60.0),
                    22.4,
                    Some(84.4),
                ),
            ),
            (
                "$GPRMC,081836,A,3751.65,S,14507.36,E,000.0,360.0,130998,011.3,E*62",
                rmc(
                    tod(8, 18, 36, 0),
                    Date::new(1998, 9, 13),
                    at(-(37.0 + 51.65 / 60.0), 145.0 + 7.36 / 60.0),
                    0.0,
                    Some(0.0),
                ),
            ),
            (
                "$GPGGA,172814.0,3723.46587704,N,12202.26957864,W,2,6,1.2,18.893,M,-25.669,M,2.0,0031*4F",
                Sentence::Gga(Gga {
                    tod_us: tod(17, 28, 14, 0),
                    fix: Fix::Good(2),
                    position: at(37.0 + 23.46587704 / 60.0, -(122.0 + 2.26957864 / 60.0)),
                    hdop: Some(1.2),
                }),
            ),
            (
                // R
                "$GPGST,172814.0,0.006,0.023,0.020,273.6,0.023,0.020,0.031*6A",
                Sentence::Gst(Gst {
                    tod_us: tod(17, 28, 14, 0),
                    lat_sd_m: Some(0.023),
                    lon_sd_m: Some(0.020),
                }),
            ),
            (
                // G
                "$GNGSA,A,3,80,71,73,79,69,,,,,,,,1.83,1.09,1.47*17",
                Sentence::Gsa(Gsa { hdop: Some(1.09) }),
            ),
            (
                // G
                "$GPVTG,220.86,T,,M,2.550,N,4.724,K,A*34",
                Sentence::Vtg(Vtg { speed_m_s: Some(2.55 * 1852.0 / 3600.0), course_deg: Some(220.86) }),
            ),
            (
                // G
                "$GPZDA,160012.71,11,03,2004,-1,00*7D",
                Sentence::Zda(Zda { tod_us: tod(16, 0, 12, 710_000), date: Date::new(2004, 3, 11) }),
            ),
            ("!AIVDM,1,1,,A,14eG;o@034o8sd<L9i:a;WF>062D,0*7D", Sentence::Other),
            ("$PMTK001,604,3*32", Sentence::Other),
        ];
        for (sentence, expected) in cases {
            assert_eq!(exactly_one(sentence.as_bytes()), Ok(sentence));
            let said = read(sentence);
            match (position_of(said), position_of(expected)) {
                (Some(said), Some(expected)) => {
                    assert!((said.lat - expected.lat).abs() < 1e-12, "{sentence}");
                    assert!((said.lon - expected.lon).abs() < 1e-12, "{sentence}");
                }
                (said, expected) => assert_eq!(said, expected, "{sentence}"),
            }
            assert_eq!(without_position(said), without_position(expected), "{sentence}");
        }
    }

    fn position_of(sentence: Sentence) -> Option<LatLon> {
        match sentence {
            Sentence::Rmc(s) => s.position,
            Sentence::Gga(s) => s.position,
            Sentence::Gns(s) => s.position,
            Sentence::Gll(s) => s.position,
            _ => None,
        }
    }

    fn without_position(mut sentence: Sentence) -> Sentence {
        match &mut sentence {
            Sentence::Rmc(s) => s.position = None,
            Sentence::Gga(s) => s.position = None,
            _ => {}
        }
        sentence
    }

    #[test]
    fn only_a_valid_and_dated_rmc_tells_utc() {
        let utc = |text: &str| match read(&format!("${text}*00")) {
            Sentence::Rmc(s) => s.utc().map(|utc| utc.to_string()),
            Sentence::Zda(s) => s.utc().map(|utc| utc.to_string()),
            _ => None,
        };
        let cases = [
            ("GPRMC,120000.50,A,,,,,,,100127,,,A", Some("2027-01-10T12:00:00.500Z")),
            ("GPRMC,235960.00,A,,,,,,,311226,,,A", Some("2027-01-01T00:00:00.000Z")),
            ("GPRMC,120000.50,V,,,,,,,100127,,,N", None),
            ("GPRMC,120000.50,A,,,,,,,100127,,,E", None),
            ("GPRMC,120000.50,A,,,,,,,,,,A", None),
            ("GPRMC,,A,,,,,,,100127,,,A", None),
            ("GPZDA,120000.50,10,01,2027,00,00", Some("2027-01-10T12:00:00.500Z")),
            ("GPZDA,120000.50,,01,2027,00,00", None),
        ];
        for (text, expected) in cases {
            assert_eq!(utc(text).as_deref(), expected, "{text}");
        }
    }

    /// A field as receivers send them, or anything.
    fn any_field() -> impl Strategy<Value = String> {
        prop_oneof![
            Just(String::new()),
            "[0-9]{1,7}",
            "[-+]?[0-9]{0,6}\\.?[0-9]{0,17}",
            "[0-9]{6}\\.[0-9]{1,3}",
            "[A-Z]{1,3}",
            prop::sample::select(vec!["nan", "inf", "N", "S", "E", "W", "A", "V", "M", "-", "+00", "2208-1"])
                .prop_map(String::from),
            "[^,*$]{0,6}",
        ]
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(1000))]

        #[test]
        fn no_field_makes_the_crate_refuse_a_sentence(
            kind in prop::sample::select(vec!["RMC", "GGA", "GNS", "GLL", "ZDA"]),
            fields in prop::collection::vec(any_field(), 0..22),
        ) {
            let said = read(&format!("$GP{kind},{}*00", fields.join(",")));
            prop_assert_ne!(said, Sentence::Other);
        }

        #[test]
        fn one_strange_field_costs_no_more_than_itself(
            field in any_field(),
            i in prop::sample::select(vec![8usize, 9, 10, 12, 13]),
        ) {
            let good = "120000.00,A,4400.0000,N,12100.0000,W,1.0,45.0,100127,3.1,E,A,V";
            let mut fields: Vec<&str> = good.split(',').collect();
            match fields.get_mut(i) {
                Some(place) => *place = &field,
                None => fields.push(&field),
            }
            let Sentence::Rmc(said) = read(&format!("$GPRMC,{}*00", fields.join(","))) else { panic!("not RMC") };
            prop_assert_eq!(said.position, Some(LatLon { lat: 44.0, lon: -121.0 }));
            prop_assert_eq!(said.fix, Fix::Good(1));
        }

        #[test]
        fn what_is_read_is_in_range(sentence in "\\$(GP|SD)(RMC|GGA|GNS|GLL|VTG|GST|GSA|DPT|DBT|MTW)(,(-?[0-9]{1,6}(\\.[0-9]{1,5})?|[NSEWAM]|)){1,20}\\*00") {
            let said = read(&sentence);
            if let Some(at) = position_of(said) {
                prop_assert!(at.lat.abs() <= 90.0 && at.lon.abs() <= 180.0);
            }
            let (speed, course) = match said {
                Sentence::Rmc(s) => (s.speed_m_s, s.course_deg),
                Sentence::Vtg(s) => (s.speed_m_s, s.course_deg),
                _ => (None, None),
            };
            prop_assert!(speed.is_none_or(|v| (0.0..=100.0).contains(&v)));
            prop_assert!(course.is_none_or(|v| (0.0..360.0).contains(&v)));
            prop_assert!(said.fix_tod_us().is_none_or(|v| (0..86_401 * SECOND).contains(&v)));
            if let Sentence::Depth(depth) = said {
                prop_assert!(depth.m > 0.0 && depth.m <= 12_000.0);
            }
        }

        #[test]
        fn any_text_is_borne(sentence in "\\PC{0,60}", start in prop::sample::select(vec!["", "$", "$GPRMC,", "!"])) {
            read(&format!("{start}{sentence}"));
        }
    }
}
