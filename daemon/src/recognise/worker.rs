//! The service's thread that has notes heard and states what was heard.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::mpsc::Receiver;
use std::time::{Duration, Instant};

use gunwale_protocol::finding::Note;
use gunwale_protocol::input::{Heard, Stated, Statement};
use gunwale_protocol::trip::notes;

use super::helper::Trouble;
use super::queue::{Job, Queue};
use crate::clock::Stop;
use crate::desk::Desk;
use crate::error::{Error, Result};
use crate::records;
use crate::settings::Keep;

/// How often new notes are looked for.
const LOOK: Duration = Duration::from_millis(300);
/// How often the store is tried when it cannot be read.
const AGAIN: Duration = Duration::from_secs(2);
/// What was heard is stated at once, or, while there is more to hear, after so long: each time the records are made anew.
const TOGETHER: Duration = Duration::from_secs(10);

/// Has notes heard until told to stop. `found` brings those that are found from now on.
pub fn work(desk: &Desk, found: &Receiver<Note>, stop: &Stop) {
    let mut worker = Worker {
        desk,
        queue: Queue::new(desk.recognisers.names()),
        held: BTreeMap::new(),
        ready: Vec::new(),
        since: Instant::now(),
    };
    while let Err(trouble) = worker.fill() {
        tracing::debug!("{trouble}");
        if stop.wait(AGAIN) {
            return;
        }
    }
    if !worker.queue.is_empty() {
        tracing::info!(notes = worker.queue.len(), "notes wait for their text");
    }
    loop {
        found.try_iter().for_each(|note| worker.queue.note(&note));
        let next = worker.queue.next(|which| desk.recognisers.ready(which));
        if next.is_none() || worker.since.elapsed() >= TOGETHER {
            worker.state();
        }
        match next {
            Some(job) if !stop.is_set() => worker.hear(&job),
            _ => {
                desk.recognisers.rest();
                if stop.wait(LOOK) {
                    worker.state();
                    return;
                }
            }
        }
    }
}

struct Worker<'a> {
    desk: &'a Desk,
    queue: Queue,
    /// What was heard of notes that others are still to hear, where the sound goes with the text.
    held: BTreeMap<String, Vec<Heard>>,
    /// What is to be stated, each with its note's file, and since when.
    ready: Vec<(Heard, String)>,
    since: Instant,
}

impl Worker<'_> {
    /// Finds what has not been heard in all that is recorded.
    fn fill(&mut self) -> Result<()> {
        let store = self.desk.store();
        let mut queue = Queue::new(self.desk.recognisers.names());
        for (_, statement) in store.statements()? {
            if let Ok(Statement { said, .. }) = serde_json::from_slice(&statement) {
                queue.stated(&said);
            }
        }
        for doc in store.range(records::ALL) {
            notes(&records::read(&doc?)?.found).iter().for_each(|note| queue.note(note));
        }
        self.queue = queue;
        Ok(())
    }

    fn hear(&mut self, job: &Job) {
        let path = self.desk.data.join(&job.file);
        if !path.exists() {
            // Forgotten, or only its text was kept; or a journal came without its sound.
            self.queue.drop_note(&job.note);
            self.settle(job);
            return;
        }
        match self.desk.recognisers.ask(job.which, &job.note, &path) {
            Ok(heard) => {
                self.queue.done(&job.note, job.which);
                self.held.entry(job.note.clone()).or_default().push(heard);
            }
            Err(Trouble::Stopped) => return,
            // It is not the note's fault. What another has heard is not held up by one that is not there.
            Err(Trouble::Start(_)) => return self.hand_on(job),
            Err(_) if self.queue.failed(&job.note, job.which) => {
                tracing::warn!(note = job.note, "stays without its text: `gunwale hear` tries again");
            }
            Err(_) => {}
        }
        self.settle(job);
    }

    /// Sound that goes with its text waits until everybody has heard it.
    fn settle(&mut self, job: &Job) {
        if self.desk.settings.mic.keep == Keep::Text && self.queue.waits(&job.note) {
            return;
        }
        self.hand_on(job);
    }

    /// What was heard of a note is to be stated.
    fn hand_on(&mut self, job: &Job) {
        if self.ready.is_empty() {
            self.since = Instant::now();
        }
        let heard = self.held.remove(&job.note).unwrap_or_default();
        self.ready.extend(heard.into_iter().map(|heard| (heard, job.file.clone())));
    }

    /// States what was heard.
    fn state(&mut self) {
        if self.ready.is_empty() {
            return;
        }
        let _nobody_forgets_meanwhile = self.desk.recognisers.words();
        let there: BTreeSet<&String> = self
            .ready
            .iter()
            .map(|(_, file)| file)
            .filter(|file| self.desk.data.join(file).exists())
            .collect();
        let said: Vec<Stated> = self
            .ready
            .iter()
            .filter(|(_, file)| there.contains(file))
            .map(|(heard, _)| Stated::Heard(heard.clone()))
            .collect();
        match if said.is_empty() { Ok(()) } else { self.desk.state(said) } {
            // It is taken, and will be on the disk when there is room.
            Ok(()) | Err(Error::NotYetSafe) => {}
            Err(trouble) => tracing::warn!("what was heard could not be written down: {trouble}"),
        }
        self.ready.clear();
    }
}
