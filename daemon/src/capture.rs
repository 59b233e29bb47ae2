//! The live loop: whatever comes in is stamped, journaled, folded, and told. It holds no rules of its own, waits for
//! no store and no client, and nothing that a device or the disk does ends it.

use std::collections::{BTreeSet, VecDeque};
use std::io::Write;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, SyncSender};
use std::time::{Duration, Instant};

use gunwale_protocol::input::{Input, Run, Stamped, Stated, Statement};
use gunwale_protocol::nmea;
use gunwale_protocol::time::{Mono, SECOND, Utc};

use crate::clock::Clock;
use crate::device::{self, button};
use crate::error::Result;
use crate::journal::{self, Writer};
use crate::segment::{Folded, News, Segment};
use crate::voice::cues::Cue;
use crate::voice::hearing::Told;

mod crew;

pub use crew::Crew;
use crew::Minding;

/// The journal is on the disk at most this long after an input came in.
const SYNC_WITHIN: Duration = Duration::from_millis(900);
/// After this long without a line, what time alone brings about is journaled as a line of its own.
const SILENCE: i64 = 5 * SECOND;
/// The loop looks round at least this often.
const TICK: Duration = Duration::from_millis(500);
/// Messages handled before the loop looks to the disk again.
const BURST: usize = 1_000;

/// Everything that can wake the loop.
#[derive(Debug)]
pub enum Msg {
    /// A line from a device, or its state.
    Device(device::Event),
    /// From the ear.
    Told(Told),
    /// From the note button.
    Button(button::Event),
    /// A typed note, and who waits to hear that it is safe.
    Said(String, Option<Answer>),
    /// What a person stated, the earliest moment it may be dated, and who waits.
    State(Vec<Stated>, Utc, Answer),
    /// The service ends.
    Stop,
}

impl From<device::Event> for Msg {
    fn from(event: device::Event) -> Msg {
        Msg::Device(event)
    }
}

impl From<Told> for Msg {
    fn from(told: Told) -> Msg {
        Msg::Told(told)
    }
}

impl From<button::Event> for Msg {
    fn from(event: button::Event) -> Msg {
        Msg::Button(event)
    }
}

/// Where to say that something is on the disk and in the records.
pub type Answer = SyncSender<Result<()>>;

/// What the keeper of the records gets to do.
#[derive(Debug)]
pub struct Update {
    /// What was folded since the last one.
    pub folded: Folded,
    /// Who waits for it.
    pub answers: Vec<Answer>,
}

/// The live loop's state.
pub struct Capture {
    clock: Arc<dyn Clock>,
    journal: Writer,
    segment: Segment,
    updates: Sender<Update>,
    out: Box<dyn Write + Send>,
    crew: Crew,
    minding: Minding,
    /// Every input is stamped at or after this: the fold has been moved here.
    reached: Mono,
    /// Records to be told once they are safe.
    untold: VecDeque<String>,
    /// Those that were, or will be.
    told: BTreeSet<String>,
    answers: Vec<Answer>,
    /// Something happened that the records should show.
    changed: bool,
    unsynced: Option<Instant>,
    disk_fails: bool,
    refused: u64,
}

impl Capture {
    /// A loop that writes a new segment; results are told on `out`.
    ///
    /// # Errors
    /// When the segment's journal cannot be made.
    pub fn begin(
        data: &std::path::Path,
        run: &Run,
        clock: Arc<dyn Clock>,
        updates: Sender<Update>,
        out: Box<dyn Write + Send>,
        crew: Crew,
    ) -> Result<Capture> {
        let t = clock.now();
        let journal = Writer::create(data, run, t)?;
        let segment = Segment::new(run, t, journal.offset());
        Ok(Capture {
            clock,
            journal,
            segment,
            updates,
            out,
            crew,
            minding: Minding::default(),
            reached: t,
            untold: VecDeque::new(),
            told: BTreeSet::new(),
            answers: Vec::new(),
            changed: false,
            unsynced: None,
            disk_fails: false,
            refused: 0,
        })
    }

    /// Takes messages until told to stop or until nobody can send any more.
    pub fn run(mut self, from: &Receiver<Msg>) {
        loop {
            let mut going = match from.recv_timeout(self.patience()) {
                Ok(msg) => self.take(msg),
                Err(RecvTimeoutError::Timeout) => true,
                Err(RecvTimeoutError::Disconnected) => false,
            };
            for msg in from.try_iter().take(BURST) {
                going &= self.take(msg);
            }
            self.reached = self.reached.max(self.clock.now());
            self.pass_time();
            self.mind();
            self.save(!going);
            if !going {
                tracing::info!(refused = self.refused, "capture ends");
                return;
            }
        }
    }

    /// Lets time pass. When nothing comes in any more, a rebuild could not know that something fell due: then a line
    /// that means nothing else (the button is up) says how far time had come.
    fn pass_time(&mut self) {
        let haul = self.segment.haul();
        let due = haul.deadline().is_some_and(|due| due <= self.reached);
        let silent = self.reached - haul.heard() > SILENCE;
        self.segment.advance(self.reached);
        self.hear_news();
        if due && silent {
            self.input(self.reached, Input::Button(false));
        }
    }

    /// How long the loop may sleep.
    fn patience(&self) -> Duration {
        let due = self.segment.haul().deadline().map(|due| self.clock.real(due - self.clock.now()));
        let sync = self.unsynced.map(|since| SYNC_WITHIN.saturating_sub(since.elapsed()));
        [due, sync].into_iter().flatten().fold(TICK, Duration::min)
    }

