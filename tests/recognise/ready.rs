//! The recognisers that come with the program hear a clear sentence; how well they hear others is a benchmark.

use std::path::Path;

use gunwale_protocol::tally::{self, KEYS};

use crate::support::{attempt, fresh, text, write};

/// What `check` has a synthetic voice say, which every version has in it.
const WORDS: &str = "seven crabs, four keepers, six claws";

/// Its settings, or that it is not here: `tests/all` installs both.
fn installed(name: &str) -> Option<String> {
    let settings = |rest: &str| {
        format!(
            "[[recogniser]]\nname = \"{name}\"\ncommand = [\"gunwale\", \"recogniser\", \"{name}\"{rest}]\n"
        )
    };
    let env = |name: &str| std::env::var(name).ok();
    let found = if name == "whisper" {
        env("GUNWALE_WHISPER_PYTHON")
            .zip(env("GUNWALE_WHISPER_MODEL"))
            .map(|(python, model)| settings(&format!(", {python:?}, {model:?}")))
    } else {
        let needed =
            ["/usr/bin/pocketsphinx_batch", "/usr/share/pocketsphinx/model/en-us/cmudict-en-us.dict"];
        needed.iter().all(|path| Path::new(path).exists()).then(|| settings(""))
    };
    if found.is_none() {
        assert!(std::env::var_os("GUNWALE_ALL").is_none(), "no {name}: tests/all installs it");
        eprintln!("skipped, no {name} to hear anything: run tests/all");
    }
    found
}

#[test]
fn a_clear_sentence_is_heard_by_each() {
    for name in ["whisper", "pocketsphinx"] {
        let Some(settings) = installed(name) else { continue };
        let data = fresh();
        // With words of the crew's own, in case they upset it.
        let words = "[words]\nkeepers = [\"taker\"]\nopener = [\"for the ship\"]\n";
        write(data.path(), "gunwale.toml", format!("[mic]\nkeep = \"off\"\n{settings}{words}"));
        // Other things that it checks are not here: no microphone, no GPS.
        let told = text(&attempt(data.path(), &["check"]).stdout);
        let line = told
            .lines()
            .find(|line| line.contains(&format!("{name} heard")))
            .unwrap_or_else(|| panic!("{told}"));
        let heard = line.split('"').nth(1).unwrap_or_default();
        let (said, heard) = (tally::read(&[WORDS]).tally, tally::read(&[heard]).tally);
        let right = KEYS.iter().filter(|key| said.get(key).is_some() && said.get(key) == heard.get(key));
        assert!(right.count() >= 2, "{line}");
    }
}
