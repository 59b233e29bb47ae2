//! A stop while she lies: where she came alongside, where she was before she left, and whether it is two stops.
//!
//! Adrift she keeps her velocity, or nearly. When she clearly has another she is on her way; back at the drift after a
//! few metres she only shifted to clear a line, after more she may lie at the next trap.

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};

use super::arrival::Arrival;
use super::{SLOW_M_S, Seen, Velocity, apart_m, length, way_m};
use crate::finding::Spot;
use crate::time::{Mono, SECOND};

/// Off the drift by so much she is on her way, m/s: more than a chop or a puff makes...
const OFF_M_S: f64 = 0.5;
/// ... and by less than this she drifts again, or when hardly moving at all.
const BACK_M_S: f64 = 0.4;
/// Slower than this she is on no way, whatever the drift was, m/s.
const MOVING_M_S: f64 = 0.6;
/// For so long she must drift again.
const BACK: i64 = 3 * SECOND;
/// Nearer than this she has only shifted, metres: walking pace for some seconds.
const SHIFTED_M: f64 = 9.0;
/// The same through the water, in which she drifts.
const SHIFTED_WATER_M: f64 = 7.0;
/// After a way of less than this one need not look, metres.
const HARDLY_M: f64 = 5.0;
/// Farther than this she has left, at whatever pace.
const LEFT_M: f64 = 25.0;
/// So long she lies at a trap at least: nobody lifts and works one in less. Common practice, no source.
const LAY: i64 = 25 * SECOND;
/// The drift is known from about so long, seconds.
const DRIFT_S: f64 = 20.0;
/// A trap goes over the side this long before the throttle opens: hands come first.
const HANDS: i64 = 2 * SECOND;
/// Moments kept for that, and of the way to find where she came alongside after it.
const RECENT: i64 = 12 * SECOND;
/// So long she must be slower than the drift until it was none.
const SLOWER: i64 = 8 * SECOND;
/// Added in quadrature: she may have been alongside a second or so earlier or later, metres.
const MOMENT_SD_M: f64 = 0.5;
/// The same for the set, seconds at the speed of the drift.
const SET_SD_S: f64 = 3.0;

/// A place where she lies.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
struct Spell {
    arrival: Arrival,
    /// Where she came alongside, once known.
    came: Option<Seen>,
    drift: Velocity,
    /// The latest moments adrift.
    adrift: VecDeque<Seen>,
    /// Since when she has been slower than the drift.
    slower: Option<Mono>,
}

/// On her way, since the last moment adrift.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
struct Way {
    latest: VecDeque<Seen>,
    /// Since when she may be adrift again.
    back: Option<Mono>,
}

/// The stop that is open.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Lying {
    /// Where she lay, the first place first; at the last she may not yet be known to be.
    places: Vec<Spell>,
    way: Option<Way>,
}

/// A second place where she lay.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Parted {
    /// When she came alongside there.
    pub came: Mono,
    /// The `t` of that fix's line.
    pub line_t: Mono,
    /// Too far off for one trap: she has left the first, however slowly. Nearer, it may still be the same pull.
    pub far: bool,
}

/// How she moves at a moment.
enum Motion {
    /// With the drift.
    Adrift,
    /// On a way of her own.
    Off,
    /// Hardly, though what was taken for the drift is faster: perhaps that was a way, and she lies only now.
    Slower,
}

impl Spell {
    /// Takes those from coming alongside on, by which the drift is first known.
    fn arrive(&mut self, moments: &VecDeque<Seen>) {
        self.came = moments.front().copied();
        // Most of them are adrift; the first still have way on, and on the last she may be leaving.
        let slow = || moments.iter().map(|seen| seen.state.velocity_m_s).filter(|v| length(*v) < SLOW_M_S);
        self.drift = [0, 1].map(|axis| median(slow().map(|velocity| velocity[axis])));
        self.adrift.extend(self.came);
    }

