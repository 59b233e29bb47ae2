//! The fishery's rules as the crew set them, and what lies outside them.
//!
//! A run line carries the rules of that day, so flags are a function of the journal: a rule changed later holds from the
//! next run on. Nothing is asked by default and then nothing is flagged. A record without a flag is no statement that a
//! catch is lawful: the fishery's authority decides, and much of what it asks is nothing a log can see.

use std::collections::BTreeSet;
use std::fmt;

use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use crate::finding::Flag;
use crate::place::LatLon;
use crate::record::Record;
use crate::sun::{self, Horizon};
use crate::tally::{self, Count, Kind};
use crate::time::{SECOND, Utc};

/// A day of any year, written `10-15`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct MonthDay {
    month: i8,
    day: i8,
}

/// Text that names no day of a year.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{0:?} is no day of a year: give month and day, such as \"10-15\"")]
pub struct NoMonthDay(String);

impl TryFrom<String> for MonthDay {
    type Error = NoMonthDay;
    fn try_from(text: String) -> Result<MonthDay, NoMonthDay> {
        // 29 February is a day of the year 2000.
        match format!("2000-{text}").parse::<Date>() {
            Ok(date) if text.len() == 5 => Ok(MonthDay::of(date)),
            _ => Err(NoMonthDay(text)),
        }
    }
}

impl From<MonthDay> for String {
    fn from(day: MonthDay) -> String {
        day.to_string()
    }
}

impl fmt::Display for MonthDay {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:02}-{:02}", self.month, self.day)
    }
}

impl MonthDay {
    fn of(date: Date) -> MonthDay {
        MonthDay { month: date.month(), day: date.day() }
    }
}

/// A season, its last day included. One that ends before it begins goes on over the end of the year.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Window {
    /// First day.
    pub from: MonthDay,
    /// Last day.
    pub to: MonthDay,
}

impl Window {
    /// Whether a date lies in it.
    pub fn holds(self, date: Date) -> bool {
        let day = MonthDay::of(date);
        if self.from <= self.to {
            (self.from..=self.to).contains(&day)
        } else {
            day >= self.from || day <= self.to
        }
    }
}

/// What the crew set under `[rules]`; empty by default. Unknown keys are those of a later version and are left alone.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct Rules {
    /// When traps may be pulled, by local date; empty: not asked.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub season: Vec<Window>,
    /// Days before a season in which traps may be set.
    #[serde(skip_serializing_if = "is_default")]
    pub set_days_before: u8,
    /// Days after a season in which traps may be taken in.
    #[serde(skip_serializing_if = "is_default")]
    pub out_days_after: u8,
    /// Traps are pulled between sunrise and sunset only.
    #[serde(skip_serializing_if = "is_default")]
    pub daylight_only: bool,
    /// Minutes before sunrise and after sunset that still count as daylight.
    #[serde(skip_serializing_if = "is_default")]
    pub daylight_allowance_min: u16,
    /// Length of the smallest claw to be taken, millimetres: a reminder, no claw is measured here.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub smallest_claw_mm: Option<f64>,
    /// Persons aboard who count for a limit each, on days of which nothing else was said; `None` counts as one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub people: Option<u16>,
    /// Grams of claws a day, each person.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub claw_g_per_person: Option<f64>,
    /// Grams of claws a day, the boat.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub claw_g_per_boat: Option<f64>,
    /// Litres of claws a day, each person.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub claw_l_per_person: Option<f64>,
    /// Litres of claws a day, the boat.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub claw_l_per_boat: Option<f64>,
    /// What a litre of this crew's claws weighs, grams, as they measured it: makes litres of what the scale says.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub claw_g_per_l: Option<f64>,
    /// Traps, each person.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub traps_per_person: Option<u16>,
}

fn is_default<T: Default + PartialEq>(value: &T) -> bool {
    *value == T::default()
}

/// What a limit counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Measure {
    /// Grams of claws.
    Grams,
    /// Litres of claws.
    Litres,
    /// Traps.
    Traps,
}

/// A limit of the day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limit {
    /// The setting it comes from.
    pub key: &'static str,
    /// What that setting says.
    pub each: f64,
    /// The persons it was taken for, if it is for each person.
    pub people: Option<u32>,
    /// What it counts.
    pub measure: Measure,
}

impl Limit {
    /// The most that the whole boat may have.
    pub fn most(&self) -> f64 {
        self.each * self.people.map_or(1.0, f64::from)
    }
}

/// A pull as the rules look at it.
#[derive(Debug, Clone, Copy)]
pub struct Stop {
    /// Lifted, set down only, or seen and left.
    pub kind: Kind,
    /// The trap came aboard to stay.
    pub taken_in: bool,
    /// The boat came alongside.
    pub started: Option<Utc>,
    /// She got under way.
    pub ended: Option<Utc>,
    /// Local date.
    pub date: Option<Date>,
    /// Where it was.
    pub place: Option<LatLon>,
}

impl Rules {
    /// Whether they ask nothing.
    pub fn is_empty(&self) -> bool {
        *self == Rules::default()
    }

    /// What a pull's date and hour lie outside of. What is not known, date or place, is not judged; a trap only looked at
    /// is neither.
    pub fn flags(&self, stop: &Stop) -> BTreeSet<Flag> {
        let mut flags = BTreeSet::new();
        if stop.kind == Kind::Visit {
            return flags;
        }
        if stop.date.is_some_and(|date| !self.in_season(date, stop)) {
            flags.insert(Flag::OutsideSeason);
        }
        if let (true, Some(place)) = (self.daylight_only, stop.place) {
            flags.extend(
                [stop.started, stop.ended].into_iter().flatten().filter_map(|at| self.dark(at, place)),
            );
        }
        flags
    }

