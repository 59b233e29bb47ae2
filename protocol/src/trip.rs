//! The second fold: findings in order of time in, records out.
//!
//! A trip is one boat's pulls with less than six hours between them. Its pulls are paired with traps jointly, against
//! the register and the boat's usual order as they stood when the trip began; then its sets move the register on, and
//! its order is learnt. Corrections lie on top.

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};

use crate::correct::Corrections;
use crate::finding::{Finding, Flag, Note, Stop};
use crate::input::{Heard, Statement};
use crate::pairing::{Grade, Usual};
use crate::place::LatLon;
use crate::record::{LooseRecord, Record};
use crate::register::Register;
use crate::rules::{self, Rules};
use crate::sizes::Sizes;
use crate::tally::{Grammar, Kind, Speech, Tally};
use crate::time::{HOUR, Utc};

mod limits;
mod moves;
mod pair;
mod said;
mod weight;
mod words;
mod write;

use limits::Limits;
use pair::Paired;
use words::Words;

/// Pulls of one boat this far apart belong to different trips.
const TRIP_GAP: i64 = 6 * HOUR;

/// A finding with what its segment's run line says of it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Found {
    /// The boat's name.
    pub boat: String,
    /// IANA time zone of the boat's day.
    pub timezone: String,
    /// The rules of that day, if any were set.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rules: Option<Box<Rules>>,
    /// The crew's language and words.
    #[serde(default, skip_serializing_if = "Speech::is_default")]
    pub words: Speech,
    /// The crew's classes of claws by weight.
    #[serde(default, skip_serializing_if = "Sizes::is_default")]
    pub sizes: Sizes,
    /// What was found.
    pub finding: Finding,
}

impl Found {
    /// When it was, for the order of records; `None` while undated.
    pub fn at(&self) -> Option<Utc> {
        match &self.finding {
            Finding::Stop(stop) => stop.started.utc,
            Finding::Loose(loose) => loose
                .note
                .as_ref()
                .map(|n| n.at)
                .or(loose.weighing.as_ref().map(|w| w.at))
                .and_then(|at| at.utc),
        }
    }

    /// The last moment it speaks of; `None` while undated.
    pub fn until(&self) -> Option<Utc> {
        let ended = match &self.finding {
            Finding::Stop(stop) => stop.ended.and_then(|end| end.utc),
            Finding::Loose(_) => None,
        };
        ended.or_else(|| self.at())
    }

    /// The local date; `None` while undated.
    pub fn date(&self) -> Option<jiff::civil::Date> {
        self.at()?.day_in(&self.timezone)
    }

    /// Its id.
    pub fn id(&self) -> &str {
        match &self.finding {
            Finding::Stop(stop) => &stop.id,
            Finding::Loose(loose) => &loose.id,
        }
    }

    /// The local day, as text; `None` while undated.
    pub fn day(&self) -> Option<String> {
        self.date().map(|date| date.to_string())
    }
}

/// What became of a finding.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Entry {
    /// A pull, set or visit.
    Pull(Box<Record>),
    /// A note or weighing far from any trap.
    Loose(Box<LooseRecord>),
    /// Left out by a person.
    Dropped,
}

/// A stop with all that lies on top of it, ready for pairing.
struct Pull<'a> {
    found: &'a Found,
    stop: &'a Stop,
    notes: Vec<Note>,
    words: Words,
    kind: Kind,
}

/// The second fold's state: trips must be given in order of time.
#[derive(Debug, Clone, Default)]
pub struct Ledger {
    register: Register,
    /// In which order each boat usually hauls.
    usual: BTreeMap<String, Usual>,
    /// What each boat landed, and what was said of its days.
    limits: Limits,
    corrections: Corrections,
    /// Notes on their way to the pull a person moved them to.
    moved: BTreeMap<String, Note>,
    /// The trips that may still go on, by boat.
    open: BTreeMap<String, Vec<Found>>,
}

/// A finding and what became of it.
pub type Outcome = (Found, Entry);

impl Ledger {
    /// A ledger before all time. Statements may come in any order.
    pub fn new(mut statements: Vec<Statement>) -> Ledger {
        // By time, and by content where two are of one moment: never by the file they stood in.
        statements.sort_by_cached_key(|s| (s.at, serde_json::to_string(&s.said).unwrap_or_default()));
        statements.dedup();
        Ledger {
            register: Register::new(&statements),
            corrections: Corrections::new(&statements),
            ..Ledger::default()
        }
    }

