//! When each sample was heard: from the count of samples to the run's clock.
//!
//! Samples come in late by anything from nothing to seconds, never early. So the least delayed arrivals tell the
//! truth: a straight line under all arrivals of the last two minutes gives offset and rate, for a sound card's clock
//! is steady but off by up to some hundred millionths. What is late catches up; samples that are lost never do. So when
//! all arrivals of some seconds stay above the line by more than delays explain, and level, samples are gone, and the
//! line begins anew. All spans are real time: on a clock made faster, delays are longer by as much.
//!
//! Pure arithmetic: the same arrivals give the same stamps.

use std::collections::VecDeque;

use gunwale_protocol::time::{Mono, SECOND};

use super::mic::RATE;
use crate::clock::Clock;

/// One sample, in microseconds.
const SAMPLE_US: f64 = SECOND as f64 / RATE as f64;
/// Arrivals of one second count by their least delayed, in microseconds of real time.
const BIN: f64 = SECOND as f64;
/// A longer pause between two arrivals counts as this, in microseconds of real time.
const PAUSE: f64 = BIN / 4.0;
/// Seconds under which the line lies.
const WINDOW: usize = 120;
/// The rate is taken from the line after so many seconds, and when the usual lateness (microseconds of real time)
/// divided by these is below so many millionths, or after so many more: else delays would be taken for drift.
const RATE_FROM: (usize, f64, usize) = (20, 600.0, 60);
/// The rate is brought within this, in millionths; no sound card is as far off.
const PPM_MAX: f64 = 50_000.0;
/// For how many seconds arrivals must stay late before samples count as lost: big losses show early, small ones late.
const LATE_FOR: std::ops::RangeInclusive<usize> = 2..=16;
/// Seconds of arrivals before delays are known, and how many are looked at.
const KNOWN: (usize, usize) = (20, 60);
/// What delays are taken for until they are known, in microseconds of real time.
const UNKNOWN: f64 = 100_000.0;
/// Lateness means loss above this many times the usual, plus this, in microseconds of real time.
const BEYOND: (f64, f64) = (4.0, 15_000.0);

/// How many times as fast as real time a clock goes.
pub fn speed(clock: &dyn Clock) -> f64 {
    1.0 / clock.real(SECOND).as_secs_f64().max(1e-9)
}

/// Samples that never came.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lost {
    /// How long they would have sounded, in microseconds.
    pub us: i64,
    /// By how much this may be off either way, in microseconds.
    pub within_us: i64,
}

/// The least delayed arrival of a second.
#[derive(Debug, Clone, Copy)]
struct Arrival {
    /// Samples until then, in seconds.
    x: f64,
    /// How much later it was than the count of samples says, in microseconds from the first arrival.
    late: f64,
}

/// The clock of one run of the microphone's program.
#[derive(Debug, Clone)]
pub struct MicClock {
    /// Microseconds of this clock for one of real time.
    speed: f64,
    first: Option<Mono>,
    bins: VecDeque<Arrival>,
    /// The second being heard, how much of it was, and when the last arrival was: microseconds from the first.
    open: Option<Arrival>,
    heard: f64,
    since: f64,
    /// The line: lateness at no samples, and its growth in microseconds a second (millionths).
    offset: f64,
    ppm: f64,
    measured: bool,
    last: Mono,
}

impl MicClock {
    /// A clock for a run's clock that is `speed` times as fast as real time; `ppm` is the drift if known from an
    /// earlier run, else 0.
    pub fn new(speed: f64, ppm: f64) -> MicClock {
        MicClock {
            speed,
            first: None,
            bins: VecDeque::new(),
            open: None,
            heard: 0.0,
            since: 0.0,
            offset: f64::INFINITY,
            ppm,
            measured: false,
            last: Mono(i64::MIN),
        }
    }

    /// Takes an arrival: so many samples in all had come at `t`. Says when samples turn out to be lost: what is
    /// stamped from now on has the line begun anew.
    pub fn arrived(&mut self, samples: u64, t: Mono) -> Option<Lost> {
        let first = *self.first.get_or_insert(t);
        let since = (t - first) as f64;
        let arrival =
            Arrival { x: samples as f64 / f64::from(RATE), late: since - samples as f64 * SAMPLE_US };
        // A pause counts little: what comes after it would stand alone.
        self.heard += (since - self.since).min(PAUSE * self.speed);
        self.since = since;
        let mut lost = None;
        if self.heard >= BIN * self.speed {
            self.heard = 0.0;
            self.bins.extend(self.open.take());
            lost = self.lost();
            self.fit();
        }
        let above = |a: &Arrival| a.late - self.ppm * a.x;
        if self.open.as_ref().is_none_or(|least| above(&arrival) < above(least)) {
            self.open = Some(arrival);
        }
        self.offset = self.offset.min(arrival.late - self.ppm * arrival.x);
        lost
    }

