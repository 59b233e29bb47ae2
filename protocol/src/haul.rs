//! The first fold: one segment's inputs in, what was found at each stop out.
//!
//! A [`Haul`] is a state machine: inputs and the time go in ([`Haul::take`], [`Haul::advance`]), events come out
//! ([`Haul::poll`]) and [`Haul::deadline`] says when to call again. It is causal with a fixed lag: a finding is complete
//! a minute after the boat left, or when the next stop begins, and does not change with what comes later (save that a
//! finding made before any date is known is dated when one is). Its whole state can be stored and taken up again.

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};

use crate::clock::GpsClock;
use crate::finding::{Finding, Flag, Moment, Note, Spot, TimeSource, Weighing};
use crate::input::{Input, Run, Stamped, Stated, Statement};
use crate::nmea::{self, Epoch, Epochs, Sentence};
use crate::scale;
use crate::stop::{BLIND, Fix, Lying, Watch};
use crate::time::{Mono, SECOND, Utc};
use crate::weigh::{self, Weigher};

mod draft;
mod talk;

use draft::{Draft, Thing};
use talk::Talk;

/// What is said within this time of leaving still belongs to the stop just left.
pub const LATE: i64 = 60 * SECOND;
/// Talk on the approach is kept this long for the stop it leads to.
const AHEAD: i64 = 60 * SECOND;
/// ... if it was said within this distance of it, metres.
const AHEAD_M: f64 = 100.0;
/// When it is seen only later that she has left, she is said to have left at most this long before: with the second that
/// a fix takes to be complete, all that a stop's finding depends on comes within [`LATE`] of its end.
const UNSEEN: i64 = LATE - 5 * SECOND;
/// Without fixes, a stop with nothing said or weighed for this long is over.
const BLIND_QUIET: i64 = 120 * SECOND;
/// Lines come at most this much out of order; within it a line given twice is known again.
pub const DISORDER: i64 = 5 * SECOND;
/// A date sentence counts only this soon after a position: before a fix a receiver's clock may be anything.
const DATE_FRESH: i64 = 5 * SECOND;
/// One standard deviation on each axis of a fix, metres per HDOP, when the receiver does not say. A user range error
/// of 2.5 m is common practice, no source.
const SD_M_PER_HDOP: f64 = 2.5;
/// HDOP taken when the receiver states none.
const HDOP_UNSTATED: f64 = 1.5;

/// What the fold has to say, in order.
#[derive(Debug, Clone, PartialEq)]
pub enum Event {
    /// A position epoch was taken.
    Fix(Epoch, Option<Utc>),
    /// A finding is complete, or was dated: it replaces any earlier one of the same id.
    Found(Finding),
    /// A stop became a record, with this id.
    Opened(String),
    /// The boat left a stop that is a record.
    Left(String),
    /// A person's statement passed through.
    Stated(Statement),
}

/// Why an input was not taken. Nothing else changes.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NotTaken {
    /// It lies too far before what was taken already.
    #[error("its time runs backwards by more than 5 s: put the tape's lines in order of t")]
    Backwards,
    /// The very same line was taken a moment ago.
    #[error("the same line was just taken: nothing to do")]
    Again,
    /// What a microphone heard: the notes found in it are taken, not this.
    #[error("a microphone's sound is listened to, not taken: give the notes found in it")]
    Audio,
    /// The scale's line is no frame this program knows.
    #[error("{0}")]
    Scale(#[from] scale::Fault),
}

/// The fold's state for one segment.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Haul {
    run: Run,
    now: Option<Mono>,
    clock: GpsClock,
    epochs: Epochs,
    watch: Watch,
    weigher: Weigher,
    last_position: Option<Mono>,
    open: Option<Draft>,
    /// Stops left within the last minute, the latest last.
    left: VecDeque<Draft>,
    /// When she last left a stop.
    left_at: Option<Mono>,
    /// Notes that have begun and not ended.
    talk: Vec<Talk>,
    /// Stamps of the notes of the last ten minutes, the earliest taken first.
    noted: VecDeque<Mono>,
    ahead: VecDeque<Ahead>,
    undated: Vec<Thing>,
    recent: VecDeque<(Mono, u32)>,
    /// When the last input was taken. A segment ends with its last line, however long the time was told after it.
    heard: Mono,
    #[serde(skip)]
    events: VecDeque<Event>,
}

/// Something said or weighed under way, waiting for the stop it leads to.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Ahead {
    t: Mono,
    what: Happening,
    spot: Option<Spot>,
}

