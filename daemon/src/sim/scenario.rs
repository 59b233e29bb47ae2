//! The day at sea before it happens: an invented bay, boat and crew, where the traps lie, and every stop to come.
//!
//! All names and places are made up; the water is real and open.

use std::f64::consts::{FRAC_PI_2, TAU};

use gunwale_protocol::time::{HOUR, SECOND, Utc};

use super::chart::Xy;
use super::crew::{self, Words};
use super::rng::Rng;
use super::{Layout, Options};

/// The boat's name.
pub const BOAT: &str = "Second Helping";
/// Who is aboard.
pub const CREW: [&str; 2] = ["Ines", "Teo"];
/// The bay.
pub const BAY: &str = "Marrowfin Bay";
/// IANA time zone of the boat's day.
pub const TIMEZONE: &str = "America/New_York";
/// When the day's clock is at zero: 2027-02-09, 07:20 local.
pub const START: Utc = Utc(1_802_175_600 * SECOND);

/// From this many pulls on, a day has its oddities: a trap forgotten, its neighbour dragged half way over to it, one not
/// in the register, a stop where nothing is said.
const ODD_FROM: usize = 10;
/// How far the dragged one went, as a share of the way: with the scope of the buoy it is picked up half way.
const DRAGGED: f64 = 0.58;
/// Water depth about the traps, metres; the buoy line is this many times as long.
const DEPTH_M: f64 = 3.5;
const SCOPE: f64 = 1.3;

/// A trap on the bottom.
#[derive(Debug, Clone)]
pub struct Trap {
    /// Its name: a number.
    pub name: String,
    /// Where it lies.
    pub at: Xy,
    /// Where the register says it lies and since when; `None` when it is not in the register.
    pub register: Option<(Xy, Utc)>,
}

/// One stop of the boat.
#[derive(Debug, Clone)]
pub struct Stop {
    /// The trap pulled, as a place in [`Scenario::traps`]; `None` when she only lay there.
    pub trap: Option<usize>,
    /// Where she comes alongside.
    pub alongside: Xy,
    /// How long she lies there, seconds, from alongside to under way.
    pub lies_s: f64,
    /// How long before getting under way the trap goes back, seconds.
    pub set_before_s: f64,
    /// Her drift while lying, metres a second.
    pub drift: Xy,
    /// A nudge with the engine while lying: from when (seconds after alongside), how long, and how fast.
    pub nudge: Option<(f64, f64, Xy)>,
    /// Her speed on the way there where it is long enough, metres a second.
    pub cruise: f64,
    /// What is said and weighed.
    pub words: Words,
}

/// The whole plan of a day.
#[derive(Debug, Clone)]
pub struct Scenario {
    /// All traps, in the order they are usually pulled.
    pub traps: Vec<Trap>,
    /// All stops, in order.
    pub stops: Vec<Stop>,
}

impl Scenario {
    /// Plans a day.
    pub fn new(options: &Options) -> Scenario {
        let mut rng = Rng::new(options.seed, 1);
        let odd = options.pulls >= ODD_FROM;
        // One more trap than is in the register, and one fewer pulled than there are.
        let count = options.pulls + usize::from(odd);
        let mut traps = traps(options, count, odd, &mut rng);
        let forgotten = odd.then(|| count / 3 + rng.below(count / 3));
        let dragged = forgotten.map(|forgotten| forgotten + 1);
        if let Some((from, to)) = dragged.zip(forgotten) {
            drag(&mut traps, from, to);
        }
        let silent_after = count / 2;
        let mut stops = Vec::new();
        for (at, trap) in traps.iter().enumerate() {
            if Some(at) == forgotten {
                continue;
            }
            if odd && stops.len() == silent_after {
                stops.push(silent_stop(options, &stops, trap.at, &mut rng));
            }
            // Before the silent stop nothing is said after leaving: it would be that stop's.
            let may_be_late = !(odd && stops.len() + 1 == silent_after);
            let mut stop = stop(options, (at, trap), may_be_late, &mut rng);
            if Some(at) == dragged {
                // Nobody says which it is, so it stays in doubt.
                stop.words.said.retain(|(_, text)| !text.starts_with("trap "));
            }
            stops.push(stop);
        }
        Scenario { traps, stops }
    }
}

