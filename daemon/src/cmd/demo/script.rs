//! The demo has no recogniser: the simulation, which knows what its crew was to say, gives each note its words.
//!
//! On a boat a recogniser's text comes in the same way, as what was heard in a note.

use std::collections::BTreeSet;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use gunwale_protocol::input::{Heard, Stated};
use gunwale_protocol::time::{SECOND, Utc};
use gunwale_protocol::trip::notes;

use crate::clock::Stop;
use crate::desk::Desk;
use crate::error::Result;
use crate::records;

/// How often new notes are looked for.
const LOOK: Duration = Duration::from_millis(300);
/// How long after the day's end the last notes are waited for.
const LAST: Duration = Duration::from_secs(2);
/// A note is said to begin at most this far from what was said, microseconds: the demo's clock makes much of little.
const NEAR: i64 = 3 * SECOND;

/// What the crew has said so far; clones share it.
#[derive(Clone, Default)]
pub(super) struct Script(Arc<Mutex<Vec<(Utc, String)>>>);

impl Script {
    /// Something was said at this moment.
    pub fn said(&self, at: Utc, text: &str) {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).push((at, text.to_owned()));
    }

    /// Gives the notes their words as they come into the records, until it is over.
    pub fn read_to(&self, desk: &Desk, over: &Stop) {
        let mut done = BTreeSet::new();
        let mut last = false;
        loop {
            if let Err(trouble) = self.read_new(desk, &mut done) {
                tracing::debug!("{trouble}");
            }
            if last {
                return;
            }
            last = over.wait(LOOK);
            if last {
                std::thread::sleep(LAST);
            }
        }
    }

    fn read_new(&self, desk: &Desk, done: &mut BTreeSet<String>) -> Result<()> {
        let mut heard = Vec::new();
        let store = desk.store();
        for doc in store.range(records::ALL) {
            let found = records::read(&doc?)?.found;
            for note in notes(&found).iter().filter(|note| !done.contains(&note.id)) {
                let Some((at, sound)) = note.at.utc.zip(note.sound.as_ref()) else { continue };
                let text = self.take(at + -NEAR, at + (sound.length_us - sound.speech_us));
                if !text.is_empty() {
                    let confidence = Some(1.0);
                    heard.push(Heard { note: note.id.clone(), text, confidence, ..Heard::default() });
                }
            }
        }
        if heard.is_empty() {
            return Ok(());
        }
        done.extend(heard.iter().map(|heard| heard.note.clone()));
        desk.state(heard.into_iter().map(Stated::Heard).collect())
    }

    /// Takes what was said between two moments.
    fn take(&self, from: Utc, to: Utc) -> String {
        let mut script = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let said: Vec<String> =
            script.extract_if(.., |(at, _)| (from..=to).contains(at)).map(|(_, text)| text).collect();
        said.join(", ")
    }
}