/// Something that makes a stop a record.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) enum Happening {
    Said(Note),
    Weighed(Weighing),
    Pressed(Mono),
}

impl Haul {
    /// A fold for the segment that begins with this run line at `t`.
    pub fn new(run: Run, t: Mono) -> Haul {
        let system = run.system.as_deref().and_then(Utc::parse).map(|utc| (t, utc));
        Haul {
            run,
            now: None,
            clock: GpsClock::new(system),
            epochs: Epochs::default(),
            watch: Watch::default(),
            weigher: Weigher::default(),
            last_position: None,
            open: None,
            left: VecDeque::new(),
            left_at: None,
            talk: Vec::new(),
            noted: VecDeque::new(),
            ahead: VecDeque::new(),
            undated: Vec::new(),
            recent: VecDeque::new(),
            heard: t,
            events: VecDeque::new(),
        }
    }

    /// The run line this segment began with.
    pub fn run(&self) -> &Run {
        &self.run
    }

    /// When the last input was taken; before the first, when the segment began.
    pub fn heard(&self) -> Mono {
        self.heard
    }

    /// The UTC of a stamp, as well as it is known now.
    pub fn utc_at(&self, t: Mono) -> Option<Utc> {
        self.clock.utc_at(t)
    }

    /// The next event, if there is one.
    pub fn poll(&mut self) -> Option<Event> {
        self.events.pop_front()
    }

    /// Takes one input. A stamp a little before the last is taken as of the last.
    ///
    /// # Errors
    /// [`NotTaken`] says why an input changed nothing; the fold goes on.
    pub fn take(&mut self, input: &Stamped) -> Result<(), NotTaken> {
        let now = self.now.unwrap_or(input.t);
        let disorder = match &input.input {
            Input::Note(_) | Input::Gone => talk::LATEST,
            Input::Audio(_) => return Err(NotTaken::Audio),
            _ => DISORDER,
        };
        if now - input.t > disorder {
            return Err(NotTaken::Backwards);
        }
        let t = now.max(input.t);
        // What is refused is not journaled, so it must not even move the time on: a rebuild would not know of it.
        let reading = match &input.input {
            Input::Scale(text) => Some(scale::read(text)?),
            _ => None,
        };
        self.advance(t);
        match &input.input {
            Input::Run(_) => Ok(()),
            Input::Gps(text) => self.hear_gps(t, input.t, text),
            Input::Scale(text) => {
                self.once(input.t, text)?;
                let events = reading.map(|reading| self.weigher.take(t, &reading));
                self.take_weights(t, events.unwrap_or_default());
                Ok(())
            }
            Input::Said(text) => {
                self.once(input.t, text)?;
                let id = crate::input::id(&self.run.id, "note", input.t);
                let at = Moment { t, utc: None };
                let note = Note { id, at, text: Some(text.clone()), sound: None, late: false };
                self.happen(t, input.t, Happening::Said(note));
                self.part(None, t);
                Ok(())
            }
            Input::Note(voice) => {
                self.note_once(input.t)?;
                self.hear_note(input.t, voice);
                Ok(())
            }
            Input::Gone => {
                self.note_once(input.t)?;
                self.hear_gone(t, input.t);
                Ok(())
            }
            // Refused above.
            Input::Audio(_) => Err(NotTaken::Audio),
            Input::Button(down) => {
                self.once(input.t, if *down { "button down" } else { "button up" })?;
                if *down {
                    self.happen(t, input.t, Happening::Pressed(t));
                    self.part(None, t);
                }
                Ok(())
            }
            Input::Statement(statement) => {
                if let Stated::Forget(forgotten) = &statement.said {
                    self.forget(&forgotten.of);
                }
                self.events.push_back(Event::Stated(statement.clone()));
                Ok(())
            }
        }?;
        self.heard = t;
        Ok(())
    }

    /// Moves time on to `now` and does what falls due, in order. Moving in one step or in many is the same.
    pub fn advance(&mut self, now: Mono) {
        while let Some(due) = self.deadline().filter(|due| *due <= now) {
            self.fire(due);
        }
        self.now = Some(self.now.map_or(now, |t| t.max(now)));
    }

