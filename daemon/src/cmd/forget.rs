//! `forget`: removes the words and the sound of notes everywhere, and says so in the journal.

use std::collections::BTreeSet;

use gunwale_protocol::input::{Forgotten, Stated, Statement};
use gunwale_protocol::trip;

use crate::desk::Desk;
use crate::error::{Error, Result};
use crate::io::Io;
use crate::{find, journal, records, voice};

/// Forgets one note, or all notes of a pull. Pulls, positions, weights and corrections stay.
///
/// # Errors
/// When there is no such pull or note, or something cannot be removed; given again it goes on.
pub fn forget(desk: &Desk, of: &str, io: &mut Io<'_>) -> Result<()> {
    let notes = match find::pull(desk, of) {
        Ok(pull) => notes_of(desk, &pull)?,
        Err(_) => vec![find::note(desk, of)?],
    };
    if notes.is_empty() {
        writeln!(io.out, "no notes there")?;
        return Ok(());
    }
    let _nobody_hears_them_meanwhile = desk.recognisers.words();
    let said = notes.iter().map(|of| Stated::Forget(Forgotten { of: of.clone() })).collect();
    // First that it is to be forgotten: should the power go now, the next start finishes it.
    desk.state(said)?;
    finish(desk, &notes.iter().cloned().collect())?;
    for note in notes {
        writeln!(io.out, "forgot {note}")?;
    }
    Ok(())
}

/// Finishes what a power cut may have left of forgetting.
///
/// # Errors
/// When something cannot be removed.
pub fn finish_all(desk: &Desk) -> Result<()> {
    let mut notes = BTreeSet::new();
    for (_, statement) in desk.store().statements()? {
        if let Ok(Statement { said: Stated::Forget(forgotten), .. }) = serde_json::from_slice(&statement) {
            notes.insert(forgotten.of);
        }
    }
    if notes.is_empty() { Ok(()) } else { finish(desk, &notes) }
}

fn finish(desk: &Desk, notes: &BTreeSet<String>) -> Result<()> {
    voice::remove(&desk.data, notes)?;
    let scrubbed = journal::scrub(&desk.data, notes)?;
    for file in &scrubbed.files {
        let path = desk.data.join(file);
        // A journal from elsewhere may name anything.
        if voice::is_note_file(file) && path.exists() {
            voice::remove_file(&path)?;
        }
    }
    if scrubbed.lines > 0 {
        // What the store wrote before is on the disk until it is gone as a whole.
        desk.rebuild(&mut |_| {})?;
        crate::store::remove_set_aside(&desk.data)?;
    }
    Ok(())
}

fn notes_of(desk: &Desk, pull: &str) -> Result<Vec<String>> {
    let doc = desk.store().get(pull)?.ok_or_else(|| Error::NoPull(pull.to_owned()))?;
    let kept = records::read(&doc)?;
    let mut notes: Vec<String> = match kept.entry {
        // With the notes a person moved to it.
        Some(trip::Entry::Pull(record)) => record.notes.into_iter().map(|note| note.note).collect(),
        _ => trip::notes(&kept.found).iter().map(|note| note.id.clone()).collect(),
    };
    notes.dedup();
    Ok(notes)
}
