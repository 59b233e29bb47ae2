//! Contacts on control lines of a serial port, looked at many times a second.

use std::io;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use gunwale_protocol::time::{Mono, SECOND};
use serialport::{ErrorKind, SerialPort, TTYPort};

use super::Line;
use super::bounce::Bounce;
use super::trouble::{PORT, Trouble};
use super::worker::{Act, Watch};
use crate::clock::Clock;

/// How often the lines are looked at, in real time.
const LOOK: Duration = Duration::from_millis(10);
/// How long a contact must stay, in real time.
const HOLD: Duration = Duration::from_millis(30);
/// No byte is read or written; a port must have a speed.
const BAUD: u32 = 9_600;

/// An open port.
pub struct Lines {
    port: TTYPort,
    contacts: Contacts,
    clock: Arc<dyn Clock>,
}

impl Lines {
    pub fn open(
        path: &Path,
        note: Line,
        mute: Option<Line>,
        clock: Arc<dyn Clock>,
    ) -> Result<Lines, Trouble> {
        let trouble = |error: io::Error| Trouble::opening(path, &error, PORT);
        let name = path.to_str().ok_or_else(|| trouble(io::Error::other("its path is not UTF-8")))?;
        let mut port = TTYPort::open(&serialport::new(name, BAUD)).map_err(|e| trouble(plain(e)))?;
        // Both drive the contact; a port that cannot is found out by the look.
        let _ = port.write_request_to_send(true).and_then(|()| port.write_data_terminal_ready(true));
        for line in [Some(note), mute].into_iter().flatten() {
            look(&mut port, line).map_err(trouble)?;
        }
        // The contact's time on the run's clock, which may be faster.
        let second = clock.real(SECOND).as_secs_f64().max(1e-9);
        let hold_us = (HOLD.as_secs_f64() / second * SECOND as f64).round() as i64;
        Ok(Lines { port, contacts: Contacts::new(note, mute, hold_us), clock })
    }
}

impl Watch for Lines {
    fn next(&mut self) -> io::Result<Vec<Act>> {
        std::thread::sleep(LOOK);
        let (port, t) = (&mut self.port, self.clock.now());
        self.contacts.look(t, |line| look(port, line))
    }
}

/// The contacts of a port.
#[derive(Debug)]
pub struct Contacts {
    note: (Line, Bounce),
    mute: Option<(Line, Bounce)>,
}

impl Contacts {
    pub fn new(note: Line, mute: Option<Line>, hold_us: i64) -> Contacts {
        let bounce = |line| (line, Bounce::new(hold_us));
        Contacts { note: bounce(note), mute: mute.map(bounce) }
    }

    /// Looks at all of them.
    pub fn look(&mut self, t: Mono, mut look: impl FnMut(Line) -> io::Result<bool>) -> io::Result<Vec<Act>> {
        let (line, bounce) = &mut self.note;
        let note = bounce.look(t, look(*line)?).map(|(t, down)| Act::Button(t, down));
        let mute = match &mut self.mute {
            Some((line, bounce)) => bounce.look(t, look(*line)?).filter(|(_, down)| *down),
            None => None,
        };
        Ok(note.into_iter().chain(mute.map(|(t, _)| Act::Mute(t))).collect())
    }
}

fn look(port: &mut TTYPort, line: Line) -> io::Result<bool> {
    match line {
        Line::Cts => port.read_clear_to_send(),
        Line::Dsr => port.read_data_set_ready(),
        Line::Dcd => port.read_carrier_detect(),
        Line::Ri => port.read_ring_indicator(),
    }
    .map_err(plain)
}

fn plain(error: serialport::Error) -> io::Error {
    match error.kind {
        ErrorKind::NoDevice => io::ErrorKind::ResourceBusy.into(),
        ErrorKind::Io(kind @ (io::ErrorKind::NotFound | io::ErrorKind::PermissionDenied)) => kind.into(),
        _ => io::Error::other(error.description),
    }
}
