//! Notes that a power cut or a kill left without their journal line: each gets it at the next start.
//!
//! A note's file carries its segment and its beginning from the first moment on. Files that have been labelled were
//! recorded, so only the few others need to be looked at.

use std::path::Path;

use gunwale_protocol::input::{self, Input, Stamped, Voice};
use gunwale_protocol::listen::{Event, Listener};
use gunwale_protocol::time::Mono;

use super::wav::{self, Sound, WavError};
use crate::error::Result;
use crate::journal::{self, Reader, Writer};

/// Takes up what was left, and says how many notes it was. What cannot be taken up stays where it is, and is told.
///
/// # Errors
/// When the notes cannot be looked through or a journal cannot be continued.
pub fn adopt(data: &Path) -> Result<u64> {
    let mut adopted = 0;
    for file in super::files(data) {
        match adopt_one(data, &file) {
            Ok(taken) => adopted += u64::from(taken),
            Err(trouble) => tracing::warn!(file, "a note was left over and cannot be taken up: {trouble}"),
        }
    }
    if adopted > 0 {
        tracing::info!(adopted, "notes that were being spoken when the power went are taken up");
    }
    Ok(adopted)
}

fn adopt_one(data: &Path, file: &str) -> Result<bool> {
    let path = data.join(file);
    if wav::is_labelled(&path).unwrap_or(false) {
        return Ok(false);
    }
    let length = match wav::repair(&path) {
        Ok(repaired) => repaired.samples,
        // Cut before there was anything to hear.
        Err(WavError::Short { .. }) => return remove(&path),
        Err(trouble) => return Err(trouble.into()),
    };
    let Some((segment, t, by_button)) = begin(&wav::about(&path)?.reference) else { return Ok(false) };
    let journal = journal::file_of(data, &segment)?;
    if !journal.exists() || holds(&journal, &segment, t)? {
        return Ok(false);
    }
    let speech = match speech(&path)? {
        Some(speech) => speech,
        None if by_button => 0,
        None => return remove(&path),
    };
    let voice =
        Voice { file: file.to_owned(), length_us: super::span_us(length), speech_us: super::span_us(speech) };
    let mut writer = Writer::append_to(&journal)?;
    writer.append(&Stamped { t, input: Input::Note(voice) }, None)?;
    writer.sync()?;
    Ok(true)
}

fn remove(path: &Path) -> Result<bool> {
    std::fs::remove_file(path)?;
    Ok(false)
}

fn begin(reference: &str) -> Option<(String, Mono, bool)> {
    let (segment, t) = reference.split_once([' ', '+'])?;
    Some((segment.to_owned(), Mono(t.parse().ok()?), reference.contains('+')))
}

/// Whether the journal has the note that begins at `t`.
fn holds(journal: &Path, segment: &str, t: Mono) -> Result<bool> {
    let id = input::id(segment, "sound", t);
    for entry in Reader::open(journal, 0)? {
        let Stamped { t, input } = entry?.stamped;
        if matches!(input, Input::Note(_) | Input::Gone) && input::id(segment, "sound", t) == id {
            return Ok(true);
        }
    }
    Ok(false)
}

/// Where the speech begins, samples; `None` when there is none in it.
fn speech(path: &Path) -> Result<Option<u64>> {
    let mut sound = Sound::open(path)?;
    let (mut listener, mut first, mut kept) = (Listener::new(), None, false);
    loop {
        let piece = sound.piece()?;
        let ended = piece.is_none();
        let events = match piece {
            Some(samples) => listener.hear(samples),
            None => listener.finish(),
        };
        for event in events {
            match event {
                Event::Opened { speech, .. } => first = first.or(Some(speech)),
                Event::Closed { kept: true, .. } => kept = true,
                _ => {}
            }
        }
        if ended {
            return Ok(first.filter(|_| kept));
        }
    }
}
