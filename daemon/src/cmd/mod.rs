//! The commands, one file each. Every command but `run` and `demo` is the same function whether it works alone on the
//! data directory or inside the running service.

use crate::args::Command;
use crate::desk::Desk;
use crate::error::{Error, Result};
use crate::io::Io;
use crate::store::StoreError;

mod again;
pub mod check;
pub mod correct;
pub mod day;
pub mod demo;
pub mod export;
pub mod forget;
pub mod hear;
pub mod ingest;
pub mod replay;
pub mod run;
pub mod season;
pub mod traps;

/// Does a command at a desk. One that finds the store damaged is done again on a store made anew.
///
/// # Errors
/// What the command reports.
pub fn perform(desk: &Desk, command: &Command, io: &mut Io<'_>) -> Result<()> {
    let used = desk.store();
    let mut out = again::Again::new(&mut *io.out);
    let mut told = Io { out: &mut out, err: &mut *io.err, watched: io.watched, files: &mut *io.files };
    match once(desk, command, &mut told) {
        Err(Error::Store(StoreError::Damaged(damage))) => {
            tracing::warn!(damage, "store damaged");
            desk.heal(&used)?;
            // Files have been read and cannot be read again, but what they do takes care of itself.
            if !command.files().is_empty() {
                return Err(StoreError::Damaged(damage).into());
            }
        }
        other => return other,
    }
    drop(used);
    out.begin_again();
    let mut told = Io { out: &mut out, err: &mut *io.err, watched: io.watched, files: &mut *io.files };
    once(desk, command, &mut told)
}

fn once(desk: &Desk, command: &Command, io: &mut Io<'_>) -> Result<()> {
    match command {
        Command::Ingest { files } => ingest::ingest(desk, files.len(), io),
        Command::Note { text } => desk.note(text.join(" ")),
        Command::Traps { command } => traps::traps(desk, command, io),
        Command::Day { date } => day::day(desk, date.as_deref(), io),
        Command::Replay(wanted) => replay::replay(desk, wanted, io),
        Command::Correct { of, fields } => correct::correct(desk, of, fields, io),
        Command::Forget { of } => forget::forget(desk, of, io),
        Command::Export(export) => export::export(desk, export, io),
        Command::Season(wanted) => season::season(desk, wanted, io),
        Command::Rebuild => rebuild(desk, io),
        Command::Check => check::check(desk, io),
        Command::Hear { what } => hear::hear(desk, what, io),
        Command::Run | Command::Demo(_) | Command::Recogniser { .. } => {
            Err(Error::Running(desk.data.clone()))
        }
    }
}

/// Makes the store anew from the journal.
fn rebuild(desk: &Desk, io: &mut Io<'_>) -> Result<()> {
    let pulls = desk.rebuild(&mut |segment| {
        if io.watched {
            // Who cannot see it loses nothing.
            let _ = writeln!(io.err, "folding {segment}");
        }
    })?;
    writeln!(io.out, "{pulls} pulls from the journal")?;
    Ok(())
}
