//! The part of `check` that has each recogniser listen to a few words that are known.

use std::path::Path;
use std::time::Instant;

use gunwale_protocol::tally::{self, KEYS};

use super::Verdict;
use crate::desk::Desk;
use crate::error::Result;
use crate::sim::speech;
use crate::voice::wav::SPEC;

/// What is said to them, by a synthetic voice that every version has in it.
const WORDS: &str = "seven crabs, four keepers, six claws";
/// Silence before and after, samples.
const AROUND: usize = 12_800;

/// Whether each recogniser answers, and what it hears.
pub(super) fn recognisers(desk: &Desk) -> Verdict {
    let names = desk.recognisers.names();
    if names.is_empty() {
        return Verdict::Good(
            "notes stay sound: the README's \"Words from sound\" tells how to get text".into(),
        );
    }
    let file = desk.data.join("incoming").join("check.wav");
    if let Err(trouble) = write(&file) {
        return Verdict::Bad(trouble.to_string());
    }
    let mut told = Vec::new();
    let mut good = true;
    for (which, name) in names.iter().enumerate() {
        let began = Instant::now();
        match desk.recognisers.ask(which, "", &file) {
            Ok(heard) => {
                let (right, of) = right(&heard.text);
                let (text, seconds) = (heard.text, began.elapsed().as_secs_f64());
                let sure = heard.confidence.map_or("no confidence".into(), |c| format!("confidence {c:.2}"));
                told.push(format!(
                    "{name} heard \"{text}\" ({right} of {of} counts, {sure}) in {seconds:.1} s"
                ));
            }
            Err(trouble) => {
                good = false;
                told.push(format!("{name}: {trouble}"));
            }
        }
    }
    // What cannot be removed now is removed at the next start.
    let _ = std::fs::remove_file(&file);
    let _ = file.parent().map(std::fs::remove_dir);
    let told = told.join("; ");
    if good { Verdict::Good(told) } else { Verdict::Bad(told) }
}

/// How many counts are right, and of how many.
fn right(text: &str) -> (usize, usize) {
    let (said, heard) = (tally::read(&[WORDS]).tally, tally::read(&[text]).tally);
    let stated = KEYS.iter().filter(|key| said.get(key).is_some());
    stated.fold((0, 0), |(right, of), key| (right + usize::from(heard.get(key) == said.get(key)), of + 1))
}

fn write(file: &Path) -> Result<()> {
    let failed = |e: hound::Error| std::io::Error::other(format!("{}: {e}", file.display()));
    if let Some(folder) = file.parent() {
        std::fs::create_dir_all(folder)?;
    }
    let mut wav = hound::WavWriter::create(file, SPEC).map_err(failed)?;
    let silence = || std::iter::repeat_n(0_i16, AROUND);
    let mut samples = silence().chain(speech(WORDS)).chain(silence());
    samples.try_for_each(|x| wav.write_sample(x)).map_err(failed)?;
    wav.finalize().map_err(failed)?;
    Ok(())
}