/// Half way over to another trap, unknown to the register.
fn drag(traps: &mut [Trap], from: usize, to: usize) {
    let goal = traps.get(to).map(|trap| trap.at);
    if let (Some(trap), Some(goal)) = (traps.get_mut(from), goal) {
        trap.at = trap.at + (goal - trap.at) * DRAGGED;
    }
}

/// The water's depth at a point, metres, and its temperature, degrees Celsius.
pub fn water(at: Xy) -> (f64, f64) {
    (DEPTH_M + 0.5 * (at.e / 140.0).sin() + 0.3 * (at.n / 90.0).cos(), 21.4 + 0.3 * (at.n / 400.0).sin())
}

fn traps(options: &Options, count: usize, odd: bool, rng: &mut Rng) -> Vec<Trap> {
    let places = places(options, count, rng);
    let stranger = odd.then(|| count * 3 / 4);
    let mut number = 0;
    let mut all = Vec::new();
    for (at, spot) in places.into_iter().enumerate() {
        if Some(at) == stranger {
            all.push(Trap { name: count.to_string(), at: spot, register: None });
            continue;
        }
        number += 1;
        // The register's place came from the same kind of receiver, two days ago.
        let sd = options.receiver_sd_m.max(0.3);
        let seen = spot + Xy { e: sd * rng.normal(), n: sd * rng.normal() };
        let set_at = START - 48 * HOUR + (180 * at as i64 + rng.below(90) as i64) * SECOND;
        all.push(Trap { name: number.to_string(), at: spot, register: Some((seen, set_at)) });
    }
    all
}

fn places(options: &Options, count: usize, rng: &mut Rng) -> Vec<Xy> {
    let step = options.spacing_m;
    let rows = |across: usize, gap: f64, rng: &mut Rng| {
        // There and back: each row from the end at which the last one ended.
        let place = |i: usize| {
            let (row, along) = (i / across, i % across);
            let along = if row.is_multiple_of(2) { along } else { across - 1 - along };
            Xy { e: along as f64 * step, n: row as f64 * gap }
        };
        let mut jitter = || rng.between(-0.1, 0.1) * step;
        (0..count).map(|i| place(i) + Xy { e: jitter(), n: jitter() }).collect()
    };
    match options.layout {
        Layout::Line => rows(count.div_ceil(2).max(1), 4.0 * step, rng),
        Layout::Grid => rows(((count as f64).sqrt().ceil() as usize).max(1), step, rng),
        Layout::Scattered => scattered(step, count, rng),
    }
}

/// Anywhere in a square that gives each trap about two spacings' room, never nearer than 0.7 of a spacing.
fn scattered(step: f64, count: usize, rng: &mut Rng) -> Vec<Xy> {
    let side = 1.6 * step * (count as f64).sqrt();
    let mut loose: Vec<Xy> = Vec::new();
    while loose.len() < count {
        let at = Xy { e: rng.between(0.0, side), n: rng.between(0.0, side) };
        if loose.iter().all(|other| (*other - at).len() >= 0.7 * step) {
            loose.push(at);
        }
    }
    // Pulled from the nearest to the next nearest.
    let mut ordered: Vec<Xy> = Vec::new();
    while !loose.is_empty() {
        let from = ordered.last().copied().unwrap_or_default();
        let nearest = (0..loose.len()).min_by(|&a, &b| {
            let far = |i: usize| loose.get(i).map_or(f64::MAX, |at| (*at - from).len());
            far(a).total_cmp(&far(b))
        });
        ordered.push(loose.swap_remove(nearest.unwrap_or(0)));
    }
    ordered
}

/// The drift of one stop: the day's direction, give or take; the speed anew each time.
fn drift(options: &Options, rng: &mut Rng) -> Xy {
    let bearing = options.drift_toward_deg.to_radians() + rng.between(-0.6, 0.6);
    Xy::polar(rng.between(options.drift_m_s.0, options.drift_m_s.1), bearing)
}

