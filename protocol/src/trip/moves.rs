//! What a trip does to the register: each set moves its trap, and what stays open about which was set where is kept.

use std::collections::BTreeMap;

use super::Pull;
use super::pair::{Paired, new_name};
use crate::finding::Spot;
use crate::pairing::Grade;
use crate::record::Record;
use crate::register::Register;
use crate::tally::Kind;

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
        (Some(trap), Some((spot, at))) => register.set(trap, spot, Some(at)),
        (None, Some((spot, at))) if !taken_in && paired.grade != Grade::Corrected => {
            let trap = new_name(register, &pull.stop.id);
            register.offer(&trap, spot, Some(at));
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
    let mut elsewhere: BTreeMap<&str, Vec<(Spot, f64)>> = BTreeMap::new();
    let mut settled: BTreeMap<&str, bool> = BTreeMap::new();
    for (pull, paired) in pulls.iter().zip(paired).filter(|(pull, _)| pull.kind != Kind::Visit) {
        if let Some(trap) = &paired.trap {
            let corrected = paired.grade == Grade::Corrected;
            settled.entry(trap).and_modify(|known| *known |= corrected).or_insert(corrected);
        }
        let Some(set) = pull.stop.set else { continue };
        for (trap, p) in paired.likely.iter().filter(|(trap, _)| paired.trap.as_ref() != Some(trap)) {
            elsewhere.entry(trap).or_default().push((set.spot, *p));
        }
    }
    let here = |trap: &str| -> f64 {
        let of = |paired: &Paired| {
            paired.likely.get(trap).copied().filter(|_| paired.trap.as_deref() == Some(trap))
        };
        paired.iter().filter_map(of).sum()
    };
    for trap in before.keys().map(String::as_str) {
        let mut doubts = elsewhere.remove(trap).unwrap_or_default();
        match settled.get(trap) {
            Some(true) => doubts.clear(),
            Some(false) => {
                // It may be that it was not pulled at all.
                let left = 1.0 - here(trap) - doubts.iter().map(|(_, p)| p).sum::<f64>();
                doubts.extend(before.get(trap).map(|old| (*old, left)));
            }
            None => {}
        }
        register.doubt(trap, doubts);
    }
}
