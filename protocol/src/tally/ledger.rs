//! What was stated so far in a pull, in order: adds, replaces, corrects, takes back, and sums up at the end.

use std::borrow::Cow;
use std::collections::BTreeMap;

use super::lexicon::{Fact, How, Slot, State};
use super::{Count, Kind, Reading, Tally};

/// One statement: what it says, taken back as a whole.
#[derive(Debug, Clone, PartialEq)]
struct Claim {
    facts: Vec<Fact>,
    draft: bool,
    /// Which of the pull's notes it was in.
    note: usize,
}

/// The statements of one pull.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Ledger {
    claims: Vec<Claim>,
    note: usize,
    /// A word of the trade was understood.
    pub trade: bool,
}

/// A slot's total and verdicts.
#[derive(Debug, Clone, Copy, Default)]
struct Sum {
    total: Option<u32>,
    verdicts: u32,
}

impl Ledger {
    /// Begins the next note.
    pub fn next_note(&mut self) {
        self.note += 1;
    }

    /// Takes a statement. One that narrows its word ("two big crabs") does not replace a total.
    pub fn claim(&mut self, facts: Vec<Fact>, draft: bool, narrowed: bool) {
        let draft = draft || (narrowed && facts.iter().any(|fact| self.has_total(fact)));
        self.claims.push(Claim { facts, draft, note: self.note });
    }

    /// A number without a word: crabs right after opening, or when crabs were last spoken of; else a draft.
    pub fn bare(&mut self, n: u32) {
        let last = self.claims.iter().rev().flat_map(|claim| claim.facts.iter().rev()).find_map(slot);
        let crabs = Slot::Count(Count::Crabs);
        let draft = last.is_some_and(|slot| *slot != crabs);
        self.claim(vec![Fact::Number { slot: crabs, how: How::Total, n }], draft, false);
    }

    /// Makes the last number said another one. A verdict had no number of its own: then it is only a draft.
    pub fn amend(&mut self, n: u32) {
        let numbered = |fact: &&mut Fact| matches!(fact, Fact::Number { .. } | Fact::State(State::Name(_)));
        let mut facts = self.claims.iter_mut().rev().flat_map(|claim| claim.facts.iter_mut().rev());
        let draft = match facts.find(numbered) {
            Some(Fact::Number { slot, how: How::Verdict, .. }) => Some(slot.clone()),
            Some(Fact::Number { n: last, .. }) => {
                *last = n;
                None
            }
            Some(Fact::State(State::Name(name))) => {
                *name = Cow::Owned(n.to_string());
                None
            }
            _ => Some(Slot::Count(Count::Crabs)),
        };
        if let Some(slot) = draft {
            self.claim(vec![Fact::Number { slot, how: How::Total, n }], true, false);
        }
    }

    /// Takes the last statement back.
    pub fn undo(&mut self) {
        self.claims.pop();
    }

    /// Takes back the last statement of this note if it was a verdict: "keeper, no, short".
    pub fn retract(&mut self) {
        let verdict = |fact: &Fact| matches!(fact, Fact::Number { how: How::Verdict, .. });
        let last = self.claims.last();
        if last.is_some_and(|claim| claim.note == self.note && claim.facts.iter().all(verdict)) {
            self.claims.pop();
        }
    }

    fn has_total(&self, fact: &Fact) -> bool {
        let total = |other: &Fact| matches!(other, Fact::Number { how: How::Total, .. });
        let same = |other: &Fact| slot(other).is_some() && slot(other) == slot(fact) && total(other);
        self.claims.iter().filter(|claim| !claim.draft).flat_map(|claim| &claim.facts).any(same)
    }

    /// What the notes say, all told.
    pub fn finish(self) -> Reading {
        let mut reading = Reading { trade: self.trade, ..Reading::default() };
        let mut sums = BTreeMap::new();
        for claim in self.claims.iter().filter(|claim| !claim.draft) {
            add(&mut sums, &mut reading.tally, claim);
            claim.facts.iter().for_each(|fact| remark(&mut reading, fact));
        }
        let mut verdict_keys: BTreeMap<&'static str, bool> = BTreeMap::new();
        for (slot, sum) in &sums {
            put(&mut reading.tally, slot, sum.total.unwrap_or(sum.verdicts));
            let summed = verdict_keys.entry(key(slot)).or_insert(true);
            *summed &= sum.total.is_none();
            reading.contradictory |= sum.total.is_some_and(|total| sum.verdicts > 0 && sum.verdicts != total);
        }
        reading.summed =
            verdict_keys.iter().filter(|(_, summed)| **summed).map(|(key, _)| (*key).to_string()).collect();
        reading.contradictory |= impossible(&sums);

        let mut drafts = BTreeMap::new();
        for claim in self.claims.iter().filter(|claim| claim.draft) {
            add(&mut drafts, &mut reading.drafts, claim);
        }
        for (slot, sum) in &drafts {
            let n = sum.total.unwrap_or(sum.verdicts);
            if sums.get(slot).is_none_or(|counted| counted.total.unwrap_or(counted.verdicts) != n) {
                put(&mut reading.drafts, slot, n);
            }
        }
        reading.kind_hint = lifted(&reading.tally).then_some(Kind::Pull).or(reading.kind_hint);
        reading
    }
}