    fn motion(&self, seen: &Seen) -> Motion {
        // At the very moment she leaves, the mean of the seconds about it says so too early.
        let off_m_s = off_by(seen.mean_m_s, self.drift).min(off_by(seen.state.velocity_m_s, self.drift));
        let moves = length(seen.mean_m_s) > MOVING_M_S;
        if moves && off_m_s >= OFF_M_S {
            Motion::Off
        } else if !moves && off_m_s >= BACK_M_S && length(self.drift) > MOVING_M_S {
            Motion::Slower
        } else {
            Motion::Adrift
        }
    }

    fn drifts(&mut self, seen: Seen) {
        if let Some(last) = self.adrift.back() {
            let share = 1.0 - (-((seen.state.t - last.state.t) as f64) / (DRIFT_S * SECOND as f64)).exp();
            self.drift = [0, 1].map(|i| self.drift[i] + share * (seen.state.velocity_m_s[i] - self.drift[i]));
        }
        self.slower = None;
        self.keep(seen);
    }

    fn keep(&mut self, seen: Seen) {
        self.adrift.push_back(seen);
        forget(&mut self.adrift);
    }

    /// The last moment adrift.
    fn left(&self) -> Option<&Seen> {
        self.adrift.back()
    }

    /// Whether another place is so near that she only shifted there, over ground or against the drift.
    fn is_near(&self, other: &Spell) -> bool {
        let Some((left, came)) = self.left().zip(other.came) else { return true };
        let took_s = (came.state.t - left.state.t) as f64 / SECOND as f64;
        let way = way_m(&left.state.spot, &came.state.spot);
        let through_water = [0, 1].map(|axis| way[axis] - took_s * self.drift[axis]);
        length(way) < SHIFTED_M || length(through_water) < SHIFTED_WATER_M
    }

    /// The other place was this one.
    fn goes_on(&mut self, other: Spell) {
        (self.drift, self.adrift, self.slower) = (other.drift, other.adrift, None);
    }

    /// How long she lay here.
    fn lay(&self) -> i64 {
        self.left().zip(self.came).map_or(0, |(left, came)| left.state.t - came.state.t)
    }
}

impl Lying {
    /// A stop of which nothing is known yet.
    pub(super) fn new() -> Lying {
        Lying { places: vec![Spell::default()], way: None }
    }

    /// Takes the next moment.
    pub(super) fn take(&mut self, seen: Seen) {
        let Some(here) = self.places.last_mut() else { return };
        if here.came.is_some() {
            self.go_on(seen);
        } else if let Some(moments) = here.arrival.take(seen) {
            self.arrive(moments);
        }
    }

    /// Nothing more comes of this stop: decides what is open.
    pub(super) fn finish(&mut self) {
        if let Some(here) = self.places.last_mut().filter(|here| here.came.is_none()) {
            let moments = here.arrival.finish();
            self.arrive(moments);
        }
    }

    /// She is alongside at the last place since the first of these moments.
    fn arrive(&mut self, moments: VecDeque<Seen>) {
        if let Some(mut here) = self.places.pop() {
            here.arrive(&moments);
            match self.places.last_mut() {
                Some(before) if before.is_near(&here) => before.goes_on(here),
                _ => self.places.push(here),
            }
        }
        if self.places.len() > 2 {
            // Nothing told the second place from the first: they were one.
            let second = self.places.remove(1);
            self.places.iter_mut().take(1).for_each(|first| first.adrift = second.adrift.clone());
        }
        // Among these she may set off and lie down anew.
        moments.into_iter().skip(1).for_each(|seen| self.take(seen));
    }

    fn go_on(&mut self, seen: Seen) {
        let Some(here) = self.places.last_mut() else { return };
        if let Some(way) = &mut self.way {
            way.latest.push_back(seen);
            forget(&mut way.latest);
            let back = length(seen.mean_m_s) < MOVING_M_S || off_by(seen.mean_m_s, here.drift) < BACK_M_S;
            let since = way.back.filter(|_| back).or(back.then_some(seen.state.t));
            way.back = since;
            if since.is_some_and(|since| seen.state.t - since >= BACK)
                && let Some(way) = self.way.take()
            {
                self.lie_down(way.latest, seen);
            }
            return;
        }
        match here.motion(&seen) {
            Motion::Adrift => here.drifts(seen),
            Motion::Off => self.way = Some(Way { latest: VecDeque::from([seen]), back: None }),
            Motion::Slower => {
                here.keep(seen);
                let since = *here.slower.get_or_insert(seen.state.t);
                if seen.state.t - since >= SLOWER {
                    // Nothing drifts so fast and then so slow: she was on her way since she seemed to come alongside.
                    let latest = std::mem::replace(&mut here.adrift, here.came.into_iter().collect());
                    here.drift = seen.mean_m_s;
                    self.lie_down(latest, seen);
                }
            }
        }
        let long = |at: usize| self.places.get(at).is_some_and(|place| place.lay() >= LAY);
        if long(1) && !long(0) {
            // No trap is lifted in so short a time: she only paused there.
            self.places.remove(0);
        }
    }

