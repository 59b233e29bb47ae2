//! How the boat moves: from stop to stop, alongside, adrift while hauling, and away again.

use super::chart::Xy;
use super::rng::Rng;
use super::scenario::{Scenario, Stop};

/// One step of simulated time, seconds.
pub const TICK_S: f64 = 0.1;
/// She lies at her mooring this long at first: the receiver needs 90 s for its first fix.
const MOORED_S: f64 = 100.0;
/// The day goes on this long after the last stop, so that nothing is left open.
const TAIL_S: f64 = 150.0;
/// From mooring to the first stop, metres.
const MOORING_M: f64 = 180.0;
/// Metres before a stop at which she has slowed to creep up to the buoy.
const CREEP_M: f64 = 8.0;
/// Slowing down while creeping, and else; getting under way: metres a second squared.
const CREEP_SLOWING: f64 = 0.06;
const SLOWING: f64 = 0.4;
const GAINING: f64 = 0.5;
/// Speed through the turn when she circles round to a stop that is too near to head for, metres a second.
const TURN_M_S: f64 = 1.5;
/// Nearer than this she circles, metres.
const TOO_NEAR_M: f64 = 25.0;

/// What happened at a step. Numbers are places in [`Scenario::stops`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Happened {
    /// She came alongside.
    Alongside(usize),
    /// The trap went back into the water, here.
    Set(usize, Xy),
    /// She got under way.
    Left(usize),
}

/// Where she is and how she moves at one step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// Number of the step: [`TICK_S`] each, from zero.
    pub tick: u64,
    /// Where.
    pub at: Xy,
    /// Metres a second over ground.
    pub moves: Xy,
    /// What happened, if anything.
    pub happened: Option<Happened>,
}

#[derive(Debug, Clone)]
enum Phase {
    /// At her mooring.
    Moored,
    /// On the way to a stop: turns still to make, then the stop.
    Way { stop: usize, turn: Option<Xy> },
    /// Lying at a stop for so many ticks; whether the trap is still on board.
    Lying { stop: usize, ticks: u64, aboard: bool },
    /// Homeward for so many ticks.
    Homeward { ticks: u64 },
}

/// The boat over a whole day, step by step; the steps end with the day.
#[derive(Debug, Clone)]
pub struct Motion<'a> {
    plan: &'a Scenario,
    rng: Rng,
    phase: Phase,
    tick: u64,
    at: Xy,
    moves: Xy,
    mooring: Xy,
    /// How much faster or slower than planned she drifts just now: a wandering figure, metres a second.
    puff: Xy,
}

impl<'a> Motion<'a> {
    /// The day's motion, from its seed.
    pub fn new(plan: &'a Scenario, seed: u64) -> Motion<'a> {
        let first = plan.stops.first().map_or(Xy::default(), |stop| stop.alongside);
        let mooring = first + Xy::polar(MOORING_M, -2.4);
        Motion {
            plan,
            rng: Rng::new(seed, 2),
            phase: Phase::Moored,
            tick: 0,
            at: mooring,
            moves: Xy::default(),
            mooring,
            puff: Xy::default(),
        }
    }

    fn go(&mut self) -> Option<Happened> {
        match self.phase.clone() {
            Phase::Moored => {
                self.moves = Xy::default();
                if self.tick as f64 * TICK_S >= MOORED_S {
                    self.phase = self.way(0);
                }
                None
            }
            Phase::Way { stop, turn } => self.on_the_way(stop, turn),
            Phase::Lying { stop, ticks, aboard } => self.lie(stop, ticks, aboard),
            Phase::Homeward { ticks } => {
                self.head_for(self.mooring, 4.0, 0.0);
                self.phase = Phase::Homeward { ticks: ticks + 1 };
                None
            }
        }
    }

    /// The way to a stop, or home after the last.
    fn way(&self, stop: usize) -> Phase {
        let Some(next) = self.plan.stops.get(stop) else { return Phase::Homeward { ticks: 0 } };
        let ahead = next.alongside - self.at;
        let near = ahead.len() < TOO_NEAR_M;
        // Round by the side, so as to come up at a proper distance.
        let turn = near.then(|| next.alongside + Xy::polar(TOO_NEAR_M, ahead.bearing() - 1.9));
        Phase::Way { stop, turn }
    }

    fn on_the_way(&mut self, stop: usize, turn: Option<Xy>) -> Option<Happened> {
        let Some(Stop { alongside, cruise, .. }) = self.plan.stops.get(stop) else {
            self.phase = Phase::Homeward { ticks: 0 };
            return None;
        };
        if let Some(corner) = turn {
            if self.head_for(corner, *cruise, TURN_M_S) < 2.0 {
                self.phase = Phase::Way { stop, turn: None };
            }
        } else if self.head_for(*alongside, *cruise, 0.0) < 0.3 {
            self.phase = Phase::Lying { stop, ticks: 0, aboard: true };
            return Some(Happened::Alongside(stop));
        }
        None
    }

    /// Heads for a point, to pass it at this speed; says how far it is.
    fn head_for(&mut self, goal: Xy, cruise: f64, end: f64) -> f64 {
        let ahead = goal - self.at;
        let left = ahead.len();
        let creep = (2.0 * CREEP_SLOWING * left.min(CREEP_M)).sqrt().max(0.1);
        let allowed = if end > 0.0 {
            (end * end + 2.0 * SLOWING * left).sqrt()
        } else {
            (creep * creep + 2.0 * SLOWING * (left - CREEP_M).max(0.0)).sqrt()
        };
        let speed = (self.moves.len() + GAINING * TICK_S).min(allowed).min(cruise);
        // No further than the point itself in one step.
        self.moves = Xy::polar(speed.min(left / TICK_S), ahead.bearing());
        left
    }

    fn lie(&mut self, stop: usize, ticks: u64, aboard: bool) -> Option<Happened> {
        let plan = self.plan.stops.get(stop)?;
        let since = ticks as f64 * TICK_S;
        let keep = (-TICK_S / 20.0).exp();
        let gust = 0.04 * (1.0 - keep * keep).sqrt();
        self.puff = self.puff * keep + Xy { e: self.rng.normal(), n: self.rng.normal() } * gust;
        let nudge = plan.nudge.map_or(Xy::default(), |(from, lasts, speed)| {
            let into = since - from;
            // Up and down again within a second or so.
            let share = (into.min(lasts - into) / 0.8).clamp(0.0, 1.0);
            speed * share
        });
        // From the way she had on coming alongside into the drift, within a few seconds.
        let wanted = plan.drift + self.puff + nudge;
        self.moves = self.moves + (wanted - self.moves) * (TICK_S / 1.0).min(1.0);
        if since >= plan.lies_s {
            self.phase = self.way(stop + 1);
            return Some(Happened::Left(stop));
        }
        let set = aboard && plan.trap.is_some() && since >= plan.lies_s - plan.set_before_s;
        self.phase = Phase::Lying { stop, ticks: ticks + 1, aboard: aboard && !set };
        let over_the_side = Xy { e: self.rng.normal(), n: self.rng.normal() };
        set.then(|| Happened::Set(stop, self.at + over_the_side))
    }
}

impl Iterator for Motion<'_> {
    type Item = Step;

