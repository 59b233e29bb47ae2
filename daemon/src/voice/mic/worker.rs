//! The microphone's thread: start the program, read and stamp, and after any trouble begin again.

use std::io;
use std::sync::Arc;
use std::sync::mpsc::SyncSender;
use std::time::{Duration, Instant};

use super::outbox::Outbox;
use super::pace::{Pace, Verdict};
use super::source::{Got, Said, Source};
use super::{Event, RATE, Spec, State};
use crate::clock::{Clock, Stop};
use crate::voice::mic_clock::{MicClock, speed};

/// How long one wait for sound lasts: the longest that a stop is not heeded.
const WAIT: Duration = Duration::from_millis(100);
/// Without a byte for this long, the program is taken for hung.
const PATIENCE: Duration = Duration::from_secs(3);
/// The first and the longest pause before the program is started anew.
const PAUSE: (Duration, Duration) = (Duration::from_millis(200), Duration::from_secs(10));
/// A piece that is sent on is at least this long in real time, in seconds, and at most so many samples.
const PIECE: (f64, f64) = (0.05, 32_768.0);
/// A program that writes in drops is read at most this often: the pause after a small read.
const SIP: Duration = Duration::from_millis(20);
/// Drift is logged when it is another by more than this, in millionths, or first known; at most this often.
const DRIFT: (f64, Duration) = (20.0, Duration::from_secs(600));

pub struct Worker<M> {
    spec: Spec,
    clock: Arc<dyn Clock>,
    speed: f64,
    out: Outbox<M>,
    said: Said,
    stop: Stop,
    /// The sound card's drift as last logged, and when; the next run starts from it.
    drift: Option<(f64, Instant)>,
}

/// What came in one run of the program.
struct Run {
    clock: MicClock,
    pace: Pace,
    first: Option<Instant>,
    /// Samples so far, and those not yet sent, the last of all.
    count: u64,
    unsent: Vec<i16>,
    /// The first half of a sample.
    half: Option<u8>,
    right: bool,
}

impl<M: From<Event>> Worker<M> {
    pub fn new(spec: Spec, clock: Arc<dyn Clock>, to: SyncSender<M>, stop: Stop) -> Worker<M> {
        let speed = speed(clock.as_ref());
        Worker { spec, clock, speed, out: Outbox::new(to), said: Said::default(), stop, drift: None }
    }

    /// Reads the microphone until told to stop.
    pub fn run(mut self) {
        let mut pause = PAUSE.0;
        while !self.over() {
            let ppm = self.drift.map_or(0.0, |(ppm, _)| ppm);
            let mut run = Run::new(self.speed, ppm);
            let Some(trouble) = self.run_once(&mut run) else { break };
            if run.right {
                pause = PAUSE.0;
            }
            self.state(trouble);
            self.out.broken();
            self.stop.wait(pause);
            pause = (2 * pause).min(PAUSE.1);
        }
    }

    /// Starts the program and hears it; comes back only when told to stop or in trouble.
    fn run_once(&mut self, run: &mut Run) -> Option<State> {
        self.said.started();
        let mut source = match Source::start(&self.spec.command) {
            Ok(source) => source,
            Err(error) => return Some(State::Missing { why: error.to_string() }),
        };
        let heard = self.listen(&mut source, run);
        let status = source.end(&mut self.said);
        match heard {
            Ok(None) => None,
            // Its end is the trouble: how it ended says more.
            Ok(Some(Trouble::End)) => Some(State::Ended {
                status: status.map_or_else(|| "it does not say how".into(), |status| status.to_string()),
                said: self.said.last().to_owned(),
            }),
            Ok(Some(Trouble::State(state))) => Some(state),
            Err(error) => Some(State::Ended { status: error.to_string(), said: self.said.last().to_owned() }),
        }
    }

