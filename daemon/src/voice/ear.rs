//! From sound to notes: listens while a trap is worked, writes each note down as it is spoken, and gives it as an input
//! once its file is safe. The microphone of a run and a tape's sound are heard by the same ear.
//!
//! What is said shortly before she slows down is held in memory: it is written only if she does.

use std::collections::VecDeque;
use std::path::{Path, PathBuf};

use gunwale_protocol::input::{self, Input, Stamped, Voice};
use gunwale_protocol::listen::{By, Event, Level, Listener};
use gunwale_protocol::time::{Mono, SECOND, Utc};

use super::span_us;
use super::wav::{self, NoteFile, WavError};

/// Talk is held this long for the slowing down it may lead to: some 60 m at 6 knots.
const HOLD: i64 = 20 * SECOND;

/// What the rest of the program knows that an ear should.
#[derive(Debug, Clone, PartialEq)]
pub struct Around {
    /// Whether a voice is worth keeping now.
    pub attend: bool,
    /// UTC less the segment's clock, microseconds, if known: it names folder and file.
    pub utc_us: Option<i64>,
}

/// What came of listening.
#[derive(Debug)]
pub enum Heard {
    /// A note is being written.
    Opened,
    /// It is at its end, and its file is on the disk.
    Kept {
        /// The note, stamped with its beginning.
        note: Stamped,
        /// How loud it was.
        level: Level,
    },
    /// It was nothing: no file is left.
    Nothing,
    /// It could not be written down.
    Failed(WavError),
}

/// A note that is open or held.
struct Note {
    from: Mono,
    speech_us: i64,
    by: By,
    place: Place,
    samples: u64,
}

/// Where a note's sound is.
enum Place {
    /// In memory.
    Held(Vec<i16>),
    /// In this file, of this name below the data directory.
    File(Box<NoteFile>, String),
    /// The disk failed: what is on it stays, and is taken up at the next start.
    Lost,
}

/// Listens to one stream of sound at a time.
pub struct Ear {
    data: PathBuf,
    segment: String,
    timezone: String,
    listener: Listener,
    /// Where the stream stood last, and when that was.
    anchor: (u64, Mono),
    open: Option<Note>,
    /// Notes that ended while nobody attended.
    held: VecDeque<(Note, Level)>,
    /// The journal has what is found, up to here: nothing is written.
    replays: bool,
}

impl Ear {
    /// An ear for a segment, writing below the data directory.
    pub fn new(data: &Path, segment: &str, timezone: &str) -> Ear {
        Ear {
            data: data.to_owned(),
            segment: segment.to_owned(),
            timezone: timezone.to_owned(),
            listener: Listener::new(),
            anchor: (0, Mono(0)),
            open: None,
            held: VecDeque::new(),
            replays: false,
        }
    }

    /// Whether what is found stands in the journal already.
    pub fn replay(&mut self, replays: bool) {
        self.replays = replays;
    }

    /// Hears what follows, the first sample at `t`.
    pub fn hear(&mut self, t: Mono, samples: &[i16], around: &Around) -> Vec<Heard> {
        let mut told = Vec::new();
        self.attend(around, &mut told);
        self.anchor = (self.listener.heard(), t);
        let events = self.listener.hear(samples);
        self.follow(events, around, &mut told);
        told
    }

    /// The button went down or up.
    pub fn button(&mut self, down: bool, around: &Around) -> Vec<Heard> {
        let mut told = Vec::new();
        let events = self.listener.button(down);
        self.follow(events, around, &mut told);
        told
    }

    /// The stream is at its end, has a gap, or is not to be heard any more: an open note ends here.
    pub fn pause(&mut self, around: &Around) -> Vec<Heard> {
        let mut told = Vec::new();
        let events = self.listener.finish();
        self.follow(events, around, &mut told);
        // What comes next does not follow on what was.
        self.listener.listen(false);
        self.listener.listen(true);
        told
    }

    /// What was heard since the last time this was asked, in figures.
    pub fn sound(&mut self) -> gunwale_protocol::listen::Sound {
        self.listener.sound()
    }

    /// Brings what is held to where the boat is now.
    fn attend(&mut self, around: &Around, told: &mut Vec<Heard>) {
        let now = self.stamp(self.listener.heard());
        if !around.attend {
            while self.held.pop_front_if(|(note, _)| now - note.until() > HOLD).is_some() {}
            return;
        }
        while let Some((mut note, level)) = self.held.pop_front() {
            // A journal that is replayed has what was held then.
            if now - note.until() <= HOLD && !self.replays {
                self.write(&mut note, around, told);
                keep(note, level, told);
            }
        }
        if !self.replays
            && let Some(mut note) = self.open.take()
        {
            self.write(&mut note, around, told);
            self.open = Some(note);
        }
    }

