//! `ingest`: tapes and plain NMEA logs into the records.

use crate::desk::Desk;
use crate::error::Result;
use crate::ingest::Counts;
use crate::io::Io;

/// Plays `files` files and ends with what they came to.
///
/// # Errors
/// The first file that cannot be read, or a journal that cannot be written; what was taken until then is kept.
pub fn ingest(desk: &Desk, files: usize, io: &mut Io<'_>) -> Result<()> {
    let mut all = Counts::default();
    for _ in 0..files {
        let Some(file) = io.files.next_file()? else { break };
        all += crate::ingest::ingest(desk, file, io.out)?;
    }
    let Counts { lines, refused, fixes, pulls } = all;
    writeln!(io.out, "lines {lines} refused {refused} fixes {fixes} pulls {pulls}")?;
    Ok(())
}
