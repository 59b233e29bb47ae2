//! The tables made from the records: pulls, notes, weighings, traps.

use std::io::Write;

use gunwale_protocol::record::{Record, round};
use gunwale_protocol::register::{Entry as Trap, Register, Source};
use gunwale_protocol::trip::Entry;

use super::gpx::Gpx;
use super::sheet::Sheet;
use super::{Range, each, rows, track};
use crate::args::Format;
use crate::desk::Desk;
use crate::error::Result;

/// The pulls in order of their start: whole records as JSON Lines, or a row each.
///
/// # Errors
/// Records that cannot be read, output that cannot be written.
pub fn pulls(desk: &Desk, range: &Range, format: Format, out: &mut dyn Write) -> Result<()> {
    let mut sheet = Sheet::<Record>::begin(format, out)?;
    each(desk, range, |_, entry| match entry {
        Entry::Pull(record) => sheet.row(record),
        _ => Ok(()),
    })?;
    sheet.end()
}

/// The pulls as waypoints and the track, as one GPX file. How many pulls have no place to be written at.
///
/// # Errors
/// As [`pulls`], and journals that cannot be read.
pub fn gpx(desk: &Desk, range: &Range, with_pulls: bool, out: &mut dyn Write) -> Result<u64> {
    let mut gpx = Gpx::begin(out)?;
    let mut left_out = 0;
    if with_pulls {
        each(desk, range, |_, entry| {
            if let Entry::Pull(record) = entry {
                left_out += u64::from(!gpx.waypoint(record)?);
            }
            Ok(())
        })?;
    }
    track::each(desk, range, |boat, stretch, fix| gpx.fix(boat, stretch, fix))?;
    gpx.end()?;
    Ok(left_out)
}

/// The notes, those far from any trap too.
///
/// # Errors
/// As [`pulls`].
pub fn notes(desk: &Desk, range: &Range, format: Format, out: &mut dyn Write) -> Result<()> {
    let mut sheet = Sheet::begin(format, out)?;
    each(desk, range, |_, entry| match entry {
        Entry::Pull(record) => {
            record.notes.iter().try_for_each(|note| sheet.row(&rows::Note::of(record, note)))
        }
        Entry::Loose(loose) => rows::Note::loose(loose).map_or(Ok(()), |row| sheet.row(&row)),
        Entry::Dropped => Ok(()),
    })?;
    sheet.end()
}

/// The weighings, those far from any trap too.
///
/// # Errors
/// As [`pulls`].
pub fn weighings(desk: &Desk, range: &Range, format: Format, out: &mut dyn Write) -> Result<()> {
    let mut sheet = Sheet::begin(format, out)?;
    each(desk, range, |_, entry| match entry {
        Entry::Pull(record) => {
            let weighings = record.weight.iter().flat_map(|weight| &weight.weighings);
            weighings.map(|w| rows::Weighing::of(record, w)).try_for_each(|row| sheet.row(&row))
        }
        Entry::Loose(loose) => rows::Weighing::loose(loose).map_or(Ok(()), |row| sheet.row(&row)),
        Entry::Dropped => Ok(()),
    })?;
    sheet.end()
}

/// The register, for reading (no format) or as data.
///
/// # Errors
/// As [`pulls`].
pub fn traps(desk: &Desk, format: Option<Format>, out: &mut dyn Write) -> Result<()> {
    let register = register_now(desk)?;
    let Some(format) = format else { return list(&register, out) };
    let mut sheet = Sheet::begin(format, out)?;
    for trap in register.entries() {
        sheet.row(&rows::Trap {
            trap: trap.trap.clone(),
            lat: round(trap.spot.lat, 7),
            lon: round(trap.spot.lon, 7),
            set_at: trap.set_at.map(|at| at.to_string()),
            sd_m: round(trap.spot.sd_m, 2),
            source: trap.source,
            state: state(trap),
        })?;
    }
    sheet.end()
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
