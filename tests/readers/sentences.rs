//! What sentences say is what pynmea2 and pynmeagps read from them.

use std::path::Path;

use gunwale::sim::{Day, Kind, Options};
use gunwale_protocol::nmea::{self, Sentence};
use serde_json::{Value, json};

use crate::{content, from_all, reader};

/// Sentences from public documents.
const PUBLIC: &[&str] = &[
    // "NMEA Revealed" (the gpsd project).
    "$GNRMC,001031.00,A,4404.13993,N,12118.86023,W,0.146,,100117,,,A*7B",
    "$GPGST,182141.000,15.5,15.3,7.2,21.8,0.9,0.5,0.8*54",
    "$GNGSA,A,3,80,71,73,79,69,,,,,,,,1.83,1.09,1.47*17",
    "$GPVTG,220.86,T,,M,2.550,N,4.724,K,A*34",
    "$GPZDA,160012.71,11,03,2004,-1,00*7D",
    // Receiver manuals' public tables.
    "$GPGST,172814.0,0.006,0.023,0.020,273.6,0.023,0.020,0.031*6A",
    // Widely copied examples; their checksums are right.
    "$GPGGA,172814.0,3723.46587704,N,12202.26957864,W,2,6,1.2,18.893,M,-25.669,M,2.0,0031*4F",
    "$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A",
    "$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47",
    "$GPGSA,A,3,04,05,,09,12,,,24,,,,,2.5,1.3,2.1*39",
    "$GPVTG,054.7,T,034.4,M,005.5,N,010.2,K*48",
    "$GPRMC,081836,A,3751.65,S,14507.36,E,000.0,360.0,130998,011.3,E*62",
];

/// Asks the libraries about sentences; with `all`, they must know each.
pub fn judge<'a>(sentences: impl IntoIterator<Item = &'a str>, all: bool) {
    let Some(mut script) = reader("sentences.py") else { return };
    script.arg("judge").args(all.then_some("--all"));
    let input: String = sentences.into_iter().map(|sentence| format!("{}\n", said(sentence))).collect();
    println!("{}", content(&mut script, &input));
}

/// What this program reads from a sentence.
fn said(text: &str) -> Value {
    let sentence = nmea::exactly_one(text.as_bytes()).map(nmea::read);
    let (kind, tod_us, date, position) = match sentence {
        Ok(Sentence::Rmc(s)) => ("RMC", s.tod_us, s.date, s.position),
        Ok(Sentence::Gga(s)) => ("GGA", s.tod_us, None, s.position),
        Ok(Sentence::Gns(s)) => ("GNS", s.tod_us, None, s.position),
        Ok(Sentence::Gll(s)) => ("GLL", s.tod_us, None, s.position),
        Ok(Sentence::Gst(s)) => ("GST", s.tod_us, None, None),
        Ok(Sentence::Zda(s)) => ("ZDA", s.tod_us, s.date, None),
        _ => ("", None, None, None),
    };
    json!({
        "sentence": text, "whole": sentence.is_ok(), "kind": kind, "tod_us": tod_us,
        "date": date.map(|d| format!("{:04}-{:02}-{:02}", d.year, d.month, d.day)),
        "lat": position.map(|p| p.lat), "lon": position.map(|p| p.lon),
    })
}

#[test]
fn public_examples_are_read_alike() {
    judge(PUBLIC.iter().copied(), true);
}

#[test]
fn a_simulated_day_is_read_alike() {
    let day = Day::new(Options { gst: true, ..Options::forty_traps() });
    let sentences: Vec<String> =
        day.lines().filter(|line| line.kind == Kind::Gps).map(|line| line.text).collect();
    assert!(sentences.len() > 20_000);
    judge(sentences.iter().map(String::as_str), true);
}

/// The sentences that the source packages of pynmea2 and pynmeagps carry for their own tests.
#[test]
fn the_libraries_own_samples_are_read_alike() {
    let (Some(mut script), Some(samples)) = (reader("sentences.py"), from_all("GUNWALE_SAMPLES")) else {
        return;
    };
    let samples = content(script.arg("samples").arg(Path::new(&samples)), "");
    let samples: Vec<String> = samples.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    assert!(samples.len() > 100, "{} samples", samples.len());
    judge(samples.iter().map(String::as_str), false);
}
