//! Finding records by what a person types: a pull, `DATE#N`, a note, a day.

use gunwale_protocol::record::Record;
use gunwale_protocol::trip::Entry;

use crate::desk::Desk;
use crate::error::{Error, Result};
use crate::export::{Range, tables};
use crate::records;
use crate::store::{Doc, StoreError, UNDATED};

/// A day as typed: `YYYY-MM-DD`, `today` or `yesterday`; left out, the last day with records.
///
/// # Errors
/// Text that is no date, or nothing recorded yet.
pub fn day(desk: &Desk, text: Option<&str>) -> Result<String> {
    let today = || desk.clock.system().day_in(&desk.settings.timezone);
    match text {
        None => desk.store().last_day()?.ok_or_else(|| no_day(desk)),
        Some("today") => today().map(|day| day.to_string()).ok_or(Error::Date("today".into())),
        Some("yesterday") => today()
            .and_then(|day| day.yesterday().ok())
            .map(|day| day.to_string())
            .ok_or(Error::Date("yesterday".into())),
        Some(text) => {
            let date: jiff::civil::Date = text.parse().map_err(|_| Error::Date(text.to_owned()))?;
            Ok(date.to_string())
        }
    }
}

/// Why there is no last day.
fn no_day(desk: &Desk) -> Error {
    match desk.store().range(UNDATED..UNDATED + 1).next() {
        None => Error::NoRecords(desk.data.clone()),
        Some(_) => Error::OnlyUndated,
    }
}

/// A day's pulls, in order.
///
/// # Errors
/// When the store cannot be read.
pub fn pulls_of(desk: &Desk, day: &str) -> Result<Vec<Record>> {
    let mut pulls = Vec::new();
    let store = desk.store();
    for doc in store.day(day) {
        if let Some(Entry::Pull(record)) = records::read(&doc?)?.entry {
            pulls.push(*record);
        }
    }
    Ok(pulls)
}

/// The id of a pull given by its id or as `DATE#N`, the Nth pull of a day.
///
/// # Errors
/// [`Error::NoPull`] when there is none.
pub fn pull(desk: &Desk, text: &str) -> Result<String> {
    let none = || Error::NoPull(text.to_owned());
    if let Some((date, number)) = text.split_once('#') {
        let number: usize = number.parse().map_err(|_| none())?;
        let pulls = pulls_of(desk, &day(desk, Some(date))?)?;
        let pull = number.checked_sub(1).and_then(|index| pulls.into_iter().nth(index));
        return pull.map(|record| record.pull).ok_or_else(none);
    }
    match desk.store().get(text)?.map(|doc| records::read(&doc)).transpose()? {
        // A pull that was left out can be taken in again.
        Some(kept) if matches!(kept.found.finding, gunwale_protocol::finding::Finding::Stop(_)) => {
            Ok(text.to_owned())
        }
        _ => Err(none()),
    }
}

/// A note by its id.
///
/// # Errors
/// [`Error::NoNote`] when there is none.
pub fn note(desk: &Desk, id: &str) -> Result<String> {
    let store = desk.store();
    for doc in store.range(records::ALL) {
        let found = records::read(&doc?)?.found;
        if gunwale_protocol::trip::notes(&found).iter().any(|note| note.id == id) {
            return Ok(id.to_owned());
        }
    }
    Err(Error::NoNote(id.to_owned()))
}

/// The same name, if the register has or had such a trap or a record is of it.
///
/// # Errors
/// [`Error::NoTrapAnywhere`], so that a name mistyped is not taken for a trap without catches.
pub fn trap(desk: &Desk, name: &str) -> Result<String> {
    let known = tables::register_now(desk)?.get(name).is_some();
    let store = desk.store();
    let hauled = |doc: Result<Doc, StoreError>| doc.is_ok_and(|doc| doc.trap.as_deref() == Some(name));
    if known || store.range(records::ALL).any(hauled) {
        return Ok(name.to_owned());
    }
    Err(Error::NoTrapAnywhere(name.to_owned()))
}

/// The days from one to another, either left out.
///
/// # Errors
/// Text that is no date; a last day before the first.
pub fn range(desk: &Desk, from: &Option<String>, to: &Option<String>) -> Result<Range> {
    let given = |text: &Option<String>| text.as_deref().map(|text| day(desk, Some(text))).transpose();
    let range = Range { from: given(from)?, to: given(to)?, trap: None };
    match (&range.from, &range.to) {
        (Some(from), Some(to)) if from > to => Err(Error::Usage(format!("--from {from} is after --to {to}"))),
        _ => Ok(range),
    }
}
