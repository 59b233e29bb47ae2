//! What happened to one boat on three days, as tapes: simulated pulls with hand-made oddities, and what was stated
//! about them afterwards.

use std::path::{Path, PathBuf};

use gunwale::sim::{Day, Options, ScaleUse};
use serde_json::{Value, json};

use crate::support::{later, pulls, rmc, run, write};

/// The day's clock is at zero at this second of the UTC day: 12:20.
const START_S: i64 = 44_400;

/// Tapes and a register.
pub struct Scene {
    /// Three days at sea and the statements, in this order.
    pub tapes: Vec<String>,
    /// The register as CSV; some traps with `set_at`, some without.
    pub register: String,
}

impl Scene {
    /// The scene of this number. `dir` is for finding out which ids its pulls get.
    pub fn new(seed: u64, dir: &Path) -> Scene {
        let options = Options {
            seed,
            pulls: 3,
            haul_s: (25.0, 40.0),
            drift_m_s: (0.02, 0.2),
            scale: ScaleUse::Weighing,
            ..Options::default()
        };
        let day = Day::new(options.clone());
        // Later days: the same traps, found again a little off, with other words.
        let days = [(&day, 0), (&Day::new(Options { seed: seed + 1, ..options.clone() }), 2), (&day, 5)];
        let mut tapes: Vec<String> = days.iter().map(|(day, after)| odd_day(day, *after)).collect();
        let mut register = "trap,lat,lon,set_at\n".to_owned();
        for (n, row) in day.traps().iter().enumerate() {
            let set_at = if n == 0 { "" } else { &row.set_at };
            register += &format!("{},{},{},{set_at}\n", row.trap, row.lat, row.lon);
        }
        tapes.push(statements(dir, &tapes));
        Scene { tapes, register }
    }

    /// Writes tape number `n` and gives its path.
    pub fn file(&self, dir: &Path, n: usize) -> PathBuf {
        write(dir, &format!("tape-{n}.jsonl"), &self.tapes[n])
    }
}

/// A simulated day and what a simulation leaves out: a note before the first fix, a gap in the fixes, the button, a
/// leg home with a note far from any trap, and a tape that ends at a stop, its last line noise from the scale.
fn odd_day(day: &Day, days: u32) -> String {
    let mut tape = Vec::new();
    day.tape(&mut tape).expect("written to memory");
    let tape = String::from_utf8(tape).expect("text");
    let mut lines: Vec<(i64, String)> = tape.lines().map(|line| (millis(line), line.to_owned())).collect();
    let second = &day.truth()[1];
    let gap = (second.alongside_utc - gunwale::sim::scenario::START) / 1_000 + 12_000;
    lines.retain(|(ms, line)| !(gap..gap + 8_000).contains(ms) || !line.contains("\"gps\""));
    let mut add = |ms: i64, what: Value| {
        let mut line = json!({ "t": ms as f64 / 1_000.0 });
        line.as_object_mut().expect("an object").extend(what.as_object().cloned().unwrap_or_default());
        lines.push((ms, line.to_string()));
    };
    add(3_000, json!({ "said": "one short, bait gone" }));
    add(gap + 10_000, json!({ "button": true }));
    add(gap + 10_600, json!({ "button": false }));
    let last = &day.truth()[2];
    let end = (day.seconds().ceil() as i64) + 7;
    let mut north = 0.0;
    for s in 0..210 {
        let speed = if s < 160 { 4.0 } else { 0.1 };
        let fix = (last.set.lat + north / 110_800.0, last.set.lon);
        add((end + s) * 1_000 + 150, json!({ "gps": rmc(START_S + end + s, Some(fix), speed) }));
        north += speed;
    }
    add((end + 90) * 1_000, json!({ "said": "three crabs on deck" }));
    add((end + 190) * 1_000, json!({ "said": "four crabs two keepers" }));
    add((end + 213) * 1_000, json!({ "scale": "\u{1}#~" }));
    lines.sort_by_key(|(ms, _)| *ms);
    let text: String = lines.into_iter().map(|(_, line)| line + "\n").collect();
    // Without fixes, days begin with the same words: a line of one's own tells their tapes apart.
    format!("# {days} days after\n{}", later(&text, days))
}

fn millis(line: &str) -> i64 {
    let line: Value = serde_json::from_str(line).expect("a tape's line");
    (line["t"].as_f64().expect("a time") * 1_000.0).round() as i64
}

/// Corrections of every kind and statements about traps, as a tape.
fn statements(dir: &Path, tapes: &[String]) -> String {
    let data = dir.join("to-learn-ids");
    for (n, tape) in tapes.iter().enumerate() {
        let path = write(dir, &format!("learn-{n}.jsonl"), tape);
        run(&data, &["ingest", path.to_str().expect("a path")]);
    }
    let pulls = pulls(&data);
    let id = |n: usize| pulls[n]["pull"].as_str().expect("an id");
    let note = pulls[7]["notes"][0]["note"].as_str().expect("a note's id");
    let [lat, lon] = ["lat", "lon"].map(|key| pulls[2]["position"][key].as_f64().expect("a position"));
    let said = [
        json!({ "correct": { "of": id(1), "set": [["crabs", "11"], ["keepers", "6"]] } }),
        json!({ "correct": { "of": id(6), "set": [["drop", "true"]] } }),
        json!({ "correct": { "of": id(2), "set": [["crabs", "1"]] } }),
        json!({ "correct": { "of": id(2), "set": [["undo", ""]] } }),
        json!({ "correct": { "of": note, "set": [["pull", id(3)]] } }),
        json!({ "trap": { "trap": "77", "pull": id(8) } }),
        json!({ "trap": { "trap": "3", "retired": true } }),
        json!({ "trap": { "trap": "9", "lat": lat, "lon": lon } }),
    ];
    let mut tape = String::new();
    for (n, mut line) in said.into_iter().enumerate() {
        line["t"] = json!(n);
        line["at"] = json!(format!("2027-02-12T18:00:{n:02}.000Z"));
        tape += &format!("{line}\n");
    }
    tape
}
