//! The notes' sound beside a table: each file under a name that says day, trap and time.

use std::fs::File;
use std::io;

use gunwale_protocol::record::NoteRecord;
use gunwale_protocol::time::Utc;
use gunwale_protocol::trip::Entry;

use super::bundle::{Bundle, Piece};
use super::{Range, each, names};
use crate::desk::Desk;
use crate::error::{Error, Result};
use crate::voice::is_note_file;

/// How many notes were sent, and how many have a file that is not there.
#[derive(Debug, Default, Clone, Copy, PartialEq, Eq)]
pub struct Sounds {
    /// Sent.
    pub sent: u64,
    /// Not there.
    pub missing: u64,
}

/// Sends the sound of all notes in the range, those far from any trap too unless a trap was asked for.
///
/// # Errors
/// Records or files that cannot be read, output that cannot be written.
pub fn sounds(desk: &Desk, range: &Range, bundle: &mut Bundle<'_>) -> Result<Sounds> {
    let mut count = Sounds::default();
    each(desk, range, |found, entry| {
        let zone = &found.timezone;
        match entry {
            Entry::Pull(pull) => pull.notes.iter().try_for_each(|note| {
                let trap = pull.trap.as_ref().map_or("no-trap".to_owned(), |trap| format!("trap-{trap}"));
                send(desk, note, &name(pull.day.as_deref(), &trap, note, zone), bundle, &mut count)
            }),
            Entry::Loose(loose) => loose.note.iter().try_for_each(|note| {
                let name = name(loose.day.as_deref(), "between-traps", note, zone);
                send(desk, note, &name, bundle, &mut count)
            }),
            Entry::Dropped => Ok(()),
        }
    })?;
    Ok(count)
}

/// Day, trap, the boat's time of day, and the note's id, which no other has.
fn name(day: Option<&str>, trap: &str, note: &NoteRecord, timezone: &str) -> String {
    let local = note.at.as_deref().and_then(Utc::parse).and_then(|utc| utc.zoned(timezone));
    let time = local.map_or("untimed".to_owned(), |local| local.strftime("%H%M%S").to_string());
    format!("{}_{}_{time}_{}.wav", day.unwrap_or("undated"), names::encoded(trap), names::encoded(&note.note))
}

fn send(
    desk: &Desk,
    note: &NoteRecord,
    name: &str,
    bundle: &mut Bundle<'_>,
    count: &mut Sounds,
) -> Result<()> {
    let Some(file) = note.file.as_deref().filter(|file| is_note_file(file)) else { return Ok(()) };
    let path = desk.data.join(file);
    let mut sound = match File::open(&path) {
        Err(e) if e.kind() == io::ErrorKind::NotFound => {
            count.missing += 1;
            return Ok(());
        }
        opened => opened.map_err(Error::file("cannot read", &path, "check its permissions"))?,
    };
    count.sent += 1;
    bundle.file(&Piece::Note(name.to_owned()), |out| {
        io::copy(&mut sound, out)?;
        Ok(())
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use gunwale_protocol::record::TextFrom;

    #[test]
    fn a_sound_is_named_by_day_trap_and_time() {
        let note = |at: Option<&str>| NoteRecord {
            note: "00c0ffee".into(),
            at: at.map(str::to_owned),
            seconds: None,
            file: None,
            text: None,
            text_from: TextFrom::None,
            confidence: None,
            marked: false,
            spans: Vec::new(),
        };
        let zone = "America/New_York";
        for (day, trap, at, expected) in [
            (
                Some("2027-02-09"),
                "trap-14",
                Some("2027-02-09T13:15:02.400Z"),
                "2027-02-09_trap-14_081502_00c0ffee.wav",
            ),
            (
                Some("2027-02-09"),
                "trap-a/b c",
                Some("2027-02-10T03:15:02Z"),
                "2027-02-09_trap-a%2Fb%20c_221502_00c0ffee.wav",
            ),
            (None, "between-traps", None, "undated_between-traps_untimed_00c0ffee.wav"),
        ] {
            assert_eq!(name(day, trap, &note(at), zone), expected);
        }
    }
}
