//! What a [`Listener`](super::Listener) tells of what it heard.

use super::Level;

/// What opened a note.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum By {
    /// Somebody spoke.
    Voice,
    /// The button went down.
    Button,
    /// The note before reached its longest length while the talk, or the button, went on: no sample lies between.
    Cap,
}

/// What became of the samples heard. Between `Opened` and `Closed` come all samples of that note, in order and without a
/// gap; there is one note at a time.
#[derive(Debug, Clone, PartialEq)]
pub enum Event {
    /// A note begins. By voice it is told once the speech is sure, mostly within half a second of its first sound.
    Opened {
        /// Position of its first sample, in the past: up to 0.8 s before the speech or the press, 4 s before a press when
        /// something went on that might have been speech; never in the note before, never in a time not listened to.
        from: u64,
        /// Position where the speech begins as far as known; the press, when a button opened it.
        speech: u64,
        /// What opened it.
        by: By,
    },
    /// More of the open note.
    Audio {
        /// Position of the first of these samples.
        at: u64,
        /// The samples.
        samples: Vec<i16>,
    },
    /// The open note ends.
    Closed {
        /// Position after its last sample.
        to: u64,
        /// False when there is not one sample in it: a button went down and up within one call, while nobody listened. What
        /// was opened for it is to be removed.
        kept: bool,
        /// How loud it was.
        level: Level,
    },
}
