//! The days table: what a boat's day came to, from its pulls and from what was said of it, at the dock or at sea.

use std::collections::{BTreeMap, BTreeSet};
use std::io::Write;

use gunwale_protocol::finding::Flag;
use gunwale_protocol::record::NoteRecord;
use gunwale_protocol::rules::{Landed, Rules};
use gunwale_protocol::tally::{self, Count, Handed, Kind};
use gunwale_protocol::trip::{Entry, Found};

use super::sheet::Sheet;
use super::{Range, each_day};
use crate::args::Format;
use crate::desk::Desk;
use crate::error::Result;

/// A day of a boat.
#[derive(Debug, Clone, Default)]
pub struct Day {
    /// The local date; none while undated.
    pub day: Option<String>,
    /// The boat's name.
    pub boat: String,
    /// Traps lifted.
    pub pulls: usize,
    /// Claws grown back, of all pulls; none when not stated at any.
    pub regrown: Option<i64>,
    /// What was said far from any trap, and at a trap of the day, in order of time.
    pub texts: Vec<String>,
    /// What of that is understood.
    pub said: tally::Day,
    /// What lies outside the rules that were set: of its pulls, and of the day as a whole.
    pub flags: BTreeSet<Flag>,
    /// What its pulls came to.
    landed: Landed,
    /// The rules that held at them.
    rules: Vec<Rules>,
}

impl Day {
    /// All that was said far from any trap, or of the day.
    pub fn text(&self) -> Option<String> {
        (!self.texts.is_empty()).then(|| self.texts.join(" / "))
    }

    /// The lots that were weighed at the dock, `size:grams` joined by `;`.
    pub fn lots(&self) -> Option<String> {
        let lots: Vec<String> = self.said.lots.iter().map(|lot| format!("{}:{}", lot.size, lot.g)).collect();
        (!lots.is_empty()).then(|| lots.join(";"))
    }

    /// Claws given away.
    pub fn given(&self) -> Option<i64> {
        claws(&self.said.given)
    }

    /// Claws sold.
    pub fn sold(&self) -> Option<i64> {
        claws(&self.said.sold)
    }

    fn take(&mut self, found: &Found, entry: &Entry) {
        match entry {
            Entry::Pull(record) => {
                self.pulls += usize::from(record.kind == Kind::Pull);
                if let Some(n) = record.tally.count(Count::Regrown) {
                    *self.regrown.get_or_insert(0) += i64::from(n);
                }
                self.said.later(&record.day_said);
                let dock = record.kind == Kind::Visit && record.trap.is_none();
                let of_the_day = |note: &&NoteRecord| {
                    dock || note.spans.iter().any(|span| SAID.contains(&span.key.as_str()))
                };
                self.texts
                    .extend(record.notes.iter().filter(of_the_day).filter_map(|note| note.text.clone()));
                self.flags.extend(OUTSIDE.iter().filter(|flag| record.flags.contains(flag)));
                self.landed.add(record, &Rules::default());
                let rules = found.rules.as_deref().filter(|rules| !self.rules.contains(rules));
                self.rules.extend(rules.cloned());
            }
            Entry::Loose(loose) => {
                self.said.later(&loose.day_said);
                self.texts.extend(loose.note.as_ref().and_then(|note| note.text.clone()));
            }
            Entry::Dropped => {}
        }
    }

    /// Its day is over: flags it if it was over a limit by what its pulls gave or by what was said at the dock.
    fn end(&mut self) {
        self.landed.said = self.said.clone();
        // What has no date may be of many days.
        let dated = self.day.is_some();
        if dated && self.rules.iter().any(|rules| self.landed.over(rules, |_| true)) {
            self.flags.insert(Flag::OverLimit);
        }
    }
}

/// Keys of what is said of a day, as the spans of a note have them.
const SAID: [&str; 7] = ["people", "conditions", "claws_landed", "volume_l", "lots", "given", "sold"];
/// Flags of the rules.
const OUTSIDE: [Flag; 4] = [Flag::BeforeSunrise, Flag::AfterSunset, Flag::OutsideSeason, Flag::OverLimit];

fn claws(handed: &[Handed]) -> Option<i64> {
    (!handed.is_empty()).then(|| handed.iter().map(|handed| i64::from(handed.claws)).sum())
}

/// Writes a row for each day and boat with records, by day, then by boat.
///
/// # Errors
/// Records that cannot be read, output that cannot be written.
pub fn days(desk: &Desk, range: &Range, format: Format, out: &mut dyn Write) -> Result<()> {
    let mut sheet = Sheet::<Day>::begin(format, out)?;
    each_day(desk, range, |day, entries| {
        let mut boats: BTreeMap<String, Day> = BTreeMap::new();
        entries(&mut |found, entry| {
            if !matches!(entry, Entry::Dropped) {
                let of_boat = boats.entry(found.boat.clone()).or_insert_with(|| Day {
                    day: day.map(str::to_owned),
                    boat: found.boat.clone(),
                    ..Day::default()
                });
                of_boat.take(found, entry);
            }
            Ok(())
        })?;
        boats.into_values().try_for_each(|mut of_boat| {
            of_boat.end();
            sheet.row(&of_boat)
        })
    })?;
    sheet.end()
}
