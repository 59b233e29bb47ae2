//! The pulls as folders `boat=…/day=…/pulls.parquet`, which query engines read in place as one table.

use std::collections::{BTreeMap, BTreeSet};

use gunwale_protocol::record::Record;
use gunwale_protocol::trip::Entry;

use super::bundle::{Bundle, Piece};
use super::parquet::Parquet;
use super::{Range, each_day, names};
use crate::desk::Desk;
use crate::error::Result;

/// Sends a file for each day and boat with pulls. A day's records of all boats are in memory at a time. The boats' names.
///
/// # Errors
/// Records that cannot be read, output that cannot be written.
pub fn folders(desk: &Desk, range: &Range, bundle: &mut Bundle<'_>) -> Result<BTreeSet<String>> {
    let (mut all, mut undated) = (BTreeSet::new(), BTreeSet::new());
    each_day(desk, range, |day, entries| {
        let mut boats: BTreeMap<String, Vec<Record>> = BTreeMap::new();
        entries(&mut |found, entry| {
            // A boat whose pulls were all left out is there too: what was written of them before must go.
            let pulls = boats.entry(found.boat.clone()).or_default();
            if let Entry::Pull(record) = entry {
                pulls.push((**record).clone());
            }
            Ok(())
        })?;
        for (boat, pulls) in boats {
            let file = file(&boat, day);
            if pulls.is_empty() {
                bundle.say(&Piece::Gone(file))?;
            } else {
                bundle.file(&Piece::Part(file), |out| {
                    // The folders say boat and day.
                    let mut parquet = Parquet::begin(&["boat", "day"], out)?;
                    pulls.iter().try_for_each(|pull| parquet.row(pull))?;
                    parquet.end()
                })?;
                undated.extend(day.is_none().then(|| boat.clone()));
            }
            all.insert(boat);
        }
        Ok(())
    })?;
    // What had no date may have one now.
    for boat in all.difference(&undated).filter(|_| range.holds_day(None)) {
        bundle.say(&Piece::Gone(file(boat, None)))?;
    }
    Ok(all)
}

fn file(boat: &str, day: Option<&str>) -> String {
    format!("boat={}/day={}/pulls.parquet", names::value(Some(boat)), names::value(day))
}
