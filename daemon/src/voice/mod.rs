//! Voice notes: the microphone, the ear that finds notes in its sound, their files, and the tones that answer the crew.

pub mod adopt;
pub(crate) mod child;
pub mod cues;
pub mod ear;
pub mod hearing;
pub mod label;
pub mod mic;
pub mod mic_clock;
pub mod player;
pub mod wav;

use std::collections::BTreeSet;
use std::path::Path;

use gunwale_protocol::listen::RATE;
use gunwale_protocol::time::SECOND;

use crate::error::{Error, Result};

/// The folder of the notes in the data directory.
pub const NOTES: &str = "notes";

/// How long so many samples last, microseconds, rounded down.
pub fn span_us(samples: u64) -> i64 {
    i64::try_from(samples.saturating_mul(SECOND.unsigned_abs()) / u64::from(RATE)).unwrap_or(i64::MAX)
}

/// Every note's file, relative to the data directory.
pub fn files(data: &Path) -> Vec<String> {
    let list = |folder: &Path| -> Vec<std::fs::DirEntry> {
        std::fs::read_dir(folder).into_iter().flatten().flatten().collect()
    };
    let mut files = Vec::new();
    for day in list(&data.join(NOTES)) {
        for file in list(&day.path()) {
            let (day, file) = (day.file_name(), file.file_name());
            let name = format!("{NOTES}/{}/{}", day.to_string_lossy(), file.to_string_lossy());
            if name.ends_with(".wav") {
                files.push(name);
            }
        }
    }
    files.sort();
    files
}

/// Whether a name in a journal is that of a note's file in the data directory, and nothing that leads elsewhere.
pub fn is_note_file(name: &str) -> bool {
    let parts: Vec<&str> = name.split('/').collect();
    let plain = |part: &&str| !part.is_empty() && !part.starts_with('.');
    parts.len() == 3 && parts.first() == Some(&NOTES) && parts.iter().all(plain) && name.ends_with(".wav")
}

/// Removes the files of these notes.
///
/// # Errors
/// When one cannot be removed.
pub fn remove(data: &Path, notes: &BTreeSet<String>) -> Result<()> {
    for file in if notes.is_empty() { Vec::new() } else { files(data) } {
        let id = file.trim_end_matches(".wav").rsplit(['-', '/']).next().unwrap_or_default();
        if notes.contains(id) {
            remove_file(&data.join(file))?;
        }
    }
    Ok(())
}

/// Removes a note's file, so that it is gone from the disk when this returns.
///
/// # Errors
/// When it cannot be removed.
pub fn remove_file(path: &Path) -> Result<()> {
    const ADVICE: &str = "delete it by hand, then give the command again";
    std::fs::remove_file(path).map_err(Error::file("cannot remove", path, ADVICE))?;
    let day = path.parent().unwrap_or(path);
    std::fs::File::open(day).and_then(|day| day.sync_all()).map_err(Error::file(
        "cannot remove",
        path,
        ADVICE,
    ))
}
