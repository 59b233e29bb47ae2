//! The live loop's side towards the crew: notes from the ear, the button, muting, and the tones that answer.

use std::collections::VecDeque;
use std::sync::PoisonError;
use std::sync::mpsc::SyncSender;

use gunwale_protocol::finding::Finding;
use gunwale_protocol::input::{self, Heard, Input, Stamped};
use gunwale_protocol::tally::{self, Grammar, Said};
use gunwale_protocol::time::{Mono, SECOND};

use super::Capture;
use crate::voice::cues::{Cue, Cues};
use crate::voice::ear::Around;
use crate::voice::hearing::{Say, Shared, Told};
use crate::voice::mic;

/// Without a fix for this long the crew is told, once.
const NO_FIX: i64 = 30 * SECOND;
/// Voice notes whose stop is remembered: what is heard in older ones comes too late to be heeded.
const SPOKEN: usize = 16;

/// The crew's ears and mouth.
pub struct Crew {
    /// Tones.
    pub cues: Cues,
    /// The ear's thread, if there is a microphone.
    pub ear: Option<SyncSender<Say>>,
    /// What the ear should know.
    pub around: Shared,
}

/// What the loop remembers of the crew.
#[derive(Debug, Default)]
pub(super) struct Minding {
    /// Muted until told otherwise.
    muted: bool,
    /// Off the record until she comes alongside the next trap; where she lay when it was said.
    off_the_record: Option<Option<Mono>>,
    /// The last voice notes, each with the stop it was said at.
    spoken: VecDeque<(String, Option<Mono>)>,
    mic_bad: bool,
    saw_fix: bool,
    no_fix_told: bool,
    /// Tones for what is told once it is on the disk.
    after_sync: Vec<Cue>,
}

impl Capture {
    /// Takes what the ear tells.
    pub(super) fn hear(&mut self, told: Told) {
        match told {
            Told::Opened => self.crew.cues.play(Cue::NoteOpened),
            Told::Kept(note, level) => {
                if level.clipped() {
                    tracing::warn!("a note was too loud for the microphone: turn its gain down");
                }
                self.keep_note(note);
            }
            Told::Failed(trouble) => tracing::error!("{trouble}"),
            Told::Gap(lost_us) => tracing::info!(lost_ms = lost_us / 1_000, "sound is missing"),
            Told::Full(true) => {
                tracing::error!(
                    "the disk is nearly full: no sound is written any more, all else goes on: make room"
                );
                self.crew.cues.play(Cue::DiskNearlyFull);
            }
            Told::Full(false) => tracing::info!("there is room again: sound is written"),
            Told::Mic(state) => {
                let bad = state != mic::State::Open;
                tracing::info!(device = "mic", "{state}");
                if bad && !self.minding.mic_bad {
                    self.crew.cues.play(Cue::NoMicrophone);
                }
                if !bad && self.minding.mic_bad {
                    self.crew.cues.play(Cue::Listening);
                }
                self.minding.mic_bad = bad;
            }
        }
    }

    /// Writes down a note whose file is safe. Its stamp is its beginning, so it is not moved up to now.
    fn keep_note(&mut self, note: Stamped) {
        if let Err(why) = self.segment.take(&note) {
            self.refused += 1;
            tracing::warn!("a note came too late to be taken: {why}");
            return;
        }
        self.write_down(&note);
        let id = input::id(&self.segment.haul().run().id, "sound", note.t);
        self.minding.spoken.push_back((id, self.segment.haul().alongside()));
        self.minding.spoken.drain(..self.minding.spoken.len().saturating_sub(SPOKEN));
        self.changed = true;
        self.minding.after_sync.push(Cue::NoteKept);
        self.hear_news();
    }

    /// The button went down or up.
    pub(super) fn button(&mut self, t: Mono, down: bool) {
        self.input(t, Input::Button(down));
        self.say(Say::Button(down));
    }

    /// The microphone is muted, or opened again.
    pub(super) fn mute(&mut self) {
        self.minding.muted = !self.minding.muted;
        self.minding.off_the_record = None;
        self.tell_muted(self.minding.muted);
    }

    /// Hears in a note's words that nothing is to be kept until the next trap, or that this is over.
    pub(super) fn mind_words(&mut self, words: &str) {
        if tally::on_the_record(words) {
            if self.minding.off_the_record.take().is_some() && !self.minding.muted {
                self.tell_muted(false);
            }
        } else if tally::off_the_record(words) && self.minding.off_the_record.is_none() {
            self.minding.off_the_record = Some(self.segment.haul().alongside());
            self.tell_muted(true);
        }
    }

    /// Hears it in what a recogniser made of a note, unless the boat has come to another trap since.
    pub(super) fn mind_heard(&mut self, heard: &Heard) {
        let now = self.segment.haul().alongside();
        let said = self.minding.spoken.iter().find(|(note, _)| *note == heard.note);
        if said.is_some_and(|(_, stop)| now.is_none() || now == *stop) {
            self.mind_words(&heard.text);
        }
    }

    fn tell_muted(&mut self, muted: bool) {
        tracing::info!(muted, "microphone");
        self.say(Say::Mute(muted));
        self.crew.cues.play(if muted { Cue::Muted } else { Cue::Listening });
    }

    fn say(&self, say: Say) {
        // An ear that is behind, or none: the journal has the button, and that makes the record.
        let _ = self.crew.ear.as_ref().map(|ear| ear.try_send(say));
    }

    /// Looks to what time brings about for the crew, and tells the ear where the boat is.
    pub(super) fn mind(&mut self) {
        let haul = self.segment.haul();
        let now = self.reached;
        let around = Around { attend: haul.listens(now), utc_us: haul.utc_at(now).map(|utc| utc.0 - now.0) };
        let (alongside, unseen_us) = (haul.alongside(), haul.unseen_us(now));
        *self.crew.around.lock().unwrap_or_else(PoisonError::into_inner) = around;
        if let Some(then) = self.minding.off_the_record
            && alongside.is_some()
            && alongside != then
        {
            self.minding.off_the_record = None;
            if !self.minding.muted {
                self.tell_muted(false);
            }
        }
        match unseen_us {
            Some(unseen_us) if unseen_us <= NO_FIX => {
                (self.minding.saw_fix, self.minding.no_fix_told) = (true, false);
            }
            _ if self.minding.saw_fix && !self.minding.no_fix_told => {
                self.minding.no_fix_told = true;
                tracing::warn!("no fix for half a minute: look at the GPS receiver");
                self.crew.cues.play(Cue::NoFix);
            }
            _ => {}
        }
    }

    /// The boat left a pull: whether all that was said of it is counted.
    pub(super) fn pull_left(&mut self, pull: &str) {
        let found = self.segment.haul().provisional(true);
        let stop = found.iter().find_map(|finding| match finding {
            Finding::Stop(stop) if stop.id == pull => Some(stop),
            _ => None,
        });
        let texts: Vec<Said<'_>> = stop
            .into_iter()
            .flat_map(|stop| &stop.notes)
            .filter_map(|note| note.text.as_deref())
            .map(Said::typed)
            .collect();
        let reading = Grammar::of(&self.segment.haul().run().words).read(&texts, &[]);
        let open = !reading.drafts.is_empty() || reading.contradictory;
        self.crew.cues.play(if open { Cue::PullLeftToConfirm } else { Cue::PullLeft });
    }

    /// All that came in is on the disk.
    pub(super) fn tell_synced(&mut self) {
        for cue in std::mem::take(&mut self.minding.after_sync) {
            self.crew.cues.play(cue);
        }
    }
}
