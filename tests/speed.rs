//! How fast a long day is taken in, and that memory does not grow with it.
//!
//! `ingest` of a simulated day at ten epochs a second, journal and records included, against the `nmea` crate alone
//! parsing the same sentences from memory: turn by turn in one run, the best of three each. Then the peak memory of
//! `ingest` for the whole day, its first half and its first tenth, with its pulls and without.
//!
//! ```text
//! cargo bench -p gunwale --bench speed               # ten hours, about 1.1 million lines
//! cargo bench -p gunwale --bench speed -- --hours 1  # a quick look
//! ```

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]

#[path = "support/peak.rs"]
mod peak;
#[allow(clippy::expect_used, reason = "as above")]
mod support;

use std::fs::File;
use std::hint::black_box;
use std::io::{BufRead, BufReader, BufWriter, Write};
use std::path::Path;
use std::time::{Duration, Instant};

use gunwale::sim::{Day, Options};
use peak::Took;

/// Times each is measured; the best counts, as everything else on the machine only adds.
const TIMES: usize = 3;
/// `ingest` should take at most so many times as long as parsing alone.
const TARGET: f64 = 4.0;
/// Ten times the sentences should take at most so much more memory: repeated measurements scatter by 5 %.
const MOST_GROWTH: f64 = 1.1;

fn main() {
    let hours = hours();
    let dir = support::fresh();
    let tape = dir.path().join("day.jsonl");
    let day = Day::new(Options::ten_hours());
    write_day(&day, &tape, hours, false);
    let lines = sentences(&tape);
    println!("a day of {hours} h at 10 Hz: {} sentences", lines.len());
    let (mut parsing, mut ingesting) = (Duration::MAX, Duration::MAX);
    let mut last = String::new();
    for _ in 0..TIMES {
        parsing = parsing.min(parse(&lines));
        let ingest = ingest(&tape);
        ingesting = ingesting.min(ingest.time);
        last = ingest.out.lines().last().unwrap_or_default().to_owned();
    }
    drop(lines);
    let ratio = ingesting.as_secs_f64() / parsing.as_secs_f64();
    println!("ingest: {last}");
    println!("parsing with the nmea crate alone: {:.3} s", parsing.as_secs_f64());
    println!("ingest, journal and records included: {:.3} s", ingesting.as_secs_f64());
    println!("ratio: {ratio:.2} ({})", verdict(ratio <= TARGET, &format!("target: at most {TARGET}")));

    // A day of sentences alone says whether memory grows with time; the whole day adds what its pulls take.
    let parts = [0.1, 0.5, 1.0].map(|part| part * hours);
    let alone = parts.map(|hours| peak_mb(&day, &tape, hours, true));
    let whole = parts.map(|hours| peak_mb(&day, &tape, hours, false));
    for ((hours, alone), whole) in parts.iter().zip(&alone).zip(&whole) {
        println!(
            "peak memory for {hours} h: {alone:.1} MB for sentences alone, {whole:.1} MB with all pulls"
        );
    }
    let growth = alone[2] / alone[0];
    let wanted = format!("target: at most {MOST_GROWTH}");
    println!(
        "sentences alone, whole day over a tenth: {growth:.2} ({})",
        verdict(growth <= MOST_GROWTH, &wanted)
    );
}

/// Peak memory of `ingest` for the beginning of a day, MB.
fn peak_mb(day: &Day, tape: &Path, hours: f64, sentences_alone: bool) -> f64 {
    write_day(day, tape, hours, sentences_alone);
    ingest(tape).peak_kb as f64 / 1024.0
}

fn hours() -> f64 {
    let args: Vec<String> = std::env::args().collect();
    let given = args.iter().position(|arg| arg == "--hours").and_then(|at| args.get(at + 1));
    given.map_or(10.0, |text| text.parse().expect("--hours N, N a number from 0.1 to 10"))
}

fn verdict(good: bool, wanted: &str) -> String {
    format!("{}, {wanted}", if good { "good" } else { "NOT GOOD" })
}

/// Writes the beginning of a day as a tape; `sentences_alone` leaves out what makes pulls.
fn write_day(day: &Day, tape: &Path, hours: f64, sentences_alone: bool) {
    let mut whole = Vec::new();
    day.tape(&mut whole).expect("a day in memory");
    let mut out = BufWriter::new(File::create(tape).expect("a file for the tape"));
    for line in whole.split_inclusive(|byte| *byte == b'\n') {
        let t_s = line.strip_prefix(b"{\"t\":").and_then(|rest| rest.split(|b| *b == b',').next());
        let t_s: f64 = t_s.and_then(|t| std::str::from_utf8(t).ok()?.parse().ok()).expect("a stamp");
        if t_s > hours * 3_600.0 {
            break;
        }
        if sentences_alone && !line.windows(7).any(|key| key == b",\"gps\":") {
            continue;
        }
        out.write_all(line).expect("a tape on the disk");
    }
    out.flush().expect("a tape on the disk");
}

/// The sentences of a tape.
fn sentences(tape: &Path) -> Vec<String> {
    let lines = BufReader::new(File::open(tape).expect("the tape")).lines();
    let gps = |line: String| {
        let line: serde_json::Value = serde_json::from_str(&line).expect("a tape line");
        line["gps"].as_str().map(str::to_owned)
    };
    lines.filter_map(|line| gps(line.expect("a line"))).collect()
}

/// How long the crate alone takes for all sentences.
fn parse(lines: &[String]) -> Duration {
    let start = Instant::now();
    for line in lines {
        let _ = black_box(nmea::parse_str(black_box(line)));
    }
    start.elapsed()
}

/// Takes the tape into a data directory of its own.
fn ingest(tape: &Path) -> Took {
    let data = support::fresh();
    peak::run(support::gunwale(data.path()).arg("ingest").arg(tape))
}
