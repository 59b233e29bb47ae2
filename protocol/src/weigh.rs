//! Readings of the scale into weighings: a weighing is a step up from one level to another.
//!
//! On a boat the scale never says "stable", so its own judgement is not used. `follow.rs` finds the steps, `shelf.rs`
//! weighs the levels between them together, and this puts both to the trade's use: claws laid on an empty pan one by
//! one, claws dropped into a tub that is never emptied, a whole lot, one taken off again. Steps down, bumps shorter than
//! 0.8 s and steps up from below zero (a tared tub put back) are no weighings.

mod fit;
mod follow;
mod matrix;
mod reads;
mod sample;
mod sea;
mod shelf;

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};

use crate::scale::{Reading, State};
use crate::sizes::CLAW_MOST_G;
use crate::time::{Mono, SECOND};
use follow::{Follower, Noise, Step};
use reads::Reads;
use sea::Sea;
use shelf::{Base, Load, Weighed, Weight};

/// Silence longer than this while loaded is a gap, microseconds.
const GAP: i64 = 3 * SECOND;
/// A load shorter than this is a bump, microseconds.
const SHORTEST: i64 = SECOND * 8 / 10;
/// An empty scale counts as emptied after this, microseconds.
const ZERO: i64 = SECOND / 4;
/// A load that stays longer is weighed while it stays, microseconds: nobody waits for the end of the day.
const SETTLED: i64 = 45 * SECOND;
/// Readings closer together than this tell nothing more, microseconds: more than 20 a second are left out.
const CLOSE: i64 = SECOND / 25;
/// Less than this is no load, grams.
const LEAST_G: f64 = 10.0;
/// ... nor is less than this many steps of the scale.
const LEAST_STEPS: f64 = 1.5;
/// A step from a load is one when it makes the readings likelier by this logarithm: of a step being so rare, and of a
/// level that could have been any over two kilograms.
const STEP_LN: f64 = 10.0;
/// A load shows the deck after this long, microseconds.
const SHOWS_AFTER: i64 = 4 * SECOND;
/// A sea is learned from this many seconds under load.
const LEARNS_S: f64 = 4.0;
/// The longer a sea was seen, the better its swings are known: they forget their phase in this share of that time.
const KNOWN: f64 = 0.4;
/// ... within these bounds, one over seconds.
const FORGETS: (f64, f64) = (0.01, 0.1);

/// What the weigher found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Event {
    /// A load was weighed.
    Weighed {
        /// When it was put on: what it is known by.
        at: Mono,
        /// Grams, as a mass under the scale's own adjustment.
        g: f64,
        /// One standard deviation, grams.
        sd_g: f64,
    },
    /// What followed shows the deck better: a load told already weighs this.
    Mended {
        /// When it was put on.
        at: Mono,
        /// Grams.
        g: f64,
        /// One standard deviation, grams.
        sd_g: f64,
    },
    /// A load told already was taken off again and left the rest behind: it is not part of the catch.
    TakenOff {
        /// When it was put on.
        at: Mono,
    },
    /// The scale fell silent while loaded.
    Gap {
        /// Its last reading.
        at: Mono,
    },
    /// The scale was loaded beyond its range.
    Overload {
        /// The first reading that said so.
        at: Mono,
    },
}

/// Finds weighings in the readings of one scale. Memory is bounded however long the day.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Weigher {
    /// Time of the last reading.
    last: Option<Mono>,
    /// Its weight, grams.
    last_g: Option<f64>,
    /// Net or gross as last said.
    net: Option<bool>,
    /// Overloaded since the last weight.
    over: bool,
    /// What follows the level, once there is one.
    follower: Option<Follower>,
    /// The loads of late, the one that lies on the scale now last (or none does, after a silence).
    loads: VecDeque<Load>,
    /// What the next load rises from when no level is followed.
    base: Base,
    /// A tub tared away, grams.
    unseen_g: f64,
    /// Loads that seem to have been taken off again.
    off: Vec<Mono>,
    /// How the scale reads.
    reads: Reads,
    /// How long the load on the scale must have lain to show the deck, microseconds.
    shows: i64,
    /// The sea as last learned.
    sea: Sea,
}

