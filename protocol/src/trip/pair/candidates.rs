//! What each pull of a trip may have been: the traps within reach, the one named, and one pulled earlier the same day.
//!
//! A trap may lie at one of several places, each with its own place in the usual order: so a pull's states are told
//! apart by both, and only at the end added up by trap.

use std::collections::{BTreeMap, BTreeSet};

use crate::finding::Spot;
use crate::pairing::weight::{
    ln_again, ln_mixed_up, ln_moved, ln_near, ln_none, ln_said, ln_unnamed, reach_m, spread_m,
};
use crate::pairing::{Row, Usual};
use crate::place::{LatLon, distance_m};
use crate::register::{Register, Source};
use crate::tally::Kind;
use crate::time::HOUR;
use crate::trip::Pull;

/// How far a buoy lies from its trap, metres, when the depth is not known: 4 m of water on a line half as long again.
const SCOPE_M: f64 = 4.5;
/// Line over depth; common practice is 1.1 to 2, no source.
const LINE_PER_DEPTH: f64 = 1.5;
/// A trap may have been pulled again this long after, microseconds: before that nothing can have walked in.
const AGAIN: i64 = 2 * HOUR;
/// What is less likely than the best by this much, nats (one in 160,000), is left out: the work grows with what is in.
const FAR: f64 = 12.0;
/// Earlier pulls of the trip that a pull may repeat, and states that it may have: more are never near enough to count.
const MOST_AGAIN: usize = 6;
const MOST_STATES: usize = 40;
/// No degree of latitude is shorter, metres (WGS 84, at the equator 110,574).
const LEAST_DEGREE_M: f64 = 110_000.0;

/// One thing a pull may be.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum What {
    /// A trap of the register, or one a person said it was. It is pulled once a trip.
    Trap(String),
    /// A trap the register lacks, by the name said for it. It too is pulled once.
    Named(String),
    /// The trap that was pulled by an earlier pull of the trip, again.
    Again(usize),
    /// A trap seen or put down by this pull: however often it is pulled besides.
    Aside(usize, String),
}

/// One state of a pull: what it is, and its place in the usual order.
#[derive(Debug, Clone, Copy)]
struct State {
    what: usize,
    rank: Option<usize>,
}

/// Everything the pulls of a trip may be, by the index the solver knows it by.
#[derive(Default)]
pub(super) struct Candidates {
    index: BTreeMap<What, usize>,
    what: Vec<What>,
    states: Vec<State>,
}

impl Candidates {
    pub fn get(&self, index: usize) -> Option<&What> {
        self.what.get(index)
    }

    /// A state's place in the usual order.
    pub fn rank(&self, state: usize) -> Option<usize> {
        self.states.get(state)?.rank
    }

    /// A row of states, with hints added, as a row of what they are.
    pub fn whole(&self, row: &Row, hints: &[f64]) -> Row {
        let mut sums: BTreeMap<usize, f64> = BTreeMap::new();
        for ((state, ln), hint) in row.candidates.iter().zip(hints) {
            if let Some(State { what, .. }) = self.states.get(*state) {
                add(&mut sums, *what, ln + hint);
            }
        }
        let best = sums.values().copied().fold(row.none, f64::max);
        sums.retain(|_, ln| *ln > best - FAR);
        Row { candidates: sums.into_iter().collect(), none: row.none }
    }

    fn index(&mut self, what: What) -> usize {
        if let Some(index) = self.index.get(&what) {
            return *index;
        }
        let index = self.what.len();
        self.what.push(what.clone());
        self.index.insert(what, index);
        index
    }

    fn state(&mut self, what: What, rank: Option<usize>) -> usize {
        let what = self.index(what);
        self.states.push(State { what, rank });
        self.states.len() - 1
    }

    /// The row of a pull that a person said was this trap.
    pub fn settled(&mut self, usual: &Usual, trap: &str) -> Row {
        if matches!(trap, "" | "none") {
            return Row::default();
        }
        let it = self.state(What::Trap(trap.to_owned()), usual.rank_of(trap));
        Row { candidates: vec![(it, 0.0)], none: f64::NEG_INFINITY }
    }

