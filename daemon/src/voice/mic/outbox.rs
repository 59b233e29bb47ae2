//! What the microphone's thread sends on: sound as long as there is room, gaps where there was none, and its state
//! whenever it changes. Nothing here waits.

use std::sync::mpsc::{SyncSender, TrySendError};

use gunwale_protocol::time::{Mono, SECOND};

use super::{Event, RATE, State};

/// The sending end.
pub struct Outbox<M> {
    to: SyncSender<M>,
    state: Option<State>,
    told: Option<State>,
    closed: bool,
    /// The end of what was last sent.
    end: Option<Mono>,
    /// Something is missing after it.
    broken: bool,
    dropped: u64,
}

impl<M: From<Event>> Outbox<M> {
    pub fn new(to: SyncSender<M>) -> Outbox<M> {
        Outbox { to, state: None, told: None, closed: false, end: None, broken: false, dropped: 0 }
    }

    /// Whether the receiving end is gone.
    pub fn closed(&self) -> bool {
        self.closed
    }

    /// What comes next does not follow what was sent before.
    pub fn broken(&mut self) {
        self.broken = true;
    }

    /// Sends a piece, or drops it when there is no room.
    pub fn heard(&mut self, t: Mono, samples: Vec<i16>) {
        let end = t + samples.len() as i64 * SECOND / i64::from(RATE);
        if let Some(before) = self.end.filter(|_| self.broken) {
            self.broken = !self.send(Event::Gap { t, lost_us: (t - before).max(0) });
        }
        if (self.end.is_none() || !self.broken) && self.send(Event::Heard { t, samples }) {
            (self.end, self.broken) = (Some(end), false);
            return;
        }
        self.broken = true;
        self.dropped += 1;
        // At each power of two, so that a flood of sound is no flood of logs.
        if self.dropped.is_power_of_two() {
            tracing::warn!(dropped = self.dropped, "sound comes faster than it is taken: dropped");
        }
    }

    /// Takes the state, and tells it if it is another than last told. Says whether it is.
    pub fn state(&mut self, state: State) -> bool {
        let news = !self.state.as_ref().is_some_and(|now| now.is_like(&state));
        if news {
            match state {
                State::Open => tracing::info!("{state}"),
                _ => tracing::warn!("{state}"),
            }
            self.state = Some(state);
        }
        self.tell();
        news
    }

    /// Tells a state for which there was no room before.
    pub fn tell(&mut self) {
        if self.state == self.told {
            return;
        }
        if let Some(state) = self.state.clone()
            && self.send(Event::State(state))
        {
            self.told = self.state.clone();
        }
    }

    fn send(&mut self, event: Event) -> bool {
        match self.to.try_send(event.into()) {
            Ok(()) => true,
            Err(TrySendError::Full(_)) => false,
            Err(TrySendError::Disconnected(_)) => {
                self.closed = true;
                false
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::mpsc::sync_channel;

    #[test]
    fn a_full_channel_costs_sound_that_is_told_but_never_the_last_state() {
        let (to, from) = sync_channel(2);
        let mut out: Outbox<Event> = Outbox::new(to);
        let piece = |n: i64| (Mono(n * 100_000), vec![n as i16; 1_600]);
        let heard = |n: i64| Event::Heard { t: piece(n).0, samples: piece(n).1 };
        for n in 0..6 {
            let (t, samples) = piece(n);
            out.heard(t, samples);
        }
        out.state(State::Silent);
        out.state(State::Open);
        assert_eq!(from.try_iter().collect::<Vec<_>>(), [heard(0), heard(1)]);
        out.tell();
        out.heard(piece(6).0, piece(6).1);
        // The gap found room, the piece did not: another gap, from the same end.
        let gap = |n| Event::Gap { t: piece(n).0, lost_us: (n - 2) * 100_000 };
        assert_eq!(from.try_iter().collect::<Vec<_>>(), [Event::State(State::Open), gap(6)]);
        out.heard(piece(7).0, piece(7).1);
        assert_eq!(from.try_iter().collect::<Vec<_>>(), [gap(7), heard(7)]);
        out.heard(piece(8).0, piece(8).1);
        assert_eq!(from.try_iter().collect::<Vec<_>>(), [heard(8)]);
        assert!(!out.state(State::Open));
        drop(from);
        out.heard(piece(9).0, piece(9).1);
        assert!(out.closed());
    }

    #[test]
    fn the_same_trouble_is_told_once() {
        let (to, from) = sync_channel(9);
        let mut out: Outbox<Event> = Outbox::new(to);
        let ended = |status: &str, said: &str| State::Ended { status: status.into(), said: said.into() };
        for (state, news) in [
            (ended("exit status: 1", "no card (17:01)"), true),
            (ended("exit status: 1", "no card (17:02)"), false),
            (ended("signal: 9 (SIGKILL)", ""), true),
            (State::WrongRate { measured: 22_050 }, true),
            (State::WrongRate { measured: 24_000 }, false),
            (State::Open, true),
        ] {
            assert_eq!(out.state(state.clone()), news, "{state:?}");
        }
        assert_eq!(from.try_iter().count(), 4);
    }
}
