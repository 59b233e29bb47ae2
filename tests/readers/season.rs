//! A season's table is what scipy makes of the exported pulls.

use gunwale::sim::{Day, Options, ScaleUse};

use crate::{content, reader, support};

#[test]
fn a_seasons_table_is_what_scipy_makes_of_its_pulls() {
    let Some(mut script) = reader("season.py") else { return };
    let data = support::fresh();
    let data = data.path();
    // Days of one string of traps, from one to nine days apart.
    let options = Options {
        pulls: 14,
        haul_s: (30.0, 60.0),
        drift_m_s: (0.0, 0.03),
        scale: ScaleUse::Weighing,
        ..Options::default()
    };
    let days = [(3, 0), (4, 1), (5, 2), (6, 4), (7, 5), (8, 8), (9, 17)];
    for (n, (seed, after)) in days.into_iter().enumerate() {
        let day = Day::new(Options { seed, ..options.clone() });
        if n == 0 {
            let row = |row: gunwale::sim::RegisterRow| {
                format!("{},{},{},{}\n", row.trap, row.lat, row.lon, row.set_at)
            };
            let traps =
                "trap,lat,lon,set_at\n".to_owned() + &day.traps().into_iter().map(row).collect::<String>();
            let traps = support::write(data, "traps.csv", traps);
            support::run(data, &["traps", "import", traps.to_str().unwrap()]);
        }
        let mut tape = Vec::new();
        day.tape(&mut tape).unwrap();
        let tape = support::later(&String::from_utf8(tape).unwrap(), after);
        let tape = support::write(data, &format!("{n}.jsonl"), tape);
        support::run(data, &["ingest", tape.to_str().unwrap()]);
    }
    // Counts that cannot be, and a trap that nobody counted.
    support::run(data, &["correct", "2027-02-09#2", "crabs=1", "keepers=3"]);
    support::run(data, &["correct", "2027-02-09#3", "crabs=", "keepers=", "shorts="]);
    let pulls = support::write(data, "pulls.jsonl", support::run(data, &["export", "jsonl"]));
    let table = support::write(data, "season.jsonl", support::run(data, &["season", "--format", "jsonl"]));
    println!("{}", content(script.arg(pulls).arg(table), ""));
    println!("{}", support::run(data, &["season"]));

    let csv = support::run(data, &["season", "--format", "csv"]);
    let rows = support::jsonl(&std::fs::read_to_string(data.join("season.jsonl")).unwrap());
    let mut reader = csv::Reader::from_reader(csv.as_bytes());
    let header = reader.headers().unwrap().clone();
    for (record, row) in reader.records().map(Result::unwrap).zip(&rows) {
        for (column, cell) in header.iter().zip(&record) {
            let expected = match &row[column] {
                serde_json::Value::Null => String::new(),
                serde_json::Value::String(text) => text.clone(),
                other => other.to_string(),
            };
            assert_eq!(cell, expected, "{column} of {row}");
        }
    }
    assert_eq!(csv.lines().count(), rows.len() + 1);
}
