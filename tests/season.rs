//! The fishery's rules and the season's table, through the whole program.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]

mod support;

use std::path::Path;

use gunwale::sim::{Day, Options, ScaleUse};
use serde_json::{Value, json};
use support::{assert_same, fresh, jsonl, later, pulls, records, refusal, rmc, run, write};

/// Degrees north of the first trap; the traps lie a hundredth of a degree apart, east of 81.6667° W.
const NORTH: f64 = 24.79;

/// A stop at trap 1, 2, … from this second of 2027-02-09 UTC on, for 40 s, at which something is said.
fn stop(at: i64, trap: i64, said: &str) -> String {
    let lat = NORTH + 0.01 * (trap - 1) as f64;
    let line = |second: i64, metres: f64, speed: f64| {
        let fix = Some((lat + metres / 110_800.0, -81.6667));
        format!("{}\n", json!({ "t": second, "gps": rmc(second, fix, speed) }))
    };
    let mut tape: String = (1..=4).rev().map(|n| line(at - 5 * n, -23.0 * n as f64, 4.6)).collect();
    for n in 0..=8 {
        tape += &line(at + 5 * n, 0.0, 0.05);
        if n == 2 {
            tape += &format!("{}\n", json!({ "t": at + 11, "said": said }));
        }
    }
    tape + &(1..=4).map(|n| line(at + 40 + 5 * n, 23.0 * n as f64, 4.6)).collect::<String>()
}

fn clock(h: i64, m: i64) -> i64 {
    h * 3_600 + m * 60
}

/// Sunrise there is at 12:04:46 and sunset at 23:17:12 UTC (PyPI ephem 4.2.1), 07:04 and 18:17 on the boat.
fn day_at_sea() -> String {
    [
        stop(clock(11, 30), 1, "trap one, four crabs, two keepers"),
        stop(clock(11, 58), 2, "trap two, empty"),
        stop(clock(15, 0), 3, "trap three, two crabs, one keeper"),
        stop(clock(23, 18), 4, "trap four, five crabs, three keepers"),
    ]
    .concat()
}

const RULES: &str = r#"boat = "Second Helping"
timezone = "America/New_York"

[rules]
season = [{ from = "10-15", to = "02-08" }]
daylight_only = true
daylight_allowance_min = 30
smallest_claw_mm = 73
people = 1
claw_g_per_boat = 900
claw_l_per_person = 3.785
traps_per_person = 3
"#;

fn ingest(data: &Path, name: &str, tape: &str) {
    let path = write(data, name, tape);
    run(data, &["ingest", path.to_str().unwrap()]);
}

fn add_traps(data: &Path) {
    let row = |n: i64| format!("{n},{},-81.6667\n", NORTH + 0.01 * (n - 1) as f64);
    let traps = write(data, "traps.csv", "trap,lat,lon\n".to_owned() + &(1..=4).map(row).collect::<String>());
    run(data, &["traps", "import", traps.to_str().unwrap()]);
}

fn flags(data: &Path) -> Vec<String> {
    pulls(data).iter().map(|pull| pull["flags"].to_string()).collect()
}

#[test]
fn flags_come_from_the_rules_of_that_run() {
    let dir = fresh();
    let data = dir.path().join("data");
    std::fs::create_dir(&data).unwrap();
    write(&data, "gunwale.toml", RULES);
    add_traps(&data);
    ingest(&data, "day.jsonl", &day_at_sea());
    let expected = [
        r#"["before-sunrise","outside-season"]"#,
        r#"["outside-season"]"#,
        r#"["outside-season"]"#,
        r#"["outside-season","over-limit"]"#,
    ];
    assert_eq!(flags(&data), expected);

    // They stand in the journal: other settings, a new store and another boat's computer change nothing.
    let was = records(&data);
    write(&data, "gunwale.toml", "");
    run(&data, &["rebuild"]);
    assert_same("with other settings", &records(&data), &was);
    let copy = dir.path().join("copy");
    for file in std::fs::read_dir(data.join("journal")).unwrap() {
        run(&copy, &["ingest", file.unwrap().path().to_str().unwrap()]);
    }
    assert_same("from the journal", &records(&copy), &was);
    assert!(run(&copy, &["day"]).contains("Rules      Second Helping, as set in [rules]"));

    // Without rules nothing is flagged; and the rules of later do not hold for a tape that is known.
    let free = dir.path().join("free");
    add_traps(&{
        std::fs::create_dir(&free).unwrap();
        free.clone()
    });
    ingest(&free, "day.jsonl", &day_at_sea());
    assert_eq!(flags(&free), ["[]"; 4]);
    assert!(!run(&free, &["day"]).contains("Rules"));
    write(&free, "gunwale.toml", RULES);
    ingest(&free, "day.jsonl", &day_at_sea());
    assert_eq!(flags(&free), ["[]"; 4]);
    // A day later is a run later. Sunrise then is half a minute earlier.
    ingest(&free, "next.jsonl", &later(&day_at_sea(), 1));
    assert_eq!(flags(&free)[4..], expected);
}

