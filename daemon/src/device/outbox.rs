//! What a device's thread sends on: lines as long as there is room, and its state whenever it changes.

use std::sync::mpsc::{SyncSender, TrySendError};

use gunwale_protocol::scale;
use gunwale_protocol::time::Mono;

use super::{Counts, Event, State};

/// The sending end of one device. Nothing here waits: a slow receiver costs lines, which are counted.
pub struct Outbox<M> {
    name: &'static str,
    to: SyncSender<M>,
    state: Option<State>,
    told: Option<State>,
    closed: bool,
    /// What has passed so far.
    pub counts: Counts,
}

impl<M: From<Event>> Outbox<M> {
    pub fn new(name: &'static str, to: SyncSender<M>) -> Outbox<M> {
        Outbox { name, to, state: None, told: None, closed: false, counts: Counts::default() }
    }

    /// Whether the receiving end is gone.
    pub fn closed(&self) -> bool {
        self.closed
    }

    /// Sends a line, or drops and counts it when there is no room.
    pub fn line(&mut self, t: Mono, text: Vec<u8>, heard: Option<Vec<u8>>) {
        if self.send(Event::Line { device: self.name, t, text, heard }) {
            self.counts.lines += 1;
            return;
        }
        self.counts.dropped += 1;
        // At each power of two, so that a flood of lines is no flood of logs.
        if self.counts.dropped.is_power_of_two() {
            tracing::warn!(dropped = self.counts.dropped, "lines come faster than they are taken: dropped");
        }
    }

    /// Counts a frame of no known kind, and says of some of them why.
    pub fn unknown(&mut self, why: &scale::Fault) {
        self.counts.unknown += 1;
        if self.counts.unknown.is_power_of_two() {
            tracing::warn!(unknown = self.counts.unknown, "{why}");
        }
    }

    /// Takes the device's state, and tells it if it is another than last told.
    pub fn state(&mut self, state: State) {
        if self.state.as_ref() != Some(&state) {
            match state {
                State::Open { .. } => tracing::info!("{state}"),
                _ => tracing::warn!("{state}"),
            }
            self.state = Some(state);
        }
        self.tell();
    }

    /// Tells a state for which there was no room before.
    pub fn tell(&mut self) {
        if self.state == self.told {
            return;
        }
        if let Some(state) = self.state.clone()
            && self.send(Event::Device { name: self.name, state })
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
    fn a_full_channel_costs_lines_but_never_the_last_state() {
        let (to, from) = sync_channel(2);
        let mut out: Outbox<Event> = Outbox::new("gps", to);
        for n in 0..5 {
            out.line(Mono(n), b"x".to_vec(), None);
        }
        out.state(State::Silent);
        out.state(State::Noise);
        assert_eq!(out.counts, Counts { lines: 2, dropped: 3, ..Counts::default() });
        let taken: Vec<_> = from.try_iter().collect();
        assert_eq!(taken.len(), 2);
        out.tell();
        out.tell();
        out.state(State::Noise);
        let told: Vec<_> = from.try_iter().collect();
        assert_eq!(told, [Event::Device { name: "gps", state: State::Noise }]);
        drop(from);
        out.line(Mono(9), b"x".to_vec(), None);
        assert!(out.closed());
    }
}