    /// When [`Haul::advance`] must be called at the latest, were nothing to come in.
    pub fn deadline(&self) -> Option<Mono> {
        let sensors = [self.epochs.deadline(), self.weigher.deadline()];
        let blind = self.open.as_ref().map(|open| self.blind_end(open));
        let late = self.left.iter().filter_map(Draft::ended).min().map(|t| t + LATE);
        let ahead = self.ahead.front().map(|a| a.t + AHEAD);
        let talk = self.next_talk().map(|talk| talk.to);
        sensors.into_iter().chain([blind, late, ahead, talk]).flatten().min()
    }

    /// Whether nothing is pending: from here the segment can be taken up again with this state alone.
    pub fn at_rest(&self) -> bool {
        let quiet = self.talk.is_empty() && self.ahead.is_empty() && self.undated.is_empty();
        quiet && self.open.is_none() && self.left.is_empty()
    }

    /// The segment's input is at its end: what is open is closed at the last line, flagged `cut`.
    pub fn finish(&mut self) {
        if let Some(epoch) = self.epochs.finish() {
            self.take_epoch(epoch);
        }
        if let (None, Some(left)) = (&self.open, self.left.back()) {
            // She has left, and nothing more comes in: the minute after is as good as over.
            self.advance(left.ended().unwrap_or(self.heard) + LATE);
        }
        self.end_talk(Mono(i64::MAX));
        self.close();
    }

    /// Brings to its end whatever is pending.
    fn close(&mut self) {
        let events = self.weigher.finish();
        self.take_weights(self.heard, events);
        if let Some(mut open) = self.open.take() {
            let lying = self.watch.lying();
            open.settle(lying.as_ref());
            open.end(self.heard);
            open.flag(Flag::Cut, self.heard);
            self.leave(open);
        }
        while let Some(left) = self.left.pop_front() {
            self.conclude(left);
        }
        while let Some(ahead) = self.ahead.pop_front() {
            self.lose(ahead);
        }
        for thing in std::mem::take(&mut self.undated) {
            self.emit(&thing);
        }
    }

    /// What stands unfinished, as findings: of a live segment the open stop is open, of an ended one it is cut.
    pub fn provisional(&self, live: bool) -> Vec<Finding> {
        let mut ahead = self.clone();
        ahead.end_talk(Mono(i64::MAX));
        ahead.events.clear();
        let still_open = if live { ahead.open.take() } else { None };
        if live {
            // What lies on the scale is weighed when it is taken off, not each time somebody looks.
            ahead.weigher = Weigher::default();
            ahead.close()
        } else {
            ahead.finish()
        }
        let mut found: Vec<Finding> = std::iter::from_fn(|| ahead.poll())
            .filter_map(|event| if let Event::Found(finding) = event { Some(finding) } else { None })
            .collect();
        if let Some(mut open) = still_open.filter(Draft::is_record) {
            open.settle(self.watch.lying().as_ref());
            found.push(ahead.date(&Thing::Stop(Box::new(open))));
        }
        found
    }

    fn hear_gps(&mut self, t: Mono, line_t: Mono, text: &str) -> Result<(), NotTaken> {
        let sentence = nmea::read(text);
        match &sentence {
            Sentence::Depth(_) | Sentence::WaterTemp { .. } => self.once(line_t, text)?,
            _ => {}
        }
        if let Some(epoch) = self.epochs.take(t, &sentence) {
            self.take_epoch(epoch);
        }
        match &sentence {
            Sentence::Rmc(rmc) => self.hear_date(t, rmc.utc()),
            Sentence::Zda(zda) if self.last_position.is_some_and(|p| t - p <= DATE_FRESH) => {
                self.hear_date(t, zda.utc());
            }
            Sentence::Depth(depth) => self.sense(Draft::take_depth, t, depth.m),
            Sentence::WaterTemp { c } => self.sense(Draft::take_water, t, *c),
            _ => {}
        }
        Ok(())
    }

    fn sense(&mut self, take: fn(&mut Draft, Mono, f64), t: Mono, value: f64) {
        if let Some(open) = &mut self.open {
            take(open, t, value);
        }
    }

    fn hear_date(&mut self, t: Mono, utc: Option<Utc>) {
        let Some(utc) = utc else { return };
        self.clock.hear(t, utc);
        for thing in std::mem::take(&mut self.undated) {
            self.emit(&thing);
        }
    }

