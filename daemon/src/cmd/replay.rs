//! `replay`: a day's notes by trap. At the desk they are put in order, each with a line of facts; where the person is
//! they are played, listed or written as one file.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use gunwale_protocol::record::{NoteRecord, Record, TextFrom};
use gunwale_protocol::tally::{Grammar, Said};
use gunwale_protocol::time::Utc;
use gunwale_protocol::trip::Entry;
use serde::{Deserialize, Serialize};

use crate::args::Replay;
use crate::desk::Desk;
use crate::error::{Error, Result};
use crate::io::Io;
use crate::{find, records, replay};

/// One note on its way to whoever plays it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Item {
    /// Trap, pull, time and length in a line.
    pub facts: String,
    /// What was said, as far as known.
    pub text: Option<String>,
    /// The sound's file, relative to the data directory.
    pub file: Option<PathBuf>,
}

/// Lists the notes for reading, or hands them over for playing, a line of JSON each.
///
/// # Errors
/// A date that is none, a day without notes.
pub fn replay(desk: &Desk, wanted: &Replay, io: &mut Io<'_>) -> Result<()> {
    let day = find::day(desk, wanted.date.as_deref())?;
    let items = items(desk, &day, wanted)?;
    if items.is_empty() {
        return Err(Error::NoNotes(
            wanted.trap.as_ref().map_or(day.clone(), |trap| format!("{day} at trap {trap}")),
        ));
    }
    for item in items {
        if wanted.list {
            writeln!(io.out, "{}", replay::line(&item))?;
        } else {
            serde_json::to_writer(&mut *io.out, &item).map_err(std::io::Error::other)?;
            writeln!(io.out)?;
        }
    }
    Ok(())
}

/// Trap by trap as they were first hauled, each in order of time; then what was said between traps.
fn items(desk: &Desk, day: &str, wanted: &Replay) -> Result<Vec<Item>> {
    let mut groups: Vec<(String, Vec<Item>)> = Vec::new();
    let mut between = Vec::new();
    let store = desk.store();
    let mut number = 0;
    for doc in store.day(day) {
        let records::Kept { found, entry } = records::read(&doc?)?;
        let timezone = &found.timezone;
        let grammar = Grammar::of(&found.words);
        let counts = |note: &NoteRecord| counts(note, &grammar);
        match entry {
            Some(Entry::Pull(record)) => {
                number += 1;
                let name = record.trap.clone().unwrap_or_else(|| format!("(none, pull {number})"));
                let notes = record.notes.iter().filter(|note| wanted.all || counts(note));
                let items =
                    notes.map(|note| item(&of_pull(&record, number), note, timezone)).collect::<Vec<_>>();
                match groups.iter_mut().find(|(trap, _)| *trap == name) {
                    Some((_, group)) => group.extend(items),
                    None => groups.push((name, items)),
                }
            }
            Some(Entry::Loose(loose)) if wanted.trap.is_none() => {
                if let Some(note) = loose.note.as_ref().filter(|note| wanted.all || counts(note)) {
                    let place = loose
                        .lat
                        .zip(loose.lon)
                        .map_or(String::new(), |(lat, lon)| format!(" at {lat:.5}, {lon:.5}"));
                    between.push(item(&format!("between traps{place}"), note, timezone));
                }
            }
            _ => {}
        }
    }
    let here = |trap: &str| wanted.trap.as_deref().is_none_or(|wanted| wanted == trap);
    let items = groups.into_iter().filter(|(trap, _)| here(trap)).flat_map(|(_, items)| items);
    Ok(items.chain(between).collect())
}

/// Talk stands back: words that are known and have nothing of the trade in them.
fn counts(note: &NoteRecord, grammar: &Grammar) -> bool {
    let Some(text) = note.text.as_deref().filter(|_| note.text_from == TextFrom::Heard) else { return true };
    !note.spans.is_empty() || grammar.read(&[Said::heard(text)], &[]).trade
}

fn of_pull(record: &Record, number: usize) -> String {
    let trap = record.trap.as_ref().map_or("no trap".to_owned(), |trap| format!("trap {trap}"));
    let soak = record.soak_h.map_or(String::new(), |hours| format!(", {hours:.0} h in the water"));
    format!("{trap}, pull {number}{soak}")
}

fn item(of: &str, note: &NoteRecord, timezone: &str) -> Item {
    let mut facts = of.to_owned();
    let local = note.at.as_deref().and_then(Utc::parse).and_then(|utc| utc.zoned(timezone));
    // Writing to a String cannot fail.
    let _ = match local {
        Some(local) => write!(facts, ", {}", local.strftime("%H:%M:%S")),
        None => write!(facts, ", time not known"),
    };
    let _ = match note.seconds {
        Some(seconds) => write!(facts, ", {seconds:.1} s"),
        None => write!(facts, ", typed"),
    };
    Item { facts, text: note.text.clone(), file: note.file.as_ref().map(PathBuf::from) }
}

/// Plays or writes what [`replay`] handed over.
///
/// # Errors
/// When the list cannot be read, no player can be started or the file cannot be written.
pub fn perform(data: &Path, player: &[String], wanted: &Replay, handed: &[u8]) -> Result<()> {
    let read = |line| serde_json::from_slice(line).map_err(|e| Error::Connection(e.to_string()));
    let lines = handed.split(|byte| *byte == b'\n').filter(|line| !line.is_empty());
    let items: Vec<Item> = lines.map(read).collect::<Result<_>>()?;
    match &wanted.to {
        Some(to) => replay::write(data, &items, to),
        None => replay::play(data, &items, player),
    }
}
