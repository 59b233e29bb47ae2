//! What the records say about where and how long to fish: rates for each trap and each class of soak, with ranges that
//! show how little a few pulls prove.
//!
//! Records go in one by one, in any order; memory is bounded by traps times classes. What counts:
//!
//! - Only pulls, not traps set or only seen; and of each pull only what was stated. A pull that says nothing of crabs is
//!   no pull without crabs. What follows from a stated nought counts: no crabs means no keepers, no keepers means no claws,
//!   no claws weigh nothing.
//! - Such noughts are always known, while of crabs that were there not all is always said: with claws told of every second
//!   pull that gave some, every nought would weigh double. So where pulls leave unsaid what they may have given
//!   (`unsaid`), those noughts count in part, as much as the others said of theirs.
//! - Counts of a pull that cannot all be true (`count-differs`) are left out, and the pull is counted as `unclear`.
//! - A pull whose trap is `doubtful` or not known counts for the whole, but for no trap and, as the soak depends on the
//!   trap, for no class of soak: there it stands under "unknown". One that is only `likely` counts, and is counted.
//! - Catch for each day of soak is the sum of the catch over the sum of the days, of pulls whose soak is known.
//!
//! The ranges take pulls as drawn alike. Pulls of one day share weather and moon, and a trap is set where the crew thinks
//! best, so they are rather too narrow than too wide.

use std::collections::BTreeMap;

use crate::pairing::Grade;
use crate::record::Record;
use crate::tally::{Count, Kind};

mod cell;
mod interval;
mod soak;
mod special;
mod sums;

use cell::{Cell, Told};
pub use interval::{Estimate, clustered_share, rate, share};
pub use soak::Soak;
pub use sums::{Spread, Sums, alpha, squared_cv};

/// What is measured, with its name in the table.
pub const MEASURES: [(&str, Option<Count>); 4] = [
    ("crabs", Some(Count::Crabs)),
    ("keepers", Some(Count::Keepers)),
    ("claws", Some(Count::Claws)),
    ("g", None),
];
/// Shares of the crabs, with their names in the table.
pub const SHARES: [(&str, Count); 2] = [("short", Count::Shorts), ("berried", Count::Berried)];
/// What is told of the gear, with its name in the table.
pub const GEAR: [&str; 4] = ["tampered", "moved", "damaged", "missing"];

/// What a row is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum By {
    /// Everything.
    All,
    /// A class of soak.
    Soak,
    /// A trap.
    Trap,
    /// A trap in a class of soak.
    TrapAndSoak,
}

impl By {
    /// Its name in the table.
    pub fn word(self) -> &'static str {
        match self {
            By::All => "all",
            By::Soak => "soak",
            By::Trap => "trap",
            By::TrapAndSoak => "trap and soak",
        }
    }
}

/// A measure in a row.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measured {
    /// Pulls that tell it.
    pub pulls: u32,
    /// Their sum.
    pub total: f64,
    /// Pulls that had some crabs and left it unsaid.
    pub unsaid: u32,
    /// For each pull.
    pub per_pull: Estimate,
    /// For each day of soak.
    pub per_soak_day: Estimate,
}

/// A share in a row.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Share {
    /// How many there were: empty pulls, or crabs of that kind.
    pub part: f64,
    /// Of how many: pulls that stated their crabs, or crabs of pulls that stated both.
    pub of: f64,
    /// The share, 0…1.
    pub share: Estimate,
}

/// A row of the season's table.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// What it is of.
    pub by: By,
    /// The trap, in rows by trap; `None` there: not known.
    pub trap: Option<String>,
    /// The class of soak, in rows by soak.
    pub soak: Option<Soak>,
    /// Pulls.
    pub pulls: u32,
    /// Pulls of these whose trap is only likely.
    pub likely: u32,
    /// Pulls of these whose counts cannot all be true and are left out.
    pub unclear: u32,
    /// Pulls of these whose soak is known.
    pub soaks: u32,
    /// Their days of soak together.
    pub soak_days: f64,
    /// One for each of [`MEASURES`].
    pub measures: [Measured; 4],
    /// Pulls without crabs.
    pub empty: Share,
    /// One for each of [`SHARES`].
    pub shares: [Share; 2],
    /// How many pulls and visits told each of [`GEAR`].
    pub gear: [u32; 4],
}

type Key = (Option<String>, Soak);

/// Records on their way to rows.
#[derive(Debug, Clone, Default)]
pub struct Season {
    cells: BTreeMap<Key, Cell>,
}

impl Season {
    /// Takes a record.
    pub fn take(&mut self, record: &Record) {
        if record.kind == Kind::Set {
            return;
        }
        let trap = record.trap.clone().filter(|_| record.pairing.grade != Grade::Doubtful);
        let hours = record.soak_h.filter(|_| trap.is_some() && record.kind == Kind::Pull);
        self.cells.entry((trap, Soak::of(hours))).or_default().take(record, hours.map(|hours| hours / 24.0));
    }

