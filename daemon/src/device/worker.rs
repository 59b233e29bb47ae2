//! One device's thread: open, find the speed, read, and after any trouble begin again.

use std::io::{self, Read};
use std::sync::Arc;
use std::sync::mpsc::SyncSender;

use gunwale_protocol::line::Splitter;
use gunwale_protocol::time::{Mono, SECOND};

use super::outbox::Outbox;
use super::{Counts, Event, Open, Spec, State, Trouble, readable};
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
/// Bytes taken in one read.
const CHUNK: usize = 4_096;

/// The longest line kept, bytes: many times what any sentence or frame needs.
pub const LINE_MAX: usize = 1_024;

/// An open device with what is left of its last read.
struct Wire {
    port: Box<dyn Read + Send>,
    lines: Splitter,
    baud: u32,
}

/// The lines that one read made whole, and when it was.
type Lines = (Mono, Vec<Vec<u8>>);

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
                let readable = lines.into_iter().filter(|text| readable(self.spec.kind, text));
                good.extend(readable.map(|text| (t, text)));
                if good.len() >= PROOF {
                    self.worked = Some(baud);
                    self.out.state(State::Open { baud });
                    good.into_iter().for_each(|(t, text)| self.out.line(t, text));
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
            for text in lines {
                if readable(self.spec.kind, &text) {
                    last_good = t;
                    self.out.state(State::Open { baud: wire.baud });
                }
                self.out.line(t, text);
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
        Ok(Wire { port, lines: Splitter::new(LINE_MAX), baud })
    }

    /// Reads once; `None` when no byte came within the port's own waiting time.
    fn read(&mut self, wire: &mut Wire) -> Result<Option<Lines>, Trouble> {
        let mut bytes = [0; CHUNK];
        let read = wire.port.read(&mut bytes);
        let t = self.clock.now();
        match read {
            Ok(0) => Err(Trouble::reading(&self.spec.path, None)),
            Ok(n) => {
                let mut lines = Vec::new();
                wire.lines.take(bytes.get(..n).unwrap_or_default(), |line| match line {
                    Ok(text) => lines.push(text.to_vec()),
                    Err(_) => self.out.counts.overlong += 1,
                });
                Ok(Some((t, lines)))
            }
            Err(error) => match error.kind() {
                io::ErrorKind::TimedOut | io::ErrorKind::Interrupted | io::ErrorKind::WouldBlock => Ok(None),
                _ => Err(Trouble::reading(&self.spec.path, Some(&error))),
            },
        }
    }

    fn over(&self) -> bool {
        self.stop.is_set() || self.out.closed()
    }
}
