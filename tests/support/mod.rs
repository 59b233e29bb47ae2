//! What whole-program tests share: the built binary, data directories of their own, tapes, and records read back.

#![allow(dead_code, reason = "each test uses its part")]

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use serde_json::Value;

/// The built `gunwale` with a data directory.
pub fn gunwale(data: &Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_gunwale"));
    command.arg("--data").arg(data).env_remove("GUNWALE_LOG").env_remove("XDG_DATA_HOME");
    command
}

/// Runs a command to its end; panics with its messages unless it ends well.
pub fn run(data: &Path, args: &[&str]) -> String {
    let output = attempt(data, args);
    let (out, err) = (text(&output.stdout), text(&output.stderr));
    assert!(output.status.success(), "gunwale {args:?}: {}\n{out}\n{err}", output.status);
    out
}

/// Runs a command to its end, however it ends.
pub fn attempt(data: &Path, args: &[&str]) -> Output {
    gunwale(data).args(args).output().expect("the binary runs")
}

/// Bytes as text.
pub fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

/// A directory of the test's own, gone when dropped.
pub fn fresh() -> tempfile::TempDir {
    tempfile::tempdir().expect("a temporary directory")
}

/// Writes a file into a directory.
pub fn write(dir: &Path, name: &str, content: impl AsRef<[u8]>) -> PathBuf {
    let path = dir.join(name);
    std::fs::write(&path, content).expect("a file can be written");
    path
}

/// The pull records, as exported.
pub fn pulls(data: &Path) -> Vec<Value> {
    jsonl(&run(data, &["export", "jsonl"]))
}

/// JSON Lines.
pub fn jsonl(text: &str) -> Vec<Value> {
    text.lines().map(|line| serde_json::from_str(line).expect("a line of JSON")).collect()
}

/// An NMEA 0183 sentence of this body, with its checksum: the exclusive or of its characters (NMEA 0183).
pub fn sentence(body: &str) -> String {
    format!("${body}*{:02X}", body.bytes().fold(0, |sum, byte| sum ^ byte))
}

/// RMC of 2027-02-09 at this second of the UTC day (the next day's from 86,400 on): heading north from a place in
/// degrees, or void.
pub fn rmc(second: i64, fix: Option<(f64, f64)>, speed_m_s: f64) -> String {
    let (day, s) = (9 + second / 86_400, second % 86_400);
    let time = format!("{:02}{:02}{:02}.00", s / 3_600, s / 60 % 60, s % 60);
    let Some((lat, lon)) = fix else { return sentence(&format!("GPRMC,{time},V,,,,,,,,,,N")) };
    let minutes = |degrees: f64| (degrees.abs().floor(), degrees.abs().fract() * 60.0);
    let ((lat_d, lat_m), (lon_d, lon_m)) = (minutes(lat), minutes(lon));
    let (north, east) = (if lat < 0.0 { 'S' } else { 'N' }, if lon < 0.0 { 'W' } else { 'E' });
    let knots = speed_m_s * 3_600.0 / 1_852.0;
    sentence(&format!(
        "GPRMC,{time},A,{lat_d:02}{lat_m:07.4},{north},{lon_d:03}{lon_m:07.4},{east},{knots:.2},0.0,{day:02}0227,,,A"
    ))
}

/// A tape made some days later: the dates in its RMC sentences moved on within their month.
pub fn later(tape: &str, days: u32) -> String {
    let moved = |line: &str| {
        let Some((head, rest)) = line.split_once("$GPRMC,") else { return line.to_owned() };
        let Some((body, tail)) = rest.split_once('*') else { return line.to_owned() };
        let mut fields: Vec<String> = body.split(',').map(str::to_owned).collect();
        if fields[8].len() == 6 {
            let day: u32 = fields[8][..2].parse().expect("a day of the month");
            fields[8] = format!("{:02}{}", day + days, &fields[8][2..]);
        }
        format!("{head}{}{}", sentence(&format!("GPRMC,{}", fields.join(","))), &tail[2..])
    };
    tape.lines().map(|line| moved(line) + "\n").collect()
}

/// Everything the records say, table by table, as text.
pub fn records(data: &Path) -> String {
    let mut all = run(data, &["export", "jsonl"]);
    all += &run(data, &["export", "csv"]);
    for table in ["notes", "weighings", "traps"] {
        all += &run(data, &["export", "jsonl", "--table", table]);
    }
    all
}

/// Panics at the first line in which two texts differ.
pub fn assert_same(what: &str, found: &str, expected: &str) {
    for (n, (found, expected)) in found.lines().zip(expected.lines()).enumerate() {
        assert_eq!(found, expected, "{what}, line {}", n + 1);
    }
    assert_eq!(found.lines().count(), expected.lines().count(), "{what}, number of lines");
}

/// The journal's files, by name.
pub fn journal(data: &Path) -> std::collections::BTreeMap<String, Vec<u8>> {
    let files = std::fs::read_dir(data.join("journal")).expect("a journal");
    let read = |path: PathBuf| {
        (path.file_name().unwrap().to_string_lossy().into_owned(), std::fs::read(&path).unwrap())
    };
    files.map(|file| read(file.unwrap().path())).collect()
}

/// The numbers of the last line that `ingest` prints: lines, refused, fixes, pulls.
pub fn counts(out: &str) -> [u64; 4] {
    let words: Vec<&str> = out.lines().last().unwrap_or_default().split(' ').collect();
    let ["lines", n, "refused", r, "fixes", f, "pulls", p] = words[..] else {
        panic!("no counts at the end of:\n{out}")
    };
    [n, r, f, p].map(|number| number.parse().expect("a number"))
}

/// What a command that fails says on stderr, with its exit status.
pub fn refusal(data: &Path, args: &[&str]) -> (i32, String) {
    let output = attempt(data, args);
    assert_eq!(text(&output.stdout), "", "{args:?}");
    (output.status.code().expect("it ends by itself"), text(&output.stderr))
}