    fn take_epoch(&mut self, epoch: Epoch) {
        self.last_position = Some(epoch.t);
        let utc = self.clock.resolve(epoch.t, epoch.tod_us);
        // The fix was true at its own time of day; its line may have waited in a buffer for a while.
        let true_t = utc.and_then(|utc| self.clock.mono_of(utc)).map_or(epoch.t, |t| t.min(epoch.t));
        let late_s = (epoch.t - true_t) / SECOND;
        let fix = Fix {
            t: if late_s < 30 { true_t } else { epoch.t },
            line_t: epoch.t,
            spot: Spot { lat: epoch.lat, lon: epoch.lon, sd_m: sd_m(&epoch) },
            speed_m_s: epoch.speed_m_s,
            course_deg: epoch.course_deg,
        };
        self.events.push_back(Event::Fix(epoch, utc));
        let step = self.watch.take(fix);
        if let Some((at, mut lying)) = step.ended {
            self.part(Some(&mut lying), fix.line_t);
            if let Some(mut open) = self.open.take() {
                open.settle(Some(&lying));
                open.end(at.max(fix.line_t - UNSEEN));
                self.leave(open);
            }
        }
        if step.opened {
            self.open_stop(fix);
        }
        if self.watch.under_way() {
            // A stop that began without fixes is over when the first fixes show her under way.
            self.end_unseen(None, fix.line_t - UNSEEN);
        } else if let Some(open) = &mut self.open {
            open.take_fix(&fix);
            self.part(None, fix.line_t);
        }
    }

    /// Makes two stops of the open one, or of one just ended, if she lay at two places far apart, or not so far and
    /// something was said, weighed or pressed at both. That is known only by now: so the first is said to have ended a little under a minute ago at
    /// most, as what is found at a stop is complete a minute after its end.
    fn part(&mut self, ended: Option<&mut Lying>, now: Mono) {
        let Some(lying) = ended.or(self.watch.lying_so_far()) else { return };
        let (Some(parted), Some(first)) = (lying.parted(), &mut self.open) else { return };
        let Some(second) = first.part(&self.run.id, &parted) else { return };
        let (Some(lay), Some(mut first)) = (lying.part(), self.open.replace(second)) else { return };
        first.settle(Some(&lay));
        first.end(lay.left().unwrap_or(parted.came).max(now - UNSEEN));
        self.leave(first);
        let second = self.open.as_ref().filter(|open| open.is_record());
        self.events.extend(second.map(|open| Event::Opened(open.id().to_owned())));
    }

    fn open_stop(&mut self, fix: Fix) {
        // A stop that began without fixes goes on as this one.
        let mut draft = match self.open.take() {
            Some(open) => open,
            None => Draft::new(&self.run.id, fix.t, fix.line_t, false),
        };
        while let Some(ahead) = self.ahead.pop_front() {
            let near = ahead.spot.is_none_or(|spot| draft::metres(&spot, &fix.spot) <= AHEAD_M);
            if near {
                draft.take(ahead.what, &mut self.events);
            } else {
                self.lose(ahead);
            }
        }
        self.open = Some(draft);
    }

    fn happen(&mut self, t: Mono, line_t: Mono, what: Happening) {
        if let Some(open) = &mut self.open {
            open.take(what, &mut self.events);
        } else if let Some(left) = self.left.back_mut() {
            left.take_late(what, &mut self.events);
        } else if self.is_blind(t) {
            let mut draft = Draft::new(&self.run.id, t, line_t, true);
            draft.take(what, &mut self.events);
            self.open = Some(draft);
        } else {
            self.ahead.push_back(Ahead { t, what, spot: self.watch.last().map(|fix| fix.spot) });
        }
    }

    fn take_weights(&mut self, now: Mono, events: Vec<weigh::Event>) {
        for event in events {
            let flag = match event {
                weigh::Event::Weighed { at, g, sd_g } => {
                    let weighing = Weighing { at: Moment { t: at, utc: None }, g, sd_g };
                    self.happen(at, at, Happening::Weighed(weighing));
                    self.part(None, now);
                    continue;
                }
                weigh::Event::Mended { at, g, sd_g } => {
                    self.reweigh(at, Some((g, sd_g)));
                    continue;
                }
                weigh::Event::TakenOff { at } => {
                    self.reweigh(at, None);
                    continue;
                }
                weigh::Event::Gap { at, .. } => (Flag::ScaleGap, at),
                weigh::Event::Overload { at, .. } => (Flag::Overload, at),
            };
            if let Some(draft) = self.open.as_mut().or(self.left.back_mut()) {
                draft.flag(flag.0, flag.1);
            }
        }
    }