fn slot(fact: &Fact) -> Option<&Slot> {
    match fact {
        Fact::Number { slot, .. } => Some(slot),
        _ => None,
    }
}

/// Adds a statement's facts to sums and states.
fn add(sums: &mut BTreeMap<Slot, Sum>, tally: &mut Tally, claim: &Claim) {
    for fact in &claim.facts {
        match fact {
            Fact::Number { slot, how, n } => {
                let sum = sums.entry(slot.clone()).or_default();
                match how {
                    How::Total => sum.total = Some(*n),
                    How::Verdict => sum.verdicts = sum.verdicts.saturating_add(*n),
                    How::More => {
                        sum.total = sum.total.map(|total| total.saturating_add(*n));
                        if sum.total.is_none() || sum.verdicts > 0 {
                            sum.verdicts = sum.verdicts.saturating_add(*n);
                        }
                    }
                }
                if *slot == Slot::Pieces && *n > 0 {
                    tally.bait_added = Some(true);
                }
            }
            Fact::Seen(animal) => {
                tally.other.entry(animal.to_string()).or_insert(None);
            }
            Fact::State(state) => be(tally, state),
        }
    }
}

fn be(tally: &mut Tally, state: &State) {
    match state {
        State::BaitLeft(share) => tally.bait_left = Some(*share),
        State::BaitAdded(yes) => tally.bait_added = Some(*yes),
        State::BaitKind(kind) => tally.bait_kind = Some(kind.to_string()),
        State::Tie(tie) => tally.tie = Some(*tie),
        State::TieNew(yes) => tally.tie_new = Some(*yes),
        State::Lid(lid) => tally.lid = Some(*lid),
        State::Tampered(yes) => tally.tampered = Some(*yes),
        State::Trap(state) => tally.trap_state = Some(*state),
        State::TakenIn(yes) => tally.taken_in = Some(*yes),
        State::Bottom(word) => tally.bottom = Some(word.to_string()),
        State::Name(_) | State::Kind(_) | State::Mark => {}
    }
}

/// What is not part of the tally.
fn remark(reading: &mut Reading, fact: &Fact) {
    match fact {
        Fact::State(State::Name(name)) => reading.trap = Some(name.to_string()),
        Fact::State(State::Kind(kind)) => reading.kind_hint = Some(*kind),
        Fact::State(State::Mark) => reading.mark = true,
        _ => {}
    }
}

fn put(tally: &mut Tally, slot: &Slot, n: u32) {
    match slot {
        Slot::Count(count) => {
            tally.counts.insert(*count, n);
        }
        Slot::Size(size) => {
            tally.sizes.insert(size.to_string(), n);
        }
        Slot::Other(animal) => {
            tally.other.insert(animal.to_string(), Some(n));
        }
        Slot::Pieces => tally.bait_pieces = Some(n),
    }
}

fn key(slot: &Slot) -> &'static str {
    match slot {
        Slot::Count(count) => count.key(),
        Slot::Size(_) => "sizes",
        Slot::Other(_) => "other",
        Slot::Pieces => "bait_pieces",
    }
}

/// Whether what is stated can only be said of a trap that was lifted.
fn lifted(tally: &Tally) -> bool {
    !tally.counts.is_empty()
        || !tally.sizes.is_empty()
        || tally.bait_left.is_some()
        || tally.tie.is_some()
        || tally.lid.is_some()
        || tally.taken_in == Some(true)
}

/// Whether stated totals cannot all be true. Verdicts may leave crabs out, so they count as "at least".
fn impossible(sums: &BTreeMap<Slot, Sum>) -> bool {
    use Count::*;
    let of = |count: Count| sums.get(&Slot::Count(count));
    let total = |count| of(count).and_then(|sum| sum.total).map(u64::from);
    let least = |count| of(count).map_or(0, |sum| u64::from(sum.total.unwrap_or(sum.verdicts)));
    let more_than = |most: Option<u64>, parts: &[Count]| {
        most.is_some_and(|most| parts.iter().map(|count| least(*count)).sum::<u64>() > most)
    };
    let crabs = total(Crabs);
    let claws_differ = match (total(Keepers), total(Claws), total(Both)) {
        (Some(keepers), Some(claws), Some(both)) => claws != keepers + both,
        (Some(keepers), Some(claws), None) => claws < keepers || claws > 2 * keepers,
        _ => false,
    };
    claws_differ
        || more_than(total(Keepers), &[Both])
        || more_than(crabs, &[Keepers, Shorts])
        || more_than(crabs, &[Females, Males])
        || more_than(crabs, &[Berried])
        || more_than(crabs, &[Soft])
        || more_than(crabs, &[Dead])
        || more_than(total(Claws), &[Crushers, Pincers])
}
