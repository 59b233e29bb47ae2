//! `day`: a day's sheet.

use crate::desk::Desk;
use crate::error::Result;
use crate::io::Io;
use crate::{find, sheet};

/// Writes the sheet of a day, by default the last one with records.
///
/// # Errors
/// Text that is no date, or nothing recorded yet.
pub fn day(desk: &Desk, date: Option<&str>, io: &mut Io<'_>) -> Result<()> {
    let day = find::day(desk, date)?;
    io.out.write_all(sheet::sheet(desk, &day)?.as_bytes())?;
    Ok(())
}
