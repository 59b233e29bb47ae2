//! Readings of the scale into weighings: a weighing is a step up from one level at rest to another.
//!
//! On a boat the scale never says "stable", so its own judgement is not used. A load counts when the readings leave a
//! level, keep together at a higher one for a moment, and leave that again. Claws put on one by one and taken off are
//! steps from zero; claws dropped into a tub are steps from the level before. Steps down, bumps shorter than 0.8 s
//! and steps up from below zero (a tared tub put back) are no weighings.
//!
//! What a level is worth on a moving deck is the business of `level.rs`.

mod level;

use serde::{Deserialize, Serialize};

use crate::scale::{Reading, State};
use crate::time::{Mono, SECOND};
use level::{Level, Sample, level, median, push};

/// Silence longer than this while loaded is a gap, microseconds.
const GAP: i64 = 3 * SECOND;
/// A load shorter than this is a bump, microseconds.
const SHORTEST: i64 = SECOND * 8 / 10;
/// How long readings must keep together to be a level, microseconds.
const TOGETHER: i64 = SECOND * 6 / 10;
/// How long readings must be about zero to end a load, microseconds.
const ZERO: i64 = SECOND / 4;
/// A load that stays longer is weighed while it stays, microseconds: nobody waits for the end of the day.
const SETTLED: i64 = 45 * SECOND;
/// How much of a level's past is kept, microseconds.
const KEPT: i64 = 45 * SECOND;
/// How much of a level's past tells what it is now, for comparing, microseconds.
const NOW: i64 = 20 * SECOND;
/// Less than this is no load, grams.
const LEAST_G: f64 = 10.0;
/// Share of a load by which the deck may move its readings, before its own spread is known: two waves of 9 %.
const DECK: f64 = 0.2;
/// After this long a level's own spread is known, microseconds.
const KNOWN: i64 = 8 * SECOND;
/// Readings further from a level than this many of its spreads have left it; those of a sine stay within 1.5.
const LEFT: f64 = 3.0;
/// Spread of readings as a share of the load that is assumed until the deck has shown its own.
const MOTION: f64 = 0.03;
/// A zero shorter than this is less sure than the one before it, seconds.
const SURE_ZERO_S: f64 = 1.5;
/// A level shorter than this does not teach how the deck moves, seconds.
const TEACHES_S: f64 = 3.0;
/// The scale's step that is assumed until a smaller or larger one was seen, grams.
const RESOLUTION_G: f64 = 1.0;

/// What the weigher found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Event {
    /// A load was weighed.
    Weighed {
        /// When it came to rest.
        at: Mono,
        /// Grams, as a mass under the scale's own adjustment.
        g: f64,
        /// One standard deviation, grams.
        sd_g: f64,
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
    /// The level the scale rests at.
    rest: Option<Rest>,
    /// The last readings that have left it.
    leaving: Vec<Sample>,
    /// When they began to.
    left_at: Option<Mono>,
    /// What the next level rises from, when the scale was empty before its level got lost.
    base: Option<Level>,
    /// The scale's zero as last seen for long enough.
    zero: Option<Level>,
    /// The smallest step between two readings, grams.
    resolution_g: Option<f64>,
    /// Usual spread of readings as a share of the load.
    motion: f64,
}

/// A level at rest, still going on.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Rest {
    since: Mono,
    samples: Vec<Sample>,
    /// The level it rose from; `None` when that is not known.
    base: Option<Level>,
    /// Already weighed, or not to be.
    told: bool,
}

