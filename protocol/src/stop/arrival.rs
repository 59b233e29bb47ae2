//! Where she came alongside: the end of the approach, found while more comes in.
//!
//! A boat slows down for a buoy, is slowest as it is taken, and then drifts as wind and tide will have it. So she is
//! alongside at the first moment after which, for a while, she is not clearly slower: not on the approach, when she
//! will be, and not adrift, for which it is too late.

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};

use super::{SLOW_M_S, Seen};
use crate::time::{Mono, SECOND};

/// Speed under which a buoy can be taken, m/s: it lies still, but for its line.
const TAKEN_M_S: f64 = 0.6;
/// Clearly slower, m/s: the noise of a speed over a few seconds, and puffs of wind.
const CLEARLY_M_S: f64 = 0.05;
/// For so long she is not clearly slower afterwards.
const LOOK: i64 = 15 * SECOND;
/// Where the drift is stronger than [`TAKEN_M_S`] she may never be so slow: after so long that is so.
const PATIENCE: i64 = 90 * SECOND;
/// Moments kept at most: [`LOOK`] at 20 Hz.
const MOST: usize = 320;

/// Looks for the moment.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Arrival {
    /// The moments not yet judged, the oldest first.
    waiting: VecDeque<Seen>,
    /// The first that would do but for its speed.
    fast: Option<Seen>,
    began: Option<Mono>,
}

impl Arrival {
    /// Takes the next moment; gives where she came alongside once that is known, with the moments from there on.
    pub fn take(&mut self, seen: Seen) -> Option<VecDeque<Seen>> {
        let began = *self.began.get_or_insert(seen.state.t);
        self.waiting.push_back(seen);
        while let Some(first) = self.waiting.front().copied() {
            if seen.state.t - first.state.t < LOOK && self.waiting.len() <= MOST {
                break;
            }
            if self.is_alongside(0) {
                return Some(std::mem::take(&mut self.waiting));
            }
            if first.state.t - began > PATIENCE && self.fast.is_some() {
                return Some(self.settle_for());
            }
            self.waiting.pop_front();
        }
        None
    }

    /// Nothing more comes: where she came alongside as far as can be told, with the moments from there on.
    pub fn finish(&mut self) -> VecDeque<Seen> {
        match (0..self.waiting.len()).find(|at| self.is_alongside(*at)) {
            Some(at) => self.waiting.split_off(at),
            None => self.settle_for(),
        }
    }

    /// The first that would do but for its speed, else the slowest of the latest, and those after it.
    fn settle_for(&mut self) -> VecDeque<Seen> {
        let mut rest = std::mem::take(&mut self.waiting);
        let slowest = rest.iter().min_by(|a, b| a.pace_m_s.total_cmp(&b.pace_m_s)).copied();
        if let Some(seen) = self.fast.or(slowest) {
            rest.retain(|other| other.n > seen.n);
            rest.push_front(seen);
        }
        rest
    }

    /// Whether she was alongside at this one of those waiting.
    fn is_alongside(&mut self, at: usize) -> bool {
        let slowest = self.waiting.iter().skip(at).map(|seen| seen.pace_m_s).fold(f64::MAX, f64::min);
        let clearly = |seen: &Seen| slowest + CLEARLY_M_S + seen.state.velocity_sd_m_s;
        let Some(seen) = self.waiting.get(at).filter(|seen| seen.pace_m_s <= clearly(seen)) else {
            return false;
        };
        if (TAKEN_M_S..SLOW_M_S).contains(&seen.pace_m_s) {
            self.fast.get_or_insert(*seen);
        }
        seen.pace_m_s < TAKEN_M_S
    }
}
