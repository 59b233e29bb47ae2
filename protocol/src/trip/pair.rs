//! Which trap each pull of a trip was: the likelihoods from place, name and the usual order, solved jointly.

use std::collections::{BTreeMap, BTreeSet};

use super::Pull;
use crate::correct::Corrections;
use crate::pairing::{Answer, Grade, Marginal, Row, Usual, hints, solve};
use crate::register::{Register, Source};
use crate::tally::Kind;

mod candidates;

use candidates::{Candidates, What, metres};

/// The answer for one pull.
pub(super) struct Paired {
    pub trap: Option<String>,
    pub grade: Grade,
    pub probability: f64,
    pub distance_m: Option<f64>,
    pub runner_up: Option<(String, f64)>,
    /// The offered trap that got its name by this pull.
    pub offered: Option<String>,
    /// The traps it may have been, and how likely each.
    pub likely: BTreeMap<String, f64>,
}

/// Pairs the pulls of one trip against the register and the usual order as they stood when the trip began.
pub(super) fn pair(
    register: &Register,
    usual: &Usual,
    corrections: &Corrections,
    pulls: &[Pull<'_>],
) -> Vec<Paired> {
    let stated: Vec<Option<&str>> =
        pulls.iter().map(|pull| corrections.value(&pull.stop.id, "trap")).collect();
    let given: BTreeSet<&str> = stated.iter().flatten().copied().collect();
    let mut candidates = Candidates::default();
    let mut states: Vec<Row> = Vec::new();
    for (at, stated) in stated.iter().enumerate() {
        // A corrected pull is settled, and its trap is nobody else's.
        states.push(match stated {
            Some(trap) => candidates.settled(usual, trap),
            None => candidates.row((register, usual), pulls, at, |trap| !given.contains(trap)),
        });
    }
    let hints = hints(usual, &states, |state| candidates.rank(state));
    let rows: Vec<Row> = states.iter().zip(&hints).map(|(row, hints)| candidates.whole(row, hints)).collect();
    let mut answers: Vec<Paired> = Vec::new();
    let mut named: BTreeSet<String> = BTreeSet::new();
    for ((pull, stated), Answer { choice, marginal }) in pulls.iter().zip(stated).zip(solve(&rows)) {
        let answer = match stated {
            Some(trap) => corrected(register, pull, trap),
            None => {
                let name = |index: usize| name(&candidates, index, pulls, &answers);
                answered(register, pull, choice.and_then(&name), likely(&marginal, &name), marginal.none)
            }
        };
        answers.push(with_name(register, pull, answer, &mut named));
    }
    answers
}

/// A new trap's name until somebody gives it one: from the pull that found it.
pub(super) fn new_name(register: &Register, pull: &str) -> String {
    let short = |digits: usize| format!("new-{}", pull.get(..digits).unwrap_or(pull));
    [4, 8].map(short).into_iter().find(|name| register.get(name).is_none()).unwrap_or_else(|| short(16))
}

/// The trap's name behind an index.
fn name(candidates: &Candidates, index: usize, pulls: &[Pull<'_>], answers: &[Paired]) -> Option<String> {
    match candidates.get(index)? {
        What::Trap(trap) | What::Named(trap) | What::Aside(_, trap) => Some(trap.clone()),
        What::Again(earlier) => {
            let unnamed = || pulls.get(*earlier).map(|pull| new_name(&Register::default(), &pull.stop.id));
            answers.get(*earlier)?.trap.clone().or_else(unnamed)
        }
    }
}

/// The traps a pull may be, by name.
fn likely(marginal: &Marginal, name: &impl Fn(usize) -> Option<String>) -> BTreeMap<String, f64> {
    let mut likely = BTreeMap::new();
    for (index, p) in &marginal.candidates {
        if let Some(trap) = name(*index) {
            *likely.entry(trap).or_default() += p;
        }
    }
    likely
}

fn corrected(register: &Register, pull: &Pull<'_>, trap: &str) -> Paired {
    let trap = Some(trap).filter(|trap| !matches!(*trap, "" | "none")).map(str::to_owned);
    let distance_m = trap.as_deref().and_then(|trap| distance(register, pull, trap));
    let likely = trap.iter().map(|trap| (trap.clone(), 1.0)).collect();
    Paired {
        trap,
        grade: Grade::Corrected,
        probability: 1.0,
        distance_m,
        runner_up: None,
        offered: None,
        likely,
    }
}

fn answered(
    register: &Register,
    pull: &Pull<'_>,
    trap: Option<String>,
    likely: BTreeMap<String, f64>,
    none: f64,
) -> Paired {
    let probability = trap.as_ref().map_or(none, |trap| likely.get(trap).copied().unwrap_or_default());
    let others = likely.iter().filter(|(other, _)| Some(*other) != trap.as_ref());
    let second = others.max_by(|a, b| a.1.total_cmp(b.1)).map(|(other, p)| (other.clone(), *p));
    // A runner-up is a trap; where none of them comes second, there is none to name.
    let runner_up = second.filter(|(_, p)| trap.is_none() || *p >= none);
    Paired {
        distance_m: trap.as_deref().and_then(|trap| distance(register, pull, trap)),
        grade: Grade::of(trap.is_some(), probability),
        probability,
        trap,
        runner_up,
        offered: None,
        likely,
    }
}

/// Gives a trap that nobody had named the name said for it at this pull, the first time one is.
fn with_name(
    register: &Register,
    pull: &Pull<'_>,
    mut answer: Paired,
    named: &mut BTreeSet<String>,
) -> Paired {
    let offered = answer
        .trap
        .clone()
        .filter(|trap| register.get(trap).is_some_and(|entry| entry.source == Source::Offered));
    if let (Some(offered), Some(said), true) =
        (offered, pull.words.reading.trap.as_deref(), pull.kind != Kind::Visit)
        && answer.grade != Grade::Corrected
    {
        let trap = register.named(said).map_or(said, |entry| &entry.trap).to_owned();
        if !named.contains(&trap) {
            let p = answer.likely.remove(&offered).unwrap_or_default();
            *answer.likely.entry(trap.clone()).or_default() += p;
            answer.trap = Some(trap);
            answer.offered = Some(offered);
        }
    }
    named.extend(answer.trap.clone());
    answer
}

fn distance(register: &Register, pull: &Pull<'_>, trap: &str) -> Option<f64> {
    metres(pull.stop.position.as_ref()?, &register.get(trap)?.spot)
}