    /// Takes one message; false when it was the last.
    fn take(&mut self, msg: Msg) -> bool {
        match msg {
            Msg::Device(device::Event::Line { device, t, text, .. }) => self.line(device, t, &text),
            Msg::Device(device::Event::Device { name, state }) => tracing::info!(device = name, "{state}"),
            Msg::Told(told) => self.hear(told),
            Msg::Button(button::Event::Button { t, down }) => self.button(t, down),
            Msg::Button(button::Event::Mute { .. }) => self.mute(),
            Msg::Button(button::Event::State(state)) => tracing::info!(device = "button", "{state}"),
            Msg::Said(text, answer) => {
                self.mind_words(&text);
                self.told(vec![Input::Said(text)], answer);
            }
            Msg::State(stated, earliest, answer) => {
                for said in &stated {
                    if let Stated::Heard(heard) = said {
                        self.mind_heard(heard);
                    }
                }
                // By GPS when it is known: the computer's own clock may be anything.
                let now = self.segment.haul().utc_at(self.clock.now()).unwrap_or_else(|| self.clock.system());
                let at = now.max(earliest);
                let statement = |said| Input::Statement(Statement { at, said });
                self.told(stated.into_iter().map(statement).collect(), Some(answer));
            }
            Msg::Stop => return false,
        }
        true
    }

    /// Takes what a person says, all of it or nothing.
    fn told(&mut self, inputs: Vec<Input>, answer: Option<Answer>) {
        let t = self.clock.now();
        let inputs: Vec<Stamped> = inputs.into_iter().map(|input| Stamped { t, input }).collect();
        if let Err(why) = inputs.iter().try_for_each(journal::fits) {
            tracing::warn!("{why}");
            // Who asked may have gone.
            let _ = answer.map(|answer| answer.try_send(Err(why.into())));
            return;
        }
        inputs.into_iter().for_each(|stamped| self.input(stamped.t, stamped.input));
        self.changed = true;
        self.answers.extend(answer);
    }

    fn line(&mut self, device: &str, t: Mono, line: &[u8]) {
        if device == device::GPS {
            let mut any = false;
            for sentence in nmea::salvage(line) {
                any = true;
                self.input(t, Input::Gps(sentence.to_owned()));
            }
            if !any {
                self.refuse(device, line);
            }
        } else {
            match std::str::from_utf8(line) {
                Ok(text) => self.input(t, Input::Scale(text.to_owned())),
                Err(_) => self.refuse(device, line),
            }
        }
    }

    fn input(&mut self, t: Mono, input: Input) {
        self.reached = self.reached.max(t);
        let stamped = Stamped { t: self.reached, input };
        if let Err(why) = self.segment.take(&stamped) {
            self.refused += 1;
            tracing::debug!("refused: {why}");
            return;
        }
        self.write_down(&stamped);
        self.hear_news();
    }

    /// Journals what was just folded.
    fn write_down(&mut self, stamped: &Stamped) {
        self.note_trouble(|journal| journal.append(stamped, None));
        self.segment.journaled(self.journal.offset());
        self.unsynced.get_or_insert_with(Instant::now);
    }

    fn refuse(&mut self, device: &str, line: &[u8]) {
        self.refused += 1;
        tracing::debug!(device, line = %line.escape_ascii(), "refused");
    }

    fn hear_news(&mut self) {
        let news: Vec<News> = self.segment.news().collect();
        for news in news {
            match news {
                News::Fix(..) => {}
                News::Opened(pull) => {
                    tracing::info!(pull, "pull opened");
                    self.crew.cues.play(Cue::PullOpened);
                    self.changed = true;
                }
                News::Left(pull) => {
                    tracing::info!(pull, "pull left");
                    self.pull_left(&pull);
                    self.changed = true;
                }
                News::Recorded(pull) => {
                    // One that is dated later is complete once more, and told once.
                    if self.told.insert(pull.clone()) {
                        self.untold.push_back(pull);
                    }
                    self.changed = true;
                }
            }
        }
    }

    /// Brings the journal to the disk when it is due or somebody waits; then tells, and hands over to the records.
    fn save(&mut self, last: bool) {
        let due = self.unsynced.is_some_and(|since| since.elapsed() >= SYNC_WITHIN);
        if !(due || last || self.changed) {
            return;
        }
        if !self.note_trouble(Writer::sync) {
            return;
        }
        self.unsynced = None;
        self.tell_synced();
        for pull in self.untold.drain(..) {
            // Nobody may be listening; that is no reason to stop.
            let _ = writeln!(self.out, "recorded {pull}").and_then(|()| self.out.flush());
        }
        if self.changed || last {
            self.changed = false;
            let answers = std::mem::take(&mut self.answers);
            let _ = self.updates.send(Update { folded: self.segment.folded(true), answers });
        }
    }

    /// Does something to the journal; a disk that fails is told once, and that it works again.
    fn note_trouble(
        &mut self,
        act: impl FnOnce(&mut Writer) -> Result<(), crate::journal::JournalError>,
    ) -> bool {
        let result = act(&mut self.journal);
        match (&result, self.disk_fails) {
            (Err(trouble), false) => tracing::error!("{trouble}"),
            (Ok(()), true) => {
                tracing::warn!("the journal can be written again: what came in meanwhile is in it")
            }
            _ => {}
        }
        self.disk_fails = result.is_err();
        if self.disk_fails {
            self.unsynced = Some(Instant::now());
        }
        result.is_ok()
    }
}
