//! Trips at sea, invented: traps, the boat among them, and what her receiver and crew give.
//!
//! A trip is told as the first fold takes it, sentence by sentence. Trips follow each other two days apart; a trap lies
//! where the last trip set it, unless it dragged since. Written apart from the demo's boat, so that the two check each
//! other: she comes in faster here, stops with a burst astern, wobbles in the chop, and sometimes walks to the next trap.

use gunwale_protocol::input::{Input, Stamped};
use gunwale_protocol::place::{LatLon, Plane};
use gunwale_protocol::time::{DAY, Mono, SECOND, Utc};

use crate::chance::Chance;
use crate::receiver::{self, Receiver};

/// Metres east and north.
pub type Metres = [f64; 2];

/// How the traps lie.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Layout {
    Line,
    Grid,
    Scattered,
}

/// What the water and the work are like.
#[derive(Debug, Clone)]
pub struct Waters {
    pub seed: u64,
    pub traps: usize,
    pub layout: Layout,
    pub gap_m: f64,
    /// Hauled in any order, else always in the same.
    pub jumbled: bool,
    /// The greatest drift while hauling, metres a second.
    pub drift_m_s: f64,
    pub receiver_sd_m: f64,
    pub tau_s: f64,
    pub hz: f64,
    /// Where on the earth, degrees.
    pub at: (f64, f64),
}

/// What really happened at one stop with something said.
#[derive(Debug, Clone)]
pub struct Pull {
    pub trap: usize,
    /// Microseconds of the trip's own clock.
    pub alongside: i64,
    pub set: i64,
    pub left: i64,
    pub up: Metres,
    pub down: Metres,
    /// Where the receiver put her when she came alongside, when she set, and when the first note was spoken.
    pub seen_up: Metres,
    pub seen_down: Metres,
    pub seen_spoke: Metres,
}

/// One trip.
pub struct Trip {
    /// UTC of its clock's zero.
    pub zero: Utc,
    pub inputs: Vec<Stamped>,
    pub pulls: Vec<Pull>,
}

/// Traps, and the boat among them from trip to trip.
pub struct Sea {
    waters: Waters,
    chance: Chance,
    /// Where each trap lies now.
    pub traps: Vec<Metres>,
    trip: i64,
}

/// Dragged since it was set: share, and scale of the way, metres.
const DRAGGED: (f64, f64) = (0.02, 30.0);
/// Not pulled this time.
const LEFT_OUT: f64 = 0.05;
/// A stop that is no pull before this one.
const IDLE_STOP: f64 = 0.04;
/// Nearer than this she may walk over to the next.
const WALK_M: f64 = 22.0;
/// A trap is set at least this far from any other, metres, in a close string less.
const KEPT_CLEAR_M: f64 = 12.0;
const STEP_S: f64 = 0.1;

impl Sea {
    pub fn new(waters: Waters) -> Sea {
        let mut chance = Chance::new(waters.seed);
        let traps = lay(&waters, &mut chance);
        Sea { waters, chance, traps, trip: 0 }
    }

    pub fn plane(&self) -> Plane {
        Plane::new(LatLon::new(self.waters.at.0, self.waters.at.1).expect("a place"))
    }

    /// The next trip.
    pub fn trip(&mut self) -> Trip {
        let zero = Utc(1_830_000_000 * SECOND + self.trip * 2 * DAY);
        self.trip += 1;
        let mut order: Vec<usize> =
            (0..self.traps.len()).filter(|_| !self.chance.happens(LEFT_OUT)).collect();
        if self.waters.jumbled {
            (1..order.len()).rev().for_each(|i| order.swap(i, self.chance.below(i + 1)));
        }
        let set_to = self.chance.between(0.0, std::f64::consts::TAU);
        let start = order.first().map_or([0.0, 0.0], |trap| self.traps[*trap]);
        let mut boat = Boat {
            receiver: Receiver::new(&self.waters, &mut self.chance),
            chance: self.chance.clone(),
            plane: self.plane(),
            zero,
            t_s: 0.0,
            at: [start[0] - 120.0, start[1] - 60.0],
            going: [0.0, 0.0],
            inputs: Vec::new(),
        };
        boat.lie(60.0, [0.0, 0.0]);
        let mut pulls = Vec::new();
        for trap in order {
            if boat.chance.happens(DRAGGED.0) {
                let way = -DRAGGED.1 * ((1.0 - boat.chance.unit()) * (1.0 - boat.chance.unit())).ln();
                self.traps[trap] =
                    moved(self.traps[trap], way, boat.chance.between(0.0, std::f64::consts::TAU));
            }
            let pull = boat.haul(&self.waters, trap, &self.traps, set_to);
            self.traps[trap] = [pull.down[0] + boat.chance.normal(), pull.down[1] + boat.chance.normal()];
            pulls.push(pull);
        }
        boat.run([boat.at[0] + 300.0, boat.at[1]], 4.0);
        boat.lie(70.0, [0.0, 0.0]);
        self.chance = Chance::new(self.waters.seed.wrapping_mul(31).wrapping_add(self.trip as u64));
        boat.inputs.sort_by_key(|input| input.t);
        Trip { zero, inputs: boat.inputs, pulls }
    }
}

