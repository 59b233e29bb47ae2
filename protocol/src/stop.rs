//! When the boat lies to a buoy and when she is under way again: stops, from speed with hysteresis.
//!
//! Whether she lies is judged at once, from the speed so far. Where she came alongside, which is where the trap was
//! picked up, and where she was before she left, which is where it went back, is judged some seconds later, in
//! hindsight: in between she drifts, and those metres say nothing of the trap.

use serde::{Deserialize, Serialize};

use crate::finding::Spot;
use crate::place::{LatLon, Plane};
use crate::time::{Mono, SECOND};
use crate::track::{State, Track};

mod arrival;
mod lying;
#[cfg(test)]
mod sea;
#[cfg(test)]
mod tests;

pub use lying::{Lying, Parted};

/// Smoothed speed under which a stop opens, m/s: above any drift (2 knots is 1.03).
const SLOW_M_S: f64 = 1.2;
/// Smoothed speed over which it ends, m/s: above walking pace...
const UNDER_WAY_M_S: f64 = 1.6;
/// ... kept up over so many metres.
const UNDER_WAY_M: f64 = 5.0;
/// Smoothed speed under which she is slowing down for something, m/s: some 5 knots.
const SLOWING_M_S: f64 = 2.6;
/// Time constant of the speed's smoothing, seconds.
const SMOOTHING_S: f64 = 1.5;
/// Hindsight of so long is taken for all that there will be. Twice as long changes nothing that can be measured.
const HINDSIGHT: i64 = 8 * SECOND;
/// It is taken once for all fixes of about so long.
const AT_ONCE: i64 = SECOND;
/// A pace is taken over so long, about as long as a boat rolls.
const PACE: i64 = 2_100_000;
/// A mean velocity is taken over so long to either side: a chop comes every 2…5 s.
const CHOP: i64 = 2_100_000;
/// She may have come alongside so long before she was seen to be slow.
const BEFORE: i64 = 10 * SECOND;
/// Without fixes for this long the boat may have gone anywhere.
pub const BLIND: i64 = 10 * SECOND;
/// After a blind spell, farther off than this she has been under way, metres.
const MOVED_M: f64 = 30.0;

/// Metres a second, east and north.
type Velocity = [f64; 2];

/// One position of the boat.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Fix {
    /// When she was there, on the segment's clock.
    pub t: Mono,
    /// The `t` of the input line that brought it.
    pub line_t: Mono,
    /// Where, with the receiver's standard deviation on each axis.
    pub spot: Spot,
    /// Speed over ground, m/s, if the receiver gave it.
    pub speed_m_s: Option<f64>,
    /// Course over ground, degrees true, if the receiver gave it.
    pub course_deg: Option<f64>,
}

/// What a fix did to the boat's state.
#[derive(Debug, Default, PartialEq)]
pub struct Step {
    /// A stop ended, at this moment before the fix that showed it.
    pub ended: Option<(Mono, Lying)>,
    /// A stop opened with this fix.
    pub opened: bool,
}

/// A moment of a stop, in hindsight.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(crate) struct Seen {
    /// Number of the fix.
    n: u32,
    state: State,
    /// Mean speed of the two seconds from it on, m/s.
    pace_m_s: f64,
    /// Mean velocity of the seconds about it, in which a chop's to and fro is none, m/s.
    mean_m_s: Velocity,
}

/// Watches the boat's speed.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Watch {
    last: Option<Fix>,
    track: Track,
    smoothed_m_s: Option<f64>,
    /// Metres made at more than [`UNDER_WAY_M_S`].
    fast_m: f64,
    lying: Option<Lying>,
    /// The latest fix that was told to a stop, and how many were.
    told: Option<Mono>,
    count: u32,
}

impl Watch {
    /// Takes a fix; one that is not later than the last is passed over.
    pub fn take(&mut self, fix: Fix) -> Step {
        let mut step = Step::default();
        let last = self.last;
        let gap = last.map_or(i64::MAX, |last| fix.t - last.t);
        if gap <= 0 {
            return step;
        }
        let blind = gap > BLIND;
        self.track.take(&fix);
        let speed = match (fix.speed_m_s.or(self.track.speed_m_s()), last) {
            // Too far apart to be joined: from the way made since the last fix.
            (None, Some(last)) if !blind => Some(apart_m(&last.spot, &fix.spot) / seconds(gap)),
            (speed, _) => speed,
        };
        self.smoothed_m_s = match (self.smoothed_m_s, speed) {
            (Some(before), Some(v)) if !blind => {
                let share = 1.0 - (-seconds(gap) / SMOOTHING_S).exp();
                Some(before + share * (v - before))
            }
            (before, v) => v.or(before),
        };
        self.last = Some(fix);
        if let (true, Some(last)) = (blind, last)
            && apart_m(&last.spot, &fix.spot) > MOVED_M
        {
            step.ended = self.end(Some(last.t));
        }
        self.fast_m = match self.smoothed_m_s {
            Some(v) if v > UNDER_WAY_M_S && !blind => self.fast_m + v * seconds(gap),
            _ => 0.0,
        };
        let Some(smoothed) = self.smoothed_m_s else { return step };
        if self.lying.is_none() && smoothed < SLOW_M_S {
            self.lying = Some(Lying::new());
            step.opened = true;
        } else if self.lying.is_some() && self.fast_m > UNDER_WAY_M {
            step.ended = self.end(None);
        }
        self.tell(HINDSIGHT);
        step
    }

