//! `traps`: the register, filled from files and by hand.

use gunwale_protocol::input::{Stated, TrapPlace, TrapStated};
use gunwale_protocol::place::LatLon;

use crate::args::Traps;
use crate::desk::Desk;
use crate::error::{Error, Result};
use crate::export::tables;
use crate::io::{Io, Named};
use crate::{find, trap_file};

/// Does something with the register.
///
/// # Errors
/// A file or position that cannot be taken; then nothing of it is.
pub fn traps(desk: &Desk, command: &Traps, io: &mut Io<'_>) -> Result<()> {
    match command {
        Traps::Import { .. } => {
            let Some(Named { name, lines: mut from, .. }) = io.files.next_file()? else { return Ok(()) };
            let traps = trap_file::read(&name, &mut *from)?;
            let count = traps.len();
            desk.state(traps.into_iter().map(Stated::Trap).collect())?;
            writeln!(io.out, "{count} traps imported")?;
        }
        Traps::List { format } => tables::traps(desk, format.map(Into::into), io.out)?,
        Traps::Add { trap, lat, lon, at } => {
            let place = match (at, lat, lon) {
                (Some(pull), ..) => TrapPlace::Pull { pull: find::pull(desk, pull)? },
                (None, Some(lat), Some(lon)) => {
                    let spot = LatLon::new(*lat, *lon).map_err(|e| Error::Usage(e.to_string()))?;
                    TrapPlace::Position { lat: spot.lat(), lon: spot.lon(), set_at: None }
                }
                _ => return Err(Error::Usage("give a position LAT LON, or --at PULL".into())),
            };
            let trap = name(trap)?;
            let by_pull = matches!(place, TrapPlace::Pull { .. });
            let stated = vec![Stated::Trap(TrapStated { trap: trap.clone(), place })];
            // What a pull names can be undone like a correction, so it takes its turn among them.
            if by_pull {
                desk.state(stated)?
            } else {
                desk.state_last(stated)?
            }
            writeln!(io.out, "trap {trap} is in the register")?;
        }
        Traps::Retire { trap } => {
            if desk.records().register()?.get(trap).is_none() {
                return Err(Error::NoTrap(trap.clone()));
            }
            let place = TrapPlace::Retired { retired: true };
            desk.state_last(vec![Stated::Trap(TrapStated { trap: trap.clone(), place })])?;
            writeln!(io.out, "trap {trap} is out of the register")?;
        }
    }
    Ok(())
}

fn name(text: &str) -> Result<String> {
    let text = text.trim();
    if text.is_empty() || text == "none" || text.chars().any(char::is_control) {
        let problem =
            format!("{text:?} cannot be a trap's name: give text, not empty, not `none`, in one line");
        return Err(Error::Usage(problem));
    }
    Ok(text.to_owned())
}
