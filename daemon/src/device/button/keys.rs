//! A pedal as an input device of Linux.

use std::io;
use std::path::Path;
use std::sync::Arc;

use evdev::{Device, EventSummary, KeyCode};
use gunwale_protocol::time::Mono;
use rustix::event::{PollFd, PollFlags, Timespec, poll};

use super::trouble::{PEDAL, Trouble};
use super::worker::{Act, WAIT, Watch};
use crate::clock::Clock;

/// An open pedal.
pub struct Keys {
    device: Device,
    held: Held,
    clock: Arc<dyn Clock>,
}

impl Keys {
    pub fn open(path: &Path, held: Held, clock: Arc<dyn Clock>) -> Result<Keys, Trouble> {
        let trouble = |error: io::Error| Trouble::opening(path, &error, PEDAL);
        let mut device = Device::open(path).map_err(trouble)?;
        let has = |key: KeyCode| device.supported_keys().is_some_and(|keys| keys.contains(key));
        if let Some(key) = [held.note, held.mute].into_iter().flatten().find(|&key| !has(key)) {
            return Err(Trouble::NoKey { path: path.display().to_string(), key: format!("{key:?}") });
        }
        if device.supported_keys().is_none() {
            return Err(trouble(io::Error::other("it has no keys")));
        }
        device.grab().map_err(trouble)?;
        device.set_nonblocking(true).map_err(trouble)?;
        Ok(Keys { device, held, clock })
    }
}

impl Watch for Keys {
    fn next(&mut self) -> io::Result<Vec<Act>> {
        let mut fds = [PollFd::new(&self.device, PollFlags::IN)];
        match poll(&mut fds, Timespec::try_from(WAIT).ok().as_ref()) {
            Ok(0) | Err(rustix::io::Errno::INTR) => return Ok(Vec::new()),
            Ok(_) => {}
            Err(error) => return Err(error.into()),
        }
        let t = self.clock.now();
        let events = match self.device.fetch_events() {
            Ok(events) => events,
            Err(error) if matches!(error.kind(), io::ErrorKind::WouldBlock | io::ErrorKind::Interrupted) => {
                return Ok(Vec::new());
            }
            Err(error) => return Err(error),
        };
        let held = &mut self.held;
        Ok(events
            .filter_map(|event| match event.destructure() {
                EventSummary::Key(_, key, value) => held.take(t, key, value),
                _ => None,
            })
            .collect())
    }
}

/// What keys mean: the button is down as long as any of its keys is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Held {
    pub note: Option<KeyCode>,
    pub mute: Option<KeyCode>,
    /// The button's keys that are down.
    pub down: Vec<KeyCode>,
}

impl Held {
    pub fn new(note: Option<KeyCode>, mute: Option<KeyCode>) -> Held {
        Held { note, mute, down: Vec::new() }
    }

    /// Takes a key event: 1 is down, 0 up, 2 held down for long (Linux, Documentation/input/event-codes.rst, `EV_KEY`).
    pub fn take(&mut self, t: Mono, key: KeyCode, value: i32) -> Option<Act> {
        if self.mute == Some(key) {
            return (value == 1).then_some(Act::Mute(t));
        }
        if self.note.is_some_and(|note| note != key) {
            return None;
        }
        let was_down = !self.down.is_empty();
        match value {
            1 if !self.down.contains(&key) => self.down.push(key),
            0 => self.down.retain(|&held| held != key),
            _ => {}
        }
        let down = !self.down.is_empty();
        (down != was_down).then_some(Act::Button(t, down))
    }
}
