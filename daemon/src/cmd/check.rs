//! `check`: one line for each thing that must be right before casting off, and what to do where it is not.

mod recogniser;
mod serial;
mod sound;

use std::path::Path;

use crate::desk::Desk;
use crate::error::{Error, Result};
use crate::io::Io;
use crate::journal::{self, Reader};

/// Below this much room, bytes, something should be done before the next trip: a day is some 50 MB.
const LITTLE_ROOM: u64 = 500 << 20;
/// A system clock before this (2025-01-01T00:00:00Z) was not set.
const NOT_SET: i64 = 1_735_689_600_000_000;

/// One line's finding.
enum Verdict {
    Good(String),
    /// What is wrong and what to do.
    Bad(String),
}

/// A thing to check, and how.
type Check = (&'static str, fn(&Desk) -> Verdict);

/// Checks everything and says so; fails when something is wrong.
///
/// # Errors
/// [`Error::Told`] when a line says so.
pub fn check(desk: &Desk, io: &mut Io<'_>) -> Result<()> {
    let checks: [Check; 11] = [
        ("settings", settings),
        ("journal", journal),
        ("store", store),
        ("disk", disk),
        ("clock", clock),
        ("gps", serial::gps),
        ("scale", serial::scale),
        ("mic", sound::microphone),
        ("button", sound::note_button),
        ("tones", sound::tones),
        ("words", recogniser::recognisers),
    ];
    let mut all_good = true;
    for (name, check) in checks {
        match check(desk) {
            Verdict::Good(what) => writeln!(io.out, "{name:<9} good  {what}")?,
            Verdict::Bad(what) => {
                all_good = false;
                writeln!(io.out, "{name:<9} BAD   {what}")?;
            }
        }
        io.out.flush()?;
    }
    if all_good { Ok(()) } else { Err(Error::Told) }
}

fn settings(desk: &Desk) -> Verdict {
    Verdict::Good(format!("boat {}, days in {}", desk.settings.boat, desk.settings.timezone))
}

fn journal(desk: &Desk) -> Verdict {
    match read_all(&desk.data) {
        Ok((segments, lines, 0)) => {
            Verdict::Good(format!("{segments} segments, {lines} lines, every checksum right"))
        }
        Ok((_, lines, damaged)) => Verdict::Bad(format!(
            "{damaged} of {lines} lines are damaged and left out: copy the journal folder to another disk, this one fails"
        )),
        Err(e) => Verdict::Bad(e.to_string()),
    }
}

fn read_all(data: &Path) -> Result<(usize, u64, u64)> {
    let segments = journal::list(data)?;
    let (mut lines, mut damaged) = (0, 0);
    for segment in &segments {
        let mut reader = Reader::open(&segment.path, 0)?;
        for entry in reader.by_ref() {
            entry?;
            lines += 1;
        }
        damaged += reader.damaged();
    }
    Ok((segments.len(), lines, damaged))
}

fn store(desk: &Desk) -> Verdict {
    match desk.store().verify() {
        Ok(documents) => Verdict::Good(format!("{documents} documents, all readable")),
        Err(damage) => {
            // The journal is the truth; what was made from it is made again.
            match desk.rebuild(&mut |_| {}) {
                Ok(pulls) => Verdict::Good(format!("was damaged ({damage}), made anew: {pulls} pulls")),
                Err(e) => Verdict::Bad(e.to_string()),
            }
        }
    }
}

fn disk(desk: &Desk) -> Verdict {
    match rustix::fs::statvfs(&desk.data) {
        Ok(disk) => {
            let room = disk.f_bavail.saturating_mul(disk.f_frsize);
            let text = format!("{} MB free", room >> 20);
            if room < LITTLE_ROOM {
                Verdict::Bad(format!("{text}: make room before the next trip"))
            } else {
                Verdict::Good(text)
            }
        }
        Err(e) => Verdict::Bad(format!("cannot tell how much room there is ({e}): look at the disk")),
    }
}

fn clock(desk: &Desk) -> Verdict {
    let now = desk.clock.system();
    if now.0 < NOT_SET {
        return Verdict::Bad(format!("the system clock says {now}: harmless with GPS, else set it"));
    }
    Verdict::Good(format!("the system clock says {now}; records are dated by GPS"))
}