    /// When this sample, counted from 0, was heard. Stamps never run backwards.
    pub fn stamp(&mut self, sample: u64) -> Mono {
        let x = sample as f64 / f64::from(RATE);
        let since = sample as f64 * SAMPLE_US + self.ppm * x + self.offset.min(f64::MAX);
        let first = self.first.unwrap_or(Mono(0));
        self.last = self.last.max(first + since.round() as i64);
        self.last
    }

    /// How slow the sound card's clock is, in millionths (negative: fast), once it is known.
    pub fn ppm(&self) -> Option<f64> {
        self.measured.then_some(self.ppm)
    }

    /// Looks whether the last seconds' arrivals are late for good, and if so forgets what was before them.
    fn lost(&mut self) -> Option<Lost> {
        let late: Vec<f64> = self.bins.iter().map(|a| a.late - self.ppm * a.x - self.offset).collect();
        let margin = BEYOND.1 * self.speed;
        for seconds in LATE_FOR {
            let (before, after) = late.split_at(late.len().checked_sub(seconds)?);
            let (least, most) = (least(after), after.iter().copied().fold(0.0, f64::max));
            if before.is_empty() || least <= margin {
                continue;
            }
            let usual = Usual::of(before, seconds, self.speed);
            let level = most - least <= BEYOND.0 * usual.spread + margin;
            if level && least > BEYOND.0 * usual.high + usual.spread / 8.0 + margin {
                self.bins.drain(..before.len());
                self.offset = f64::INFINITY;
                return Some(Lost {
                    us: (least - usual.mean).round() as i64,
                    within_us: (3.0 * usual.high + margin / 2.0).round() as i64,
                });
            }
        }
        None
    }

    /// Lays the line under the window's arrivals.
    fn fit(&mut self) {
        while self.bins.len() > WINDOW {
            self.bins.pop_front();
        }
        // The last seconds may be late for good, which is not drift; they count while there are few others.
        let settled = self.bins.len().saturating_sub(*LATE_FOR.end());
        let settled = if settled >= RATE_FROM.0 { settled } else { self.bins.len() };
        let settled: Vec<Arrival> = self.bins.iter().take(settled).copied().collect();
        let late = high(settled.iter().map(|a| a.late - self.ppm * a.x - self.offset).collect());
        if settled.len() >= RATE_FROM.0
            && (self.measured
                || settled.len() >= RATE_FROM.2
                || late <= RATE_FROM.1 * self.speed * settled.len() as f64)
            && let Some(slope) = slope_below(&settled)
        {
            self.ppm = slope.clamp(-PPM_MAX, PPM_MAX);
            self.measured = true;
        }
        let offsets = self.bins.iter().map(|a| a.late - self.ppm * a.x);
        self.offset = offsets.fold(f64::INFINITY, f64::min);
    }
}

/// How late arrivals usually are, by seconds.
struct Usual {
    /// The least of so many seconds, on average.
    mean: f64,
    /// The same, nine times in ten no more.
    high: f64,
    /// The least of one second, nine times in ten no more.
    spread: f64,
}

impl Usual {
    fn of(before: &[f64], seconds: usize, speed: f64) -> Usual {
        let known = before.get(before.len().saturating_sub(KNOWN.1)..).unwrap_or_default();
        if known.len() < KNOWN.0 {
            return Usual { mean: 0.0, high: UNKNOWN * speed, spread: UNKNOWN * speed };
        }
        let leasts: Vec<f64> = known.windows(seconds).map(least).collect();
        let mean = leasts.iter().sum::<f64>() / leasts.len().max(1) as f64;
        let spread = high(known.to_vec());
        // Few seconds may look more even than they are: the least of many even delays is their span by their number.
        Usual { mean, high: high(leasts).max(spread / seconds as f64), spread }
    }
}

fn least(of: &[f64]) -> f64 {
    of.iter().copied().fold(f64::INFINITY, f64::min)
}

/// What nine in ten do not exceed.
fn high(mut of: Vec<f64>) -> f64 {
    of.sort_unstable_by(f64::total_cmp);
    of.get(of.len() * 9 / 10).or(of.last()).copied().unwrap_or(0.0)
}

/// The slope of the straight line that lies under all arrivals and, of all such, closest to them: the edge of their
/// lower hull below their middle (Andrew's monotone chain, 1979).
fn slope_below(arrivals: &[Arrival]) -> Option<f64> {
    let slope = |a: &Arrival, b: &Arrival| (b.late - a.late) / (b.x - a.x);
    let mut hull: Vec<Arrival> = Vec::new();
    for &next in arrivals {
        if hull.last().is_some_and(|last| next.x <= last.x) {
            continue;
        }
        while let [.., a, b] = hull.as_slice()
            && slope(a, b) >= slope(b, &next)
        {
            hull.pop();
        }
        hull.push(next);
    }
    let middle = arrivals.iter().map(|a| a.x).sum::<f64>() / arrivals.len() as f64;
    hull.windows(2).find_map(|edge| match edge {
        [a, b] if b.x >= middle => Some(slope(a, b)),
        _ => None,
    })
}

#[cfg(test)]
mod tests;
