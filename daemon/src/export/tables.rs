//! The tables made from the records: pulls, notes, weighings, traps.

use std::io::Write;

use gunwale_protocol::record::round;
use gunwale_protocol::register::{Entry as Trap, Register, Source};
use gunwale_protocol::trip::Entry;

use super::{Range, Table, rows};
use crate::args::TableFormat;
use crate::desk::Desk;
use crate::error::Result;
use crate::records;

/// The pulls in order of their start: whole records as JSON Lines, or one row each as CSV.
///
/// # Errors
/// Records that cannot be read, output that cannot be written.
pub fn pulls(desk: &Desk, range: &Range, format: TableFormat, out: &mut dyn Write) -> Result<()> {
    let mut table = Table::begin(format, &rows::pull_columns(), out)?;
    each(desk, range, |entry| match (entry, format) {
        (Entry::Pull(record), TableFormat::Csv) => table.row(&rows::pull(record)),
        (Entry::Pull(record), TableFormat::Jsonl) => table.row(record),
        _ => Ok(()),
    })?;
    table.end()
}

/// The notes, those far from any trap too.
///
/// # Errors
/// As [`pulls`].
pub fn notes(desk: &Desk, range: &Range, format: TableFormat, out: &mut dyn Write) -> Result<()> {
    let mut table = Table::begin(format, rows::NOTES, out)?;
    each(desk, range, |entry| match entry {
        Entry::Pull(record) => {
            record.notes.iter().try_for_each(|note| table.row(&rows::Note::of(record, note)))
        }
        Entry::Loose(loose) => rows::Note::loose(loose).map_or(Ok(()), |row| table.row(&row)),
        Entry::Dropped => Ok(()),
    })?;
    table.end()
}

/// The weighings, those far from any trap too.
///
/// # Errors
/// As [`pulls`].
pub fn weighings(desk: &Desk, range: &Range, format: TableFormat, out: &mut dyn Write) -> Result<()> {
    let mut table = Table::begin(format, rows::WEIGHINGS, out)?;
    each(desk, range, |entry| match entry {
        Entry::Pull(record) => {
            let weighings = record.weight.iter().flat_map(|weight| &weight.weighings);
            weighings.map(|w| rows::Weighing::of(record, w)).try_for_each(|row| table.row(&row))
        }
        Entry::Loose(loose) => rows::Weighing::loose(loose).map_or(Ok(()), |row| table.row(&row)),
        Entry::Dropped => Ok(()),
    })?;
    table.end()
}

/// The register, for reading (no format) or as data.
///
/// # Errors
/// As [`pulls`].
pub fn traps(desk: &Desk, format: Option<TableFormat>, out: &mut dyn Write) -> Result<()> {
    let register = register_now(desk)?;
    let Some(format) = format else { return list(&register, out) };
    let mut table = Table::begin(format, rows::TRAPS, out)?;
    for trap in register.entries() {
        table.row(&rows::Trap {
            trap: &trap.trap,
            lat: round(trap.spot.lat, 7),
            lon: round(trap.spot.lon, 7),
            set_at: trap.set_at.map(|at| at.to_string()),
            sd_m: round(trap.spot.sd_m, 2),
            source: trap.source,
            state: state(trap),
        })?;
    }
    table.end()
}

/// The register after all records and everything stated up to now.
///
/// # Errors
/// When the store cannot be read.
pub fn register_now(desk: &Desk) -> Result<Register> {
    let mut register = desk.records().register()?;
    register.advance_to_the_end();
    Ok(register)
}

fn list(register: &Register, out: &mut dyn Write) -> Result<()> {
    for trap in register.entries() {
        let set = trap.set_at.map_or("not known".to_owned(), |at| at.to_string());
        let (lat, lon) = (trap.spot.lat, trap.spot.lon);
        writeln!(out, "{:<8} {lat:>11.6} {lon:>12.6}   set {set:<24}   {}", trap.trap, in_words(trap))?;
    }
    if register.entries().next().is_none() {
        writeln!(out, "no trap yet: `gunwale traps import FILE` or `gunwale traps add ID LAT LON`")?;
    }
    Ok(out.flush()?)
}

fn in_words(trap: &Trap) -> String {
    match trap.source {
        Source::Offered => "in water; a new trap: name it when you pull it, or with `traps add`".to_owned(),
        _ => state(trap).replace('_', " "),
    }
}

fn state(trap: &Trap) -> &'static str {
    match (trap.retired, trap.ashore) {
        (true, _) => "retired",
        (false, true) => "ashore",
        (false, false) => "in_water",
    }
}

/// Every entry in the range, in order of time.
fn each(desk: &Desk, range: &Range, mut act: impl FnMut(&Entry) -> Result<()>) -> Result<()> {
    let store = desk.store();
    for doc in store.range(records::ALL) {
        let doc = doc?;
        if range.holds(doc.day.as_deref(), doc.trap.as_deref())
            && let Some(entry) = records::read(&doc)?.entry
        {
            act(&entry)?;
        }
    }
    Ok(())
}