    /// Takes what was heard in a note later than all that was stated so far; false when this ledger cannot, for it has
    /// passed the note's pull: a person moved it.
    pub fn hear(&mut self, heard: &Heard) -> bool {
        let here = self.corrections.moved_to(&heard.note).is_none();
        if here {
            self.corrections.hear(heard);
        }
        here
    }

    /// Whether [`Ledger::lend`] must see every finding before the fold begins.
    pub fn moves_notes(&self) -> bool {
        self.corrections.moves_notes()
    }

    /// Takes note of notes that a person moved to another pull, which may come before their own.
    pub fn lend(&mut self, found: &Found) {
        for note in notes(found).iter().filter(|note| self.corrections.moved_to(&note.id).is_some()) {
            self.moved.insert(note.id.clone(), note.clone());
        }
    }

    /// Gives the trips that nothing from `at` on can belong to any more (undated counts as before all time).
    pub fn settle(&mut self, at: Option<Utc>) -> Vec<Outcome> {
        match at {
            Some(at) => self.fold_trips(|end| at - end >= TRIP_GAP),
            None => Vec::new(),
        }
    }

    /// Takes the next finding in order of time, undated ones first, after [`Ledger::settle`] for its moment. A loose
    /// one is settled at once.
    pub fn take(&mut self, found: Found) -> Option<Outcome> {
        match found.finding {
            Finding::Stop(_) => {
                self.open.entry(found.boat.clone()).or_default().push(found);
                None
            }
            Finding::Loose(_) => Some(self.keep_loose(found)),
        }
    }

    /// Gives the trips that are still open. After this the ledger stands as of the last of them.
    pub fn finish(&mut self) -> Vec<Outcome> {
        self.fold_trips(|_| true)
    }

    /// Whether no trip is open: a good moment to begin a fold from a copy of this ledger.
    pub fn between_trips(&self) -> bool {
        self.open.is_empty()
    }

    /// The register as of the last settled trip.
    pub fn register(&self) -> &Register {
        &self.register
    }

    /// The register as it stands at this moment.
    pub fn register_at(&mut self, now: Utc) -> &Register {
        self.register.advance(now);
        &self.register
    }

    fn fold_trips(&mut self, over: impl Fn(Utc) -> bool) -> Vec<Outcome> {
        let end = |trip: &[Found]| trip.iter().map(Found::until).max().flatten();
        let mut ended: Vec<(Option<Utc>, String)> = self
            .open
            .iter()
            .filter(|(_, trip)| end(trip).is_none_or(&over))
            .map(|(boat, trip)| (trip.first().and_then(Found::at), boat.clone()))
            .collect();
        ended.sort();
        let mut outcomes = Vec::new();
        for (_, boat) in ended {
            let trip = self.open.remove(&boat).unwrap_or_default();
            outcomes.extend(self.fold(boat, trip));
        }
        outcomes
    }

    /// Pairs one trip's pulls and moves the register on.
    fn fold(&mut self, boat: String, trip: Vec<Found>) -> Vec<Outcome> {
        if let Some(start) = trip.first().and_then(Found::at) {
            self.register.advance(start);
        }
        let mut grammars: BTreeMap<&Speech, Grammar> = BTreeMap::new();
        for found in &trip {
            grammars.entry(&found.words).or_insert_with(|| Grammar::of(&found.words));
        }
        let names: Vec<&str> = self.register.names().collect();
        let mut pulls: Vec<Pull<'_>> = trip
            .iter()
            .filter(|found| !self.corrections.dropped(found.id()))
            .filter_map(|found| self.pull(found, grammars.get(&found.words)?, &names))
            .collect();
        let usual = self.usual.remove(&boat).unwrap_or_default();
        let paired = pair::pair(&self.register, &usual, &self.corrections, &pulls);
        for (pull, _) in pulls.iter_mut().zip(&paired).filter(|(pull, paired)| at_no_trap(pull, paired)) {
            pull.kind = Kind::Visit;
        }
        let mut records = BTreeMap::new();
        let mut hauled: Vec<Option<String>> = Vec::new();
        let before = moves::places(&self.register, &paired);
        for pull in &pulls {
            let (said, stop) = (&pull.words.reading.day, pull.stop);
            self.limits.hear(&boat, pull.found.day(), said, stop.started.utc, &stop.id);
        }
        for (pull, paired) in pulls.iter().zip(&paired) {
            if let (Some(offered), Some(trap)) = (&paired.offered, &paired.trap) {
                self.register.name(offered, trap);
            }
            let soak_from = paired.trap.as_deref().and_then(|trap| self.register.get(trap)?.set_at);
            let mut record = write::record(pull, paired, soak_from, &self.corrections);
            self.limits.take(&mut record, pull.found.rules.as_deref());
            hauled.push(moves::apply(&mut self.register, pull, paired, &record));
            records.insert(pull.stop.id.clone(), record);
        }
        for pull in self.limits.over_at_the_dock(&boat) {
            if let Some(record) = records.get_mut(pull) {
                record.flags.insert(Flag::OverLimit);
            }
        }
        said::of_the_pull_before(&pulls, &self.corrections, &mut records);
        moves::doubts(&mut self.register, &pulls, &paired, &before);
        self.learn(boat, usual, &paired, &hauled);
        trip.into_iter()
            .map(|found| {
                let entry = records.remove(found.id()).map_or(Entry::Dropped, |r| Entry::Pull(Box::new(r)));
                (found, entry)
            })
            .collect()
    }

