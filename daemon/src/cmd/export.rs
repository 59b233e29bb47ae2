//! `export`: the records for other programs.

use std::io::Write;

use crate::args::{Export, Format, Table};
use crate::desk::Desk;
use crate::error::Result;
use crate::export::bundle::Bundle;
use crate::export::{Range, days, folders, sounds, tables, track};
use crate::find;
use crate::io::Io;
use crate::settings::Settings;

/// Writes a table in the form asked for, and the notes' sound if that was asked for too.
///
/// # Errors
/// Text that is no date, records that cannot be read, output that cannot be written.
pub fn export(desk: &Desk, export: &Export, io: &mut Io<'_>) -> Result<()> {
    let trap = export.trap.as_deref().map(|name| find::trap(desk, name)).transpose()?;
    let range = Range { trap, ..find::range(desk, &export.from, &export.to)? };
    if !export.bundled() {
        return told(table(desk, export, &range, io.out)?, io.err);
    }
    let mut bundle = Bundle(io.out);
    if export.folder {
        let boats = folders::folders(desk, &range, &mut bundle)?;
        let unnamed = Settings::default().boat;
        if boats.contains(&unnamed) {
            writeln!(
                io.err,
                "gunwale: a boat of these records is called `{unnamed}`, as when the settings name none: days of another \
                 such boat would take their place"
            )?;
        }
    } else {
        let mut out = bundle.out();
        let left_out = table(desk, export, &range, &mut out)?;
        out.flush()?;
        drop(out);
        told(left_out, io.err)?;
    }
    if export.with_notes.is_some() {
        let sounds = sounds::sounds(desk, &range, &mut bundle)?;
        if sounds.missing > 0 {
            writeln!(
                io.err,
                "gunwale: {} notes copied, the sound of {} is not there",
                sounds.sent, sounds.missing
            )?;
        }
    }
    Ok(())
}

/// One table as one file. How many pulls it has no room for.
fn table(desk: &Desk, export: &Export, range: &Range, out: &mut dyn Write) -> Result<u64> {
    let format = export.format;
    match export.table {
        table @ (Table::Pulls | Table::Track) if format == Format::Gpx => {
            return tables::gpx(desk, range, table == Table::Pulls, out);
        }
        Table::Pulls => tables::pulls(desk, range, format, out),
        Table::Notes => tables::notes(desk, range, format, out),
        Table::Weighings => tables::weighings(desk, range, format, out),
        Table::Track => track::track(desk, range, format, out),
        Table::Traps => tables::traps(desk, Some(format), out),
        Table::Days => days::days(desk, range, format, out),
    }?;
    Ok(0)
}

fn told(left_out: u64, err: &mut dyn Write) -> Result<()> {
    if left_out > 0 {
        writeln!(
            err,
            "gunwale: {left_out} pulls without a position are left out: gpx has no waypoint without one"
        )?;
    }
    Ok(())
}
