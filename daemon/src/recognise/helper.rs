//! One recogniser beside the service: started when asked, let go when idle, given up and started anew after any trouble.

use std::path::Path;
use std::process::ExitStatus;
use std::time::{Duration, Instant};

use gunwale_protocol::tally::Speech;

use super::answer::{self, Answer, NoAnswer};
use super::talk::{Silence, Talk};
use crate::clock::Stop;
use crate::settings::Recogniser;
use crate::voice::child::StartError;

/// Unasked for this long, it is let go: its model is a large part of a small computer's memory.
const IDLE: Duration = Duration::from_secs(120);
/// The first and the longest pause before it is started anew.
const PAUSE: (Duration, Duration) = (Duration::from_secs(1), Duration::from_secs(300));

/// Why there is no answer.
#[derive(Debug, thiserror::Error)]
pub enum Trouble {
    /// It does not start.
    #[error("{0}: install it, or mend its command in the settings")]
    Start(#[from] StartError),
    /// It ended before it answered.
    #[error("it ended ({}){}", how(*.status), saying(.said))]
    Ended {
        /// How.
        status: Option<ExitStatus>,
        /// Its last message.
        said: String,
    },
    /// No answer in time.
    #[error("it did not answer within {} s: it was stopped{}", .after.as_secs(), saying(.said))]
    Hung {
        /// How long it was given.
        after: Duration,
        /// Its last message.
        said: String,
    },
    /// An answer that is none.
    #[error("{0}: it was stopped")]
    NoAnswer(#[from] NoAnswer),
    /// A line without an end.
    #[error("its answer has no end: it was stopped")]
    Endless,
    /// The service stops.
    #[error("gunwale is stopping")]
    Stopped,
}

fn how(status: Option<ExitStatus>) -> String {
    status.map_or_else(|| "it does not say how".into(), |status| status.to_string())
}

fn saying(said: &str) -> String {
    if said.is_empty() { String::new() } else { format!(": {said}") }
}

/// A recogniser, running or not.
pub struct Helper {
    spec: Recogniser,
    /// The crew's language and words, as JSON.
    speech: String,
    stop: Stop,
    talk: Option<Talk>,
    /// Last asked.
    asked: Instant,
    /// Not before this.
    again: Option<Instant>,
    pause: Duration,
    failed: u64,
}

impl Helper {
    /// One that is not running yet, for a crew that speaks so; `stop` ends whatever it is waited for.
    pub fn new(spec: Recogniser, speech: &Speech, stop: Stop) -> Helper {
        // What came out of the settings goes into JSON.
        let speech = serde_json::to_string(speech).unwrap_or_default();
        Helper {
            spec,
            speech,
            stop,
            talk: None,
            asked: Instant::now(),
            again: None,
            pause: PAUSE.0,
            failed: 0,
        }
    }

    /// What it is, as the settings have it.
    pub fn spec(&self) -> &Recogniser {
        &self.spec
    }

    /// Whether it may be asked now: not for a while after trouble.
    pub fn ready(&self) -> bool {
        self.again.is_none_or(|again| again <= Instant::now())
    }

    /// Has it listen to a file.
    ///
    /// # Errors
    /// [`Trouble`], told in the log by then; the program is ended.
    pub fn ask(&mut self, file: &Path) -> Result<Answer, Trouble> {
        let result = self.try_ask(file);
        self.asked = Instant::now();
        match &result {
            Ok(_) => (self.again, self.pause) = (None, PAUSE.0),
            Err(Trouble::Stopped) => {}
            Err(trouble) => {
                self.failed += 1;
                tracing::warn!(
                    recogniser = self.spec.name,
                    failed = self.failed,
                    again_in_s = self.pause.as_secs(),
                    "no text from it: {trouble}"
                );
                self.again = Instant::now().checked_add(self.pause);
                self.pause = (2 * self.pause).min(PAUSE.1);
            }
        }
        result
    }

    /// Lets it go when it has not been asked for a while.
    pub fn rest(&mut self) {
        if self.asked.elapsed() >= IDLE {
            self.talk = None;
        }
    }

    fn try_ask(&mut self, file: &Path) -> Result<Answer, Trouble> {
        if self.stop.is_set() {
            return Err(Trouble::Stopped);
        }
        // One that ended while nobody asked is started anew at once.
        let mut talk = match self.talk.take() {
            Some(talk) => talk,
            None => self.start()?,
        };
        let name = file.to_string_lossy();
        if talk.ask(&name).is_err() {
            talk = self.start()?;
            // What ails this one, its end will say.
            let _ = talk.ask(&name);
        }
        let patience = Duration::from_secs(self.spec.patience_s);
        match talk.line(patience, &self.stop) {
            Ok(line) => {
                let answer = answer::read(&line, file)?;
                self.talk = Some(talk);
                Ok(answer)
            }
            Err(Silence::Stopped) => Err(Trouble::Stopped),
            Err(Silence::Endless) => Err(Trouble::Endless),
            Err(Silence::Hung) => Err(Trouble::Hung { after: patience, said: talk.end().1 }),
            Err(Silence::Ended) => {
                let (status, said) = talk.end();
                Err(Trouble::Ended { status, said })
            }
        }
    }

    fn start(&self) -> Result<Talk, StartError> {
        tracing::info!(recogniser = self.spec.name, "started");
        Talk::start(&self.spec.own_command(), &self.speech, self.spec.memory_mb.saturating_mul(1 << 20))
    }
}