#[test]
fn the_sheet_says_which_setting_was_used() {
    let dir = fresh();
    let data = dir.path();
    write(data, "gunwale.toml", RULES);
    add_traps(data);
    ingest(data, "day.jsonl", &day_at_sea());
    let sheet = run(data, &["day"]);
    let rules: Vec<&str> = sheet.lines().skip_while(|line| !line.starts_with("Rules")).take(9).collect();
    let expected = "\
Rules      Second Helping, as set in [rules]; the fishery's authority decides
           season 10-15 to 02-08: outside #1, #2, #3, #4
           daylight_only, daylight_allowance_min 30: sunrise 07:04, sunset 18:17 at 24.79 -81.67; before #1; none seen after
           claw_g_per_boat 900: 0 g at the traps, 3 pulls with claws not weighed
           claw_l_per_person 3.785 x people 1: not measured; claw_g_per_l would make litres of grams
           traps_per_person 3 x people 1: 4 pulled; over
           limits of the day: over one #4
           smallest_claw_mm 73: a reminder; the gauge decides, no claw is measured here
";
    assert_eq!(rules.join("\n"), expected, "{sheet}");
    assert!(sheet.contains("4 crabs, 2 keepers; before sunrise; outside the season set\n"), "{sheet}");
    assert!(sheet.contains("To settle  nothing\n"), "rules are nothing to settle: {sheet}");
    for word in ["legal", "lawful"] {
        assert!(!sheet.replace("not legal for trade", "").contains(word), "{sheet}");
    }
    // A trap put out of the day is out of its limits.
    run(data, &["correct", "2027-02-09#1", "drop=true"]);
    assert!(!flags(data).concat().contains("over-limit"));
}

#[test]
fn what_is_weighed_counts_against_the_day() {
    let dir = fresh();
    let data = dir.path();
    let limit = 1_000.0;
    let rules = format!("boat = \"Tern\"\n[rules]\nclaw_g_per_person = {limit}\npeople = 2\n");
    write(data, "gunwale.toml", rules);
    let day = Day::new(Options { pulls: 14, scale: ScaleUse::Weighing, ..Options::default() });
    let mut tape = Vec::new();
    day.tape(&mut tape).unwrap();
    ingest(data, "day.jsonl", &String::from_utf8(tape).unwrap());
    let (mut g, mut over) = (0.0, 0);
    for pull in pulls(data) {
        let weighed = pull["weight"]["total_g"].as_f64().unwrap_or_default();
        g += weighed;
        let claws = weighed > 0.0
            || ["claws", "keepers"].iter().any(|key| pull["tally"][key].as_u64().is_some_and(|n| n > 0));
        let expected = claws && g > 2.0 * limit;
        assert_eq!(pull["flags"].to_string().contains("over-limit"), expected, "{g} g: {pull}");
        over += u32::from(expected);
    }
    assert!(over > 0 && g < 4.0 * limit, "{over} over with {g} g");
}

/// What is said at the dock, half a degree north of the traps: from this second on, a sentence each half minute.
fn dock(at: i64, said: &[&str]) -> String {
    let line = |second: i64| {
        let gps = rmc(second, Some((NORTH + 0.5, -81.6667)), 0.05);
        format!("{}\n", json!({ "t": second, "gps": gps }))
    };
    let told = |(n, text): (i64, &&str)| {
        let from = at + 30 * n;
        let fixes: String = (0..6).map(|k| line(from + 5 * k)).collect();
        format!("{fixes}{}\n", json!({ "t": from + 26, "said": text }))
    };
    (0..).zip(said).map(told).collect()
}

