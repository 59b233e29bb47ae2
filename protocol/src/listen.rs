//! Finding notes in what a microphone hears: somebody talks, a note opens; nobody talks any more, it closes.
//!
//! Fed with samples it returns what becomes of them, samples of the notes included, so that a caller has only to write
//! down what it is given. Positions count samples from the first one heard; how the samples are cut makes no difference.
//!
//! What sounds like speech is held back in memory until it is sure, so that nothing is told by voice that is no note.
//!
//! Unlike the folds this is no state that could be stored: it holds two networks. What is found goes into the journal as
//! notes, and the records are made from those.

mod event;
mod evidence;
mod level;
#[cfg(test)]
mod tests;
mod voice;

use std::collections::VecDeque;

pub use event::{By, Event};
use level::Meter;
pub use level::{Level, Sound};
pub use voice::clean;
use voice::{FRAME, Voice};

/// Samples per second of the sound this module takes: mono, 16 bits.
pub const RATE: u32 = 16_000;

/// A note begins so long before its first speech: breath and the soft beginnings no detector hears. 0.8 s.
const PREROLL: u64 = 12_800;
/// A note ends when nobody has spoken for so long: 1.2 s.
const PAUSE: u64 = 19_200;
/// No note is longer; talk goes on in the next. 30 s.
const CAP: u64 = 480_000;
/// What may be a note is held back until it is sure; what is older than so long is given up. 4 s.
const PATIENCE: u64 = 64_000;
/// What is kept of the past: that, and the frame in which it is decided.
const KEPT: usize = PATIENCE as usize + FRAME;

/// A note, or what may become one.
struct Note {
    from: u64,
    speech: u64,
    by: By,
    /// After the last frame that was speech.
    spoken: u64,
    /// Known to be a note.
    sure: bool,
    held: bool,
    told: bool,
    /// Samples up to here were given out.
    given: u64,
    level: Level,
}

/// Finds the notes in one stream of samples. Holds four seconds of the past and two small networks, 0.2 MB in all, however
/// long it listens.
pub struct Listener {
    heard: u64,
    recent: VecDeque<i16>,
    meter: Meter,
    listening: bool,
    /// Nothing before this is taken into a note: the end of the note before, the moment listening began.
    free: u64,
    note: Option<Note>,
    voice: Voice,
}

impl Default for Listener {
    fn default() -> Self {
        Listener::new()
    }
}

impl Listener {
    /// A listener that has heard nothing yet and listens.
    pub fn new() -> Listener {
        Listener {
            heard: 0,
            recent: VecDeque::with_capacity(KEPT + FRAME),
            meter: Meter::default(),
            listening: true,
            free: 0,
            note: None,
            voice: Voice::new(),
        }
    }

    /// Takes in what the microphone heard next; as much at a time as there is.
    pub fn hear(&mut self, mut samples: &[i16]) -> Vec<Event> {
        let mut events = Vec::new();
        while let Some((now, later)) = samples.split_at_checked(self.stride().min(samples.len()))
            && !now.is_empty()
        {
            samples = later;
            self.take(now);
            self.attend();
            self.decide(&mut events);
        }
        events
    }

    /// Listens for speech, or no more. Off, nothing begins by voice and next to no work is done; what has begun goes on to
    /// its end. On again, nothing heard before is taken into a note.
    pub fn listen(&mut self, on: bool) {
        if on && !self.listening {
            self.free = self.free.max(self.heard);
            if !self.attentive() {
                // What was long ago must not count.
                self.voice = Voice::new();
            }
        }
        self.listening = on;
    }

    /// The button went down or up. Down opens a note at once, whether listening or not; up closes it at once. Such a note is
    /// always kept, if there is a sample in it. In an open note down means that it is kept and ends with the button.
    pub fn button(&mut self, down: bool) -> Vec<Event> {
        let mut events = Vec::new();
        if down {
            if self.note.is_none() {
                let back = if self.listening { PREROLL } else { 0 };
                self.begin(self.heard.saturating_sub(back), By::Button);
            }
            if let Some(note) = &mut self.note {
                (note.held, note.sure) = (true, true);
                if !note.told && note.by == By::Voice {
                    (note.by, note.speech) = (By::Button, self.heard);
                }
            }
            self.tell(&mut events);
        } else if self.note.as_ref().is_some_and(|note| note.held) {
            self.close(&mut events);
            // The last word must not begin a note of its own.
            self.voice.pass();
        }
        events
    }

    /// The stream ends, or is to be muted: an open note closes here, and nothing of the past is taken into a later one.
    pub fn finish(&mut self) -> Vec<Event> {
        let mut events = Vec::new();
        self.close(&mut events);
        self.free = self.heard;
        self.voice = Voice::new();
        events
    }

    /// Samples heard so far: the position of the next one.
    pub fn heard(&self) -> u64 {
        self.heard
    }

