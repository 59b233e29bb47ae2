//! What each boat has landed on its last days, and which pulls were over a limit of their day.

use std::collections::BTreeMap;

use crate::finding::Flag;
use crate::record::Record;
use crate::rules::{Landed, Measure, Rules, takes_claws};
use crate::tally::Day;
use crate::time::Utc;

/// Days kept of each boat: a trip may go over midnight, and time zones differ by a day.
const DAYS: usize = 3;

/// The last days of each boat.
#[derive(Debug, Clone, Default)]
pub(super) struct Limits(BTreeMap<String, BTreeMap<String, OfDay>>);

/// A day of a boat.
#[derive(Debug, Clone, Default)]
struct OfDay {
    landed: Landed,
    /// What was said of it, in order of time, each with the id of what it was said in.
    said: BTreeMap<(Option<Utc>, String), Day>,
    /// The last pull that took claws, and its rules.
    last: Option<(String, Rules)>,
}

impl Limits {
    /// Takes what was said of a day, before the pulls of that trip are taken. What is of no day counts for none.
    pub fn hear(&mut self, boat: &str, day: Option<String>, said: &Day, at: Option<Utc>, id: &str) {
        let Some(day) = day.filter(|_| !said.is_empty()) else { return };
        let of_day = self.day(boat, &day);
        of_day.said.insert((at, id.to_owned()), said.clone());
        of_day.landed.said = Day::default();
        of_day.said.values().for_each(|said| of_day.landed.said.later(said));
    }

    /// Takes the next pull in order of time, and flags it if it is over a limit. Without a date it is of no day.
    pub fn take(&mut self, record: &mut Record, rules: Option<&Rules>) {
        let Some(day) = &record.day else { return };
        let of_day = self.day(&record.boat, day);
        let rules = rules.cloned().unwrap_or_default();
        if of_day.landed.add(record, &rules) {
            record.flags.insert(Flag::OverLimit);
        }
        if takes_claws(record) {
            of_day.last = Some((record.pull.clone(), rules));
        }
    }

    /// The pulls with which a day of the boat was over a limit by what was said at the dock: nobody can tell with which
    /// it went over, but with its last claws it was.
    pub fn over_at_the_dock(&self, boat: &str) -> impl Iterator<Item = &String> {
        let over = |of_day: &OfDay, rules: &Rules| of_day.landed.over(rules, |of| of != Measure::Traps);
        let days = self.0.get(boat).into_iter().flat_map(BTreeMap::values);
        days.filter_map(move |of_day| of_day.last.as_ref().filter(|(_, rules)| over(of_day, rules)))
            .map(|(pull, _)| pull)
    }

    fn day(&mut self, boat: &str, day: &str) -> &mut OfDay {
        let days = self.0.entry(boat.to_owned()).or_default();
        while days.len() >= DAYS && !days.contains_key(day) {
            days.pop_first();
        }
        days.entry(day.to_owned()).or_default()
    }
}
