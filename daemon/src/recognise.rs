//! Text for voice notes, by programs beside the service.
//!
//! A recogniser ([`helper`]) is any program that reads the path of a sound file a line and answers with a line of JSON
//! ([`answer`]); two come with this program ([`ready`]). The service has a thread ([`worker`]) that gives each note to each
//! recogniser, the newest first ([`queue`]), and states what they heard. Capture never waits for any of it: a note
//! without text is a note all the same, and stays until it has been heard.
//!
//! Whether a text counts by itself is judged when it is written down, by the settings of then, and travels with it: so
//! records go on being made of the journal alone.

pub mod answer;
pub mod helper;
pub mod queue;
pub mod ready;
mod talk;
pub mod worker;

use std::path::Path;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use gunwale_protocol::input::Heard;
use gunwale_protocol::tally::Speech;

use crate::clock::Stop;
use crate::settings::Recogniser;
use helper::{Helper, Trouble};

/// The variable of its environment in which a recogniser is told how the crew speaks: the table `[words]` as JSON.
pub const SPEECH: &str = "GUNWALE_WORDS";

/// The recognisers of the settings, shared by all who ask. Clones are the same ones.
#[derive(Clone)]
pub struct Recognisers {
    helpers: Arc<[Mutex<Helper>]>,
    names: Arc<[String]>,
    stop: Stop,
    words: Arc<Mutex<()>>,
}

impl Recognisers {
    /// None of them runs before it is asked.
    pub fn new(settings: &[Recogniser], speech: &Speech) -> Recognisers {
        let stop = Stop::default();
        Recognisers {
            helpers: settings
                .iter()
                .map(|one| Mutex::new(Helper::new(one.clone(), speech, stop.clone())))
                .collect(),
            names: settings.iter().map(|one| one.name.clone()).collect(),
            stop,
            words: Arc::default(),
        }
    }

    /// Their names, the one whose words are the notes' text first.
    pub fn names(&self) -> &[String] {
        &self.names
    }

    /// Whether this one may be asked now, by one who can wait: not while another asks, not soon after trouble.
    pub fn ready(&self, which: usize) -> bool {
        self.helpers.get(which).and_then(|helper| helper.try_lock().ok()).is_some_and(|helper| helper.ready())
    }

    /// Has one of them listen to a note's file; it is started if it is not running.
    ///
    /// # Errors
    /// As [`Helper::ask`].
    pub fn ask(&self, which: usize, note: &str, file: &Path) -> Result<Heard, Trouble> {
        let Some(helper) = self.helpers.get(which) else { return Err(Trouble::Stopped) };
        let mut helper = helper.lock().unwrap_or_else(PoisonError::into_inner);
        let answer = helper.ask(file)?;
        let spec = helper.spec();
        Ok(Heard {
            note: note.to_owned(),
            text: answer.text,
            also: answer.also,
            confidence: answer.confidence,
            by: Some(spec.name.clone()),
            sure: Some(answer.confidence.is_some_and(|confidence| confidence >= spec.sure())),
            confirms: which > 0,
            only_text: false,
        })
    }

    /// Lets go those that have not been asked for a while.
    pub fn rest(&self) {
        self.helpers.iter().filter_map(|helper| helper.try_lock().ok()).for_each(|mut helper| helper.rest());
    }

    /// The service ends: nobody is waited for any more.
    pub fn stop(&self) {
        self.stop.set();
    }

    /// Held while the words of notes are written down or taken away for good, so that none come after they were forgotten.
    pub fn words(&self) -> MutexGuard<'_, ()> {
        self.words.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
