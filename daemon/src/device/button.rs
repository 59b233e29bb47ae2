//! The note button: a pedal that the system takes for a keyboard, or a contact on a serial port's control line. Each is
//! watched by a thread of its own that never gives up.
//!
//! A pedal is grabbed, so that its keys type nothing elsewhere. A contact goes between a line that the port drives
//! (RTS or DTR, both on while the port is open) and one that it reads; a port that is read for sentences as well
//! cannot be opened twice. What is already down when the device is opened counts from its next press on. A device
//! that goes away lets go of the button.

mod bounce;
mod keys;
mod line;
mod trouble;
mod worker;

use std::fmt;
use std::path::PathBuf;
use std::str::FromStr;
use std::sync::Arc;
use std::sync::mpsc::SyncSender;
use std::thread::JoinHandle;

use evdev::KeyCode;
use gunwale_protocol::time::Mono;
use serde::Deserialize;

pub use self::trouble::{Trouble, Unusable};
use self::worker::Worker;
use crate::clock::{Clock, Stop};

/// A note button as the settings give it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Spec {
    path: PathBuf,
    on: On,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum On {
    /// Keys; no note key: any but the mute key.
    Keys {
        note: Option<KeyCode>,
        mute: Option<KeyCode>,
    },
    Lines {
        note: Line,
        mute: Option<Line>,
    },
}

/// A control line that a serial port reads (TIA-232-F), `cts`, `dsr`, `dcd` or `ri` in the settings.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Line {
    /// Clear to send.
    Cts,
    /// Data set ready.
    Dsr,
    /// Data carrier detect.
    Dcd,
    /// Ring indicator.
    Ri,
}

impl Spec {
    /// A pedal: its input device, such as a link in `/dev/input/by-id`, and its keys by their names in Linux's
    /// `input-event-codes.h`, such as `KEY_F13`. Without a note key, any key but the mute key is the button.
    ///
    /// # Errors
    /// [`Unusable`] for a name that is none, and for one key for both.
    pub fn keys(path: PathBuf, note: Option<&str>, mute: Option<&str>) -> Result<Spec, Unusable> {
        let key = |name: Option<&str>| {
            name.map(|name| KeyCode::from_str(name).map_err(|_| Unusable::Key { name: name.into() }))
                .transpose()
        };
        let (keyed, muted) = (key(note)?, key(mute)?);
        match note {
            Some(name) if keyed == muted => Err(Unusable::Same { name: name.into() }),
            _ => Ok(Spec { path, on: On::Keys { note: keyed, mute: muted } }),
        }
    }

    /// Contacts on control lines of a serial port.
    ///
    /// # Errors
    /// [`Unusable`] for one line for both.
    pub fn lines(path: PathBuf, note: Line, mute: Option<Line>) -> Result<Spec, Unusable> {
        if mute == Some(note) {
            return Err(Unusable::Same { name: note.to_string() });
        }
        Ok(Spec { path, on: On::Lines { note, mute } })
    }
}

impl fmt::Display for Line {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Line::Cts => "cts",
            Line::Dsr => "dsr",
            Line::Dcd => "dcd",
            Line::Ri => "ri",
        })
    }
}

/// What a button's thread has to tell.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Event {
    /// The note button went down or up; always in turn.
    Button {
        /// When, before any debouncing.
        t: Mono,
        /// Down, or up.
        down: bool,
    },
    /// The mute button went down: listen no more, or again.
    Mute {
        /// When, before any debouncing.
        t: Mono,
    },
    /// Its state is another than last told.
    State(State),
}

/// How the device is. Its text says what to do.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum State {
    /// Presses are heard.
    Open,
    /// It cannot be opened, or went away.
    Lost {
        /// What happened and what to do.
        why: String,
    },
}

impl fmt::Display for State {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            State::Open => f.write_str("open"),
            State::Lost { why } => f.write_str(why),
        }
    }
}

/// Starts a button's thread. It ends when `stop` is given, or when the receiving end of `to` is gone and there is
/// something to tell.
///
/// # Errors
/// When the system has no thread to give.
pub fn spawn<M: From<Event> + Send + 'static>(
    spec: Spec,
    clock: Arc<dyn Clock>,
    to: SyncSender<M>,
    stop: Stop,
) -> std::io::Result<JoinHandle<()>> {
    std::thread::Builder::new().name("button".into()).spawn(move || {
        let span = tracing::info_span!("button", path = %spec.path.display());
        let _inside = span.enter();
        Worker::new(spec, clock, to, stop).run();
    })
}

#[cfg(test)]
mod tests;
