//! The pulls of one trap and one class of soak, summed: what counts of each.

use super::{MEASURES, SHARES, Sums};
use crate::finding::Flag;
use crate::pairing::Grade;
use crate::record::Record;
use crate::tally::{Count, Kind, TrapState};

/// What pulls told of one measure.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Told {
    /// By pull and by day of soak, of pulls that stated it.
    stated: [Sums; 2],
    /// Likewise, of those in which it is nought because of another count.
    nought: [Sums; 2],
    /// Pulls that had some crabs and left it unsaid.
    pub(super) unsaid: u32,
}

impl Told {
    fn merge(&mut self, other: &Told) {
        self.stated.iter_mut().zip(&other.stated).for_each(|(sums, other)| sums.merge(other));
        self.nought.iter_mut().zip(&other.nought).for_each(|(sums, other)| sums.merge(other));
        self.unsaid += other.unsaid;
    }

    /// Pulls that tell it.
    pub(super) fn pulls(&self) -> f64 {
        let ([stated, _], [nought, _]) = (self.stated, self.nought);
        stated.n + nought.n
    }

    /// By pull and by day of soak, of all pulls that tell it, the noughts in part where others are unsaid.
    pub(super) fn sums(&self) -> [Sums; 2] {
        let [stated, _] = self.stated;
        let known = stated.n + f64::from(self.unsaid);
        let part = if known > 0.0 { stated.n / known } else { 1.0 };
        let mut sums = self.stated;
        sums.iter_mut().zip(&self.nought).for_each(|(sums, nought)| sums.merge(&nought.in_part(part)));
        sums
    }
}

/// Sums of the pulls of one trap and one class of soak.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Cell {
    pub(super) pulls: u32,
    pub(super) likely: u32,
    pub(super) unclear: u32,
    /// Soaks known, and days of soak.
    pub(super) soaks: u32,
    pub(super) soak_days: f64,
    /// For each measure, against pulls and against days of soak.
    pub(super) measures: [Told; 4],
    /// Of 1 a pull, those without crabs.
    pub(super) empty: Sums,
    /// For each share, of the crabs.
    pub(super) shares: [Sums; 2],
    pub(super) gear: [u32; 4],
}

impl Cell {
    pub(super) fn take(&mut self, record: &Record, soak_days: Option<f64>) {
        for (sum, told) in self.gear.iter_mut().zip(gear(record)) {
            *sum += u32::from(told);
        }
        if record.kind != Kind::Pull {
            return;
        }
        self.pulls += 1;
        self.likely += u32::from(record.pairing.grade == Grade::Likely);
        self.soaks += u32::from(soak_days.is_some());
        self.soak_days += soak_days.unwrap_or_default();
        let unclear = record.flags.contains(&Flag::CountDiffers);
        self.unclear += u32::from(unclear);
        if unclear {
            let weight = record.weight.as_ref().map(|weight| weight.total_g);
            if let (Some(g), [.., told]) = (weight, &mut self.measures) {
                told.stated.iter_mut().zip([Some(1.0), soak_days]).for_each(|(sums, t)| add(sums, g, t));
            }
            return;
        }
        for ((_, measure), told) in MEASURES.into_iter().zip(&mut self.measures) {
            let stated = match measure {
                Some(count) => record.tally.count(count).map(f64::from),
                None => record.weight.as_ref().map(|weight| weight.total_g),
            };
            let (amount, into) = match (stated, before(record, measure)) {
                (Some(amount), _) => (amount, &mut told.stated),
                (None, Before::Nought) => (0.0, &mut told.nought),
                (None, Before::Some) => {
                    told.unsaid += 1;
                    continue;
                }
                (None, Before::Unsaid) => continue,
            };
            into.iter_mut().zip([Some(1.0), soak_days]).for_each(|(sums, t)| add(sums, amount, t));
        }
        let stated = |count| match (record.tally.count(count), before(record, Some(count))) {
            (None, Before::Nought) => Some(0.0),
            (stated, _) => stated.map(f64::from),
        };
        let Some(crabs) = stated(Count::Crabs) else { return };
        self.empty.add(f64::from(u8::from(crabs == 0.0)), 1.0);
        for ((_, count), sums) in SHARES.into_iter().zip(&mut self.shares) {
            if let Some(part) = stated(count).filter(|part| crabs > 0.0 && *part <= crabs) {
                sums.add(part, crabs);
            }
        }
    }

    pub(super) fn merge(&mut self, other: &Cell) {
        self.pulls += other.pulls;
        self.likely += other.likely;
        self.unclear += other.unclear;
        self.soaks += other.soaks;
        self.soak_days += other.soak_days;
        self.measures.iter_mut().zip(&other.measures).for_each(|(told, other)| told.merge(other));
        self.empty.merge(&other.empty);
        self.shares.iter_mut().zip(&other.shares).for_each(|(sums, other)| sums.merge(other));
        self.gear.iter_mut().zip(other.gear).for_each(|(sum, other)| *sum += other);
    }
}

fn add(sums: &mut Sums, amount: f64, exposure: Option<f64>) {
    if let Some(exposure) = exposure {
        sums.add(amount, exposure);
    }
}

/// What the counts say from which a measure comes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Before {
    /// One is nought, and so is the measure.
    Nought,
    /// There were some.
    Some,
    /// Nothing.
    Unsaid,
}

fn before(record: &Record, measure: Option<Count>) -> Before {
    let from: &[Count] = match measure {
        Some(Count::Crabs) => &[],
        Some(Count::Claws) => &[Count::Keepers, Count::Crabs],
        Some(_) => &[Count::Crabs],
        None => &[Count::Claws, Count::Keepers, Count::Crabs],
    };
    match from.iter().filter_map(|count| record.tally.count(*count)).min() {
        None => Before::Unsaid,
        Some(0) => Before::Nought,
        Some(_) => Before::Some,
    }
}

fn gear(record: &Record) -> [bool; 4] {
    let told = record.kind != Kind::Set;
    let state = |state| told && record.tally.trap_state == Some(state);
    let tampered = told && record.tally.tampered == Some(true);
    [tampered, state(TrapState::Moved), state(TrapState::Damaged), state(TrapState::Missing)]
}
