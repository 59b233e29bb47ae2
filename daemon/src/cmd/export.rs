//! `export`: the records for other programs.

use crate::args::{Export, Table};
use crate::desk::Desk;
use crate::error::Result;
use crate::export::{Range, tables, track};
use crate::find;
use crate::io::Io;

/// Writes a table in the form asked for.
///
/// # Errors
/// Text that is no date, records that cannot be read, output that cannot be written.
pub fn export(desk: &Desk, export: &Export, io: &mut Io<'_>) -> Result<()> {
    let day = |text: &Option<String>| text.as_deref().map(|text| find::day(desk, Some(text))).transpose();
    let range = Range { from: day(&export.from)?, to: day(&export.to)?, trap: export.trap.clone() };
    match export.table {
        Table::Pulls => tables::pulls(desk, &range, export.format, io.out),
        Table::Notes => tables::notes(desk, &range, export.format, io.out),
        Table::Weighings => tables::weighings(desk, &range, export.format, io.out),
        Table::Track => track::track(desk, &range, export.format, io.out),
        Table::Traps => tables::traps(desk, Some(export.format), io.out),
    }
}
