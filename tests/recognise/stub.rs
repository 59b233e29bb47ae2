//! Recognisers that are scripts, and a day of spoken notes for them.

use std::path::{Path, PathBuf};

use serde_json::Value;

use crate::sound::{spoken, tape, trap_day, wav};
use crate::support::{jsonl, run, write};

/// A data directory with a day at one trap: three spoken notes and a typed one.
pub fn day(data: &Path) {
    let home = data.join("tape");
    std::fs::create_dir_all(&home).unwrap();
    wav(&home.join("a.wav"), &spoken(3, &[(1, 1.0)]));
    let mut lines = trap_day(180, 0);
    for t in [60.0, 70.0, 80.0] {
        lines.push((t, format!(r#"{{"t":{t:.1},"note":"a.wav"}}"#)));
    }
    lines.push((90.0, r#"{"t":90.0,"said":"two shorts"}"#.into()));
    let tape = write(&home, "day.jsonl", tape(lines));
    run(data, &["ingest", tape.to_str().unwrap()]);
}

/// A recogniser's settings: a shell script.
pub fn settings(name: &str, script: &Path, more: &str) -> String {
    format!("[[recogniser]]\nname = \"{name}\"\ncommand = [\"sh\", {script:?}]\n{more}\n")
}

/// Settings with these recognisers and no microphone.
pub fn configure(data: &Path, recognisers: impl AsRef<str>) {
    write(data, "gunwale.toml", format!("[mic]\nkeep = \"off\"\n{}", recognisers.as_ref()));
}

/// A script that says the same of every file, and writes down in `NAME.asked` what it was asked.
pub fn says(data: &Path, name: &str, text: &str, confidence: f64) -> PathBuf {
    let asked = data.join(format!("{name}.asked"));
    let script = format!(
        "while read -r file; do\n echo \"$file\" >> {asked:?}\n \
         printf '{{\"file\":\"%s\",\"text\":\"%s\",\"confidence\":{confidence}}}\\n' \"$file\" \"{text}\"\ndone\n"
    );
    write(data, &format!("{name}.sh"), script)
}

/// What a script of [`says`] was asked for, in order.
pub fn asked(data: &Path, name: &str) -> Vec<String> {
    let asked = std::fs::read_to_string(data.join(format!("{name}.asked"))).unwrap_or_default();
    asked.lines().map(str::to_owned).collect()
}

/// The notes' records, in order of time.
pub fn notes(data: &Path) -> Vec<Value> {
    jsonl(&run(data, &["export", "jsonl", "--table", "notes"]))
}

/// The texts of the spoken notes, oldest first; what has none is `-`.
pub fn texts(data: &Path) -> Vec<String> {
    let spoken = notes(data).into_iter().filter(|note| note["text_from"] != "typed");
    spoken.map(|note| note["text"].as_str().unwrap_or("-").to_owned()).collect()
}