    /// The rows: of all, by soak, by trap, and by both. Traps by their numbers, unknown ones last.
    pub fn rows(&self) -> Vec<Row> {
        let mut cells: Vec<(&Key, &Cell)> = self.cells.iter().collect();
        cells.sort_by_key(|((_, soak), _)| *soak);
        let all = together(&cells, |_| (None, None));
        let by_soak = together(&cells, |(_, soak)| (None, Some(*soak)));
        cells.sort_by_cached_key(|((trap, soak), _)| (trap.is_none(), trap.as_deref().map(natural), *soak));
        let by_trap = together(&cells, |(trap, _)| (trap.clone(), None));
        let by_both = together(&cells, |(trap, soak)| (trap.clone(), Some(*soak)));
        let levels = [(By::All, all), (By::Soak, by_soak), (By::Trap, by_trap), (By::TrapAndSoak, by_both)];
        levels.into_iter().flat_map(|(by, cells)| level(by, &cells)).collect()
    }
}

/// Neighbours of one group put together.
fn together(cells: &[(&Key, &Cell)], group: impl Fn(&Key) -> Group) -> Vec<(Group, Cell)> {
    let mut groups: Vec<(Group, Cell)> = Vec::new();
    for (key, cell) in cells {
        let group = group(key);
        match groups.last_mut().filter(|(last, _)| *last == group) {
            Some((_, sum)) => sum.merge(cell),
            None => groups.push((group, (*cell).clone())),
        }
    }
    groups
}

type Group = (Option<String>, Option<Soak>);

/// Rows of one kind, which have their spread in common. Those not known are a mixture and have their own.
fn level(by: By, cells: &[(Group, Cell)]) -> Vec<Row> {
    let known = |(trap, soak): &Group| match by {
        By::All => true,
        By::Soak => *soak != Some(Soak::Unknown),
        By::Trap | By::TrapAndSoak => trap.is_some() && *soak != Some(Soak::Unknown),
    };
    let sums = |wanted: bool, measure: usize, by_day: bool| -> Vec<Sums> {
        let wanted = cells.iter().filter(|(group, _)| known(group) == wanted);
        let sums = wanted.filter_map(|(_, cell)| cell.measures.get(measure)).map(Told::sums);
        sums.map(|[by_pull, day]| if by_day { day } else { by_pull }).collect()
    };
    let spreads = |wanted: bool| {
        std::array::from_fn(|measure| {
            let spread = |by_day| {
                let of = if MEASURES.get(measure).is_some_and(|(_, count)| count.is_some()) {
                    alpha
                } else {
                    squared_cv
                };
                of(&sums(wanted, measure, by_day))
            };
            (spread(false), spread(true))
        })
    };
    let of_known = spreads(true);
    let of_unknown = spreads(false);
    let spread = |group: &Group| if known(group) { &of_known } else { &of_unknown };
    cells.iter().map(|(group, cell)| row(by, group, cell, spread(group))).collect()
}

fn row(by: By, (trap, soak): &Group, cell: &Cell, spreads: &[(Option<Spread>, Option<Spread>); 4]) -> Row {
    let measured = |n: usize| {
        let told = cell.measures.get(n).copied().unwrap_or_default();
        let [by_pull, by_day] = told.sums();
        let (pull_spread, day_spread) = spreads.get(n).copied().unwrap_or_default();
        Measured {
            pulls: told.pulls() as u32,
            total: by_pull.x,
            unsaid: told.unsaid,
            per_pull: rate(&by_pull, pull_spread),
            per_soak_day: rate(&by_day, day_spread),
        }
    };
    let part = |sums: &Sums| Share { part: sums.x, of: sums.t, share: clustered_share(sums) };
    Row {
        by,
        trap: trap.clone(),
        soak: *soak,
        pulls: cell.pulls,
        likely: cell.likely,
        unclear: cell.unclear,
        soaks: cell.soaks,
        soak_days: cell.soak_days,
        measures: std::array::from_fn(measured),
        empty: Share { share: share(cell.empty.x, cell.empty.t), ..part(&cell.empty) },
        shares: cell.shares.each_ref().map(part),
        gear: cell.gear,
    }
}

/// A key that puts 9 before 10 and 10 before 10a: stretches of digits by their value, the rest as text.
fn natural(name: &str) -> Vec<(u128, String)> {
    let mut parts: Vec<(u128, String)> = Vec::new();
    let mut rest = name;
    while !rest.is_empty() {
        let digits = rest.len() - rest.trim_start_matches(|c: char| c.is_ascii_digit()).len();
        let (number, after) = rest.split_at(digits);
        let text = after.len() - after.trim_start_matches(|c: char| !c.is_ascii_digit()).len();
        let (text, after) = after.split_at(text);
        parts.push((number.parse().unwrap_or(u128::MAX), text.to_owned()));
        rest = after;
    }
    parts
}

#[cfg(test)]
mod tests;