    fn in_season(&self, date: Date, stop: &Stop) -> bool {
        let days = |range: std::ops::RangeInclusive<i64>| {
            range.into_iter().any(|days| {
                let day = date.checked_add(jiff::Span::new().days(days));
                day.is_ok_and(|day| self.season.iter().any(|window| window.holds(day)))
            })
        };
        self.season.is_empty()
            || days(0..=0)
            || (stop.kind == Kind::Set && days(1..=self.set_days_before.into()))
            || (stop.taken_in && days(-i64::from(self.out_days_after)..=-1))
    }

    /// On which side of the day a moment lies in the dark, the allowance counted as light. In polar night the half day
    /// before noon counts as before sunrise, the other as after sunset.
    fn dark(&self, at: Utc, place: LatLon) -> Option<Flag> {
        let allowance = i64::from(self.daylight_allowance_min) * 60 * SECOND;
        let day = sun::day(at, place);
        let before = match day.rise {
            Horizon::Crossed(rise) => at < rise - allowance,
            Horizon::Below => at < day.noon,
            Horizon::Above => false,
        };
        let after = match day.set {
            Horizon::Crossed(set) => at > set + allowance,
            Horizon::Below => at >= day.noon,
            Horizon::Above => false,
        };
        match (before, after) {
            (true, _) => Some(Flag::BeforeSunrise),
            (_, true) => Some(Flag::AfterSunset),
            _ => None,
        }
    }

    /// The limits of a day that are set, and how many people were said to be aboard, if that was said.
    pub fn limits(&self, said: Option<u32>) -> impl Iterator<Item = Limit> + use<> {
        let people = Some(said.unwrap_or(self.people.map_or(1, u32::from)));
        [
            ("claw_g_per_person", self.claw_g_per_person, people, Measure::Grams),
            ("claw_g_per_boat", self.claw_g_per_boat, None, Measure::Grams),
            ("claw_l_per_person", self.claw_l_per_person, people, Measure::Litres),
            ("claw_l_per_boat", self.claw_l_per_boat, None, Measure::Litres),
            ("traps_per_person", self.traps_per_person.map(f64::from), people, Measure::Traps),
        ]
        .into_iter()
        .filter_map(|(key, each, people, measure)| Some(Limit { key, each: each?, people, measure }))
    }
}

/// What a boat has landed in a day so far.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Landed {
    /// Grams, of all pulls.
    pub g: f64,
    /// Traps pulled, by name.
    pub traps: BTreeSet<String>,
    /// What was said of the day, at the dock or at sea.
    pub said: tally::Day,
}

impl Landed {
    /// Takes one more pull. Whether it is over a limit by what the pulls gave: it took claws and the day has more than
    /// the limit, or it was one trap more than the limit.
    pub fn add(&mut self, record: &Record, rules: &Rules) -> bool {
        let weighed = record.weight.as_ref().map_or(0.0, |weight| weight.total_g);
        self.g += weighed;
        let lifted = record.trap.as_ref().filter(|_| record.kind == Kind::Pull);
        let more_traps = lifted.is_some_and(|trap| self.traps.insert(trap.clone()));
        self.limits(rules).any(|limit| {
            let counts = if limit.measure == Measure::Traps { more_traps } else { takes_claws(record) };
            counts && self.of_pulls(limit.measure, rules).is_some_and(|amount| amount > limit.most())
        })
    }

    /// The limits of the day that are set, for the people who were said to be aboard.
    pub fn limits(&self, rules: &Rules) -> impl Iterator<Item = Limit> + use<> {
        rules.limits(self.said.people)
    }

    /// How much of it the pulls gave; `None` for litres when it is not set what a litre weighs.
    pub fn of_pulls(&self, measure: Measure, rules: &Rules) -> Option<f64> {
        match measure {
            Measure::Grams => Some(self.g),
            Measure::Litres => rules.claw_g_per_l.map(|g_per_l| self.g / g_per_l),
            Measure::Traps => Some(self.traps.len() as f64),
        }
    }

    /// How much of it was said at the dock: the lots that were weighed there, the volume.
    pub fn at_the_dock(&self, measure: Measure, rules: &Rules) -> Option<f64> {
        let lots = &self.said.lots;
        let g = (!lots.is_empty()).then(|| lots.iter().map(|lot| f64::from(lot.g)).sum::<f64>());
        match measure {
            Measure::Grams => g,
            Measure::Litres => self.said.volume_l.or(g.zip(rules.claw_g_per_l).map(|(g, of_l)| g / of_l)),
            Measure::Traps => None,
        }
    }

    /// How much of it there is: the larger of the two, for either may leave something out.
    pub fn amount(&self, measure: Measure, rules: &Rules) -> Option<f64> {
        let ways = [self.of_pulls(measure, rules), self.at_the_dock(measure, rules)];
        ways.into_iter().flatten().reduce(f64::max)
    }

    /// Whether there is more than a limit of one of these measures.
    pub fn over(&self, rules: &Rules, of: impl Fn(Measure) -> bool) -> bool {
        let more =
            |limit: Limit| self.amount(limit.measure, rules).is_some_and(|amount| amount > limit.most());
        self.limits(rules).any(|limit| of(limit.measure) && more(limit))
    }
}

/// Whether a pull brought claws aboard.
pub fn takes_claws(record: &Record) -> bool {
    let taken = |of| record.tally.count(of).is_some_and(|n| n > 0);
    record.weight.as_ref().is_some_and(|weight| weight.total_g > 0.0)
        || taken(Count::Claws)
        || taken(Count::Keepers)
}

#[cfg(test)]
mod tests;