impl Default for Weigher {
    fn default() -> Self {
        Weigher {
            last: None,
            last_g: None,
            net: None,
            over: false,
            follower: None,
            loads: VecDeque::new(),
            base: Base::Unknown,
            unseen_g: 0.0,
            off: Vec::new(),
            reads: Reads::default(),
            shows: SHOWS_AFTER,
            sea: Sea::UNKNOWN,
        }
    }
}

impl Weigher {
    /// Takes one reading. One that is not later than the last is ignored, so a line twice does no harm.
    pub fn take(&mut self, t: Mono, reading: &Reading) -> Vec<Event> {
        if self.last.is_some_and(|last| t <= last) {
            return Vec::new();
        }
        let mut events = self.advance(t);
        if reading.state == State::Over {
            if !self.over {
                self.lose(&mut events);
                events.push(Event::Overload { at: t });
            }
            self.over = true;
            self.last = Some(t);
            self.last_g = None;
            return events;
        }
        let Some(g) = reading.g.filter(|g| g.is_finite()) else {
            self.last = Some(t);
            return events;
        };
        let close = self.last.is_some_and(|last| t - last < CLOSE) && self.last_g.is_some();
        if close && (reading.net.is_none() || reading.net == self.net) {
            return events;
        }
        self.last = Some(t);
        self.over = false;
        if reading.net.is_some() && self.net.is_some() && reading.net != self.net {
            self.tare(reading.net == Some(true), &mut events);
        }
        self.net = reading.net.or(self.net);
        if let Some(last_g) = self.last_g {
            self.reads.show_change(g - last_g);
        }
        self.last_g = Some(g);
        self.hear(t, g, &mut events);
        events
    }

    /// Tells the time without a reading: silence while loaded is a gap, and the load is weighed from what there is.
    pub fn advance(&mut self, now: Mono) -> Vec<Event> {
        let mut events = Vec::new();
        if let Some(at) = self.last.filter(|_| self.deadline().is_some_and(|due| now >= due)) {
            self.lose(&mut events);
            self.last_g = None;
            events.push(Event::Gap { at });
        }
        events
    }

    /// When [`Weigher::advance`] will find a gap, were no reading to come.
    pub fn deadline(&self) -> Option<Mono> {
        let loaded = self.last_g.is_some_and(|g| (g - self.reads.zero_g).abs() > self.least_g());
        self.last.filter(|_| loaded).map(|last| last + GAP + 1)
    }

    /// The input ends: a load still on the scale is weighed from what there is.
    pub fn finish(&mut self) -> Vec<Event> {
        let mut events = Vec::new();
        self.lose(&mut events);
        events
    }

    /// The tub is being changed: what lies on the scale and has not been told yet is no catch.
    pub fn change_tub(&mut self) {
        if let Some(load) = self.loads.back_mut() {
            load.done = true;
        }
        self.lose(&mut Vec::new());
    }

    fn hear(&mut self, t: Mono, g: f64, events: &mut Vec<Event>) {
        if self.follower.is_none() {
            self.loads.push_back(Load::new(t, self.base, self.reads.zero_g, self.unseen_g));
        }
        if let Some(load) = self.loads.back_mut() {
            load.push(t, g);
        }
        let noise =
            Noise { g: self.reads.noise_g(), settles_s: self.reads.settles_s, unseen_g: self.unseen_g };
        let follower = self.follower.get_or_insert_with(|| Follower::new(self.sea));
        let step = follower.take(t, g, noise);
        let (level_g, held) = (follower.level_g().unwrap_or(g), follower.held(t));
        if let Some(step) = step {
            self.step(step, events);
        } else if held > SECOND
            && [g, level_g].into_iter().all(|g| (g - self.reads.zero_g).abs() < self.least_g())
        {
            self.reads.show_empty(g, level_g);
        }
        // A tub that lies there for a while shows the deck: after four seconds, eight, sixteen.
        let lain = self.loads.back().map_or(0, |load| t - load.since);
        if lain > self.shows && level_g > CLAW_MOST_G {
            self.shows = 2 * lain;
            if let Some(weighed) = self.weigh(&self.loads) {
                self.learn(&weighed);
            }
        }
        if self.loads.back().is_some_and(|load| t - load.since > SETTLED && !load.done) {
            self.tell(true, events);
            self.take_off(events);
            if let Some(load) = self.loads.back_mut() {
                load.done = true;
            }
        }
    }