struct Boat {
    receiver: Receiver,
    chance: Chance,
    plane: Plane,
    zero: Utc,
    t_s: f64,
    at: Metres,
    going: Metres,
    inputs: Vec<Stamped>,
}

impl Boat {
    fn now(&self) -> i64 {
        (self.t_s * SECOND as f64) as i64
    }

    fn step(&mut self) {
        for axis in 0..2 {
            self.at[axis] += self.going[axis] * STEP_S;
        }
        self.t_s += STEP_S;
        // The chop shakes the aerial about: 0.15 m/s at 0.3 Hz.
        let wobble = 0.15 * (std::f64::consts::TAU * 0.3 * self.t_s).cos();
        let going = [self.going[0] + wobble, self.going[1] - 0.7 * wobble];
        let (zero, plane) = (self.zero, self.plane);
        for (t, text) in self.receiver.hear(self.t_s, zero, plane, self.at, going, &mut self.chance) {
            self.inputs.push(Stamped { t: Mono(t), input: Input::Gps(text) });
        }
    }

    fn say(&mut self, after_s: f64, text: &str) {
        let t = self.now() + (after_s * SECOND as f64) as i64;
        self.inputs.push(Stamped { t: Mono(t), input: Input::Said(text.to_owned()) });
    }

    /// Towards a place, and to a stop there with a burst astern.
    fn run(&mut self, to: Metres, cruise: f64) {
        let mut speed = length(self.going).min(cruise);
        loop {
            let way = [to[0] - self.at[0], to[1] - self.at[1]];
            let left = length(way);
            if left < 0.25 {
                return;
            }
            // Slowing at 0.35 m/s², the last metre and a half at a crawl.
            let allowed = if left < 1.5 { 0.4 } else { (0.16 + 0.7 * (left - 1.5)).sqrt() };
            speed = (speed + 0.5 * STEP_S).min(allowed).min(cruise);
            let pace = speed.min(left / STEP_S);
            self.going = [way[0] / left * pace, way[1] / left * pace];
            self.step();
        }
    }

    /// Adrift for a while; now and then shifting at a walking pace to clear a line.
    fn lie(&mut self, seconds: f64, drift: Metres) {
        let until = self.t_s + seconds;
        let shift = self.chance.happens(0.12).then(|| {
            (
                self.t_s + self.chance.between(0.3, 0.6) * seconds,
                self.chance.between(0.0, std::f64::consts::TAU),
            )
        });
        let mut puff = [0.0, 0.0];
        while self.t_s < until {
            let keep: f64 = 0.99;
            for puff in &mut puff {
                *puff = *puff * keep + 0.04 * (1.0 - keep * keep).sqrt() * self.chance.normal();
            }
            let mut wanted = [drift[0] + puff[0], drift[1] + puff[1]];
            if let Some((from, bearing)) = shift
                && (from..from + 4.0).contains(&self.t_s)
            {
                wanted = [wanted[0] + 1.2 * bearing.cos(), wanted[1] + 1.2 * bearing.sin()];
            }
            for (going, wanted) in self.going.iter_mut().zip(wanted) {
                *going += (wanted - *going) * STEP_S / 0.8;
            }
            self.step();
        }
    }

    /// Nobody sets a trap on top of another: she shifts at a walking pace to where there is room.
    fn keep_clear(&mut self, trap: usize, traps: &[Metres], room_m: f64) {
        for _ in 0..3 {
            let others = traps.iter().enumerate().filter(|(other, _)| *other != trap);
            let near =
                others.map(|(_, at)| *at).min_by(|a, b| apart(*a, self.at).total_cmp(&apart(*b, self.at)));
            let Some(near) = near.filter(|near| apart(*near, self.at) < room_m) else { return };
            let away = [self.at[0] - near[0], self.at[1] - near[1]];
            self.run(moved(near, room_m * 1.1, away[1].atan2(away[0])), 1.3);
        }
    }

