//! Lines, refusals, position epochs and the track of logs are what an independent count makes of them.

use std::path::Path;

use gunwale::sim::{Day, Kind, Options, ScaleUse};
use gunwale_protocol::nmea;
use serde_json::json;

use crate::{Random, content, reader, sentences, support};

/// Takes a log in and has the outcome judged.
fn judge(log: &Path, dates: bool) {
    let Some(mut script) = reader("logs.py") else { return };
    let data = support::fresh();
    let said = support::run(data.path(), &["ingest", log.to_str().unwrap()]);
    let track = data.path().join("track.csv");
    support::run(data.path(), &["export", "csv", "--table", "track", "--out", track.to_str().unwrap()]);
    script.arg(log).arg(track).arg(said.lines().last().unwrap()).args(dates.then_some("--dates"));
    println!("{}: {}", log.display(), content(&mut script, ""));
}

fn days() -> impl Iterator<Item = (u64, Options)> {
    (1..=4).map(|seed| {
        let gps_hz = [1.0, 5.0, 0.5, 10.0][seed as usize % 4];
        let scale = ScaleUse::Off;
        (seed, Options { seed, pulls: 2, gps_hz, gst: seed % 2 == 0, scale, ..Options::default() })
    })
}

#[test]
fn the_track_is_the_days() {
    if reader("logs.py").is_none() {
        return;
    }
    let dir = support::fresh();
    for (seed, options) in days() {
        let mut tape = Vec::new();
        Day::new(options).tape(&mut tape).unwrap();
        judge(&support::write(dir.path(), &format!("day-{seed}.jsonl"), tape), true);
    }
}

#[test]
fn logs_full_of_noise_are_counted_alike() {
    if reader("logs.py").is_none() {
        return;
    }
    let dir = support::fresh();
    for (seed, options) in days() {
        let mut random = Random(seed);
        let (mut log, mut tape) = (Vec::new(), Vec::new());
        for line in Day::new(options).lines().filter(|line| line.kind == Kind::Gps) {
            noisy(line.text.as_bytes(), &mut random, &mut log);
            noisy_tape(line.t_s(), &line.text, &mut random, &mut tape);
        }
        judge(&support::write(dir.path(), &format!("noisy-{seed}.log"), log), false);
        judge(&support::write(dir.path(), &format!("noisy-{seed}.jsonl"), tape), false);
    }
}

/// Real logs, where there are some: a folder of `*.log` files.
#[test]
fn real_logs_are_counted_alike() {
    let Some(folder) = std::env::var_os("GUNWALE_NMEA_LOGS") else { return };
    let mut logs: Vec<_> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    logs.retain(|log| log.extension().is_some_and(|ending| ending == "log"));
    logs.sort();
    assert!(!logs.is_empty(), "no log in the folder GUNWALE_NMEA_LOGS names");
    let mut all = Vec::new();
    for log in logs {
        let lines = std::fs::read(&log).unwrap();
        for line in lines.split(|byte| *byte == b'\n') {
            all.extend(nmea::exactly_one(line).map(str::to_owned));
        }
        judge(&log, false);
    }
    sentences::judge(all.iter().map(String::as_str), false);
}

fn right(text: &str) -> String {
    let sum = text.bytes().skip(1).fold(0, |sum, byte| sum ^ byte);
    format!("{text}*{sum:02X}")
}

/// A sentence as a bad wire, a wrong baud rate or another device on it leave it; mostly as it is.
fn noisy(sentence: &[u8], random: &mut Random, log: &mut Vec<u8>) {
    let mut line = sentence.to_vec();
    let mut end: &[u8] = if random.below(3) == 0 { b"\n" } else { b"\r\n" };
    let at = random.below(line.len());
    let mut junk =
        |most: usize| -> Vec<u8> { (0..random.below(most)).map(|_| random.next() as u8).collect() };
    let binary = junk(40);
    let body = |line: &[u8]| support::text(line.split(|byte| *byte == b'*').next().unwrap());
    match random.below(80) {
        0 => line[at] ^= 1 << random.below(8),
        1 => drop(line.remove(at)),
        2 => line.truncate(at),
        3 => line = [&binary, &*line].concat(),
        4 => line.extend(binary),
        5 => line.insert(at, b"$!*,0A\x07\xff"[random.below(8)]),
        6 => line.truncate(line.len() - 3),
        7 => {
            let digits = line.len() - 2;
            line[digits..].make_ascii_lowercase();
        }
        8 => end = b"",
        9 => line = [b"\\s:GPS,c:1560234814*5E\\", &*line].concat(),
        10 => line.extend(b" ,1"),
        11 => log.extend(b"\n# a remark $GPGGA,1*00\r\n   \r\n"),
        12 => line = [&*line, b"\r\n", &*line].concat(),
        13 => line = [&*binary, b"\n", &*line].concat(),
        14 => log.extend(format!("{}\n", right("!AIVDM,1,1,,A,13aEOK?P00PD2wVMdLDRhgvL289?,0")).bytes()),
        15 => log.extend(format!("{}\r\n", right("$PMTK001,604,3")).bytes()),
        16 => log.extend(format!("{}\n", right("$GPTXT,01,01,02,Île * 2")).bytes()),
        17 => log.extend(b"$GP\xe9*FE\n"),
        18 => line = [b" \t", &*line, b"  "].concat(),
        19 => log.extend([&vec![b'x'; 70_000], &b"\n"[..]].concat()),
        20..=24 => {
            // Another quality, or a fix that is void or estimated.
            let text = body(&line).replace(",A,", [",V,", ",A,"][random.below(2)]);
            let text = text.replace(",1,0", &format!(",{},0", random.below(10)));
            line = right(&text).into_bytes();
        }
        _ => {}
    }
    log.extend(line);
    log.extend(end);
}

/// The same on a tape, where a line must be text, and a line may be no JSON or nothing known.
fn noisy_tape(t_s: f64, sentence: &str, random: &mut Random, tape: &mut Vec<u8>) {
    let t = (t_s * 1e3).round() / 1e3;
    let mut line = Vec::new();
    noisy(sentence.as_bytes(), random, &mut line);
    for line in line.split(|byte| *byte == b'\n').filter(|line| !line.is_empty()) {
        tape.extend(format!("{}\n", json!({ "t": t, "gps": support::text(line) })).bytes());
    }
    match random.below(60) {
        0 => tape.extend(b"# a remark\n\n"),
        1 => tape.extend(b"neither JSON nor a sentence\n"),
        2 => tape.extend(format!("{{\"t\":{t},\"gps\":\"{sentence}\"\n").bytes()),
        3 => tape.extend(format!("{}\n", json!({ "gps": sentence })).bytes()),
        4 => tape.extend(format!("{}\n", json!({ "t": t, "wind": 3 })).bytes()),
        5 => tape.extend(format!("{}\n", json!({ "t": "soon", "gps": sentence })).bytes()),
        6 => tape.extend(format!("{}\n", json!({ "t": t, "gps": 7 })).bytes()),
        7 => tape.extend(format!("{}\n", json!({ "wind": { "gps": 3 }, "gps": sentence, "t": t })).bytes()),
        8 => tape.extend(b"[1]\n\"t\"\n\xff\xfe{}\n"),
        _ => {}
    }
}
