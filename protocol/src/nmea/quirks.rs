//! What the `nmea` crate (0.8) answers where we answer something else, so that a new version of it is noticed.

use nmea::sentences::{parse_dbs, parse_rmc};
use nmea::{NmeaSentence, ParseResult, SentenceType, parse_str};

use super::sentence::{Depth, DepthBelow, LatLon, Sentence};
use super::{exactly_one, read};

/// The sentence around this text, its checksum computed.
fn whole(text: &str) -> String {
    format!("${text}*{:02X}", text.bytes().fold(0, |sum, byte| sum ^ byte))
}

fn shown<T: std::fmt::Debug>(value: Option<T>) -> String {
    value.map_or("-".into(), |value| format!("{value:?}"))
}

/// The crate's answer, as far as it matters here.
fn theirs(sentence: &str) -> String {
    let place = |lat: Option<f64>, lon: Option<f64>| match lat.zip(lon) {
        Some((lat, lon)) => format!("{lat:.6} {lon:.6}"),
        None => "-".into(),
    };
    match parse_str(sentence) {
        Err(_) => "refused".into(),
        Ok(ParseResult::RMC(s)) => format!(
            "{} {} {} kn {} mode {}",
            s.fix_time.map_or("-".into(), |t| t.to_string()),
            s.fix_date.map_or("-".into(), |d| d.to_string()),
            place(s.lat, s.lon),
            shown(s.speed_over_ground),
            shown(s.faa_mode)
        ),
        Ok(ParseResult::GGA(s)) => format!("{} hdop {}", place(s.latitude, s.longitude), shown(s.hdop)),
        Ok(ParseResult::GNS(s)) => place(s.lat, s.lon),
        Ok(ParseResult::GLL(s)) => place(s.latitude, s.longitude),
        Ok(ParseResult::GST(s)) => format!("{} {}", shown(s.lat_sd), shown(s.long_sd)),
        Ok(ParseResult::GSA(s)) => shown(s.hdop),
        Ok(ParseResult::VTG(s)) => format!("{} kn {}", shown(s.true_course), shown(s.speed_over_ground)),
        Ok(ParseResult::ZDA(s)) => s.utc_date().map_or("-".into(), |d| d.to_string()),
        Ok(ParseResult::DPT(s)) => format!("{} {}", shown(s.water_depth), shown(s.offset)),
        Ok(ParseResult::MTW(s)) => shown(s.temperature),
        Ok(other) => format!("{other:?}"),
    }
}

/// Our answer, in the same words.
fn ours(sentence: &str) -> String {
    let speed = |m_s: Option<f64>| m_s.map_or("-".into(), |m_s| format!("{m_s:.4}"));
    let place = |at: Option<LatLon>| at.map_or("-".into(), |at| format!("{:.6} {:.6}", at.lat, at.lon));
    match read(sentence) {
        Sentence::Rmc(s) => format!(
            "{} {} {} m/s {} {:?}",
            shown(s.tod_us),
            s.date.map_or("-".into(), |d| format!("{}-{:02}-{:02}", d.year, d.month, d.day)),
            place(s.position),
            speed(s.speed_m_s),
            s.fix
        ),
        Sentence::Gga(s) => format!("{} hdop {} {:?}", place(s.position), shown(s.hdop), s.fix),
        Sentence::Gns(s) => format!("{} {:?}", place(s.position), s.fix),
        Sentence::Gll(s) => format!("{} {:?}", place(s.position), s.fix),
        Sentence::Gst(s) => format!("{} {}", shown(s.lat_sd_m), shown(s.lon_sd_m)),
        Sentence::Gsa(s) => shown(s.hdop),
        Sentence::Vtg(s) => format!("{} m/s {}", shown(s.course_deg), speed(s.speed_m_s)),
        Sentence::Zda(s) => s.date.map_or("-".into(), |d| format!("{}-{:02}-{:02}", d.year, d.month, d.day)),
        Sentence::Depth(Depth { m, below: DepthBelow::Surface }) => format!("{m} surface"),
        Sentence::Depth(Depth { m, below: DepthBelow::Transducer }) => format!("{m} transducer"),
        Sentence::WaterTemp { c } => c.to_string(),
        Sentence::Other => "nothing".into(),
    }
}

