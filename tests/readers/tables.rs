//! Tables say the same as CSV and as JSON Lines, whatever is in them; trap files of other programs come in whole.

use std::path::Path;

use gunwale::sim::{Day, Kind, Options, RegisterRow};
use serde_json::json;

use crate::{content, reader, support};

/// What spreadsheets, quoting and terminals stumble over.
const AWKWARD: &[&str] = &[
    "she said \"none, no, nothing\", twice",
    "first line\nsecond line\r\nthird, \"quoted\"",
    "five crabs 🦀🦞 two keepers 👍🏽",
    "خمسة سرطانات, שלום",
    "=SUM(A1:A9)",
    "+1\t-1 @cmd",
    "'; drop table pulls; --",
    "\u{202e}backwards\u{202c} and a\u{301}ccents",
    "null",
    "NULL",
    "\\N",
    "\"",
    ",",
    "007",
    "1e5",
    "  space around  ",
    "one / two; three:4",
    "a bell \u{7}, \u{1b}[31m red, \u{fffe} nothing",
    "<wpt lat=\"1\">&amp;</wpt> ]]>",
];

/// What the days table has a column for.
const OF_THE_DAY: &[&str] = &[
    "three of us aboard",
    "windy, \"quoted\" chop",
    "fourteen claws on the table",
    "about half a gallon",
    "mediums one pound, larges two pounds",
    "gave four to Ann",
    "sold six claws",
    "one regrown",
];

/// Names for the first traps of the register.
const NAMES: &[&str] = &["007", "=1+1", "12 \"north\"", "a,b;c", "🦀", "سلطعون", "NULL", "-4"];

/// Writes a table as a file in the data directory.
pub fn export(data: &Path, form: &str, table: &str) -> std::path::PathBuf {
    let path = data.join(format!("{table}.{form}"));
    support::run(data, &["export", form, "--table", table, "--out", path.to_str().unwrap()]);
    path
}

/// A boat with all of these names, with all of these texts in its notes, and weighings.
pub fn awkward_boat() -> tempfile::TempDir {
    let home = support::fresh();
    let data = home.path();
    support::write(data, "gunwale.toml", "boat = 'Näh, \"Ann\"'\ntimezone = 'America/New_York'\n");
    let day = Day::new(Options { gst: true, pulls: 20, ..Options::default() });
    let names = |at: usize, name: &str| NAMES.get(at).map_or(name.to_owned(), |name| (*name).to_owned());
    let feature = |(at, trap): (usize, &RegisterRow)| {
        json!({ "type": "Feature", "properties": { "trap": names(at, &trap.trap), "set_at": trap.set_at },
            "geometry": { "type": "Point", "coordinates": [trap.lon, trap.lat] } })
    };
    let features: Vec<_> = day.traps().iter().enumerate().map(feature).collect();
    let traps = json!({ "type": "FeatureCollection", "features": features });
    let traps = support::write(data, "traps.geojson", traps.to_string());
    support::run(data, &["traps", "import", traps.to_str().unwrap()]);

    let mut tape = String::new();
    let mut awkward = AWKWARD.iter().chain(OF_THE_DAY).cycle();
    let mut said = 0;
    for line in day.lines() {
        let kind = match line.kind {
            Kind::Gps => "gps",
            Kind::Scale => "scale",
            Kind::Said => "said",
        };
        tape += &format!("{}\n", json!({ "t": line.t_s(), kind: line.text }));
        if line.kind == Kind::Said {
            said += 1;
            let text = awkward.next().unwrap();
            tape += &format!("{}\n", json!({ "t": line.t_s() + 0.01, "said": text }));
        }
    }
    assert!(said >= AWKWARD.len() + OF_THE_DAY.len(), "every text is said: {said}");
    let tape = support::write(data, "tape.jsonl", tape);
    let ingested = support::run(data, &["ingest", tape.to_str().unwrap()]);
    assert!(support::pulls(data).len() >= 20, "{ingested}");
    home
}

#[test]
fn csv_says_what_json_lines_say() {
    if reader("exports.py").is_none() {
        return;
    }
    let data = awkward_boat();
    let data = data.path();
    for table in ["pulls", "notes", "weighings", "track", "traps", "days"] {
        let mut script = reader("exports.py").unwrap();
        let [csv, jsonl] = ["csv", "jsonl"].map(|form| export(data, form, table));
        println!("{}", content(script.arg(table).arg(csv).arg(jsonl), ""));
    }
    let notes = std::fs::read_to_string(data.join("notes.jsonl")).unwrap();
    for text in AWKWARD {
        let text = json!(text.trim()).to_string();
        assert!(notes.contains(&text[1..text.len() - 1]), "{text} is in the notes");
    }
    let days = support::jsonl(&std::fs::read_to_string(data.join("days.jsonl")).unwrap());
    for column in
        ["people", "conditions", "claws_landed", "volume_l", "lots", "given", "sold", "regrown", "text"]
    {
        assert!(days.iter().any(|day| !day[column].is_null()), "{column} is said: {days:?}");
    }
    let pulls = support::pulls(data);
    assert!(pulls.iter().any(|pull| pull["trap"] == "007"), "trap 007 was pulled");
}

#[test]
fn trap_files_of_other_programs_come_in_whole() {
    let Some(mut script) = reader("traps.py") else { return };
    let dir = support::fresh();
    content(script.arg("write").arg(dir.path()), "");
    for (file, set_at) in [("traps.gpx", false), ("traps.geojson", true)] {
        let list = listed(&dir.path().join(file));
        let list = support::write(dir.path(), "list.csv", list);
        let mut script = reader("traps.py").unwrap();
        println!(
            "{file}: {}",
            content(script.arg("judge").arg(&list).args(set_at.then_some("--set-at")), "")
        );
        // What is listed can be imported, and is listed alike.
        assert_eq!(listed(&list), std::fs::read_to_string(&list).unwrap());
    }
}

/// The register that a trap file makes, as CSV.
fn listed(file: &Path) -> String {
    let data = support::fresh();
    support::run(data.path(), &["traps", "import", file.to_str().unwrap()]);
    support::run(data.path(), &["traps", "list", "--format", "csv"])
}