    fn follow(&mut self, events: Vec<Event>, around: &Around, told: &mut Vec<Heard>) {
        for event in events {
            match event {
                Event::Opened { from, speech, by } => {
                    let (from, speech) = (self.stamp(from), self.stamp(speech));
                    let place = Place::Held(Vec::new());
                    let mut note = Note { from, speech_us: speech - from, by, place, samples: 0 };
                    let attend = around.attend || by == By::Button;
                    if attend && !self.replays {
                        self.write(&mut note, around, told);
                    }
                    self.open = Some(note);
                }
                Event::Audio { samples, .. } => {
                    if let Some(note) = &mut self.open {
                        note.take(&samples, told);
                    }
                }
                Event::Closed { kept, level, .. } => {
                    let Some(note) = self.open.take() else { continue };
                    match &note.place {
                        Place::File(..) if kept => keep(note, level, told),
                        Place::File(..) => drop_note(note, told),
                        // Attended and not written: the journal that is replayed has it.
                        Place::Held(_) if kept && !around.attend && note.by != By::Button => {
                            self.held.push_back((note, level));
                        }
                        Place::Held(_) | Place::Lost => {}
                    }
                }
            }
        }
    }

    /// Begins the note's file with what is held of it.
    fn write(&mut self, note: &mut Note, around: &Around, told: &mut Vec<Heard>) {
        let Place::Held(held) = &mut note.place else { return };
        let held = std::mem::take(held);
        let utc = around.utc_us.map(|us| Utc(note.from.0 + us));
        let name = name(&self.segment, note.from, utc, &self.timezone);
        let reference = reference(&self.segment, note.from, note.by == By::Button);
        note.place = match begin(&self.data.join(&name), &reference) {
            Ok(file) => {
                told.push(Heard::Opened);
                Place::File(Box::new(file), name)
            }
            Err(trouble) => {
                told.push(Heard::Failed(trouble));
                Place::Lost
            }
        };
        note.samples = 0;
        note.take(&held, told);
    }

    /// When the sample at this position of the stream was heard.
    fn stamp(&self, position: u64) -> Mono {
        let (at, t) = self.anchor;
        if position >= at { t + span_us(position - at) } else { t + -span_us(at - position) }
    }
}

/// Where a note's file is, below the data directory: by day and time of day as known when it began, and the note's id.
pub fn name(segment: &str, from: Mono, utc: Option<Utc>, timezone: &str) -> String {
    let id = input::id(segment, "sound", from);
    match utc.and_then(|utc| utc.zoned(timezone)) {
        Some(local) => format!("notes/{}/{}-{id}.wav", local.date(), local.strftime("%H%M%S")),
        None => format!("notes/undated/{id}.wav"),
    }
}

/// Begins a note's file. One that is there already was left half-written when the same tape was played before, and is
/// written anew.
///
/// # Errors
/// What the disk reports; a file that is another note's is left alone.
pub fn begin(path: &Path, reference: &str) -> Result<NoteFile, WavError> {
    match NoteFile::create(path, reference) {
        Err(WavError::Exists { .. }) if is_left_of(path, reference) => {
            std::fs::remove_file(path).map_err(|_| WavError::Exists { path: path.to_owned() })?;
            NoteFile::create(path, reference)
        }
        begun => begun,
    }
}

fn is_left_of(path: &Path, reference: &str) -> bool {
    match wav::about(path) {
        Ok(about) => reference.starts_with(&about.reference),
        Err(trouble) => matches!(trouble, WavError::Short { .. }),
    }
}

/// What a note's file says of its beginning from the first moment on: segment, stamp, and whether the button opened it.
pub fn reference(segment: &str, from: Mono, by_button: bool) -> String {
    format!("{segment}{}{}", if by_button { '+' } else { ' ' }, from.0)
}

impl Note {
    fn until(&self) -> Mono {
        self.from + span_us(self.samples)
    }

    fn take(&mut self, samples: &[i16], told: &mut Vec<Heard>) {
        self.samples += samples.len() as u64;
        match &mut self.place {
            Place::Held(held) => held.extend_from_slice(samples),
            Place::File(file, _) => {
                if let Err(trouble) = file.append(samples) {
                    told.push(Heard::Failed(trouble));
                    self.place = Place::Lost;
                }
            }
            Place::Lost => {}
        }
    }
}

/// Gives a note once its file is on the disk.
fn keep(note: Note, level: Level, told: &mut Vec<Heard>) {
    let Place::File(file, name) = note.place else { return };
    told.push(match file.close() {
        Ok(samples) => {
            let length_us = span_us(samples);
            let voice = Voice { file: name, length_us, speech_us: note.speech_us.min(length_us) };
            Heard::Kept { note: Stamped { t: note.from, input: Input::Note(voice) }, level }
        }
        Err(trouble) => Heard::Failed(trouble),
    });
}

/// Removes what was no note.
fn drop_note(note: Note, told: &mut Vec<Heard>) {
    let Place::File(file, _) = note.place else { return };
    told.push(file.remove().map_or_else(Heard::Failed, |()| Heard::Nothing));
}
