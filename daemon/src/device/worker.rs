//! One device's thread: open, find the speed, read, and after any trouble begin again.

use std::io;
use std::sync::Arc;
use std::sync::mpsc::SyncSender;

use gunwale_protocol::line::{Splitter, TooLong};
use gunwale_protocol::scale::Frames;
use gunwale_protocol::time::{Mono, SECOND};

use super::outbox::Outbox;
use super::{Counts, Event, Kind, Open, Port, Spec, State, Trouble, readable, unknown};
use crate::clock::{Clock, Stop};

/// The speeds tried where none is set, the likeliest first.
pub const RATES: [u32; 6] = [9_600, 4_800, 38_400, 115_200, 57_600, 19_200];
/// How long a speed is tried, in microseconds; as long again once one line could be read.
const TRIAL: i64 = 3 * SECOND / 2;
/// Readable lines that prove a speed.
const PROOF: usize = 2;
/// Without a byte, or without a readable line, for this long (microseconds), a device is reported.
const PATIENCE: i64 = 10 * SECOND;
/// The first and the longest pause before a lost device is opened again, in microseconds.
const PAUSE: (i64, i64) = (SECOND / 5, 10 * SECOND);
/// A device that is to be asked is asked again after this long without a byte, in microseconds.
const ASK_AGAIN: i64 = SECOND / 4;
/// Bytes taken in one read.
const CHUNK: usize = 4_096;

/// The longest line kept, bytes: many times what any sentence or frame needs.
pub const LINE_MAX: usize = 1_024;

/// An open device with what is left of its last read.
struct Wire {
    port: Box<dyn Port>,
    cut: Cut,
    baud: u32,
    /// When it last sent something or was asked to.
    stirred: Mono,
}

/// How bytes become lines.
enum Cut {
    Lines(Splitter),
    Frames(Frames),
}

impl Cut {
    fn take(&mut self, bytes: &[u8], line: impl FnMut(Result<&[u8], TooLong>)) {
        match self {
            Cut::Lines(lines) => lines.take(bytes, line),
            Cut::Frames(frames) => frames.take(bytes, line),
        }
    }
}

/// A line, and what was heard if that was another.
struct Heard {
    text: Vec<u8>,
    heard: Option<Vec<u8>>,
}

/// The lines that one read made whole, and when it was.
type Lines = (Mono, Vec<Heard>);

pub struct Worker<M> {
    spec: Spec,
    opener: Box<dyn Open>,
    clock: Arc<dyn Clock>,
    out: Outbox<M>,
    stop: Stop,
    /// The speed that worked last.
    worked: Option<u32>,
}

impl<M: From<Event>> Worker<M> {
    pub fn new(
        spec: Spec,
        opener: Box<dyn Open>,
        clock: Arc<dyn Clock>,
        to: SyncSender<M>,
        stop: Stop,
    ) -> Worker<M> {
        let out = Outbox::new(spec.name, to);
        Worker { spec, opener, clock, out, stop, worked: None }
    }

    /// Reads the device until told to stop.
    pub fn run(mut self) -> Counts {
        let mut pause = PAUSE.0;
        while !self.over() {
            let before = self.out.counts.lines;
            let Err(trouble) = self.run_once() else { break };
            // Silence and noise took their time to show; only a device that is not there needs longer pauses.
            let there = matches!(trouble, Trouble::Silent | Trouble::Noise);
            if there || self.out.counts.lines > before {
                pause = PAUSE.0;
            }
            self.out.state(match trouble {
                Trouble::Silent => State::Silent,
                Trouble::Noise => State::Noise,
                lost => State::Lost { why: lost.to_string() },
            });
            self.stop.wait(self.clock.real(pause));
            pause = (2 * pause).min(PAUSE.1);
        }
        self.out.counts
    }

    /// Opens and reads; comes back only when told to stop or in trouble.
    fn run_once(&mut self) -> Result<(), Trouble> {
        let wire = match self.spec.baud {
            Some(baud) => Some(self.open(baud)?),
            None => self.find()?,
        };
        match wire {
            Some(wire) => self.listen(wire),
            None => Ok(()),
        }
    }

    /// Tries speeds until lines can be read; `None` when told to stop.
    fn find(&mut self) -> Result<Option<Wire>, Trouble> {
        let mut bytes = false;
        let first = self.worked;
        for baud in first.into_iter().chain(RATES.into_iter().filter(|&rate| Some(rate) != first)) {
            tracing::debug!(baud, "trying");
            let mut wire = self.open(baud)?;
            let mut good = Vec::new();
            let began = self.clock.now();
            while self.clock.now() - began < if good.is_empty() { TRIAL } else { 2 * TRIAL } {
                if self.over() {
                    return Ok(None);
                }
                self.out.tell();
                let Some((t, lines)) = self.read(&mut wire)? else { continue };
                bytes = true;
                for line in lines {
                    if readable(self.spec.kind, &line.text) {
                        good.push((t, line));
                    } else if unknown(self.spec.kind, &line.text).is_some() {
                        // Text at one of the speeds may be all there ever is of a scale nobody knows.
                        self.tell(t, line);
                    }
                }
                if good.len() >= PROOF {
                    self.worked = Some(baud);
                    self.out.state(State::Open { baud });
                    good.into_iter().for_each(|(t, line)| self.tell(t, line));
                    return Ok(Some(wire));
                }
            }
        }
        Err(if bytes { Trouble::Noise } else { Trouble::Silent })
    }

