//! A short day whose records are known beforehand: `fixtures/golden/tape.jsonl` says in its comments what must come of it.
//!
//! `GUNWALE_BLESS=1` writes what comes of it now over the files it is compared with; look at the difference before it
//! is committed. [`BY_HAND`] is never rewritten.

use std::path::{Path, PathBuf};

use serde_json::{Value, json};

use crate::support::{assert_same, counts, fresh, journal, pulls, run, text, write};

/// Start, end, latitude, trap, soak, set latitude, tally and flags, worked out by hand from the tape.
type ByHand = (
    &'static str,
    &'static str,
    f64,
    Option<&'static str>,
    Option<f64>,
    Option<f64>,
    &'static str,
    &'static str,
);
const BY_HAND: [ByHand; 4] = [
    (
        "13:00:15",
        "13:00:55",
        24.791_666_7,
        Some("1"),
        Some(48.004),
        Some(24.791_653_3),
        r#"{"bait_added":true,"bait_left":0.0,"crabs":7,"keepers":4}"#,
        "[]",
    ),
    (
        "13:01:20",
        "13:02:00",
        24.792_5,
        Some("2"),
        Some(48.022),
        Some(24.792_486_7),
        r#"{"bait_left":0.5,"crabs":0}"#,
        r#"["late-note"]"#,
    ),
    (
        "13:02:45",
        "13:03:25",
        24.794_166_7,
        Some("4"),
        Some(48.046),
        Some(24.794_153_3),
        r#"{"crabs":3,"keepers":1,"shorts":1}"#,
        "[]",
    ),
    ("13:03:50", "13:04:25", 24.795, None, None, None, r#"{"crabs":1,"taken_in":true}"#, "[]"),
];

fn fixture(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../tests/fixtures/golden").join(name)
}

fn compare(name: &str, found: &str) {
    let path = fixture(name);
    if std::env::var_os("GUNWALE_BLESS").is_some() {
        std::fs::write(&path, found).expect("the fixture can be written");
    }
    assert_same(name, found, &std::fs::read_to_string(&path).expect("the fixture"));
}

/// A journal without the name of the program that wrote it, and without that line's checksum.
fn unsigned(journal: &str) -> String {
    let (first, rest) = journal.split_once('\n').expect("a run line");
    let mut run: Value = serde_json::from_str(first).expect("a run line");
    run["run"]["program"].take();
    run["crc"].take();
    format!("{run}\n{rest}")
}

#[test]
fn a_known_day_makes_known_records() {
    let dir = fresh();
    let data = dir.path().join("data");
    std::fs::create_dir(&data).unwrap();
    write(&data, "gunwale.toml", "boat = \"Second Helping\"\ntimezone = \"America/New_York\"\n");
    let tape = fixture("tape.jsonl");
    let out = run(&data, &["ingest", tape.to_str().unwrap()]);
    // 4 traps, 73 sentences (t = 0, 5, … 360), 7 notes, 1 correction.
    assert_eq!(counts(&out), [85, 0, 73, 4]);

    let records = pulls(&data);
    assert_eq!(records.len(), BY_HAND.len());
    assert_eq!(records[2]["pull"], "fdf74c7a9aedfa90");
    for (record, (start, end, lat, trap, soak_h, set, tally, flags)) in records.iter().zip(BY_HAND) {
        assert_eq!(record["started_at"], json!(format!("2027-02-09T{start}.000Z")));
        assert_eq!(record["ended_at"], json!(format!("2027-02-09T{end}.000Z")));
        let fixes = if start == "13:03:50" { 8 } else { 9 };
        assert_eq!(
            record["position"],
            json!({ "lat": lat, "lon": -81.666_666_7, "sd_m": 3.78, "fixes": fixes })
        );
        assert_eq!((&record["trap"], &record["soak_h"]), (&json!(trap), &json!(soak_h)), "{start}");
        assert_eq!(record["set"]["lat"], json!(set), "{start}");
        assert_eq!(record["tally"], serde_json::from_str::<Value>(tally).unwrap(), "{start}");
        assert_eq!(record["flags"], serde_json::from_str::<Value>(flags).unwrap(), "{start}");
        assert_eq!((&record["day"], &record["boat"]), (&json!("2027-02-09"), &json!("Second Helping")));
    }

    compare("expected.jsonl", &run(&data, &["export", "jsonl"]));
    compare("expected.csv", &run(&data, &["export", "csv"]));
    compare("expected-notes.jsonl", &run(&data, &["export", "jsonl", "--table", "notes"]));
    let journal = journal(&data).into_values().next().expect("one segment");
    let journal = text(&journal);
    if std::env::var_os("GUNWALE_BLESS").is_some() {
        std::fs::write(fixture("journal.jsonl"), &journal).expect("the fixture can be written");
    }
    let expected = std::fs::read_to_string(fixture("journal.jsonl")).expect("the fixture");
    assert_same("journal.jsonl", &unsigned(&journal), &unsigned(&expected));
}

#[test]
fn a_journal_from_back_then_makes_the_same_records_now() {
    let dir = fresh();
    let journal = fixture("journal.jsonl");
    run(dir.path(), &["ingest", journal.to_str().unwrap()]);
    let expected = std::fs::read_to_string(fixture("expected.jsonl")).expect("the fixture");
    assert_same("from journal.jsonl", &run(dir.path(), &["export", "jsonl"]), &expected);
}
