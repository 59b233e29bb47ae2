//! Weights in the records and on the sheet: sizes, claws said against claws weighed, tubs, and weights said aloud.

use gunwale_protocol::scale::grams;
use serde_json::{Value, json};

use crate::boat::fix;
use crate::support::{fresh, jsonl, run, write};

/// What happens at one trap: seconds after coming alongside, and grams from then on or words.
enum At {
    Load(f64, f64),
    Said(f64, &'static str),
}

/// The records of one trap a row, five minutes apart, in order.
fn recorded(settings: &str, traps: &[&[At]]) -> (tempfile::TempDir, Vec<Value>) {
    let data = fresh();
    let mut lines: Vec<(f64, Value)> = Vec::new();
    for (trap, happens) in traps.iter().enumerate() {
        let from = 300.0 * trap as f64;
        let lat = 24.79 + 0.002 * trap as f64;
        for s in 0..300 {
            let away = (s as f64 - 120.0).max(0.0) * 3.0e-5;
            let knots = if s < 120 { 0.3 } else { 6.0 };
            let t = from + s as f64;
            lines.extend(fix(t, lat + away, -81.68, knots).map(|line| (t, json!({ "t": t, "gps": line }))));
        }
        let weighs = happens.iter().any(|at| matches!(at, At::Load(..)));
        for n in (0..500).filter(|_| weighs) {
            let s = n as f64 / 5.0;
            let mut load = happens.iter().filter_map(|at| match at {
                At::Load(at, g) if *at <= s => Some(*g),
                _ => None,
            });
            let frame = format!("US,GS,+{:7.3}kg", load.next_back().unwrap_or(0.0) / 1_000.0);
            lines.push((from + s + 0.1, json!({ "t": from + s + 0.1, "scale": frame })));
        }
        for at in *happens {
            if let At::Said(s, text) = at {
                lines.push((from + s, json!({ "t": from + s, "said": text })));
            }
        }
    }
    lines.sort_by(|a, b| a.0.total_cmp(&b.0));
    let tape: String = lines.iter().map(|(_, line)| format!("{line}\n")).collect();
    write(data.path(), "gunwale.toml", settings);
    let tape = write(data.path(), "day.tape", tape);
    run(data.path(), &["ingest", tape.to_str().unwrap()]);
    let records = jsonl(&run(data.path(), &["export", "jsonl"]));
    (data, records)
}

fn sizes(record: &Value) -> Vec<&str> {
    let weighings = record["weight"]["weighings"].as_array().unwrap();
    weighings.iter().map(|w| w["size"].as_str().unwrap_or("–")).collect()
}

#[test]
fn weights_are_put_to_use() {
    use At::{Load, Said};
    let claws = [Load(20.0, 182.0), Load(26.0, 0.0), Load(30.0, 96.0), Load(36.0, 0.0)];
    let [a, b, c, d] = claws;
    let (data, records) = recorded(
        "",
        &[
            &[a, b, c, d, Said(60.0, "three crabs, two claws")],
            &[Load(20.0, 182.0), Load(26.0, 0.0), Said(60.0, "six claws")],
            // A tub, said to be one, with two claws in it and one of them taken out again.
            &[
                Load(15.0, 350.0),
                Said(20.0, "tare"),
                Load(30.0, 532.0),
                Load(40.0, 632.0),
                Load(50.0, 532.0),
                Load(60.0, 772.0),
                Said(80.0, "two claws"),
            ],
            &[Load(20.0, 2_412.0), Load(30.0, 0.0), Said(60.0, "sixteen claws")],
            &[Said(60.0, "nine claws, two pounds six")],
            &[Said(60.0, "one claw")],
        ],
    );
    let whole = |record: &Value| record["weight"]["total_g"].as_f64().map(f64::round);
    let totals: Vec<Option<f64>> = records.iter().map(whole).collect();
    let said_g = (grams(38.0, "oz").unwrap()).round();
    let expected = [Some(278.0), Some(182.0), Some(422.0), Some(2_412.0), Some(said_g), None];
    assert_eq!(totals, expected, "{records:#?}");
    assert_eq!(sizes(&records[0]), ["jumbo", "large"]);
    assert_eq!(records[0]["weight"]["by_size"]["jumbo"]["claws"], 1);
    assert_eq!(sizes(&records[1]), ["–"]);
    assert_eq!(sizes(&records[2]), ["jumbo", "colossal"]);
    assert_eq!(sizes(&records[3]), ["–"]);
    let flags: Vec<&Value> = records.iter().map(|record| &record["flags"]).collect();
    let [none, differ, gap] = [json!([]), json!(["claws-differ"]), json!(["scale-gap"])];
    let said = json!(["weight-said"]);
    // The scale was switched off with the tub on it.
    assert_eq!(flags, [&none, &differ, &gap, &none, &said, &none]);
    let sheet = run(data.path(), &["day"]);
    for line in [
        "278 g (1 jumbo, 1 large)",
        "not as many claws weighed as said",
        "422 g (1 colossal, 1 jumbo)",
        "the scale fell silent",
        ": 1 colossal, 2 jumbo, 1 large (not legal for trade)",
    ] {
        assert!(sheet.contains(line), "{line:?} is not in\n{sheet}");
    }
}

#[test]
fn a_crew_has_sizes_of_its_own() {
    use At::{Load, Said};
    let pull = || [Load(20.0, 182.0), Load(26.0, 0.0), Said(60.0, "one claw")];
    let settings = "[sizes]\nsmall = \"60 g\"\nbig = \"6 oz\"\n";
    let (_data, records) = recorded(settings, &[&pull()]);
    assert_eq!(sizes(&records[0]), ["big"]);
    let (_data, records) = recorded("[sizes]\n", &[&pull()]);
    assert_eq!(sizes(&records[0]), ["–"]);
}