    /// How loud it was since this was asked last, for `check` and for a message when a shout is too loud.
    pub fn sound(&mut self) -> Sound {
        self.meter.sound()
    }

    /// Samples until something is to be decided.
    fn stride(&self) -> usize {
        let to_frame = FRAME as u64 - self.heard % FRAME as u64;
        let to_cap = self.note.as_ref().map_or(u64::MAX, |note| (note.from + CAP).saturating_sub(self.heard));
        to_frame.min(to_cap.max(1)) as usize
    }

    /// Whether the networks are at work. A held note needs none.
    fn attentive(&self) -> bool {
        self.listening || self.note.as_ref().is_some_and(|note| !note.held)
    }

    fn take(&mut self, samples: &[i16]) {
        self.meter.take(samples);
        self.recent.extend(samples);
        self.recent.drain(..self.recent.len().saturating_sub(KEPT));
        self.heard += samples.len() as u64;
    }

    /// Lets the networks hear each frame as it is complete. Notes begin here, so that they do at the same sample however
    /// the sound was cut.
    fn attend(&mut self) {
        if !self.heard.is_multiple_of(FRAME as u64) {
            return;
        }
        let mut spoken = false;
        if self.attentive() {
            spoken = self.voice.hear(&self.last());
            if let Some(note) = &mut self.note {
                if spoken {
                    note.spoken = self.heard;
                }
                if !note.sure {
                    note.from = note.from.max(self.heard.saturating_sub(PATIENCE));
                    // In what goes on every further word is one of the note.
                    note.sure = match note.by {
                        By::Cap => spoken,
                        _ => self.voice.evidence(self.heard - note.from).suffices(),
                    };
                }
            }
        }
        self.meter.frame(spoken, self.note.is_some());
        if self.note.is_none()
            && self.listening
            && let Some(ago) = self.voice.begun()
        {
            self.begin(self.heard.saturating_sub(ago + PREROLL), By::Voice);
            if let Some(note) = &mut self.note {
                note.speech = self.heard.saturating_sub(ago);
            }
        }
    }

    fn decide(&mut self, events: &mut Vec<Event>) {
        let Some(note) = &self.note else { return };
        let full = self.heard >= note.from + CAP;
        let silent = !note.held && self.heard >= note.spoken + PAUSE;
        if note.sure {
            self.tell(events);
        }
        if silent {
            self.close(events);
        } else if full {
            self.go_on(events);
        }
    }

    /// The last samples heard.
    fn last(&self) -> [i16; FRAME] {
        let mut frame = [0; FRAME];
        let first = self.recent.len().saturating_sub(FRAME);
        for (to, from) in frame.iter_mut().zip(self.recent.range(first..)) {
            *to = *from;
        }
        frame
    }

    fn begin(&mut self, from: u64, by: By) {
        let from = from.max(self.free);
        self.note = Some(Note {
            from,
            speech: self.heard,
            by,
            spoken: self.heard,
            sure: by == By::Button,
            held: by == By::Button,
            told: false,
            given: from,
            level: Level::default(),
        });
    }

    /// Tells that there is a note, if that is news, and gives out what it has of the past.
    fn tell(&mut self, events: &mut Vec<Event>) {
        let Some(note) = &mut self.note else { return };
        if !note.told {
            (note.told, note.given) = (true, note.from);
            events.push(Event::Opened { from: note.from, speech: note.speech.max(note.from), by: note.by });
        }
        let new = self.heard.saturating_sub(note.given) as usize;
        if new == 0 {
            return;
        }
        if !matches!(events.last(), Some(Event::Audio { .. })) {
            events.push(Event::Audio { at: note.given, samples: Vec::with_capacity(new) });
        }
        let Some(Event::Audio { samples, .. }) = events.last_mut() else { return };
        let before = samples.len();
        samples.extend(self.recent.range(self.recent.len().saturating_sub(new)..));
        note.level.take(samples.get(before..).unwrap_or_default());
        note.given = self.heard;
    }

    /// Ends what there is. What was never told was none.
    fn close(&mut self, events: &mut Vec<Event>) {
        let Some(note) = self.note.take().filter(|note| note.told) else { return };
        self.free = self.heard;
        events.push(Event::Closed { to: self.heard, kept: self.heard > note.from, level: note.level });
    }

    /// The longest length is reached: the next note begins where this one ends, in the same state. It is told when the talk
    /// does go on.
    fn go_on(&mut self, events: &mut Vec<Event>) {
        let Some((held, spoken)) = self.note.as_ref().map(|note| (note.held, note.spoken)) else { return };
        self.close(events);
        self.begin(self.heard, By::Cap);
        if let Some(note) = &mut self.note {
            (note.held, note.sure, note.spoken) = (held, held, spoken);
        }
    }
}