    /// The scale has come to another level.
    fn step(&mut self, step: Step, events: &mut Vec<Event>) {
        let Some(mut closed) = self.loads.pop_back() else { return };
        let mut next = closed.split(step.at, self.unseen_g);
        self.shows = SHOWS_AFTER;
        closed.level_g = step.from_g;
        let least_g = self.least_g();
        let like = |a: f64, b: f64| (a - b).abs() < least_g;
        closed.empty = like(step.from_g, self.reads.zero_g);
        next.empty = like(step.to_g, self.reads.zero_g);
        // One reading may have been taken in the midst of a step.
        let few = closed.samples.len() < 2 && !closed.empty;
        let bump = few || step.at - closed.since < if closed.empty { ZERO } else { SHORTEST };
        let base = closed.base;
        match self.loads.back_mut().filter(|before| before.is(base)) {
            // A hand, a sea over the side: the level goes on as it was.
            Some(before) if bump && like(before.level_g, step.to_g) => before.take(next),
            // A step that was none.
            Some(before) if !bump && like(before.level_g, closed.level_g) => {
                before.level_g = closed.level_g;
                before.take(closed);
                next.rise_from(before);
                let empty = before.empty;
                self.loads.push_back(next);
                if !empty {
                    self.tell(false, events);
                }
            }
            _ if bump => {
                (next.base, next.base_g) = (base, closed.base_g);
                self.loads.push_back(next);
            }
            _ => {
                next.rise_from(&closed);
                let empty = closed.empty;
                self.loads.extend([closed, next]);
                if empty {
                    self.off.clear();
                } else {
                    self.tell(false, events);
                }
            }
        }
    }

    /// Weighs what lies on the shelf and tells what is new, of the load on the scale now only `with_last`.
    fn tell(&mut self, with_last: bool, events: &mut Vec<Event>) {
        let Some(now) = self.loads.back().map(Load::until) else { return };
        shelf::tidy(&mut self.loads, now);
        let Some(mut weighed) = self.weigh(&self.loads) else { return };
        if let Some((joined, again)) = self.joined()
            && again.ln > weighed.ln - STEP_LN
        {
            self.loads = joined;
            weighed = again;
        }
        let least_g = self.least_g();
        let count = self.loads.len() - usize::from(!with_last);
        let (mut lowered, mut more) = (None, false);
        for (load, weight) in self.loads.iter_mut().zip(&weighed.weights).take(count) {
            let Some(weight) = weight.filter(|_| !load.done) else { continue };
            let Weight { g, sd_g } = weight;
            if load.told.is_some() {
                if g > 0.0 && load.told.replace(weight) != Some(weight) {
                    events.push(Event::Mended { at: load.since, g, sd_g });
                }
            } else if load.base_g > -least_g && g > least_g {
                more = true;
                load.told = Some(weight);
                events.push(Event::Weighed { at: load.since, g, sd_g });
            } else {
                load.done = true;
                lowered = Some(weight).filter(|_| g < -least_g && !load.empty).or(lowered);
            }
        }
        if more {
            // What was taken off before did not begin the emptying.
            self.take_off(events);
        }
        self.off.extend(lowered.and_then(|by| self.put_on(by)));
        self.learn(&weighed);
    }