#[test]
fn what_is_said_at_the_dock_is_the_days() {
    let dir = fresh();
    let data = dir.path();
    let rules = "[rules]\nclaw_l_per_person = 2\nclaw_g_per_boat = 3000\ntraps_per_person = 2\n";
    write(data, "gunwale.toml", format!("boat = \"Tern\"\n{rules}"));
    add_traps(data);
    let sea = [
        stop(clock(14, 0), 1, "trap one, four crabs, two keepers"),
        stop(clock(15, 0), 2, "trap two, empty. Just me aboard"),
        stop(clock(16, 0), 3, "trap three, two crabs, one keeper, one regrown"),
        stop(clock(17, 0), 4, "trap four, no crabs"),
    ]
    .concat();
    let said = [
        "wind north east ten knots",
        "two of us aboard",
        "fourteen claws on the table",
        "about two gallons",
        "mediums one pound, larges two pounds",
        "gave four to Ann",
        "gave two to the neighbours",
        "gave three to Ann",
        "sold six claws",
        "sunny, smooth sea",
    ];
    let home = dock(clock(18, 0), &said);
    ingest(data, "day.jsonl", &(sea.clone() + &home));
    let days = jsonl(&run(data, &["export", "jsonl", "--table", "days"]));
    let expected = json!({
        "day": "2027-02-09", "boat": "Tern", "people": 2,
        "conditions": "wind north east ten knots. sunny, smooth sea",
        "pulls": 4, "claws_landed": 14,
        // A US gallon is 3.785411784 l, a pound 453.59237 g (NIST Handbook 44, appendix C).
        "volume_l": 7.571, "lots": "medium:454;large:907", "given": 5, "sold": 6, "regrown": 1,
        "text": format!("trap two, empty. Just me aboard / {}", said.join(" / ")),
        "flags": "over-limit",
    });
    assert_eq!(days, [expected]);
    // 7.6 l are over 2 l for each of two, and nobody knows with which pull: with the last that had claws. Two people
    // may pull four traps.
    // The dock is no trap.
    let stops = [r#"["over-limit"]"#, "[]", r#"["cut"]"#];
    assert_eq!(flags(data)[2..], stops);
    assert_eq!(pulls(data)[4]["kind"], "visit");
    assert_eq!(run(data, &["traps", "list"]).lines().count(), 4);
    let sheet = run(data, &["day"]);
    for line in [
        "claw_l_per_person 2 x people 2 as said: about 7.6 l said at the dock; over\n",
        "claw_g_per_boat 3000: 0 g at the traps, 1361 g said at the dock\n",
        "traps_per_person 2 x people 2 as said: 4 pulled\n",
        "limits of the day: over one #3\n",
        "Said       2 aboard, 14 claws landed, about 7.6 l, medium 454 g, large 907 g, gave 2 to the neighbours, gave 3 to Ann, \
         sold 6, “wind north east ten knots. sunny, smooth sea”\n",
    ] {
        assert!(sheet.contains(line), "{line}{sheet}");
    }
    // The same in whatever order tapes came in, and from the journal.
    let was = records(data);
    let other = dir.path().join("other");
    std::fs::create_dir(&other).unwrap();
    write(&other, "gunwale.toml", format!("boat = \"Tern\"\n{rules}"));
    add_traps(&other);
    ingest(&other, "dock.jsonl", &home);
    ingest(&other, "sea.jsonl", &sea);
    assert_eq!(flags(&other)[2..], stops);
    assert_eq!(
        run(&other, &["export", "csv", "--table", "days"]),
        run(data, &["export", "csv", "--table", "days"])
    );
    run(data, &["rebuild"]);
    assert_same("from the journal", &records(data), &was);
    // A note that is forgotten says nothing of the day either.
    let notes = jsonl(&run(data, &["export", "jsonl", "--table", "notes"]));
    let volume = notes.iter().find(|note| note["text"] == said[3]).unwrap();
    run(data, &["forget", volume["note"].as_str().unwrap()]);
    assert_eq!(flags(data)[2], "[]");
    let days = jsonl(&run(data, &["export", "jsonl", "--table", "days"]));
    assert_eq!((&days[0]["volume_l"], &days[0]["flags"]), (&Value::Null, &json!("")));
}

#[test]
fn what_is_said_long_after_the_last_pull_is_of_the_day_alone() {
    let dir = fresh();
    let data = dir.path();
    write(data, "gunwale.toml", "boat = \"Tern\"\n[rules]\nclaw_l_per_person = 2\n");
    add_traps(data);
    let late = dock(clock(22, 30), &["about half a gallon", "two gallons"]);
    ingest(data, "day.jsonl", &(stop(clock(15, 0), 1, "trap one, four crabs, two keepers") + &late));
    assert_eq!(flags(data)[0], "[]");
    let days = jsonl(&run(data, &["export", "jsonl", "--table", "days"]));
    assert_eq!((&days[0]["volume_l"], &days[0]["flags"]), (&json!(7.571), &json!("over-limit")));
    let sheet = run(data, &["day"]);
    assert!(sheet.contains("claw_l_per_person 2 x people 1: 7.6 l said at the dock; over\n"), "{sheet}");
    assert!(sheet.contains("limits of the day: over one by what was said of the day\n"), "{sheet}");
}

#[test]
fn a_season_is_told_for_reading_and_as_data() {
    let dir = fresh();
    let data = dir.path();
    assert_eq!(run(data, &["season"]), "no pulls in these days\n");
    assert_eq!(run(data, &["season", "--format", "jsonl"]), "");
    let header = run(data, &["season", "--format", "csv"]);
    assert!(header.starts_with("by,trap,soak_days,pulls,") && header.ends_with("moved,damaged,missing\r\n"));
    add_traps(data);
    ingest(data, "first.jsonl", &day_at_sea());
    ingest(data, "third.jsonl", &later(&day_at_sea(), 2));
    let rows = |args: &[&str]| jsonl(&run(data, &[&["season", "--format", "jsonl"], args].concat()));
    let all = rows(&[]);
    let row = |rows: &[Value], by: &str, trap: Option<&str>| {
        rows.iter().find(|row| row["by"] == by && row["trap"].as_str() == trap).unwrap().clone()
    };
    let whole = row(&all, "all", None);
    assert_eq!(
        ["pulls", "crabs", "crabs_pulls", "empty", "empty_of", "soaks", "soak_days_sum"]
            .map(|key| &whole[key]),
        [&json!(8), &json!(22), &json!(8), &json!(2), &json!(8), &json!(4), &json!(7.998)],
    );
    let first = rows(&["--to", "2027-02-09"]);
    assert_eq!(row(&first, "trap", Some("1"))["crabs_per_pull"], json!(4.0));
    assert_eq!(row(&first, "trap", Some("1"))["crabs_per_pull_high"], Value::Null, "one pull tells no range");
    assert_eq!(rows(&["--from", "2027-02-10", "--to", "2027-02-10"]), Vec::<Value>::new());
    assert_eq!(row(&rows(&["--from", "2027-02-10"]), "all", None)["pulls"], json!(4));
    assert!(run(data, &["season"]).starts_with("2027-02-09 to 2027-02-11: 8 pulls, 4 traps\n"));
    assert_eq!(
        refusal(data, &["season", "--from", "spring"]),
        (2, "gunwale: spring is no date: give YYYY-MM-DD, today or yesterday\n".to_owned())
    );
}

#[test]
fn what_is_said_of_the_day_where_no_trap_lies_makes_none() {
    let dir = fresh();
    let data = dir.path();
    add_traps(data);
    ingest(
        data,
        "day.jsonl",
        &(dock(clock(12, 0), &["three of us aboard"]) + &stop(clock(14, 0), 1, "trap one, empty")),
    );
    let kinds: Vec<Value> = pulls(data).iter().map(|pull| pull["kind"].clone()).collect();
    assert_eq!(kinds, ["visit", "pull"]);
    assert_eq!(run(data, &["traps", "list"]).lines().count(), 4);
    let days = jsonl(&run(data, &["export", "jsonl", "--table", "days"]));
    assert_eq!((&days[0]["people"], &days[0]["pulls"]), (&json!(3), &json!(1)));
}
