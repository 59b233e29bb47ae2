//! Where a command is done: by the running service if there is one, else here, alone on the data directory.

use std::io::{IsTerminal, Write};
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use crate::args::Command;
use crate::clock::BootClock;
use crate::cmd;
use crate::desk::Desk;
use crate::error::{Error, Result};
use crate::export::landing::Landing;
use crate::io::{Io, Local};
use crate::lock::{Lock, Taken};
use crate::records::Records;
use crate::settings::Settings;
use crate::socket::client;

/// How long a command waits for another one to finish.
const WAIT: Duration = Duration::from_secs(10);

/// Does a command and gives its exit status.
///
/// # Errors
/// What the command reports, when it was done here.
pub fn perform(data: &Path, config: Option<&Path>, command: &Command) -> Result<u8> {
    let settings = Settings::load(config, data)?;
    if command.needs_records() && !data.exists() {
        // A path mistyped would become an empty data directory.
        return Err(Error::NoRecords(data.to_owned()));
    }
    if let Command::Replay(wanted) = command
        && !wanted.list
    {
        // What is to be played is put together there, and played here, where the person is.
        let (mut handed, player) = (Vec::new(), settings.cues.player.clone());
        let status = done(data, settings, command, &mut handed)?;
        if status == 0 {
            cmd::replay::perform(data, &player, wanted, &handed)?;
        }
        return Ok(status);
    }
    let mut command = command.clone();
    if let Command::Export(export) = &mut command {
        export.settle(data)?;
    }
    let mut landing = Landing::open(&command)?;
    let status = done(data, settings, &command, &mut landing).map_err(Error::bare)?;
    landing.close(status == 0)?;
    Ok(status)
}

/// Has the command done, here or there.
fn done(data: &Path, settings: Settings, command: &Command, out: &mut dyn Write) -> Result<u8> {
    let _lock = match Lock::take(data, WAIT, || client::connect(data))? {
        Taken::Other(service) => return client::ask(service, command, out),
        Taken::Lock(lock) => lock,
    };
    let desk = Desk::new(data, settings, Arc::new(BootClock), Records::open(data)?);
    if !matches!(command, Command::Rebuild) {
        desk.catch_up(&mut |_| {})?;
    }
    let mut files = Local::new(command.files());
    let mut err = std::io::stderr();
    let mut io = Io { out, watched: err.is_terminal(), err: &mut err, files: &mut files };
    cmd::perform(&desk, command, &mut io)?;
    Ok(0)
}