    /// The shelf, had the load left last been one with the one it rose from, and how that weighs. Of a load on an empty
    /// scale there is no such question.
    fn joined(&self) -> Option<(VecDeque<Load>, Weighed)> {
        let at = self.loads.len().checked_sub(2)?;
        let (load, before) = (self.loads.get(at)?, self.loads.get(at.checked_sub(1)?)?);
        if load.told.is_some() || load.done || load.empty || before.empty || !before.is(load.base) {
            return None;
        }
        let mut joined = self.loads.clone();
        let load = joined.remove(at)?;
        let before = joined.get_mut(at - 1)?;
        before.level_g = load.level_g;
        before.take(load);
        let before = before.clone();
        joined.get_mut(at)?.rise_from(&before);
        let weighed = self.weigh(&joined)?;
        Some((joined, weighed))
    }

    fn weigh(&self, loads: &VecDeque<Load>) -> Option<Weighed> {
        let before = self.follower.as_ref().and_then(Follower::doubts_from).unwrap_or(Mono(i64::MAX));
        shelf::weigh(loads, before, &self.reads)
    }

    /// What was taken off stays off.
    fn take_off(&mut self, events: &mut Vec<Event>) {
        for at in self.off.drain(..) {
            self.loads.iter_mut().filter(|load| load.since == at).for_each(|load| {
                (load.told, load.done) = (None, true);
            });
            events.push(Event::TakenOff { at });
        }
    }

    /// When a load was put on that weighs as much as has just been taken off.
    fn put_on(&self, by: Weight) -> Option<Mono> {
        let fits = |told: Weight| (told.g + by.g).abs() <= 3.0 * told.sd_g.hypot(by.sd_g);
        let of = |load: &&Load| load.told.is_some_and(fits) && !self.off.contains(&load.since);
        self.loads.iter().rev().find(of).map(|load| load.since)
    }

    fn learn(&mut self, weighed: &Weighed) {
        let loaded_s: f64 = self.loads.iter().filter(|load| !load.empty).map(Load::seconds).sum();
        if loaded_s < LEARNS_S {
            return;
        }
        let sea = weighed.sea;
        let [a, b] = sea.share;
        self.reads.show_deck(a.hypot(b), weighed.settles_s);
        // A slack between two seas is no calm.
        let more = (0.7 * self.reads.motion / a.hypot(b)).max(1.0);
        let decay = (KNOWN / loaded_s).clamp(FORGETS.0, FORGETS.1);
        self.sea = Sea { decay, share: [a * more, b * more], ..sea };
        if let Some(follower) = &mut self.follower {
            follower.learn(self.sea);
        }
    }

    /// A button of the scale: the same load reads another weight from here on. What is tared away is a tub, no catch.
    fn tare(&mut self, net: bool, events: &mut Vec<Event>) {
        let level_g = self.follower.as_ref().and_then(Follower::level_g);
        if net {
            self.change_tub();
            self.unseen_g = level_g.unwrap_or(0.0).max(0.0);
        } else {
            self.lose(events);
            self.unseen_g = 0.0;
        }
    }

    /// What the scale rests at is no longer known, after an overload, a tare or a silence.
    fn lose(&mut self, events: &mut Vec<Event>) {
        while let Some(step) = self.follower.as_mut().and_then(Follower::settle) {
            self.step(step, events);
        }
        let Some(level_g) = self.follower.take().and_then(|follower| follower.level_g()) else { return };
        let empty = (level_g - self.reads.zero_g).abs() < self.least_g();
        if let Some(load) = self.loads.back_mut() {
            (load.level_g, load.empty) = (level_g, empty);
        }
        if !empty {
            self.tell(true, events);
        }
        if let Some(load) = self.loads.back_mut() {
            load.done = true;
        }
        self.base = if empty { Base::Empty } else { Base::Unknown };
    }

    fn least_g(&self) -> f64 {
        LEAST_G.max(LEAST_STEPS * self.reads.step_g())
    }
}

#[cfg(test)]
mod tests;
