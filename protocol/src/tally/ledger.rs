//! What was stated so far in a pull, in order: adds, replaces, corrects, takes back, and sums up at the end.

use std::borrow::Cow;
use std::collections::BTreeMap;

use super::lexicon::{Fact, How, Slot, State};
use super::tokens::Token;
use super::{Count, Day, Kind, Reading, Span, Tally, TrapState, Weight};

/// Where something was said: from a byte of one text to a byte of the same or a later one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Place {
    from: (usize, usize),
    to: (usize, usize),
}

impl Place {
    pub fn of(tokens: &[Token]) -> Place {
        let from = tokens.first().map(|token| (token.text, token.place.start));
        let to = tokens.last().map(|token| (token.text, token.place.end));
        Place { from: from.unwrap_or_default(), to: to.unwrap_or_default() }
    }

    /// The text it begins in.
    pub fn text(&self) -> usize {
        self.from.0
    }

    /// Its bytes, when it ends in the text it begins in.
    pub fn bytes(&self) -> std::ops::Range<usize> {
        self.from.1..if self.to.0 == self.from.0 { self.to.1 } else { self.from.1 }
    }

    /// Both, and what lies between.
    pub fn with(&self, other: &Place) -> Place {
        Place { from: self.from.min(other.from), to: self.to.max(other.to) }
    }
}

/// One statement: what it says, taken back as a whole.
#[derive(Debug, Clone, PartialEq)]
struct Claim {
    facts: Vec<Fact>,
    draft: bool,
    /// Which of the pull's notes it was in.
    note: usize,
    /// Where it was said, and where it was corrected.
    places: Vec<Place>,
}

/// The statements of one pull.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Ledger {
    claims: Vec<Claim>,
    note: usize,
    /// This note's text is a recogniser's.
    heard: bool,
    /// How long each text is, in bytes.
    lengths: Vec<usize>,
    /// What was said of the pull before.
    before: Vec<Claim>,
    /// A word of the trade was understood.
    pub trade: bool,
    pub day: Day,
    pub weights: Vec<Weight>,
    pub spans: Vec<Span>,
}

/// A slot's total and verdicts.
#[derive(Debug, Clone, Copy, Default)]
struct Sum {
    total: Option<u32>,
    verdicts: u32,
}

impl Sum {
    fn n(self) -> u32 {
        self.total.unwrap_or(self.verdicts)
    }
}

impl Ledger {
    /// Begins the next note, whose text is so many bytes long.
    pub fn next_note(&mut self, length: usize, heard: bool) {
        self.note += 1;
        self.heard = heard;
        self.lengths.push(length);
    }

    /// Takes what was said of the pull before.
    pub fn before(&mut self, facts: Vec<Fact>, place: Place) {
        self.before.push(Claim { facts, draft: true, note: self.note, places: vec![place] });
    }

    /// Which words gave something.
    pub fn span(&mut self, key: &str, draft: bool, place: &Place) {
        for text in place.from.0..=place.to.0 {
            let length = self.lengths.get(text).copied().unwrap_or_default();
            let from = if text == place.from.0 { place.from.1 } else { 0 };
            let to = if text == place.to.0 { place.to.1 } else { length };
            self.spans.push(Span { text, from, to, key: key.to_owned(), draft });
        }
    }

    /// Takes a statement. One that narrows its word ("two big crabs") does not replace a total.
    pub fn claim(&mut self, facts: Vec<Fact>, draft: bool, narrowed: bool, place: Place) {
        let facts = self.same_crab(facts);
        let draft = draft || (narrowed && facts.iter().any(|fact| self.has_total(fact)));
        self.claims.push(Claim { facts, draft, note: self.note, places: vec![place] });
    }

    /// "Keeper. Took both." is one crab: after a bare verdict, claws taken are that crab's.
    fn same_crab(&self, mut facts: Vec<Fact>) -> Vec<Fact> {
        let verdict = |fact: &Fact, of: Count| matches!(fact, Fact::Number { slot: Slot::Count(count), how: How::Verdict, .. } if *count == of);
        let last = self.claims.last().filter(|last| !last.draft).map(|last| last.facts.as_slice());
        let judged = matches!(last, Some([fact]) if verdict(fact, Count::Keepers));
        if judged && facts.iter().any(|fact| verdict(fact, Count::Claws)) {
            facts.retain(|fact| !verdict(fact, Count::Keepers));
        }
        facts
    }