fn stop(options: &Options, (at, trap): (usize, &Trap), may_be_late: bool, rng: &mut Rng) -> Stop {
    let drift = drift(options, rng);
    // The buoy streams with wind and tide, as far as its line lets it.
    let reach = DEPTH_M * (SCOPE * SCOPE - 1.0).sqrt();
    let buoy = trap.at + Xy::polar(rng.between(0.2, 1.0) * reach, drift.bearing() + rng.between(-0.7, 0.7));
    let alongside = buoy + Xy::polar(rng.between(1.0, 2.0), rng.between(0.0, TAU));
    let (catch_s, haul_s) = (rng.between(5.0, 15.0), rng.between(options.haul_s.0, options.haul_s.1));
    let set_before_s = rng.between(4.0, 8.0);
    let nudge = rng.chance(0.12).then(|| {
        let speed = Xy::polar(rng.between(1.0, 1.3), rng.between(0.0, TAU));
        (catch_s + rng.between(0.3, 0.6) * haul_s, rng.between(3.0, 5.0), speed)
    });
    let words = crew::words(&trap.name, trap.register.is_some(), (catch_s, haul_s), may_be_late, rng);
    let lies_s = catch_s + haul_s + set_before_s;
    let cruise = rng.between(3.5, 4.5);
    Stop { trap: Some(at), alongside, lies_s, set_before_s, drift, nudge, cruise, words }
}

/// A stop half way to the next trap: weed on the propeller, say.
fn silent_stop(options: &Options, before: &[Stop], next: Xy, rng: &mut Rng) -> Stop {
    let from = before.last().map_or(next, |stop| stop.alongside + stop.drift * stop.lies_s);
    let aside = Xy::polar(0.5 * options.spacing_m, (next - from).bearing() - FRAC_PI_2);
    Stop {
        trap: None,
        alongside: from + (next - from) * 0.5 + aside,
        lies_s: rng.between(40.0, 70.0),
        set_before_s: 0.0,
        drift: drift(options, rng),
        nudge: None,
        cruise: rng.between(3.5, 4.5),
        words: Words::default(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_day_starts_at_twenty_past_seven_local() {
        assert_eq!(START.to_string(), "2027-02-09T12:20:00.000Z");
        let local = START.zoned(TIMEZONE).unwrap();
        assert_eq!(local.strftime("%F %H:%M").to_string(), "2027-02-09 07:20");
    }

    #[test]
    fn traps_lie_as_asked() {
        for (layout, low, high) in
            [(Layout::Line, 26.0, 44.0), (Layout::Grid, 26.0, 44.0), (Layout::Scattered, 24.4, 100.0)]
        {
            let plan = Scenario::new(&Options { layout, pulls: 40, ..Options::default() });
            assert_eq!(plan.traps.len(), 41);
            let nearest = |(i, trap): (usize, &Trap)| {
                let others = plan.traps.iter().enumerate().filter(|(j, _)| *j != i);
                others.map(|(_, o)| (o.at - trap.at).len()).fold(f64::MAX, f64::min)
            };
            let all: Vec<f64> = plan.traps.iter().enumerate().map(nearest).collect();
            // The dragged one and the one it lies near now are nearer to each other.
            let odd = all.iter().filter(|m| !(low..high).contains(*m)).count();
            assert!(odd <= 2, "{layout:?}: {all:?}");
        }
    }

    #[test]
    fn a_day_has_its_oddities_once_it_is_long_enough() {
        for (pulls, odd) in [(0, 0), (3, 0), (9, 0), (10, 1), (20, 1)] {
            let plan = Scenario::new(&Options { pulls, ..Options::default() });
            let pulled = plan.stops.iter().filter(|s| s.trap.is_some()).count();
            let silent = plan.stops.iter().filter(|s| s.words.said.is_empty()).count();
            let strangers = plan.traps.iter().filter(|t| t.register.is_none()).count();
            let forgotten = plan.traps.len() - pulled;
            assert_eq!((pulled, silent, strangers, forgotten), (pulls, odd, odd, odd), "{pulls} pulls");
        }
    }
}
