//! The sound of a tape: notes it names, and notes found in what a microphone heard.

use std::collections::VecDeque;

use gunwale_protocol::input::{Stamped, Voice};
use gunwale_protocol::listen::{Event, Listener, RATE};
use gunwale_protocol::time::{Mono, SECOND};

use crate::desk::Desk;
use crate::io::Sounds;
use crate::segment::Segment;
use crate::voice::ear::{self, Around, Ear, Heard};
use crate::voice::span_us;
use crate::voice::wav::{self, Sound};

/// Heard at a time when no line of the tape is near: a tenth of a second.
const PIECE: usize = 1_600;

/// What an ear should know of a segment at this moment.
pub(super) fn around(segment: &Segment, t: Mono) -> Around {
    let haul = segment.haul();
    Around { attend: haul.listens(t), utc_us: haul.utc_at(t).map(|utc| utc.0 - t.0) }
}

/// Takes a note that a tape names into the data directory; `None` when its file cannot be read or copied.
pub(super) fn note_of(
    desk: &Desk,
    segment: &str,
    t: Mono,
    voice: &Voice,
    around: &Around,
    sounds: &Sounds,
) -> Option<Voice> {
    let mut sound = open(&voice.file, sounds)?;
    let utc = around.utc_us.map(|us| gunwale_protocol::time::Utc(t.0 + us));
    let file = ear::name(segment, t, utc, &desk.settings.timezone);
    let mut copy = || -> Result<Voice, wav::WavError> {
        let mut copied = ear::begin(&desk.data.join(&file), &ear::reference(segment, t, true))?;
        let (mut listener, mut speech) = (Listener::new(), None);
        while let Some(samples) = sound.piece()? {
            copied.append(samples)?;
            for event in listener.hear(samples) {
                if let Event::Opened { speech: at, .. } = event {
                    speech.get_or_insert(at);
                }
            }
        }
        let length_us = span_us(copied.close()?);
        Ok(Voice { file: file.clone(), length_us, speech_us: span_us(speech.unwrap_or(0)).min(length_us) })
    };
    copy().inspect_err(|trouble| tracing::warn!(note = voice.file, "{trouble}")).ok()
}

fn open(name: &str, sounds: &Sounds) -> Option<Sound> {
    let Some(path) = sounds.find(name) else {
        tracing::warn!(
            "{name} is not there: put the sound files where the tape names them, and play it again"
        );
        return None;
    };
    Sound::open(&path).inspect_err(|trouble| tracing::warn!("{trouble}")).ok()
}

/// A sound file being listened to.
pub(super) struct Listening {
    /// The ordinal of the line that names it.
    pub n: u64,
    ear: Ear,
    sound: Sound,
    /// Read and not heard yet.
    left: VecDeque<i16>,
    begin: Mono,
    heard: u64,
    ended: bool,
}

impl Listening {
    pub fn begin(
        desk: &Desk,
        segment: &str,
        t: Mono,
        name: &str,
        n: u64,
        sounds: &Sounds,
    ) -> Option<Listening> {
        let sound = open(name, sounds)?;
        let ear = Ear::new(&desk.data, segment, &desk.settings.timezone);
        Some(Listening { n, ear, sound, left: VecDeque::new(), begin: t, heard: 0, ended: false })
    }

    /// When the next sample was heard.
    pub fn at(&self) -> Mono {
        self.begin + span_us(self.heard)
    }

    pub fn ended(&self) -> bool {
        self.ended
    }

    /// Hears the next piece up to `until`; the notes that ended in it, or `None` when there is nothing more to hear by then.
    pub fn hear(&mut self, until: Option<Mono>, around: &Around, replays: bool) -> Option<Vec<Stamped>> {
        let wanted = match until {
            Some(until) => samples(until - self.at()).min(PIECE),
            None => PIECE,
        };
        if self.ended || wanted == 0 {
            return None;
        }
        self.ear.replay(replays);
        let at = self.at();
        let piece = self.next(wanted);
        self.heard += piece.len() as u64;
        let told = if piece.is_empty() {
            self.ended = true;
            self.ear.pause(around)
        } else {
            self.ear.hear(at, &piece, around)
        };
        let note = |heard| match heard {
            Heard::Kept { note, .. } => Some(note),
            Heard::Failed(trouble) => {
                tracing::warn!("{trouble}");
                None
            }
            Heard::Opened | Heard::Nothing => None,
        };
        Some(told.into_iter().filter_map(note).collect())
    }
}

impl Listening {
    /// The next samples, as many as wanted, or fewer at the end.
    fn next(&mut self, wanted: usize) -> Vec<i16> {
        while self.left.len() < wanted {
            match self.sound.piece() {
                Ok(Some(samples)) => self.left.extend(samples),
                Ok(None) => break,
                Err(trouble) => {
                    tracing::warn!("{trouble}");
                    break;
                }
            }
        }
        self.left.drain(..wanted.min(self.left.len())).collect()
    }
}

/// Samples of a span, rounded up so that none is left for ever.
fn samples(span_us: i64) -> usize {
    let span = u64::try_from(span_us).unwrap_or(0);
    usize::try_from((span * u64::from(RATE)).div_ceil(SECOND as u64)).unwrap_or(usize::MAX)
}
