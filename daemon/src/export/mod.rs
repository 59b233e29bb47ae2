//! Records in, files out: the tables other programs read, streamed so that memory does not grow with the years.
//!
//! [`rows`] says what the columns of each table are, [`sheet`] writes them in any format, [`tables`], [`track`] and
//! [`days`] have the rows. [`folders`] and [`sounds`] write many files; those travel as a [`bundle`] to where they
//! [`landing`].

pub mod bundle;
mod calendar;
pub mod days;
#[cfg(test)]
mod dictionary;
pub mod digits;
pub mod folders;
pub mod gpx;
pub mod landing;
pub mod names;
pub mod parquet;
pub mod rows;
pub mod sheet;
pub mod sounds;
pub mod tables;
pub mod track;

use gunwale_protocol::trip::{Entry, Found};

use crate::desk::Desk;
use crate::error::Result;
use crate::records::{self, Kept};
use crate::store::{Docs, UNDATED};

/// Which records are wanted.
#[derive(Debug, Clone, Default)]
pub struct Range {
    /// From this local day on, `YYYY-MM-DD`.
    pub from: Option<String>,
    /// Up to and with this local day.
    pub to: Option<String>,
    /// Only this trap.
    pub trap: Option<String>,
}

impl Range {
    /// Whether a record of this day and trap is wanted. One without a day is, unless days were asked for.
    pub fn holds(&self, day: Option<&str>, trap: Option<&str>) -> bool {
        self.holds_day(day) && self.trap.as_deref().is_none_or(|wanted| trap == Some(wanted))
    }

    /// Whether a record of this day is wanted, whatever its trap.
    pub fn holds_day(&self, day: Option<&str>) -> bool {
        let from = self.from.as_deref().is_none_or(|from| day.is_some_and(|day| day >= from));
        let to = self.to.as_deref().is_none_or(|to| day.is_some_and(|day| day <= to));
        from && to
    }
}

/// Every entry in the range, in order of time, with what it was made from.
///
/// # Errors
/// Records that cannot be read, and what `act` reports.
pub fn each(desk: &Desk, range: &Range, act: impl FnMut(&Found, &Entry) -> Result<()>) -> Result<()> {
    let store = desk.store();
    among(store.range(records::ALL), range, act)
}

/// The days in the range that have documents, the undated first, each with a reader of its entries.
///
/// # Errors
/// Records that cannot be read, and what `act` reports.
pub fn each_day(
    desk: &Desk,
    range: &Range,
    mut act: impl FnMut(Option<&str>, &mut dyn FnMut(Each<'_>) -> Result<()>) -> Result<()>,
) -> Result<()> {
    let store = desk.store();
    if range.holds_day(None) {
        act(None, &mut |each| among(store.range(UNDATED..UNDATED + 1), range, each))?;
    }
    for day in store.days()?.iter().filter(|day| range.holds_day(Some(day))) {
        act(Some(day), &mut |each| among(store.day(day), range, each))?;
    }
    Ok(())
}

/// What is done with each entry.
pub type Each<'a> = &'a mut dyn FnMut(&Found, &Entry) -> Result<()>;

fn among(docs: Docs<'_>, range: &Range, mut act: impl FnMut(&Found, &Entry) -> Result<()>) -> Result<()> {
    for doc in docs {
        let doc = doc?;
        if range.holds(doc.day.as_deref(), doc.trap.as_deref())
            && let Kept { found, entry: Some(entry) } = records::read(&doc)?
        {
            act(&found, &entry)?;
        }
    }
    Ok(())
}