    /// Sends lines on until told to stop.
    fn listen(&mut self, mut wire: Wire) -> Result<(), Trouble> {
        let mut last_byte = self.clock.now();
        let mut last_good = last_byte;
        while !self.over() {
            self.out.tell();
            let Some((t, lines)) = self.read(&mut wire)? else {
                if self.clock.now() - last_byte >= PATIENCE {
                    return Err(Trouble::Silent);
                }
                continue;
            };
            last_byte = t;
            for line in lines {
                if readable(self.spec.kind, &line.text) {
                    last_good = t;
                    self.out.state(State::Open { baud: wire.baud });
                }
                self.tell(t, line);
            }
            if t - last_good >= PATIENCE {
                if self.spec.baud.is_none() {
                    return Err(Trouble::Noise);
                }
                self.out.state(State::Noise);
            }
        }
        Ok(())
    }

    fn open(&mut self, baud: u32) -> Result<Wire, Trouble> {
        let opened = self.opener.open(&self.spec.path, baud);
        let port = opened.map_err(|error| Trouble::opening(&self.spec.path, &error))?;
        let cut = match self.spec.kind {
            Kind::Gps => Cut::Lines(Splitter::new(LINE_MAX)),
            Kind::Scale => Cut::Frames(Frames::new(LINE_MAX)),
        };
        let mut wire = Wire { port, cut, baud, stirred: self.clock.now() };
        self.ask(&mut wire)?;
        Ok(wire)
    }

    /// Sends the device what it is to be asked, if anything.
    fn ask(&mut self, wire: &mut Wire) -> Result<(), Trouble> {
        wire.stirred = self.clock.now();
        if self.spec.ask.is_empty() {
            return Ok(());
        }
        match wire.port.write_all(&self.spec.ask) {
            // A device that takes nothing is asked again.
            Err(error) if !passes(&error) => Err(Trouble::reading(&self.spec.path, Some(&error))),
            _ => Ok(()),
        }
    }

    /// Sends a line on, and counts it when nobody knows it.
    fn tell(&mut self, t: Mono, line: Heard) {
        if let Some(why) = unknown(self.spec.kind, &line.text) {
            self.out.unknown(&why);
        }
        self.out.line(t, line.text, line.heard);
    }

    /// A frame in a form that needs no settings to be read.
    fn plain(&self, frame: &[u8]) -> Heard {
        let plain = match self.spec.kind {
            Kind::Gps => None,
            Kind::Scale => std::str::from_utf8(frame).ok().and_then(|text| self.spec.described.plain(text)),
        };
        match plain {
            Some(plain) => {
                tracing::debug!(heard = %frame.escape_ascii(), plain, "as described");
                Heard { text: plain.into_bytes(), heard: Some(frame.to_vec()) }
            }
            None => Heard { text: frame.to_vec(), heard: None },
        }
    }

    /// Reads once; `None` when no byte came within the port's own waiting time.
    fn read(&mut self, wire: &mut Wire) -> Result<Option<Lines>, Trouble> {
        let mut bytes = [0; CHUNK];
        let read = wire.port.read(&mut bytes);
        let t = self.clock.now();
        match read {
            Ok(0) => Err(Trouble::reading(&self.spec.path, None)),
            Ok(n) => {
                wire.stirred = t;
                let (mut lines, mut overlong) = (Vec::new(), 0);
                wire.cut.take(bytes.get(..n).unwrap_or_default(), |line| match line {
                    Ok(text) => lines.push(self.plain(text)),
                    Err(_) => overlong += 1,
                });
                self.out.counts.overlong += overlong;
                Ok(Some((t, lines)))
            }
            Err(error) if passes(&error) => {
                if t - wire.stirred >= ASK_AGAIN {
                    self.ask(wire)?;
                }
                Ok(None)
            }
            Err(error) => Err(Trouble::reading(&self.spec.path, Some(&error))),
        }
    }

    fn over(&self) -> bool {
        self.stop.is_set() || self.out.closed()
    }
}

/// Whether an error only says that nothing came or went within the port's own waiting time.
fn passes(error: &io::Error) -> bool {
    matches!(error.kind(), io::ErrorKind::TimedOut | io::ErrorKind::Interrupted | io::ErrorKind::WouldBlock)
}