#[test]
fn where_we_and_the_crate_differ() {
    // Text, the crate's answer, ours.
    let cases = [
        // A wrong date must cost the date alone ("april6_2019" in the gpsd project's test logs).
        (
            "GPRMC,000231.099,A,4829.0005,N,00022.0015,E,0.36,212.28,2208-1,,,A",
            "refused",
            "151099000 - 48.483342 0.366692 m/s 0.1852 Good(1)",
        ),
        (
            "GPRMC,000231,A,4829.0005,N,00022.0015,E,,,310227,,,A",
            "refused",
            "151000000 - 48.483342 0.366692 m/s - Good(1)",
        ),
        // GPS time began in 1980 ("mtk-3301" there).
        (
            "GPRMC,000000,A,4829.0005,N,00022.0015,E,,,050180,,,A",
            "00:00:00 2080-01-05 48.483342 0.366692 kn - mode Autonomous",
            "0 1980-01-05 48.483342 0.366692 m/s - Good(1)",
        ),
        // The leap second, and a long fraction.
        (
            "GPRMC,235960.00,A,4829.0005,N,00022.0015,E,,,311226,,,A",
            "refused",
            "86400000000 2026-12-31 48.483342 0.366692 m/s - Good(1)",
        ),
        (
            "GPRMC,000058.9999999999999,A,4829.0005,N,00022.0015,E,,,311226,,,A",
            "refused",
            "58999999 2026-12-31 48.483342 0.366692 m/s - Good(1)",
        ),
        // Words and exponents are not numbers.
        (
            "GPRMC,000000,A,4829.0005,N,00022.0015,E,nan,,010127,,,A",
            "00:00:00 2027-01-01 48.483342 0.366692 kn NaN mode Autonomous",
            "0 2027-01-01 48.483342 0.366692 m/s - Good(1)",
        ),
        (
            "GPRMC,000000,A,4829.0005,N,00022.0015,E,inf,,010127,,,A",
            "00:00:00 2027-01-01 48.483342 0.366692 kn inf mode Autonomous",
            "0 2027-01-01 48.483342 0.366692 m/s - Good(1)",
        ),
        ("GPGGA,000000,48nan,N,00022.0015,E,1,08,1e2,,M,,M,,", "NaN 0.366692 hdop 100.0", "- hdop - Good(1)"),
        // No boat makes 3000 knots, or less than none.
        (
            "GPRMC,000000,A,4829.0005,N,00022.0015,E,3000,,010127,,,A",
            "00:00:00 2027-01-01 48.483342 0.366692 kn 3000.0 mode Autonomous",
            "0 2027-01-01 48.483342 0.366692 m/s - Good(1)",
        ),
        (
            "GPRMC,000000,A,4829.0005,N,00022.0015,E,-1,,010127,,,A",
            "00:00:00 2027-01-01 48.483342 0.366692 kn -1.0 mode Autonomous",
            "0 2027-01-01 48.483342 0.366692 m/s - Good(1)",
        ),
        // A letter without its variation hides the mode; a variation without its letter loses the sentence.
        (
            "GPRMC,000000,A,4829.0005,N,00022.0015,E,,,010127,,W,D",
            "00:00:00 2027-01-01 48.483342 0.366692 kn - mode -",
            "0 2027-01-01 48.483342 0.366692 m/s - Good(2)",
        ),
        (
            "GPRMC,000000,A,4829.0005,N,00022.0015,E,,,010127,1.5,,D",
            "refused",
            "0 2027-01-01 48.483342 0.366692 m/s - Good(2)",
        ),
        // Fewer fields than in any edition, a status it does not know, spaces.
        (
            "GPRMC,000000,A,4829.0005,N,00022.0015,E,,,010127",
            "refused",
            "0 2027-01-01 48.483342 0.366692 m/s - Good(1)",
        ),
        (
            "GPRMC,000000,,4829.0005,N,00022.0015,E,,,010127,,,A",
            "refused",
            "0 2027-01-01 48.483342 0.366692 m/s - Void",
        ),
        (
            "GPRMC,000000,A,4829.0005,N,00022.0015,E, 3.6,,010127,,,A",
            "refused",
            "0 2027-01-01 48.483342 0.366692 m/s 1.8520 Good(1)",
        ),
        // Minutes of 60 ("mtk-3301"), degrees out of range, negative minutes.
        (
            "GPGGA,235946.005,8960.000000,N,00000.000000,E,0,0,,137.000,M,13.000,M,,",
            "90.000000 0.000000 hdop -",
            "- hdop - Void",
        ),
        (
            "GPGGA,000000,4860.0,N,00022.0015,E,1,08,0.9,,M,,M,,",
            "49.000000 0.366692 hdop 0.9",
            "- hdop 0.9 Good(1)",
        ),
        (
            "GPGGA,000000,9030.0,N,00022.0015,E,1,08,0.9,,M,,M,,",
            "90.500000 0.366692 hdop 0.9",
            "- hdop 0.9 Good(1)",
        ),
        (
            "GPGGA,000000,4829.0,N,18030.0,E,1,08,0.9,,M,,M,,",
            "48.483333 180.500000 hdop 0.9",
            "- hdop 0.9 Good(1)",
        ),
        ("GPGGA,000000,4829.0,N,30000.0,E,1,08,0.9,,M,,M,,", "refused", "- hdop 0.9 Good(1)"),
        (
            "GPGGA,000000,48-29.0,N,00022.0,E,1,08,0.9,,M,,M,,",
            "47.516667 0.366667 hdop 0.9",
            "- hdop 0.9 Good(1)",
        ),
        // The two digits left of the point are minutes, whatever the degrees.
        (
            "GPGGA,000000,807.038,N,1131.000,E,1,08,0.9,,M,,M,,",
            "80.117300 113.016667 hdop 0.9",
            "8.117300 11.516667 hdop 0.9 Good(1)",
        ),
        (
            "GPGGA,000000,004807.038,N,0001131.000,E,1,08,0.9,,M,,M,,",
            "80.117300 18.850000 hdop 0.9",
            "48.117300 11.516667 hdop 0.9 Good(1)",
        ),
        // No position, said otherwise than by empty fields.
        ("GPGGA,000000,,N,,E,1,08,0.9,,M,,M,,", "refused", "- hdop 0.9 Good(1)"),
        (
            "GPGGA,000000,0000.0000,N,00000.0000,E,1,08,0.9,,M,,M,,",
            "0.000000 0.000000 hdop 0.9",
            "- hdop 0.9 Good(1)",
        ),
        // Qualities it does not know, and fields that do not matter to us.
        (
            "GPGGA,000000,4829.0005,N,00022.0015,E,9,08,0.9,,M,,M,,",
            "refused",
            "48.483342 0.366692 hdop 0.9 Good(9)",
        ),
        (
            "GPGGA,000000,4829.0005,N,00022.0015,E,,08,0.9,,M,,M,,",
            "refused",
            "48.483342 0.366692 hdop 0.9 Silent",
        ),
        (
            "GPGGA,000000,4829.0005,N,00022.0015,E,1,08,0.9,x,M,,M,,",
            "refused",
            "48.483342 0.366692 hdop 0.9 Good(1)",
        ),
        ("GPGGA,000000,4829.0005,N,00022.0015,E,1,08,0.9", "refused", "48.483342 0.366692 hdop 0.9 Good(1)"),
        (
            "GPGGA,000000,4829.0005,N,00022.0015,E,1,08,0.0,,M,,M,,",
            "48.483342 0.366692 hdop 0.0",
            "48.483342 0.366692 hdop - Good(1)",
        ),
        // Other than one or two modes ("furuno_gl_ga" in those logs), none; no count of satellites.
        (
            "GNGNS,120213.000,5957.0062,N,01100.6429,E,NDD,11,1.3,168.9,39.5,,,V",
            "refused",
            "59.950103 11.010715 Good(2)",
        ),
        (
            "GNGNS,120213.000,5957.0062,N,01100.6429,E,ANNNNN,11,1.3,168.9,39.5,,,V",
            "refused",
            "59.950103 11.010715 Good(1)",
        ),
        (
            "GNGNS,120213.000,5957.0062,N,01100.6429,E,,11,1.3,168.9,39.5,,,V",
            "refused",
            "59.950103 11.010715 Silent",
        ),
        (
            "GNGNS,120213.000,5957.0062,N,01100.6429,E,A,,1.3,168.9,39.5,,,V",
            "refused",
            "59.950103 11.010715 Good(1)",
        ),
        // The form before NMEA 2.3 has no mode.
        ("GPGLL,4916.45,N,12311.12,W,225444,A", "refused", "49.274167 -123.185333 Good(1)"),
        ("GPGLL,4916.45,N,12311.12,W", "refused", "49.274167 -123.185333 Void"),
        ("GPGST,172814.0,,,,,nan,0.02,", "NaN 0.02", "- 0.02"),
        ("GPGST,172814.0,,,,,0.03,0.02", "refused", "0.03 0.02"),
        // Talker and system apart, DOPs partly empty or whole numbers.
        ("GPGSA,A,3,04,05,,09,12,,,24,,,,,2.5,1.3,2.1,2", "refused", "1.3"),
        ("GPGSA,A,3,04,05,,09,12,,,24,,,,,,1.3,", "refused", "1.3"),
        ("GPGSA,A,3,04,05,,09,12,,,24,,,,,3,2,2.1", "refused", "2.0"),
        // km/h is never read; four bare numbers are the very old form.
        ("GPVTG,,T,,M,,N,3.6,K", "- kn -", "- m/s 1.0000"),
        ("GPVTG,054.7,034.4,003.6,006.7", "refused", "54.7 m/s 1.8520"),
        ("GPVTG,10.0,T,,M,3.6,N,6.7,K,E", "10.0 kn 3.6", "- m/s -"),
        ("GPVTG,360.0,T,,M,0,N,0,K,A", "360.0 kn 0.0", "0.0 m/s 0.0000"),
        ("GPVTG,361.0,T,,M,0,N,0,K,A", "361.0 kn 0.0", "- m/s 0.0000"),
        // Zones as they are sent ("furuno_gl_ga"), or left out.
        ("GPZDA,120222.000,31,07,2022,+00,00", "refused", "2022-07-31"),
        ("GPZDA,120222.000,31,07,2022,14,00", "refused", "2022-07-31"),
        ("GPZDA,120222.000,31,07,2022", "refused", "2022-07-31"),
        ("GPZDA,120222.000,31,02,2022,00,00", "-", "-"),
        ("GPZDA,120222.000,00,02,2022,00,00", "refused", "-"),
        // Offsets to the keel, two fields, one.
        ("SDDPT,5.3,0.4", "5.3 0.4", "5.7 surface"),
        ("SDDPT,5.3,-0.4", "refused", "5.3 transducer"),
        ("SDDPT,5.3,-0.4,100", "refused", "5.3 transducer"),
        ("SDDPT,5.3", "refused", "5.3 transducer"),
        ("SDDPT,0.0,0.4", "0.0 0.4", "nothing"),
        ("SDDPT,inf,0.4", "inf 0.4", "nothing"),
        ("SDDBT,17.9,f,5.4,M,2.9,F", "Unsupported(DBT)", "5.4 transducer"),
        ("SDDBT,10,f,,M,,F", "Unsupported(DBT)", "3.048 transducer"),
        ("SDDBS,  12.3,f,   3.7,M,  2.0,F", "Unsupported(DBS)", "3.7 surface"),
        ("INMTW,17.9,C", "17.9", "17.9"),
        ("INMTW,64.2,F", "refused", "nothing"),
        ("INMTW,99.9,C", "99.9", "nothing"),
    ];
    for (text, crates, expected) in cases {
        let sentence = whole(text);
        assert_eq!(exactly_one(sentence.as_bytes()), Ok(sentence.as_str()));
        assert_eq!((theirs(&sentence).as_str(), ours(&sentence).as_str()), (crates, expected), "{sentence}");
    }
}

