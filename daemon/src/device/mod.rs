//! Serial devices: the GPS receiver and the scale, each read by a thread of its own that never gives up.
//!
//! A thread opens its device, finds the line speed where none is set, cuts the bytes into lines, stamps them, and
//! sends them on. Whatever happens to the device (unplugged, silent, noise, wrong speed), it says so once, waits,
//! and opens it anew. What the lines mean is decided elsewhere.

pub mod button;
mod outbox;
mod port;
#[cfg(test)]
mod tests;
mod trouble;
mod worker;

use std::fmt;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::mpsc::SyncSender;
use std::thread::JoinHandle;

use gunwale_protocol::time::Mono;
use gunwale_protocol::{nmea, scale};

pub use self::port::{Open, Port, Serial};
pub use self::trouble::Trouble;
use self::worker::Worker;
use crate::clock::{Clock, Stop};

/// The GPS receiver's name.
pub const GPS: &str = "gps";
/// The scale's name.
pub const SCALE: &str = "scale";

/// What a device sends, which decides what counts as a line that can be read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// NMEA 0183 sentences.
    Gps,
    /// Lines with weights.
    Scale,
}

/// A device as the settings give it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Spec {
    /// Its name in events and logs: `gps` or `scale`.
    pub name: &'static str,
    /// The serial device, or a link to it such as one in `/dev/serial/by-id`.
    pub path: PathBuf,
    /// Bits per second; `None` to find it by trying.
    pub baud: Option<u32>,
    /// What it sends.
    pub kind: Kind,
    /// How its frames are brought into a form that needs no settings.
    pub described: scale::Described,
    /// What it is sent when opened, and again when it has said nothing for a quarter of a second; empty: nothing.
    pub ask: Vec<u8>,
}

/// What a device's thread has to tell.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Event {
    /// A line came in.
    Line {
        /// The device's name.
        device: &'static str,
        /// When its last byte was read; all lines of one read have the same stamp.
        t: Mono,
        /// The line without its end, at most 1,024 bytes.
        text: Vec<u8>,
        /// What was heard, where the settings' description made `text` of it.
        heard: Option<Vec<u8>>,
    },
    /// The device's state is another than last told.
    Device {
        /// The device's name.
        name: &'static str,
        /// Its state now.
        state: State,
    },
}

/// How a device is. Its text says what to do.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum State {
    /// Lines that can be read are coming in.
    Open {
        /// Bits per second.
        baud: u32,
    },
    /// It cannot be opened, or went away.
    Lost {
        /// What happened and what to do.
        why: String,
    },
    /// Open, but no byte for 10 s.
    Silent,
    /// Bytes, but nothing that can be read.
    Noise,
}

impl fmt::Display for State {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            State::Open { baud } => write!(f, "open at {baud} baud"),
            State::Lost { why } => f.write_str(why),
            State::Silent => Trouble::Silent.fmt(f),
            State::Noise => Trouble::Noise.fmt(f),
        }
    }
}

/// What passed through a device's thread in its life.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Counts {
    /// Lines sent on.
    pub lines: u64,
    /// Lines dropped because the receiving end was full.
    pub dropped: u64,
    /// Runs of more than 1,024 bytes without a line end, skipped.
    pub overlong: u64,
    /// Frames of the scale that are of no known kind.
    pub unknown: u64,
}

/// Starts a device's thread. It ends when `stop` is given or the receiving end of `to` is gone.
///
/// # Errors
/// When the system has no thread to give.
pub fn spawn<M: From<Event> + Send + 'static>(
    spec: Spec,
    clock: Arc<dyn Clock>,
    to: SyncSender<M>,
    stop: Stop,
) -> std::io::Result<JoinHandle<Counts>> {
    spawn_with(spec, Box::new(Serial), clock, to, stop)
}

/// As [`spawn`], with another way to open the device.
///
/// # Errors
/// As [`spawn`].
pub fn spawn_with<M: From<Event> + Send + 'static>(
    spec: Spec,
    opener: Box<dyn Open>,
    clock: Arc<dyn Clock>,
    to: SyncSender<M>,
    stop: Stop,
) -> std::io::Result<JoinHandle<Counts>> {
    let name = spec.name;
    std::thread::Builder::new().name(name.into()).spawn(move || {
        let span = tracing::info_span!("device", name, path = %spec.path.display());
        let _inside = span.enter();
        Worker::new(spec, opener, clock, to, stop).run()
    })
}

/// Whether a line can be read at all: what tells the right line speed from a wrong one.
fn readable(kind: Kind, line: &[u8]) -> bool {
    match kind {
        Kind::Gps => nmea::exactly_one(line).is_ok(),
        Kind::Scale => std::str::from_utf8(line).is_ok_and(|text| scale::read(text).is_ok()),
    }
}

/// Why a frame that is text cannot be read; `None` for what can, for noise, and for what tells no load.
fn unknown(kind: Kind, line: &[u8]) -> Option<scale::Fault> {
    let text = std::str::from_utf8(line).ok().filter(|_| kind == Kind::Scale)?;
    scale::read(text)
        .err()
        .filter(|fault| !matches!(fault, scale::Fault::Noise | scale::Fault::NoWeight { .. }))
}