    /// Sends sound on until told to stop.
    fn listen(&mut self, source: &mut Source, run: &mut Run) -> io::Result<Option<Trouble>> {
        let piece = (PIECE.0 * f64::from(RATE) * self.speed).clamp(1.0, PIECE.1) as usize;
        let small = (SIP.as_secs_f64() * f64::from(RATE) * self.speed) as usize;
        let mut last_byte = Instant::now();
        while !self.over() {
            self.out.tell();
            let bytes = match source.next(WAIT, &mut self.said)? {
                Got::Sound(bytes) => bytes,
                Got::Nothing if last_byte.elapsed() < PATIENCE => continue,
                Got::Nothing => {
                    self.send(run);
                    return Ok(Some(Trouble::State(State::Silent)));
                }
                Got::End => {
                    self.send(run);
                    return Ok(Some(Trouble::End));
                }
            };
            let (t, now) = (self.clock.now(), Instant::now());
            last_byte = now;
            let before = run.count;
            run.take(bytes);
            if run.count == before {
                continue;
            }
            let first = *run.first.get_or_insert(now);
            match run.pace.arrived(run.count, now - first) {
                Verdict::Open => {}
                Verdict::Right => {
                    run.right = true;
                    self.state(State::Open);
                }
                Verdict::Wrong(measured) => {
                    return Ok(Some(Trouble::State(State::WrongRate { measured })));
                }
                Verdict::Flood => return Ok(Some(Trouble::State(State::Flooding))),
            }
            if let Some(lost) = run.clock.arrived(run.count, t) {
                tracing::warn!(
                    ms = lost.us / 1_000,
                    within_ms = lost.within_us / 1_000,
                    "sound was lost: the computer was too busy, or the microphone's plug is loose"
                );
                run.pace.lost(lost.us as f64 / self.speed);
                self.out.broken();
            }
            self.log_drift(&run.clock);
            let got = (run.count - before) as usize;
            if run.unsent.len() >= piece {
                self.send(run);
            }
            if got < small {
                self.stop.wait(SIP);
            }
        }
        Ok(None)
    }

    /// Sends what was not sent yet.
    fn send(&mut self, run: &mut Run) {
        let samples = std::mem::take(&mut run.unsent);
        if !samples.is_empty() {
            let t = run.clock.stamp(run.count - samples.len() as u64);
            self.out.heard(t, samples);
        }
    }

    fn state(&mut self, state: State) {
        if self.out.state(state) {
            self.said.changed();
        }
    }

    fn log_drift(&mut self, clock: &MicClock) {
        let Some(ppm) = clock.ppm() else { return };
        let due = self.drift.is_none_or(|(last, at)| (ppm - last).abs() > DRIFT.0 && at.elapsed() > DRIFT.1);
        if due {
            tracing::info!(ppm = ppm.round(), "the sound card's clock is slow by this many millionths");
            self.drift = Some((ppm, Instant::now()));
        }
    }

    fn over(&self) -> bool {
        self.stop.is_set() || self.out.closed()
    }
}

/// Why the program is not heard any more.
enum Trouble {
    /// It ended.
    End,
    /// It is to be ended.
    State(State),
}

impl Run {
    fn new(speed: f64, ppm: f64) -> Run {
        Run {
            clock: MicClock::new(speed, ppm),
            pace: Pace::new(speed),
            first: None,
            count: 0,
            unsent: Vec::new(),
            half: None,
            right: false,
        }
    }

    /// Takes bytes as samples; half a sample is kept for the next time.
    fn take(&mut self, bytes: &[u8]) {
        let before = self.unsent.len();
        let mut rest = bytes;
        if let (Some(low), Some((&high, after))) = (self.half, rest.split_first()) {
            self.unsent.push(i16::from_le_bytes([low, high]));
            (self.half, rest) = (None, after);
        }
        let (pairs, odd) = rest.as_chunks::<2>();
        self.unsent.extend(pairs.iter().map(|&pair| i16::from_le_bytes(pair)));
        self.half = odd.first().copied().or(self.half);
        self.count += (self.unsent.len() - before) as u64;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn samples_may_be_cut_anywhere() {
        let bytes: Vec<u8> = (0..=255).collect();
        let whole: Vec<i16> = bytes.chunks(2).map(|pair| i16::from_le_bytes([pair[0], pair[1]])).collect();
        for step in [1, 2, 3, 5, 64, 255, 256] {
            let mut run = Run::new(1.0, 0.0);
            bytes.chunks(step).for_each(|part| run.take(part));
            assert_eq!(
                (run.unsent, run.count, run.half),
                (whole.clone(), 128, None),
                "{step} bytes at a time"
            );
        }
        let mut run = Run::new(1.0, 0.0);
        run.take(&[]);
        run.take(&[7]);
        run.take(&[]);
        assert_eq!((run.count, run.half), (0, Some(7)));
    }
}
