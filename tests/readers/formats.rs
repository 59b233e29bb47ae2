//! Every format says what the records say, whatever is in them and wherever they are; the folders of many boats are one
//! table; the queries of `design/exports.md` do what they are there for.

use std::path::{Path, PathBuf};

use gunwale::sim::{Day, Options};

use crate::tables::{awkward_boat, export};
use crate::{content, from_all, reader, support};

/// The page with the queries.
const PAGE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/design/exports.md");
/// On both sides of the meridian of 180 degrees and on it, and as near to the poles as NMEA tells.
const PLACES: [(f64, f64); 7] = [
    (-17.5, 180.0),
    (-17.5, -180.0),
    (-17.5, 179.999_999),
    (-17.5, -179.999_999),
    (89.999, 12.5),
    (-89.999, -179.5),
    (0.0, 0.001),
];

/// A tape of one stop, from the equator's side and back, an hour after the other.
fn stop_at(hour: i64, (lat, lon): (f64, f64)) -> String {
    let mut tape = String::new();
    for s in 0..160 {
        let off_m = 4.0 * f64::from((40 - s).max(s - 100).max(0));
        let speed = if off_m > 0.0 { 4.0 } else { 0.0 };
        let place = (lat - lat.signum() * off_m / 111_000.0, lon);
        let sentence = support::rmc(43_200 + hour * 3_600 + i64::from(s), Some(place), speed);
        tape += &format!("{{\"t\":{s}.2,\"gps\":{sentence:?}}}\n");
        if s == 60 {
            tape += "{\"t\":60.5,\"said\":\"two crabs, one keeper\"}\n";
        }
    }
    tape
}

/// Nothing but words: no date, no position.
const UNDATED: &str = "{\"t\":1.0,\"said\":\"trap 3, two crabs\"}\n{\"t\":30.0,\"said\":\"one keeper\"}\n";

#[test]
fn every_format_says_what_the_records_say() {
    let Some(mut script) = reader("formats.py") else { return };
    let samples = from_all("GUNWALE_SAMPLES").expect("the schema of GPX");
    let data = awkward_boat();
    let data = data.path();
    let mut tapes: Vec<String> =
        PLACES.iter().enumerate().map(|(n, place)| stop_at(n as i64, *place)).collect();
    tapes.push(UNDATED.to_owned());
    for (n, tape) in tapes.iter().enumerate() {
        let tape = support::write(data, &format!("more-{n}.jsonl"), tape);
        support::run(data, &["ingest", tape.to_str().unwrap()]);
    }
    let pulls = support::pulls(data);
    let near = |record: &serde_json::Value, (lat, lon): (f64, f64)| {
        let at = |key: &str| record["position"][key].as_f64();
        at("lat").is_some_and(|found| (found - lat).abs() < 1e-3)
            && at("lon").is_some_and(|found| (found - lon).abs().min(360.0 - (found - lon).abs()) < 1e-3)
    };
    for place in PLACES {
        assert!(pulls.iter().any(|pull| near(pull, place)), "a pull at {place:?}");
    }
    assert!(pulls.iter().any(|pull| pull["day"].is_null()), "and one without a date");

    for table in ["notes", "weighings", "track", "traps", "days"] {
        for form in ["jsonl", "parquet"] {
            export(data, form, table);
        }
    }
    let track = std::fs::read_to_string(data.join("track.jsonl")).unwrap();
    assert!(
        track.contains("\"lon\":180.0,") && track.contains("\"lon\":-180.0,"),
        "the meridian by both its names"
    );
    for form in ["jsonl", "geojson", "gpx", "parquet"] {
        export(data, form, "pulls");
    }
    export(data, "gpx", "track");
    println!("{}", content(script.arg(data).arg(samples).arg(PAGE), ""));
}

/// Boats with names that paths, engines and people take for something else.
const BOATS: [&str; 4] = ["Näh, \"Ann\" 🦀", "007", "NULL", "a/b=c%20 d"];

/// Folders that four boats wrote, each from a data directory of its own, and all their pulls as JSON Lines.
fn fleet() -> (tempfile::TempDir, PathBuf, PathBuf) {
    let home = support::fresh();
    let folders = home.path().join("folders");
    let mut all = String::new();
    for (n, boat) in BOATS.iter().enumerate() {
        let data = home.path().join(n.to_string());
        std::fs::create_dir(&data).unwrap();
        support::write(&data, "gunwale.toml", format!("boat = '{boat}'\ntimezone = 'America/New_York'\n"));
        let day = Day::new(Options { seed: 20 + n as u64, pulls: 3, ..Options::default() });
        let mut tape = Vec::new();
        day.tape(&mut tape).unwrap();
        let tape = String::from_utf8(tape).unwrap();
        let mut tapes = vec![tape.clone(), support::later(&tape, 1)];
        if n == 0 {
            tapes.push(UNDATED.to_owned());
        }
        for (m, tape) in tapes.iter().enumerate() {
            let tape = support::write(&data, &format!("{m}.jsonl"), tape);
            support::run(&data, &["ingest", tape.to_str().unwrap()]);
        }
        // A slash at the end: it is not there yet.
        support::run(&data, &["export", "parquet", "--out", &format!("{}/", folders.display())]);
        all += &support::run(&data, &["export", "jsonl"]);
    }
    let all = support::write(home.path(), "all.jsonl", all);
    (home, folders, all)
}

fn one_table(engine: &str, folders: &Path, all: &Path, more: &[&Path]) {
    let mut script = reader("folders.py").unwrap();
    println!("{}", content(script.arg(engine).arg(PAGE).arg(folders).arg(all).args(more), ""));
}

#[test]
fn the_folders_of_many_boats_are_one_table() {
    if reader("folders.py").is_none() {
        return;
    }
    let (_home, folders, all) = fleet();
    one_table("duckdb", &folders, &all, &[]);
    one_table("pyarrow", &folders, &all, &[]);
    // Spark takes long to start: while it runs it reads every table of a boat as well.
    let data = awkward_boat();
    for table in ["pulls", "notes", "weighings", "track", "traps", "days"] {
        for form in ["jsonl", "parquet"] {
            export(data.path(), form, table);
        }
    }
    one_table("spark", &folders, &all, &[data.path()]);
}