    /// She lies again after a way whose latest moments are given.
    fn lie_down(&mut self, latest: VecDeque<Seen>, seen: Seen) {
        let Some(here) = self.places.last_mut() else { return };
        if here.left().is_none_or(|from| apart_m(&from.state.spot, &seen.state.spot) < HARDLY_M) {
            here.drifts(seen);
            return;
        }
        self.places.push(Spell::default());
        latest.into_iter().for_each(|seen| self.take(seen));
    }

    /// When she came alongside, and where: the pick-up.
    pub fn picked_up(&self) -> Option<(Mono, Spot)> {
        let came = self.places.first()?.came?.state;
        Some((came.t, Spot { sd_m: came.spot.sd_m.hypot(MOMENT_SD_M), ..came.spot }))
    }

    /// The place where she lay last.
    fn last(&self) -> Option<&Spell> {
        self.places.iter().rfind(|place| place.came.is_some())
    }

    /// The last moment adrift before she left.
    pub fn left(&self) -> Option<Mono> {
        Some(self.last()?.left()?.state.t)
    }

    /// When and where the trap went over the side: a moment before she left.
    pub fn set_down(&self) -> Option<(Mono, Spot)> {
        let Spell { adrift, drift, .. } = self.last()?;
        let over = adrift.back()?.state.t - HANDS;
        let near = adrift.iter().rev().min_by_key(|seen| (seen.state.t - over).abs())?.state;
        let moment_sd_m = MOMENT_SD_M.hypot(SET_SD_S * length(*drift));
        Some((near.t, Spot { sd_m: near.spot.sd_m.hypot(moment_sd_m), ..near.spot }))
    }

    /// Fixes from coming alongside to the last moment adrift.
    pub fn fixes(&self) -> u32 {
        let came = self.places.first().and_then(|place| place.came);
        let last = self.last().and_then(Spell::left);
        came.zip(last).map_or(0, |(came, last)| (last.n + 1).saturating_sub(came.n))
    }

    /// The second place where she lay, once she has lain a while at both.
    pub fn parted(&self) -> Option<Parted> {
        let [first, second, ..] = self.places.as_slice() else { return None };
        let (left, came) = (first.left()?.state, second.came?.state);
        let far = apart_m(&left.spot, &came.spot) >= LEFT_M;
        let long = first.lay() >= LAY && second.lay() >= LAY;
        long.then_some(Parted { came: came.t, line_t: came.line_t, far })
    }

    /// Takes the second place for a stop of its own; what was at the first is handed back.
    pub fn part(&mut self) -> Option<Lying> {
        (self.places.len() > 1).then(|| Lying { places: vec![self.places.remove(0)], way: None })
    }
}

/// How much one velocity differs from another, m/s.
fn off_by(a: Velocity, b: Velocity) -> f64 {
    length([a[0] - b[0], a[1] - b[1]])
}

/// Lets go of moments too long before the last.
fn forget(moments: &mut VecDeque<Seen>) {
    let last = moments.back().map(|seen| seen.state.t);
    while moments.front().zip(last).is_some_and(|(old, last)| last - old.state.t > RECENT) {
        moments.pop_front();
    }
}

fn median(values: impl Iterator<Item = f64>) -> f64 {
    let mut sorted: Vec<f64> = values.collect();
    sorted.sort_by(f64::total_cmp);
    sorted.get(sorted.len() / 2).copied().unwrap_or(0.0)
}