    fn pull<'a>(&self, found: &'a Found, grammar: &Grammar, names: &[&str]) -> Option<Pull<'a>> {
        let Finding::Stop(stop) = &found.finding else { return None };
        let corrections = &self.corrections;
        let mut notes: Vec<Note> =
            stop.notes.iter().filter(|note| corrections.moved_to(&note.id).is_none()).cloned().collect();
        let here = |note: &&Note| corrections.moved_to(&note.id) == Some(stop.id.as_str());
        notes.extend(self.moved.values().filter(here).cloned());
        notes.retain(|note| !corrections.forgotten(&note.id));
        notes.sort_by(|a, b| (a.at.utc, a.at.t, &a.id).cmp(&(b.at.utc, b.at.t, &b.id)));
        let words = Words::of(&notes, corrections, grammar, names);
        let kind = words.reading.kind_hint.unwrap_or(Kind::Pull);
        Some(Pull { found, stop, notes, words, kind })
    }

    /// Learns the order of a trip, traps by their names of now.
    fn learn(&mut self, boat: String, mut usual: Usual, paired: &[Paired], hauled: &[Option<String>]) {
        for paired in paired {
            if let (Some(offered), Some(trap)) = (&paired.offered, &paired.trap) {
                usual.rename(offered, trap);
            }
        }
        usual.learn(&hauled.iter().map(Option::as_deref).collect::<Vec<_>>());
        self.usual.insert(boat, usual);
    }

    fn keep_loose(&mut self, found: Found) -> Outcome {
        let gone = |id: &str| self.corrections.moved_to(id).is_some() || self.corrections.forgotten(id);
        let gone = matches!(&found.finding, Finding::Loose(loose) if gone(&loose.id));
        let grammar = Grammar::of(&found.words);
        let words = Words::of(notes(&found), &self.corrections, &grammar, &[]);
        let entry = match write::loose(&found, &words, &self.corrections) {
            Some(loose) if !gone && !self.corrections.dropped(found.id()) => {
                self.limits.hear(&loose.boat, found.day(), &loose.day_said, found.at(), &loose.id);
                Entry::Loose(Box::new(loose))
            }
            _ => Entry::Dropped,
        };
        (found, entry)
    }
}

/// The notes of a finding.
pub fn notes(found: &Found) -> &[Note] {
    match &found.finding {
        Finding::Stop(stop) => &stop.notes,
        Finding::Loose(loose) => loose.note.as_slice(),
    }
}

/// Whether she lay where no trap is, as at the dock, and nothing was told but what is told of a day. Without a position nobody
/// knows.
fn at_no_trap(pull: &Pull<'_>, paired: &Paired) -> bool {
    let (stop, reading) = (pull.stop, &pull.words.reading);
    let told = reading.tally.is_empty() && reading.drafts.is_empty() && reading.kind_hint.is_none();
    let elsewhere = paired.trap.is_none() && paired.grade != Grade::Corrected && stop.position.is_some();
    elsewhere && told && stop.weighings.is_empty() && reading.trap.is_none() && !reading.day.is_empty()
}

/// Flags that the second fold adds to a pull on its own, given what was counted.
fn flags(pull: &Pull<'_>, tally: &Tally) -> BTreeSet<Flag> {
    let stop = pull.stop;
    let mut flags = pull.found.rules.as_ref().map_or_else(BTreeSet::new, |rules| {
        rules.flags(&rules::Stop {
            kind: pull.kind,
            taken_in: tally.taken_in == Some(true),
            started: stop.started.utc,
            ended: stop.ended.and_then(|end| end.utc),
            date: pull.found.date(),
            place: stop.position.and_then(|spot| LatLon::new(spot.lat, spot.lon).ok()),
        })
    });
    flags.extend(pull.words.reading.contradictory.then_some(Flag::CountDiffers));
    flags
}

#[cfg(test)]
mod tests;