    /// A load weighs something else than was told, or is gone; of a stop that is concluded nothing changes.
    fn reweigh(&mut self, at: Mono, weight: Option<(f64, f64)>) {
        for draft in self.left.iter_mut().chain(&mut self.open) {
            draft.reweigh(at, weight);
        }
        let is = |ahead: &Ahead| matches!(&ahead.what, Happening::Weighed(w) if w.at.t == at);
        match weight {
            None => self.ahead.retain(|ahead| !is(ahead)),
            Some((g, sd_g)) => self.ahead.iter_mut().filter(|ahead| is(ahead)).for_each(|ahead| {
                if let Happening::Weighed(weighing) = &mut ahead.what {
                    (weighing.g, weighing.sd_g) = (g, sd_g);
                }
            }),
        }
    }

    fn is_blind(&self, t: Mono) -> bool {
        self.watch.last().is_none_or(|fix| t - fix.t > BLIND)
    }

    /// When an open stop without fixes is over, were nothing more to happen.
    fn blind_end(&self, open: &Draft) -> Mono {
        let seen = self.watch.last().map_or(open.started(), |fix| fix.t);
        seen.max(open.last_activity()) + BLIND_QUIET
    }

    fn fire(&mut self, due: Mono) {
        if let Some(epoch) = self.epochs.advance(due) {
            self.take_epoch(epoch);
        }
        let events = self.weigher.advance(due);
        self.take_weights(due, events);
        if self.open.as_ref().is_some_and(|open| self.blind_end(open) <= due) {
            let lying = self.watch.give_up();
            self.end_unseen(lying.as_ref(), due - LATE);
        }
        self.end_talk(due);
        while let Some(left) = self.left.pop_front_if(|left| left.ended().is_none_or(|t| t + LATE <= due)) {
            self.conclude(left);
        }
        while let Some(ahead) = self.ahead.pop_front_if(|a| a.t + AHEAD <= due) {
            self.lose(ahead);
        }
    }

    /// Ends the open stop without having seen her leave: at the last that is known of it there, or at `earliest`.
    fn end_unseen(&mut self, lying: Option<&Lying>, earliest: Mono) {
        if let Some(mut open) = self.open.take() {
            open.settle(lying);
            open.end(open.last_known().max(earliest));
            self.leave(open);
        }
    }

    fn leave(&mut self, draft: Draft) {
        if draft.is_record() {
            self.events.push_back(Event::Left(draft.id().to_owned()));
        }
        self.left_at = draft.ended();
        self.left.push_back(draft);
    }

    fn conclude(&mut self, draft: Draft) {
        if draft.is_record() {
            self.found(Thing::Stop(Box::new(draft)));
        }
    }

    fn lose(&mut self, ahead: Ahead) {
        if let Some(thing) = Thing::loose(&self.run.id, ahead.what, ahead.spot) {
            self.found(thing);
        }
    }

    fn found(&mut self, thing: Thing) {
        if self.clock.source() != TimeSource::None {
            self.emit(&thing);
        }
        if !self.clock.heard_gps() {
            // Dated, or dated better, when GPS gives a date.
            self.undated.push(thing);
        }
    }

    fn emit(&mut self, thing: &Thing) {
        let finding = self.date(thing);
        self.events.push_back(Event::Found(finding));
    }

    fn date(&self, thing: &Thing) -> Finding {
        thing.finding(self.clock.source(), self.clock.is_doubtful(), |t| self.clock.utc_at(t))
    }

    /// Refuses a line that was taken within the last [`DISORDER`].
    fn once(&mut self, t: Mono, text: &str) -> Result<(), NotTaken> {
        let line = (t, crc32fast::hash(text.as_bytes()));
        if self.recent.contains(&line) {
            return Err(NotTaken::Again);
        }
        while self.recent.front().is_some_and(|(old, _)| t - *old > DISORDER) {
            self.recent.pop_front();
        }
        self.recent.push_back(line);
        Ok(())
    }
}

/// One standard deviation on each axis of a fix, metres: as the receiver says (GST), else from HDOP.
fn sd_m(epoch: &Epoch) -> f64 {
    match (epoch.lat_sd_m, epoch.lon_sd_m) {
        (Some(lat), Some(lon)) if lat > 0.0 && lon > 0.0 => ((lat * lat + lon * lon) / 2.0).sqrt(),
        _ => SD_M_PER_HDOP * epoch.hdop.filter(|h| *h > 0.0).unwrap_or(HDOP_UNSTATED),
    }
}
