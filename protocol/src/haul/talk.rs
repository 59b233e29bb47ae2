//! Voice notes in the first fold: which stop they belong to, and when a microphone is worth listening to.
//!
//! A note comes in as its file begins (in a tape) or when it has been written (from the microphone). In both cases it
//! counts when it ends: so the same day gives the same records either way.

use serde::{Deserialize, Serialize};

use super::{AHEAD, Ahead, Happening, Haul, LATE, NotTaken};
use crate::finding::{Moment, Note, Sound};
use crate::haul::draft::Draft;
use crate::input::{self, Voice};
use crate::time::{Mono, SECOND};

/// A note is taken at most this long after its file began, however busy the computer is. A stop it comes too late for is
/// settled by then, and it is a note of the day.
pub(super) const LATEST: i64 = 600 * SECOND;
/// A note that is longer than any microphone's counts as over after so long.
const LONGEST: i64 = 120 * SECOND;
/// Under way for longer than this she is going somewhere else: what is said then is nobody's business.
const STEAMING: i64 = 300 * SECOND;
/// Where nothing has been said or weighed for this long she is at her berth.
const BERTH: i64 = 900 * SECOND;

/// A note not yet at its end.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Talk {
    /// When its file ends.
    pub to: Mono,
    /// The stamp of its line, where its file begins.
    line_t: Mono,
    note: Note,
}

impl Haul {
    /// Refuses a note that was taken already.
    pub(super) fn note_once(&mut self, line_t: Mono) -> Result<(), NotTaken> {
        if self.noted.contains(&line_t) {
            return Err(NotTaken::Again);
        }
        let now = self.now.unwrap_or(line_t);
        while self.noted.pop_front_if(|old| now - *old > LATEST).is_some() {}
        self.noted.push_back(line_t);
        Ok(())
    }

    /// Takes in a note whose file begins at `line_t`.
    pub(super) fn hear_note(&mut self, line_t: Mono, voice: &Voice) {
        let sound =
            Sound { file: voice.file.clone(), length_us: voice.length_us, speech_us: voice.speech_us };
        let note = Note {
            id: input::id(&self.run.id, "sound", line_t),
            at: Moment { t: line_t + voice.speech_us, utc: None },
            text: None,
            sound: Some(sound),
            late: false,
        };
        self.talk.push(Talk { to: line_t + voice.length_us.min(LONGEST), line_t, note });
        // One that is over already counts at once.
        self.end_talk(self.now.unwrap_or(line_t));
    }

    /// A note that was forgotten still says that somebody spoke here.
    pub(super) fn hear_gone(&mut self, t: Mono, line_t: Mono) {
        let at = line_t.min(t);
        self.happen_then(at, at, line_t, Happening::Pressed(at));
    }

    /// Keeps nothing of a note but that somebody spoke, wherever it waits.
    pub(super) fn forget(&mut self, id: &str) {
        for talk in self.talk.extract_if(.., |talk| talk.note.id == id).collect::<Vec<_>>() {
            self.hear_gone(talk.note.at.t, talk.line_t);
        }
        self.open.iter_mut().chain(&mut self.left).for_each(|draft| draft.forget(id));
        for ahead in &mut self.ahead {
            if matches!(&ahead.what, Happening::Said(note) if note.id == id) {
                ahead.what = Happening::Pressed(ahead.t);
            }
        }
        self.undated.retain_mut(|thing| thing.forget(id));
    }

    /// Gives the notes that have ended by now to their stops.
    pub(super) fn end_talk(&mut self, now: Mono) {
        while let Some(first) =
            self.next_talk().filter(|talk| talk.to <= now).map(|talk| talk.note.id.clone())
        {
            let Some(at) = self.talk.iter().position(|talk| talk.note.id == first) else { return };
            let Talk { to, line_t, note } = self.talk.remove(at);
            self.happen_then(note.at.t, to, line_t, Happening::Said(note));
        }
    }

    /// The note that ends next.
    pub(super) fn next_talk(&self) -> Option<&Talk> {
        self.talk.iter().min_by_key(|talk| (talk.to, talk.line_t))
    }

    /// Gives what lasted from one moment to another, up to now, to the stop that most of it was at; else to the one just
    /// left; else to the one it led to.
    fn happen_then(&mut self, from: Mono, to: Mono, line_t: Mono, what: Happening) {
        let middle = from + (to - from) / 2;
        let begun = |draft: &&mut Draft| draft.started() <= middle;
        // A stop is settled a minute after she left, whenever it is asked for.
        let in_time = |draft: &&mut Draft| draft.ended().is_none_or(|ended| to - ended <= LATE);
        if let Some(open) = self.open.as_mut().filter(begun) {
            open.take(what, &mut self.events);
            self.part(None, to);
        } else if let Some(left) = self.left.iter_mut().rfind(begun).filter(in_time) {
            if left.ended().is_some_and(|ended| from > ended) {
                left.take_late(what, &mut self.events);
            } else {
                left.take(what, &mut self.events);
            }
        } else if let Some(open) = self.open.as_mut().filter(|open| open.started() - to <= AHEAD) {
            open.take(what, &mut self.events);
        } else if self.is_blind(middle) {
            let mut draft = Draft::new(&self.run.id, from, line_t, true);
            draft.take(what, &mut self.events);
            self.open = Some(draft);
        } else {
            self.ahead.push_back(Ahead { t: to, what, spot: self.watch.last().map(|fix| fix.spot) });
        }
    }

    /// Whether a trap is being worked, or near: then a voice is worth keeping. From slowing down on, at a stop until
    /// nobody has spoken for a quarter of an hour, and under way until five minutes after leaving; without fixes always.
    pub fn listens(&self, now: Mono) -> bool {
        if let Some(open) = &self.open {
            return now - open.last_activity() < BERTH;
        }
        let steaming = self.left_at.is_none_or(|left| now - left > STEAMING);
        self.is_blind(now) || self.watch.slowing() || !steaming
    }

    /// How long no fix has been seen, microseconds; `None` before the first.
    pub fn unseen_us(&self, now: Mono) -> Option<i64> {
        self.watch.last().map(|fix| now - fix.t)
    }

    /// When she came alongside, if she lies at a stop.
    pub fn alongside(&self) -> Option<Mono> {
        self.open.as_ref().map(Draft::started)
    }
}
