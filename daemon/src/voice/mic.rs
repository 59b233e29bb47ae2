//! The microphone: a program that writes raw sound to its standard output, read by a thread that never gives up.
//!
//! The program is whatever the settings say; so no system library is needed, and a sound driver that dies takes a
//! program with it and not the service. Its output is read at once and all the time, its messages go to the log, and
//! whatever it does (not there, ended, hung, flooding, another rate) is told once; then it is started anew, after a
//! pause that grows. Sound nobody has room for is dropped and told as a gap: the pipe is never left to fill.

mod outbox;
mod pace;
mod source;
mod worker;

use std::fmt;
use std::sync::Arc;
use std::sync::mpsc::SyncSender;
use std::thread::JoinHandle;

use gunwale_protocol::time::Mono;

pub use self::pace::RATES;
use self::worker::Worker;
use crate::clock::{Clock, Stop};

/// Samples a second of all sound here.
pub const RATE: u32 = 16_000;

/// The microphone as the settings give it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Spec {
    /// The program and its arguments: it writes 16,000 samples a second, signed 16 bit little-endian, one channel,
    /// without a header, until it is killed.
    pub command: Vec<String>,
}

impl Default for Spec {
    fn default() -> Spec {
        let words = "arecord -q -t raw -f S16_LE -r 16000 -c 1";
        Spec { command: words.split(' ').map(str::to_owned).collect() }
    }
}

/// What the microphone's thread has to tell.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Event {
    /// Sound, in pieces of about 50 to 100 ms of real time, or as large as the program gives them; at most 65,536
    /// samples.
    Heard {
        /// When its first sample was heard, by the count of samples. Never before that of the piece before.
        t: Mono,
        /// 16,000 a second.
        samples: Vec<i16>,
    },
    /// Sound is missing before what comes next, because it was lost, dropped for want of room, or the program was
    /// started anew. Comes just before the piece it is about.
    Gap {
        /// When the next sample was heard.
        t: Mono,
        /// From the end of what was heard before until then, in microseconds; 0 or more.
        lost_us: i64,
    },
    /// Its state is another than last told.
    State(State),
}

/// How the microphone is. Its text says what to do.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum State {
    /// Sound has been coming at the right rate for 2 s.
    Open,
    /// The program cannot be started.
    Missing {
        /// What the system said.
        why: String,
    },
    /// The program ended.
    Ended {
        /// How.
        status: String,
        /// Its last message, without the line end; empty if there was none.
        said: String,
    },
    /// The program runs, but no byte came for 3 s.
    Silent,
    /// Far more than 16,000 samples a second.
    Flooding,
    /// Another number of samples a second than 16,000.
    WrongRate {
        /// Samples of 16 bit a second: the nearest usual number.
        measured: u32,
    },
}

impl State {
    /// Whether the other is the same trouble: a program's last words and a measured rate may differ each time.
    fn is_like(&self, other: &State) -> bool {
        match (self, other) {
            (State::Ended { status: a, .. }, State::Ended { status: b, .. }) => a == b,
            (State::WrongRate { .. }, State::WrongRate { .. }) => true,
            (a, b) => a == b,
        }
    }
}

impl fmt::Display for State {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            State::Open => f.write_str("open"),
            State::Missing { why } => write!(
                f,
                "{why}: install it (arecord is in Debian's alsa-utils), or set another command for the microphone in \
                 gunwale.toml"
            ),
            State::Ended { status, said } => {
                write!(f, "the microphone's program ended ({status}")?;
                if !said.is_empty() {
                    write!(f, "; it said: {said}")?;
                }
                f.write_str(
                    "): check that the microphone is plugged in and that the command in gunwale.toml names it",
                )
            }
            State::Silent => f.write_str(
                "the microphone's program runs, but no sound came for 3 s: check the microphone's plug, and that the \
                 command in gunwale.toml writes raw sound to standard output",
            ),
            State::Flooding => f.write_str(
                "the microphone's program gives sound faster than it can be heard: set a command in gunwale.toml that \
                 records and does not read a file",
            ),
            State::WrongRate { measured } => write!(
                f,
                "the microphone's program gives about {measured} samples a second instead of 16000: set its command \
                 in gunwale.toml to 16000 Hz, 16 bit, one channel"
            ),
        }
    }
}

/// Starts the microphone's thread. It ends within 1 s, and the program with it, when `stop` is given, or when the
/// receiving end of `to` is gone and there is sound to send.
///
/// # Errors
/// When the system has no thread to give.
pub fn spawn<M: From<Event> + Send + 'static>(
    spec: Spec,
    clock: Arc<dyn Clock>,
    to: SyncSender<M>,
    stop: Stop,
) -> std::io::Result<JoinHandle<()>> {
    std::thread::Builder::new().name("mic".into()).spawn(move || {
        let span = tracing::info_span!("mic", program = spec.command.first());
        let _inside = span.enter();
        Worker::new(spec, clock, to, stop).run();
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_words_say_what_to_do() {
        let (why, status) = ("arecord is not installed".to_owned(), "exit status: 1".to_owned());
        let ended = |said: &str| State::Ended { status: status.clone(), said: said.into() };
        for (state, text) in [
            (State::Open, "open"),
            (
                State::Missing { why },
                "arecord is not installed: install it (arecord is in Debian's alsa-utils), or set another command for \
                 the microphone in gunwale.toml",
            ),
            (
                ended(""),
                "the microphone's program ended (exit status: 1): check that the microphone is plugged in and that \
                 the command in gunwale.toml names it",
            ),
            (
                ended("no such card"),
                "the microphone's program ended (exit status: 1; it said: no such card): check that the microphone is \
                 plugged in and that the command in gunwale.toml names it",
            ),
            (
                State::Silent,
                "the microphone's program runs, but no sound came for 3 s: check the microphone's plug, and that the \
                 command in gunwale.toml writes raw sound to standard output",
            ),
            (
                State::Flooding,
                "the microphone's program gives sound faster than it can be heard: set a command in gunwale.toml that \
                 records and does not read a file",
            ),
            (
                State::WrongRate { measured: 44_100 },
                "the microphone's program gives about 44100 samples a second instead of 16000: set its command in \
                 gunwale.toml to 16000 Hz, 16 bit, one channel",
            ),
        ] {
            assert_eq!(state.to_string(), text);
        }
    }

    #[test]
    fn the_default_is_what_the_readme_says() {
        assert_eq!(Spec::default().command.join(" "), "arecord -q -t raw -f S16_LE -r 16000 -c 1");
    }
}