    fn haul(&mut self, waters: &Waters, trap: usize, traps: &[Metres], set_to: f64) -> Pull {
        let lies = traps[trap];
        let streams = set_to + self.chance.between(-0.6, 0.6);
        // The buoy streams on its line, and the boat lies a gaff's length off it.
        let (scope, gaff) = (2.9 * self.chance.between(0.2, 1.0), self.chance.between(0.7, 1.5));
        let buoy = moved(lies, scope, streams + self.chance.between(-0.7, 0.7));
        let up = moved(buoy, gaff, self.chance.between(0.0, std::f64::consts::TAU));
        if self.chance.happens(IDLE_STOP) {
            let half = [(self.at[0] + up[0]) / 2.0 + 20.0, (self.at[1] + up[1]) / 2.0 - 20.0];
            self.run(half, 3.0);
            let idle_s = self.chance.between(30.0, 90.0);
            self.lie(idle_s, [0.1, 0.05]);
        }
        let way = [up[0] - self.at[0], up[1] - self.at[1]];
        let cruise = self.chance.between(2.8, 4.5);
        if length(way) > WALK_M {
            self.run(up, cruise);
        } else if self.chance.happens(0.5) {
            let walking = self.chance.between(1.2, 1.5);
            self.run(up, walking);
        } else {
            // Round in a circle, to come up to it from down wind.
            let off = moved(up, 26.0, way[1].atan2(way[0]) + 1.9);
            self.run(off, cruise.min(2.5));
            self.run(up, cruise);
        }
        let alongside = self.now();
        let (at_up, seen_up) = (self.at, self.receiver.sees(self.at));
        let drift = moved([0.0, 0.0], self.chance.between(0.0, waters.drift_m_s), streams);
        let works_s = self.chance.between(70.0, 180.0);
        let first_s = self.chance.between(8.0, 40.0);
        self.lie(first_s, drift);
        self.say(0.0, "two crabs, one keeper");
        let seen_spoke = self.receiver.sees(self.at);
        self.lie(works_s - first_s, drift);
        self.keep_clear(trap, traps, KEPT_CLEAR_M.min(0.6 * waters.gap_m));
        let late = self.chance.happens(0.1);
        if !late {
            self.say(-5.0, "fresh bait");
        }
        let (set, down, seen_down) = (self.now(), self.at, self.receiver.sees(self.at));
        let clears_s = self.chance.between(2.0, 6.0);
        self.lie(clears_s, drift);
        let left = self.now();
        if late {
            let after_s = self.chance.between(4.0, 12.0);
            self.say(after_s, "half bait");
        }
        Pull { trap, alongside, set, left, up: at_up, down, seen_up, seen_down, seen_spoke }
    }
}

fn lay(waters: &Waters, chance: &mut Chance) -> Vec<Metres> {
    let (count, gap) = (waters.traps, waters.gap_m);
    let jitter = |chance: &mut Chance| chance.between(-0.1, 0.1) * gap;
    let rows = |across: usize, apart: f64, chance: &mut Chance| -> Vec<Metres> {
        let place = |i: usize, chance: &mut Chance| {
            let (row, along) = (i / across, i % across);
            let along = if row.is_multiple_of(2) { along } else { across - 1 - along };
            [along as f64 * gap + jitter(chance), row as f64 * apart + jitter(chance)]
        };
        (0..count).map(|i| place(i, chance)).collect()
    };
    match waters.layout {
        Layout::Line => rows(count.div_ceil(2), 4.0 * gap, chance),
        Layout::Grid => rows((count as f64).sqrt().ceil() as usize, gap, chance),
        Layout::Scattered => {
            let side = gap * 1.6 * (count as f64).sqrt();
            let mut all: Vec<Metres> = Vec::new();
            while all.len() < count {
                let at = [chance.between(0.0, side), chance.between(0.0, side)];
                if all.iter().all(|other| apart(*other, at) > 0.7 * gap) {
                    all.push(at);
                }
            }
            // Numbered as a boat would haul them: always on to the nearest.
            let mut order = vec![all.swap_remove(0)];
            while let Some(next) = (0..all.len()).min_by(|a, b| {
                let from = order[order.len() - 1];
                apart(all[*a], from).total_cmp(&apart(all[*b], from))
            }) {
                order.push(all.swap_remove(next));
            }
            order
        }
    }
}

pub fn moved(from: Metres, way: f64, bearing: f64) -> Metres {
    [from[0] + way * bearing.cos(), from[1] + way * bearing.sin()]
}

pub fn length(of: Metres) -> f64 {
    of[0].hypot(of[1])
}

pub fn apart(a: Metres, b: Metres) -> f64 {
    length([a[0] - b[0], a[1] - b[1]])
}

/// Where a plane's point is, degrees.
pub fn place(plane: Plane, at: Metres) -> LatLon {
    plane.from_xy(at).unwrap_or_else(|_| receiver::nowhere())
}
