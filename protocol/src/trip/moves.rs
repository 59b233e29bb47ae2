//! What a trip does to the register: each set moves its trap, and what stays open about which was set where is kept.

use std::collections::BTreeMap;

use super::Pull;
use super::pair::{Paired, new_name};
use crate::finding::Spot;
use crate::pairing::Grade;
use crate::record::Record;
use crate::register::{Doubt, Register};
use crate::tally::Kind;

/// Probability of another place that is worth keeping.
const LEAST_DOUBT: f64 = 0.0005;

/// Where the traps of a trip lay before it.
pub(super) fn places(register: &Register, paired: &[Paired]) -> BTreeMap<String, Spot> {
    let traps = paired.iter().flat_map(|paired| paired.likely.keys());
    let afloat = |trap: &String| {
        let entry = register.get(trap).filter(|entry| !entry.ashore && !entry.retired)?;
        Some((trap.clone(), entry.spot))
    };
    traps.filter_map(afloat).collect()
}

/// A set moves the trap, a visit leaves it, taken in it lies nowhere; one that the register lacks is offered. Says
/// which trap that was.
pub(super) fn apply(
    register: &mut Register,
    pull: &Pull<'_>,
    paired: &Paired,
    record: &Record,
) -> Option<String> {
    if pull.kind == Kind::Visit {
        return paired.trap.clone();
    }
    let taken_in = record.tally.taken_in == Some(true);
    let set = pull.stop.set.and_then(|set| Some((set.spot, set.at.utc?)));
    match (&paired.trap, set) {
        (Some(trap), _) if taken_in => register.take_in(trap),
        (Some(trap), Some((spot, at))) => {
            register.set(trap, spot, Some(at));
            let others = paired.likely.iter().filter(|(other, _)| *other != trap).map(|(_, p)| p);
            register.own(trap, at_the_root(paired.probability, others));
        }
        (None, Some((spot, at))) if !taken_in && paired.grade != Grade::Corrected => {
            let trap = new_name(register, &pull.stop.id);
            register.offer(&trap, spot, Some(at));
            register
                .own(&trap, at_the_root(1.0 - paired.likely.values().sum::<f64>(), paired.likely.values()));
            return Some(trap);
        }
        _ => {}
    }
    paired.trap.clone()
}

/// Keeps, for each trap of the trip, the other places where it may have been set, or still lie.
pub(super) fn doubts(
    register: &mut Register,
    pulls: &[Pull<'_>],
    paired: &[Paired],
    before: &BTreeMap<String, Spot>,
) {
    let mut chances: BTreeMap<&str, Chances> = BTreeMap::new();
    for (pull, paired) in pulls.iter().zip(paired).filter(|(pull, _)| pull.kind != Kind::Visit) {
        for (trap, p) in &paired.likely {
            let chances = chances.entry(trap).or_default();
            if paired.trap.as_ref() == Some(trap) {
                chances.here += p;
                chances.corrected |= paired.grade == Grade::Corrected;
            } else if let Some(set) = pull.stop.set {
                let instead_of = paired.trap.clone().or_else(|| Some(new_name(register, &pull.stop.id)));
                chances.elsewhere.push(Doubt { spot: set.spot, probability: *p, instead_of });
            }
        }
    }
    for (trap, mut chances) in chances {
        let Some(old) = before.get(trap) else { continue };
        let elsewhere: f64 = chances.elsewhere.iter().map(|doubt| doubt.probability).sum();
        let still = (1.0 - chances.here - elsewhere).max(0.0);
        let main = if chances.here > 0.0 {
            // It may be that it was not pulled at all.
            chances.elsewhere.push(Doubt { spot: *old, probability: still, instead_of: None });
            chances.here
        } else {
            still
        };
        if chances.corrected {
            chances.elsewhere.clear();
        }
        register.doubt(trap, tempered(main, chances.elsewhere));
    }
}

/// What a trip says of where one trap was set.
#[derive(Default)]
struct Chances {
    /// Probability that it was the pull it was paired with.
    here: f64,
    corrected: bool,
    elsewhere: Vec<Doubt>,
}

/// How likely one possibility is beside others, each at the root of its odds (see [`tempered`]).
fn at_the_root<'a>(one: f64, others: impl Iterator<Item = &'a f64>) -> f64 {
    let one = one.max(0.0).sqrt();
    one / (one + others.map(|p| p.max(0.0).sqrt()).sum::<f64>()).max(f64::MIN_POSITIVE)
}

/// Doubts come in pairs: where one trap was taken for another, that one was taken for it. Two that are told one by one
/// would count twice for what is one question, so each is told at the root of its odds.
fn tempered(main: f64, mut doubts: Vec<Doubt>) -> Vec<Doubt> {
    doubts.retain(|doubt| doubt.probability >= LEAST_DOUBT);
    doubts.iter_mut().for_each(|doubt| doubt.probability = doubt.probability.max(0.0).sqrt());
    let all = main.max(0.0).sqrt() + doubts.iter().map(|doubt| doubt.probability).sum::<f64>();
    doubts.iter_mut().for_each(|doubt| doubt.probability /= all.max(f64::MIN_POSITIVE));
    doubts
}
