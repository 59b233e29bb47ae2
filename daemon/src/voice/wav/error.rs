//! What can go wrong with sound files.

use std::io;
use std::path::{Path, PathBuf};

/// A sound file that cannot be written, mended, labelled or read.
#[derive(Debug, thiserror::Error)]
pub enum WavError {
    /// The disk does not take or give it.
    #[error("{what} {path}: {source}: {advice}")]
    File {
        /// What was tried: `cannot write`.
        what: &'static str,
        /// Which file.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
        /// What to do.
        advice: &'static str,
    },
    /// A note file of that name is there.
    #[error(
        "{path} is there already and was left as it is: mend or remove it, or give the note another name"
    )]
    Exists {
        /// Which file.
        path: PathBuf,
    },
    /// Longer than a WAV file can be.
    #[error("{path} is as long as a WAV file may be: close it and go on in another")]
    Full {
        /// Which file.
        path: PathBuf,
    },
    /// Cut before its first sample.
    #[error("{path} ends inside its header, no sound of it reached the disk: remove it")]
    Short {
        /// Which file.
        path: PathBuf,
    },
    /// Not of the layout of note files.
    #[error("{path} was not written as a note by gunwale, or its header is damaged: it was left as it is")]
    NotOurs {
        /// Which file.
        path: PathBuf,
    },
    /// Not sound that can be read.
    #[error("{path} cannot be read as sound: {why}: give a WAV file of plain samples (PCM)")]
    NotSound {
        /// Which file.
        path: PathBuf,
        /// What is wrong with it.
        why: String,
    },
}

impl WavError {
    /// The disk failed while writing this file.
    pub(super) fn writing(path: &Path, error: impl Into<Failure>) -> WavError {
        let advice = "see that the disk has room and can be written";
        WavError::File { what: "cannot write", path: path.into(), source: error.into().0, advice }
    }

    /// The file cannot be opened or read.
    pub(super) fn reading(path: &Path, source: io::Error) -> WavError {
        WavError::File {
            what: "cannot read",
            path: path.into(),
            source,
            advice: "check the name and the disk",
        }
    }
}

/// What the system said, whether or not `hound` passed it on.
pub(super) struct Failure(io::Error);

impl From<io::Error> for Failure {
    fn from(error: io::Error) -> Failure {
        Failure(error)
    }
}

impl From<hound::Error> for Failure {
    fn from(error: hound::Error) -> Failure {
        match error {
            hound::Error::IoError(error) => Failure(error),
            other => Failure(io::Error::other(other)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_text_says_what_happened_and_what_to_do() {
        let path = PathBuf::from("notes/a.wav");
        let full = || io::Error::from(io::ErrorKind::StorageFull);
        for (error, text) in [
            (
                WavError::writing(&path, full()),
                "cannot write notes/a.wav: no storage space: see that the disk has room and can be written",
            ),
            (
                WavError::writing(&path, hound::Error::IoError(full())),
                "cannot write notes/a.wav: no storage space: see that the disk has room and can be written",
            ),
            (
                WavError::reading(&path, io::ErrorKind::NotFound.into()),
                "cannot read notes/a.wav: entity not found: check the name and the disk",
            ),
            (
                WavError::Exists { path: path.clone() },
                "notes/a.wav is there already and was left as it is: mend or remove it, or give the note another name",
            ),
            (
                WavError::Full { path: path.clone() },
                "notes/a.wav is as long as a WAV file may be: close it and go on in another",
            ),
            (
                WavError::Short { path: path.clone() },
                "notes/a.wav ends inside its header, no sound of it reached the disk: remove it",
            ),
            (
                WavError::NotOurs { path: path.clone() },
                "notes/a.wav was not written as a note by gunwale, or its header is damaged: it was left as it is",
            ),
            (
                WavError::NotSound { path: path.clone(), why: "no RIFF tag found".to_owned() },
                "notes/a.wav cannot be read as sound: no RIFF tag found: give a WAV file of plain samples (PCM)",
            ),
        ] {
            assert_eq!(error.to_string(), text);
        }
    }
}