#[test]
fn a_sentence_may_be_long() {
    let text = format!(
        "GPGGA,000000.00,4829.{:0<16},N,00022.{:0<16},E,1,08,0.9,10.0{:0<30},M,0.0,M,,",
        "0005", "0015", ""
    );
    assert!(whole(&text).len() > nmea::SENTENCE_MAX_LEN);
    assert_eq!(theirs(&whole(&text)), "refused");
    assert_eq!(ours(&whole(&text)), "48.483342 0.366692 hdop 0.9 Good(1)");
}

#[test]
fn speed_is_exact() {
    let data = "000000,A,4829.0005,N,00022.0015,E,0.146,,010127,,,A";
    let theirs =
        parse_rmc(NmeaSentence { talker_id: "GN", message_id: SentenceType::RMC, data, checksum: 0 });
    assert_eq!(theirs.unwrap().speed_over_ground.map(f64::from), Some(0.145_999_997_854_232_8));
    let Sentence::Rmc(ours) = read(&whole(&format!("GPRMC,{data}"))) else { panic!("not RMC") };
    assert_eq!(ours.speed_m_s, Some(0.146 * 1852.0 / 3600.0));
}

#[test]
fn spaces_in_a_depth_are_refused_by_the_crate_alone() {
    let data = "  12.3,f,   3.7,M,  2.0,F";
    let theirs =
        parse_dbs(NmeaSentence { talker_id: "SD", message_id: SentenceType::DBS, data, checksum: 0 });
    assert!(theirs.is_err());
}