    /// A number without a word: crabs right after opening, or when crabs were last spoken of; else a draft. So is one that was
    /// heard: "there's five" is what is left of "bet there's five" when one short word is not understood.
    pub fn bare(&mut self, n: u32, place: Place) {
        let last = self.claims.iter().rev().flat_map(|claim| claim.facts.iter().rev()).find_map(slot);
        let crabs = Slot::Count(Count::Crabs);
        let draft = self.heard || last.is_some_and(|slot| *slot != crabs);
        self.claim(vec![Fact::Number { slot: crabs, how: How::Total, n }], draft, false, place);
    }

    /// Makes the last number said another one. A verdict had no number of its own: then it is only a draft.
    pub fn amend(&mut self, n: u32, place: Place) {
        let numbered = |fact: &&mut Fact| matches!(fact, Fact::Number { .. } | Fact::State(State::Name(_)));
        let last = self.claims.iter_mut().rev().find_map(|claim| {
            let fact = claim.facts.iter_mut().rev().find(numbered)?;
            Some((fact, &mut claim.places))
        });
        let draft = match last {
            Some((Fact::Number { slot, how: How::Verdict, .. }, _)) => slot.clone(),
            Some((Fact::Number { n: last, .. }, places)) => {
                *last = n;
                return places.push(place);
            }
            Some((Fact::State(State::Name(name)), places)) => {
                *name = Cow::Owned(n.to_string());
                return places.push(place);
            }
            _ => Slot::Count(Count::Crabs),
        };
        self.claim(vec![Fact::Number { slot: draft, how: How::Total, n }], true, false, place);
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
    pub fn finish(mut self) -> Reading {
        let mut reading = Reading { trade: self.trade, ..Reading::default() };
        let mut sums = BTreeMap::new();
        for claim in self.claims.iter().filter(|claim| !claim.draft) {
            add(&mut sums, &mut reading.tally, claim);
            claim.facts.iter().for_each(|fact| remark(&mut reading, fact));
        }
        // "No buoy, nothing": a trap that was not found was not empty.
        let nothing = Slot::Count(Count::Crabs);
        if reading.tally.trap_state == Some(TrapState::Missing)
            && sums.get(&nothing).is_some_and(|sum| sum.n() == 0)
        {
            sums.remove(&nothing);
        }
        let mut verdict_keys: BTreeMap<&'static str, bool> = BTreeMap::new();
        for (slot, sum) in &sums {
            put(&mut reading.tally, slot, sum.n());
            let summed = verdict_keys.entry(key(slot)).or_insert(true);
            *summed &= sum.total.is_none();
            reading.contradictory |= sum.total.is_some_and(|total| sum.verdicts > 0 && sum.verdicts != total);
        }
        reading.summed =
            verdict_keys.iter().filter(|(_, summed)| **summed).map(|(key, _)| (*key).to_string()).collect();
        reading.claws_differ = claws_differ(&sums);
        reading.contradictory |= reading.claws_differ || impossible(&sums);

        let mut drafts = BTreeMap::new();
        for claim in self.claims.iter().filter(|claim| claim.draft) {
            add(&mut drafts, &mut reading.drafts, claim);
        }
        for (slot, sum) in &drafts {
            if sums.get(slot).is_none_or(|counted| counted.n() != sum.n()) {
                put(&mut reading.drafts, slot, sum.n());
            }
        }
        let mut before = BTreeMap::new();
        for claim in &self.before {
            add(&mut before, &mut reading.before, claim);
        }
        before.iter().for_each(|(slot, sum)| put(&mut reading.before, slot, sum.n()));
        // A trap that is set again was lifted before, even if what was in it is in doubt.
        let lifted =
            lifted(&reading.tally) || (reading.kind_hint == Some(Kind::Set) && lifted(&reading.drafts));
        reading.kind_hint = lifted.then_some(Kind::Pull).or(reading.kind_hint);
        let claims = std::mem::take(&mut self.claims);
        for draft in [false, true] {
            for (key, place) in shown(&claims, draft) {
                self.span(key, draft, place);
            }
        }
        self.spans.sort();
        self.spans.dedup();
        reading.spans = self.spans;
        reading.day = self.day;
        reading.weights = self.weights;
        reading
    }
}

/// The places that gave the figures: totals and what was added to them, or the verdicts, or a state's last word.
fn shown(claims: &[Claim], draft: bool) -> Vec<(&'static str, &Place)> {
    let mut numbers: BTreeMap<&Slot, (bool, Vec<&Place>)> = BTreeMap::new();
    let mut states: BTreeMap<String, (&'static str, Vec<&Place>)> = BTreeMap::new();
    for claim in claims.iter().filter(|claim| claim.draft == draft) {
        let places = || claim.places.iter();
        for fact in &claim.facts {
            match fact {
                Fact::Number { slot, how, .. } => {
                    let (total, shown) = numbers.entry(slot).or_default();
                    match (how, *total) {
                        (How::Total, _) => (*total, *shown) = (true, places().collect()),
                        (How::Verdict, true) => {}
                        (How::Verdict, false) | (How::More, _) => shown.extend(places()),
                    }
                }
                Fact::Seen(animal) => {
                    states.insert(animal.to_string(), ("other", places().collect()));
                }
                Fact::State(state) => {
                    let key = state_key(state);
                    states.insert(key.to_owned(), (key, places().collect()));
                }
            }
        }
    }
    let numbers = numbers.into_iter().map(|(slot, (_, places))| (key(slot), places));
    numbers
        .chain(states.into_values())
        .flat_map(|(key, places)| places.into_iter().map(move |p| (key, p)))
        .collect()
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
        State::Name(_) | State::Kind(_) | State::Mark | State::NewTrap => {}
    }
}

/// What is not part of the tally.
fn remark(reading: &mut Reading, fact: &Fact) {
    match fact {
        Fact::State(State::Name(name)) => reading.trap = Some(name.to_string()),
        Fact::State(State::Kind(kind)) => reading.kind_hint = Some(*kind),
        Fact::State(State::Mark) => reading.mark = true,
        Fact::State(State::NewTrap) => reading.new_trap = true,
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

/// What a state's words are shown to have given: a tally's key, or `trap`, `kind`, `mark`.
fn state_key(state: &State) -> &'static str {
    match state {
        State::BaitLeft(_) => "bait_left",
        State::BaitAdded(_) => "bait_added",
        State::BaitKind(_) => "bait_kind",
        State::Tie(_) => "tie",
        State::TieNew(_) => "tie_new",
        State::Lid(_) => "lid",
        State::Tampered(_) => "tampered",
        State::Trap(_) => "trap_state",
        State::TakenIn(_) => "taken_in",
        State::Bottom(_) => "bottom",
        State::Name(_) => "trap",
        State::Kind(_) | State::NewTrap => "kind",
        State::Mark => "mark",
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

/// A count's total, if one was stated.
fn total(sums: &BTreeMap<Slot, Sum>, count: Count) -> Option<u64> {
    sums.get(&Slot::Count(count)).and_then(|sum| sum.total).map(u64::from)
}

/// A count as recorded: its total, or else its verdicts.
fn recorded(sums: &BTreeMap<Slot, Sum>, count: Count) -> Option<u64> {
    sums.get(&Slot::Count(count)).map(|sum| u64::from(sum.n()))
}

/// Whether claws cannot come from so many crabs: each gives one or two.
fn claws_differ(sums: &BTreeMap<Slot, Sum>) -> bool {
    use Count::*;
    let of = |count| recorded(sums, count);
    // A total of claws beside verdicts; "he dropped it himself" gives a claw without a keeper.
    let (Some(keepers), Some(claws)) = (of(Keepers), total(sums, Claws)) else { return false };
    match total(sums, Both) {
        Some(both) if total(sums, Keepers).is_some() => claws != keepers + both,
        _ => claws < keepers || claws > 2 * keepers,
    }
}

/// Whether stated totals cannot all be true. Verdicts may leave crabs out, so they count as "at least".
fn impossible(sums: &BTreeMap<Slot, Sum>) -> bool {
    use Count::*;
    let more_than = |most: Count, parts: &[Count]| {
        let sum: u64 = parts.iter().filter_map(|count| recorded(sums, *count)).sum();
        total(sums, most).is_some_and(|most| sum > most)
    };
    more_than(Keepers, &[Both])
        || more_than(Crabs, &[Keepers, Shorts, Berried])
        || more_than(Crabs, &[Females, Males])
        || more_than(Crabs, &[Soft])
        || more_than(Crabs, &[Dead])
        || more_than(Crabs, &[LeftHanded, RightHanded])
        || more_than(Claws, &[Crushers, Pincers])
}