    /// The states of the pull at `at`, and how likely. `free` tells the traps that no person gave to a pull.
    pub fn row(
        &mut self,
        (register, usual): (&Register, &Usual),
        pulls: &[Pull<'_>],
        at: usize,
        free: impl Fn(&str) -> bool,
    ) -> Row {
        let Some(pull) = pulls.get(at) else { return Row::default() };
        let name = pull.words.reading.trap.as_deref().map(|said| known_name(register, said));
        if let (Kind::Set, Some(name)) = (pull.kind, &name) {
            // Put down here, whatever lay here before.
            let it = self.state(What::Aside(at, name.clone()), usual.rank_of(name));
            return Row { candidates: vec![(it, ln_said(true, 2))], none: ln_said(false, 2) };
        }
        if (pull.kind, pull.words.reading.new_trap) == (Kind::Set, true) {
            // Said to be new: none that is known.
            return Row::default();
        }
        let aside = pull.kind == Kind::Visit;
        let of =
            |trap: &str| if aside { What::Aside(at, trap.to_owned()) } else { What::Trap(trap.to_owned()) };
        let mut likely: BTreeMap<(What, Option<usize>), f64> = BTreeMap::new();
        let mut unnamed: BTreeSet<What> = BTreeSet::new();
        if let Some(spot) = &pull.stop.position {
            let scope_m = scope_m(pull);
            for lair in register.near(spot, reach_m(spread_m(spot.sd_m, register.widest_m(), scope_m))) {
                let spread = spread_m(spot.sd_m, lair.spot.sd_m, scope_m);
                let trap = lair.entry.trap.as_str();
                if let Some(ln) = ln_near(lair.distance_m, spread).filter(|_| free(trap)) {
                    let rank = usual.rank_of(lair.in_place_of);
                    add(&mut likely, (of(trap), rank), ln + lair.probability.ln());
                    if lair.entry.source == Source::Offered {
                        unnamed.insert(of(trap));
                    }
                }
            }
            for (earlier, m) in again(pulls, at, spot) {
                let sd_m = pulls.get(earlier).and_then(|p| p.stop.set).map_or(spot.sd_m, |set| set.spot.sd_m);
                if let Some(ln) = ln_near(m, spread_m(spot.sd_m, sd_m, scope_m)) {
                    add(&mut likely, (What::Again(earlier), None), ln + ln_again());
                }
            }
        }
        keep_likeliest(&mut likely);
        let mut none = ln_none();
        if let Some(name) = name {
            let afloat = register.get(&name).is_some_and(|entry| !entry.ashore && !entry.retired);
            let (it, rank) =
                if afloat { (of(&name), usual.rank_of(&name)) } else { (What::Named(name.clone()), None) };
            if likely.keys().any(|(what, _)| *what == it) {
                let best =
                    likely.iter().max_by(|a, b| a.1.total_cmp(b.1)).map(|((_, rank), ln)| (*rank, *ln));
                if let Some((rank, ln)) = best {
                    add(&mut likely, (it.clone(), rank), ln_mixed_up(ln));
                }
            } else if free(&name) {
                likely.insert((it.clone(), rank), if afloat { ln_moved() } else { none });
            }
            let possibilities = likely.keys().map(|(what, _)| what).collect::<BTreeSet<_>>().len() + 1;
            for ((what, _), ln) in &mut likely {
                // A trap nobody has named yet may well be the one of this name.
                let fits = unnamed.contains(what);
                *ln += if fits { ln_unnamed(afloat) } else { ln_said(*what == it, possibilities) };
            }
            none += ln_said(false, possibilities);
        }
        let candidates = likely.into_iter().map(|((what, rank), ln)| (self.state(what, rank), ln)).collect();
        Row { candidates, none }
    }
}

/// The name the register has for a trap named like this, else the name as said.
fn known_name(register: &Register, said: &str) -> String {
    register.named(said).map_or(said, |entry| &entry.trap).to_owned()
}

fn add<K: Ord>(likely: &mut BTreeMap<K, f64>, what: K, ln: f64) {
    let sum = |known: f64| {
        let (great, small) = (known.max(ln), known.min(ln));
        great + (small - great).exp().ln_1p()
    };
    likely.entry(what).and_modify(|known| *known = sum(*known)).or_insert(ln);
}

/// Earlier pulls of the trip whose trap may have been pulled again, the nearest few, and how far from here each set it,
/// metres.
fn again(pulls: &[Pull<'_>], at: usize, spot: &Spot) -> Vec<(usize, f64)> {
    let now = pulls.get(at).and_then(|pull| pull.stop.started.utc);
    // Good enough to tell which are nearest; what counts is measured after.
    let east_degree_m = LEAST_DEGREE_M * spot.lat.to_radians().cos();
    let about_m = |other: &Spot| {
        let east = (other.lon - spot.lon + 540.0).rem_euclid(360.0) - 180.0;
        ((other.lat - spot.lat) * LEAST_DEGREE_M).hypot(east * east_degree_m)
    };
    let set_before = |(n, pull): (usize, &Pull<'_>)| {
        let set = pull.stop.set.filter(|_| pull.kind == Kind::Pull)?;
        let long_ago = now.zip(set.at.utc).is_some_and(|(now, set)| now - set >= AGAIN);
        long_ago.then(|| (n, set.spot, about_m(&set.spot)))
    };
    let mut nearest: Vec<(usize, Spot, f64)> =
        pulls.iter().take(at).enumerate().filter_map(set_before).collect();
    nearest.sort_by(|a, b| a.2.total_cmp(&b.2).then(a.0.cmp(&b.0)));
    nearest.truncate(MOST_AGAIN);
    nearest.iter().filter_map(|(n, set, _)| Some((*n, metres(spot, set)?))).collect()
}

/// Leaves only the likeliest, since the work grows with what is in.
fn keep_likeliest<K: Ord>(likely: &mut BTreeMap<K, f64>) {
    let mut all: Vec<f64> = likely.values().copied().collect();
    all.sort_by(|a, b| b.total_cmp(a));
    if let Some(least) = all.get(MOST_STATES).copied() {
        likely.retain(|_, ln| *ln > least);
    }
}

fn scope_m(pull: &Pull<'_>) -> f64 {
    pull.stop.depth_m.map_or(SCOPE_M, |depth| depth * (LINE_PER_DEPTH * LINE_PER_DEPTH - 1.0).sqrt())
}

/// Metres between two places, if both are on the earth.
pub(super) fn metres(a: &Spot, b: &Spot) -> Option<f64> {
    Some(distance_m(LatLon::new(a.lat, a.lon).ok()?, LatLon::new(b.lat, b.lon).ok()?))
}
