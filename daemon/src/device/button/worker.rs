//! A button's thread: open, watch, and after any trouble begin again.

use std::collections::VecDeque;
use std::io;
use std::sync::Arc;
use std::sync::mpsc::{SyncSender, TrySendError};
use std::time::Duration;

use gunwale_protocol::time::Mono;

use super::keys::{Held, Keys};
use super::line::Lines;
use super::{Event, On, Spec, State, Trouble};
use crate::clock::{Clock, Stop};

/// How long one wait for a press lasts at most: the longest that a stop is not heeded.
pub const WAIT: Duration = Duration::from_millis(100);
/// The first and the longest pause before a lost device is opened again; in real time, as a person plugs it in.
const PAUSE: (Duration, Duration) = (Duration::from_millis(200), Duration::from_secs(10));
/// Events kept while the receiving end has no room.
const ROOM: usize = 64;

/// What was done to a button.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Act {
    Button(Mono, bool),
    Mute(Mono),
}

/// An open device.
pub trait Watch {
    /// Waits a short time for something to be done.
    fn next(&mut self) -> io::Result<Vec<Act>>;
}

pub struct Worker<M> {
    spec: Spec,
    clock: Arc<dyn Clock>,
    to: SyncSender<M>,
    stop: Stop,
    state: Option<State>,
    down: bool,
    unsent: VecDeque<Event>,
    closed: bool,
}

impl<M: From<Event>> Worker<M> {
    pub fn new(spec: Spec, clock: Arc<dyn Clock>, to: SyncSender<M>, stop: Stop) -> Worker<M> {
        Worker { spec, clock, to, stop, state: None, down: false, unsent: VecDeque::new(), closed: false }
    }

    /// Watches the device until told to stop.
    pub fn run(mut self) {
        let mut pause = PAUSE.0;
        while !self.over() {
            let trouble = match self.open() {
                Ok(device) => {
                    pause = PAUSE.0;
                    self.state(State::Open);
                    self.watch(device)
                }
                Err(trouble) => Some(trouble),
            };
            let Some(trouble) = trouble else { break };
            self.state(State::Lost { why: trouble.to_string() });
            self.stop.wait(pause);
            pause = (2 * pause).min(PAUSE.1);
        }
    }

    fn open(&self) -> Result<Box<dyn Watch>, Trouble> {
        let (path, clock) = (&self.spec.path, self.clock.clone());
        Ok(match self.spec.on {
            On::Keys { note, mute } => Box::new(Keys::open(path, Held::new(note, mute), clock)?),
            On::Lines { note, mute } => Box::new(Lines::open(path, note, mute, clock)?),
        })
    }

    /// Tells what is done to the device; comes back only when told to stop, or with what went wrong.
    pub fn watch(&mut self, mut device: Box<dyn Watch>) -> Option<Trouble> {
        while !self.over() {
            match device.next() {
                Ok(acts) => acts.into_iter().for_each(|act| self.act(act)),
                Err(error) => {
                    // Nobody can let go of it any more.
                    self.act(Act::Button(self.clock.now(), false));
                    return Some(Trouble::reading(&self.spec.path, &error));
                }
            }
            self.send();
        }
        None
    }

    fn act(&mut self, act: Act) {
        match act {
            Act::Button(_, down) if down == self.down => {}
            Act::Button(t, down) => {
                self.down = down;
                self.tell(Event::Button { t, down });
            }
            Act::Mute(t) => self.tell(Event::Mute { t }),
        }
    }

    fn state(&mut self, state: State) {
        if self.state.as_ref() == Some(&state) {
            return;
        }
        match state {
            State::Open => tracing::info!("{state}"),
            State::Lost { .. } => tracing::warn!("{state}"),
        }
        self.state = Some(state.clone());
        self.tell(Event::State(state));
    }

    /// Sends an event, or keeps it until there is room: a press is never lost, unless nothing is taken for long.
    fn tell(&mut self, event: Event) {
        if self.unsent.len() >= ROOM {
            tracing::warn!("presses come and are not taken: dropped");
            self.unsent.pop_front();
        }
        self.unsent.push_back(event);
        self.send();
    }

    fn send(&mut self) {
        while let Some(event) = self.unsent.front() {
            match self.to.try_send(event.clone().into()) {
                Ok(()) => self.unsent.pop_front(),
                Err(TrySendError::Full(_)) => return,
                Err(TrySendError::Disconnected(_)) => {
                    self.closed = true;
                    return;
                }
            };
        }
    }

    fn over(&self) -> bool {
        self.stop.is_set() || self.closed
    }
}