    /// Tells the open stop of the fixes that have had so much hindsight.
    fn tell(&mut self, hindsight: i64) {
        let Some(last) = self.last else { return };
        let Some(lying) = &mut self.lying else {
            self.track.forget_before(last.t - HINDSIGHT - BEFORE);
            return;
        };
        let from = *self.told.get_or_insert(last.t - HINDSIGHT - BEFORE);
        let to = last.t - hindsight;
        if hindsight > 0 && to - from < AT_ONCE {
            return;
        }
        let states = self.track.states_between(from - CHOP, to + PACE.max(CHOP));
        for (at, state) in states.iter().enumerate() {
            if state.t > from && state.t <= to {
                self.count += 1;
                let (pace_m_s, mean_m_s) = (pace(&states, at), mean(&states, at));
                lying.take(Seen { n: self.count, state: *state, pace_m_s, mean_m_s });
                self.told = Some(state.t);
            }
        }
        self.track.forget_before(to - CHOP);
    }

    /// Ends the open stop, at a given moment or when she was last adrift.
    fn end(&mut self, at: Option<Mono>) -> Option<(Mono, Lying)> {
        self.tell(0);
        let mut lying = self.lying.take()?;
        lying.finish();
        let left = lying.left().or(self.last.map(|fix| fix.t))?;
        Some((at.unwrap_or(left), lying))
    }

    /// Whether a stop is open.
    pub fn is_lying(&self) -> bool {
        self.lying.is_some()
    }

    /// The stop that is open, if one is, as far as it can be judged now.
    pub fn lying(&self) -> Option<Lying> {
        self.clone().end(None).map(|(_, lying)| lying)
    }

    /// The stop that is open, as far as fixes have had their hindsight.
    pub fn lying_so_far(&mut self) -> Option<&mut Lying> {
        self.lying.as_mut()
    }

    /// Whether fixes show her under way.
    pub fn under_way(&self) -> bool {
        self.smoothed_m_s.is_some() && self.lying.is_none()
    }

    /// Whether fixes show her slow, though not yet at a stop.
    pub fn slowing(&self) -> bool {
        self.smoothed_m_s.is_some_and(|v| v < SLOWING_M_S)
    }

    /// Gives up the open stop: the boat has been blind too long to say it is still the same.
    pub fn give_up(&mut self) -> Option<Lying> {
        self.smoothed_m_s = None;
        self.end(None).map(|(_, lying)| lying)
    }

    /// The last fix taken.
    pub fn last(&self) -> Option<&Fix> {
        self.last.as_ref()
    }
}

/// Mean speed from a state on for a moment. Not the way made: turning about on the spot is none.
fn pace(states: &[State], at: usize) -> f64 {
    let Some(from) = states.get(at).map(|state| state.t) else { return 0.0 };
    let next = states.iter().skip(at).take_while(|state| state.t - from <= PACE);
    let (n, sum) = next.fold((0.0, 0.0), |(n, sum), state| (n + 1.0, sum + length(state.velocity_m_s)));
    sum / n
}

/// Mean velocity about a state.
fn mean(states: &[State], at: usize) -> Velocity {
    let Some(middle) = states.get(at).map(|state| state.t) else { return [0.0; 2] };
    let near = |state: &&State| (state.t - middle).abs() <= CHOP;
    let (before, after) = states.split_at(at);
    let about = before.iter().rev().take_while(near).chain(after.iter().take_while(near));
    let (n, [e, north]) =
        about.fold((0.0, [0.0; 2]), |(n, sum), state| (n + 1.0, plus(sum, state.velocity_m_s)));
    [e / n, north / n]
}

fn plus(a: Velocity, b: Velocity) -> Velocity {
    [a[0] + b[0], a[1] + b[1]]
}

fn length([e, n]: Velocity) -> f64 {
    e.hypot(n)
}

fn seconds(us: i64) -> f64 {
    us as f64 / SECOND as f64
}

/// From one place to another, metres east and north.
fn way_m(from: &Spot, to: &Spot) -> [f64; 2] {
    match (LatLon::new(from.lat, from.lon), LatLon::new(to.lat, to.lon)) {
        (Ok(from), Ok(to)) => Plane::new(from).to_xy(to),
        _ => [0.0; 2],
    }
}

fn apart_m(a: &Spot, b: &Spot) -> f64 {
    match (LatLon::new(a.lat, a.lon), LatLon::new(b.lat, b.lon)) {
        (Ok(a), Ok(b)) => crate::place::distance_m(a, b),
        _ => 0.0,
    }
}