impl Default for Weigher {
    fn default() -> Self {
        Weigher {
            last: None,
            last_g: None,
            net: None,
            over: false,
            rest: None,
            leaving: Vec::new(),
            left_at: None,
            base: None,
            zero: None,
            resolution_g: None,
            motion: MOTION,
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
        self.last = Some(t);
        if reading.state == State::Over {
            if !self.over {
                self.lose(&mut events);
                events.push(Event::Overload { at: t });
            }
            self.over = true;
            self.last_g = None;
            return events;
        }
        let Some(g) = reading.g.filter(|g| g.is_finite()) else { return events };
        self.over = false;
        if reading.net.is_some() && self.net.is_some() && reading.net != self.net {
            // Tare: the same load reads another weight from here on. What is tared away is a tub, not a catch.
            if let Some(rest) = self.rest.as_mut().filter(|_| reading.net == Some(true)) {
                rest.told = true;
            }
            self.lose(&mut events);
        }
        self.net = reading.net.or(self.net);
        if let Some(step) =
            self.last_g.map(|last| (g - last).abs()).filter(|step| (1e-3..LEAST_G).contains(step))
        {
            self.resolution_g = Some(self.resolution_g.map_or(step, |least| least.min(step)));
        }
        self.last_g = Some(g);
        self.weigh(t, g, &mut events);
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
        let loaded = self.last_g.is_some_and(|g| (g - self.zero_g()).abs() > LEAST_G);
        self.last.filter(|_| loaded).map(|last| last + GAP + 1)
    }

    /// The input ends: a load still on the scale is weighed from what there is.
    pub fn finish(&mut self) -> Vec<Event> {
        let mut events = Vec::new();
        self.tell(&mut events);
        events
    }

    fn weigh(&mut self, t: Mono, g: f64, events: &mut Vec<Event>) {
        let level_g = match &mut self.rest {
            Some(rest) => {
                let (level_g, spread_g) = rest.now(t);
                if (g - level_g).abs() <= leaves_at_g(level_g, spread_g, t - rest.since) {
                    push(&mut rest.samples, t, g);
                    let settled = t - rest.since > SETTLED;
                    self.leaving.clear();
                    self.left_at = None;
                    if settled {
                        self.tell(events);
                        self.forget(t);
                    }
                    return;
                }
                Some(level_g)
            }
            None => None,
        };
        push(&mut self.leaving, t, g);
        let left_at = *self.left_at.get_or_insert(t);
        let together = together(&self.leaving);
        let from = together.first().map_or(t, |sample| sample.t);
        let empty = together.iter().all(|sample| (sample.g - self.zero_g()).abs() < LEAST_G);
        let unloads = empty && level_g.is_some_and(|level_g| level_g > LEAST_G);
        // With nothing known before it there is no load that could be too short.
        let long = t - left_at >= SHORTEST || level_g.is_none();
        if (long && t - from >= TOGETHER) || (unloads && t - from >= ZERO) {
            let samples = together.to_vec();
            self.step(from, samples, events);
        } else if self.leaving.get(1).is_some_and(|second| t - second.t > SHORTEST) {
            // Only the last moment can become a level.
            self.leaving.remove(0);
        }
    }

    /// The scale has come to another level.
    fn step(&mut self, since: Mono, samples: Vec<Sample>, events: &mut Vec<Event>) {
        self.tell(events);
        let base = match self.rest.take() {
            Some(rest) => self.base_of(&rest),
            None => self.base.take(),
        };
        self.rest = Some(Rest { since, samples, base, told: false });
        self.leaving.clear();
        self.left_at = None;
    }

    /// Weighs the load at rest, once, if it rose from a known level that was not below zero.
    fn tell(&mut self, events: &mut Vec<Event>) {
        let Some((rest, level)) = self.rest.as_ref().and_then(|rest| Some((rest, self.level_of(rest)?)))
        else {
            return;
        };
        if rest.told {
            return;
        }
        let risen = rest.base.filter(|base| base.g > -LEAST_G && level.g - base.g > LEAST_G);
        if let Some(base) = risen {
            let (g, sd_g) = (level.g - base.g, level.sd_g.hypot(base.sd_g));
            events.push(Event::Weighed { at: rest.since, g, sd_g });
        }
        if level.g > LEAST_G && level.seconds >= TEACHES_S {
            self.motion += (level.spread_g / level.g - self.motion) * 0.3;
        }
        if let Some(rest) = &mut self.rest {
            rest.told = true;
        }
    }

    /// What the scale rests at is no longer known, after an overload, a tare or a silence.
    fn lose(&mut self, events: &mut Vec<Event>) {
        self.tell(events);
        if let Some(rest) = self.rest.take() {
            self.base = self.base_of(&rest).filter(|base| base.g.abs() < LEAST_G);
        }
        self.leaving.clear();
        self.left_at = None;
    }

    /// The level the next one rises from; an empty scale also teaches its zero.
    fn base_of(&mut self, rest: &Rest) -> Option<Level> {
        let level = self.level_of(rest)?;
        if level.g.abs() >= 2.0 * LEAST_G {
            return Some(level);
        }
        // A moment of zero between two loads says less than the minutes before.
        if level.seconds >= SURE_ZERO_S || self.zero.is_none() {
            self.zero = Some(level);
        }
        self.zero
    }

    /// Drops what is too old to tell anything of a level that goes on.
    fn forget(&mut self, t: Mono) {
        if let Some(rest) = &mut self.rest {
            let old = rest.samples.partition_point(|sample| t - sample.t > KEPT);
            rest.samples.drain(..old);
        }
    }

    fn level_of(&self, rest: &Rest) -> Option<Level> {
        level(&rest.samples, self.motion, self.resolution_g.unwrap_or(RESOLUTION_G))
    }

    fn zero_g(&self) -> f64 {
        self.zero.map_or(0.0, |zero| zero.g)
    }
}

impl Rest {
    /// What the level is now, and the spread of its samples, grams.
    fn now(&self, t: Mono) -> (f64, f64) {
        let from = self.samples.partition_point(|sample| t - sample.t > NOW);
        // After a pause in the readings the older ones must do.
        let recent = self.samples.get(from..).filter(|recent| recent.len() > 2).unwrap_or(&self.samples);
        let middle_g = median(recent.iter().map(|sample| sample.g)).unwrap_or(0.0);
        let squares: f64 = recent.iter().map(|sample| (sample.g - middle_g).powi(2)).sum();
        (middle_g, (squares / recent.len().max(1) as f64).sqrt())
    }
}

/// How far a reading must be from a level to have left it, grams.
fn leaves_at_g(level_g: f64, spread_g: f64, age: i64) -> f64 {
    let deck_g = if age < KNOWN { DECK * level_g.abs() } else { 0.0 };
    LEAST_G.max(LEFT * spread_g).max(deck_g)
}

/// The longest run of samples, up to the last, that differ by no more than the deck can move one load.
fn together(samples: &[Sample]) -> &[Sample] {
    let Some(last) = samples.last() else { return samples };
    let (mut low_g, mut high_g) = (last.g, last.g);
    let fits = |sample: &&Sample| {
        low_g = low_g.min(sample.g);
        high_g = high_g.max(sample.g);
        high_g - low_g <= LEAST_G.max(DECK * low_g.abs().max(high_g.abs()))
    };
    let run = samples.iter().rev().take_while(fits).count();
    samples.get(samples.len() - run..).unwrap_or_default()
}

#[cfg(test)]
mod tests;
