//! Which trap each pull of a trip was: the likelihoods from place and name, solved jointly.

use std::collections::BTreeMap;

use super::Pull;
use crate::correct::Corrections;
use crate::finding::Spot;
use crate::pairing::weight::{ln_moved, ln_near, ln_none, ln_said, reach_m, spread_m};
use crate::pairing::{Answer, Grade, Rival, Row, solve};
use crate::place::{LatLon, distance_m};
use crate::register::Register;

/// How far a buoy lies from its trap, metres, when the depth is not known: 4 m of water on a line half as long again.
const SCOPE_M: f64 = 4.5;
/// Line over depth; common practice is 1.1 to 2, no source.
const LINE_PER_DEPTH: f64 = 1.5;

/// The answer for one pull.
pub(super) struct Paired {
    pub trap: Option<String>,
    pub grade: Grade,
    pub probability: f64,
    pub distance_m: Option<f64>,
    pub runner_up: Option<(String, f64)>,
}

/// Pairs the pulls of one trip against the register as it stood when the trip began.
pub(super) fn pair(register: &Register, corrections: &Corrections, pulls: &[Pull<'_>]) -> Vec<Paired> {
    let stated = |pull: &Pull<'_>| corrections.value(&pull.stop.id, "trap").map(str::to_owned);
    let taken: Vec<String> = pulls.iter().filter_map(stated).collect();
    let mut names = Names::default();
    // A corrected pull is settled: it takes no part, and its trap is nobody else's.
    let rows: Vec<Row> =
        pulls
            .iter()
            .map(|pull| {
                if stated(pull).is_some() { Row::default() } else { row(register, pull, &taken, &mut names) }
            })
            .collect();
    let answers = solve(&rows);
    let paired = |(pull, answer): (&Pull<'_>, Answer)| match stated(pull) {
        Some(trap) => corrected(register, pull, &trap),
        None => answered(register, pull, &answer, &names),
    };
    pulls.iter().zip(answers).map(paired).collect()
}

/// Traps by the index the solver knows them by.
#[derive(Default)]
struct Names {
    index: BTreeMap<String, usize>,
    name: Vec<String>,
}

impl Names {
    fn index(&mut self, trap: &str) -> usize {
        if let Some(index) = self.index.get(trap) {
            return *index;
        }
        let index = self.name.len();
        self.name.push(trap.to_owned());
        self.index.insert(trap.to_owned(), index);
        index
    }
}

fn row(register: &Register, pull: &Pull<'_>, taken: &[String], names: &mut Names) -> Row {
    let free = |trap: &str| !taken.iter().any(|t| t == trap);
    let mut likely: Vec<(String, f64)> = Vec::new();
    if let Some(spot) = &pull.stop.position {
        let widest = spread_m(spot.sd_m, register.widest_m(), scope_m(pull));
        for (entry, m) in register.near(spot, reach_m(widest)) {
            let spread = spread_m(spot.sd_m, entry.spot.sd_m, scope_m(pull));
            if let Some(ln) = ln_near(m, spread).filter(|_| free(&entry.trap)) {
                likely.push((entry.trap.clone(), ln));
            }
        }
    }
    let mut none = ln_none();
    if let Some(said) = said(register, pull) {
        if likely.iter().all(|(trap, _)| *trap != said) && free(&said) {
            likely.push((said.clone(), ln_moved()));
        }
        let possibilities = likely.len() + 1;
        for (trap, ln) in &mut likely {
            *ln += ln_said(*trap == said, possibilities);
        }
        none += ln_said(false, possibilities);
    }
    let candidates = likely.into_iter().map(|(trap, ln)| (names.index(&trap), ln)).collect();
    Row { candidates, none }
}

/// The registered, unretired trap that was named at this pull.
fn said(register: &Register, pull: &Pull<'_>) -> Option<String> {
    let name = pull.words.reading.trap.as_deref()?;
    register.named(name).filter(|entry| !entry.retired && !entry.ashore).map(|entry| entry.trap.clone())
}

fn scope_m(pull: &Pull<'_>) -> f64 {
    pull.stop.depth_m.map_or(SCOPE_M, |depth| depth * (LINE_PER_DEPTH * LINE_PER_DEPTH - 1.0).sqrt())
}

fn corrected(register: &Register, pull: &Pull<'_>, trap: &str) -> Paired {
    let trap = Some(trap).filter(|trap| !matches!(*trap, "" | "none")).map(str::to_owned);
    let distance_m = trap.as_deref().and_then(|trap| distance(register, pull.stop.position.as_ref(), trap));
    Paired { trap, grade: Grade::Corrected, probability: 1.0, distance_m, runner_up: None }
}

fn answered(register: &Register, pull: &Pull<'_>, answer: &Answer, names: &Names) -> Paired {
    let name = |index: usize| names.name.get(index).cloned();
    let trap = answer.choice.and_then(name);
    let runner_up = match answer.runner_up {
        Some(Rival::Trap(index)) => name(index).map(|trap| (trap, answer.runner_up_probability)),
        _ => None,
    };
    Paired {
        distance_m: trap.as_deref().and_then(|trap| distance(register, pull.stop.position.as_ref(), trap)),
        grade: Grade::of(answer),
        probability: answer.probability,
        trap,
        runner_up,
    }
}

fn distance(register: &Register, from: Option<&Spot>, trap: &str) -> Option<f64> {
    let from = LatLon::new(from?.lat, from?.lon).ok()?;
    let to = register.get(trap)?.spot;
    Some(distance_m(from, LatLon::new(to.lat, to.lon).ok()?))
}