    fn next(&mut self) -> Option<Step> {
        if matches!(self.phase, Phase::Homeward { ticks } if ticks as f64 * TICK_S >= TAIL_S) {
            return None;
        }
        let happened = self.go();
        let step = Step { tick: self.tick, at: self.at, moves: self.moves, happened };
        self.at = self.at + self.moves * TICK_S;
        self.tick += 1;
        Some(step)
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Layout, Options};
    use super::*;

    /// Every stop, with its run before it: seconds under way, top speed, seconds lying, metres drifted.
    fn runs(options: &Options) -> Vec<(f64, f64, f64, f64)> {
        let plan = Scenario::new(options);
        let (mut all, mut left, mut top, mut came) = (Vec::new(), 0.0, 0.0_f64, (0.0, Xy::default()));
        let mut run = 0.0;
        let mut last = Xy::default();
        for step in Motion::new(&plan, options.seed) {
            let t = step.tick as f64 * TICK_S;
            top = top.max(step.moves.len());
            if step.tick > 0 {
                let gained = (step.moves.len() - last.len()).abs();
                assert!(gained <= 0.2, "{gained} m/s in one step at {t}");
            }
            last = step.moves;
            match step.happened {
                Some(Happened::Alongside(i)) => {
                    assert!((step.at - plan.stops[i].alongside).len() < 0.3);
                    (run, came) = (t - left, (t, step.at));
                    all.push((run, top, 0.0, 0.0));
                }
                Some(Happened::Set(_, at)) => assert!((at - step.at).len() < 6.0),
                Some(Happened::Left(_)) => {
                    (left, top) = (t, 0.0);
                    *all.last_mut().unwrap() =
                        (run, all.last().unwrap().1, t - came.0, (step.at - came.1).len());
                }
                None => {}
            }
        }
        all
    }

    #[test]
    fn runs_and_stops_are_as_at_sea() {
        for layout in [Layout::Line, Layout::Grid, Layout::Scattered] {
            let all = runs(&Options { layout, pulls: 40, ..Options::default() });
            assert_eq!(all.len(), 41);
            for (n, (run, top, lay, drifted)) in all.iter().enumerate().skip(1) {
                assert!((15.0..90.0).contains(run), "{layout:?} {n}: run of {run} s");
                assert!((2.0..=4.5).contains(top), "{layout:?} {n}: {top} m/s at most");
                assert!((40.0..=205.0).contains(lay), "{layout:?} {n}: lay {lay} s");
                assert!(*drifted < 120.0, "{layout:?} {n}: drifted {drifted} m");
            }
        }
    }
}
