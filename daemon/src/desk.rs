//! What a command works at: the data directory with its records, alone or beside the running service.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{RecvTimeoutError, SyncSender, sync_channel};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use gunwale_protocol::input::{Input, JOURNAL_SCHEMA, Run, Stamped, Stated, Statement};
use gunwale_protocol::time::{Mono, Utc};

use crate::capture::Msg;
use crate::clock::Clock;
use crate::error::{Error, Result};
use crate::journal::{self, Writer};
use crate::recognise::Recognisers;
use crate::records::Records;
use crate::settings::{Keep, Settings};
use crate::store::Store;
use crate::voice;

/// Program and version, as the run line has it.
pub const PROGRAM: &str = concat!("gunwale ", env!("CARGO_PKG_VERSION"));
/// Journal of what is stated while no service runs.
pub const DESK_FILE: &str = "desk";
/// Longest typed note, bytes.
const NOTE_MAX: usize = 4_000;
/// How long a command waits for the service to take what it says.
const ANSWER: Duration = Duration::from_secs(10);

/// Where commands find what they need. Cheap to clone: all share one set of records.
#[derive(Clone)]
pub struct Desk {
    /// The data directory.
    pub data: PathBuf,
    /// The settings in force.
    pub settings: Arc<Settings>,
    /// The clock in force.
    pub clock: Arc<dyn Clock>,
    /// The programs that make text of notes.
    pub recognisers: Recognisers,
    records: Arc<Mutex<Records>>,
    /// One tape at a time goes into the journal.
    ingesting: Arc<Mutex<()>>,
    /// The running service's capture loop, and the segment it writes.
    live: Option<Live>,
}

/// The running service, as commands see it.
#[derive(Clone)]
pub struct Live {
    /// Where to send.
    pub capture: SyncSender<Msg>,
    /// The segment being written.
    pub segment: String,
}

impl Desk {
    /// A desk on a data directory whose lock is held.
    pub fn new(data: &Path, settings: Settings, clock: Arc<dyn Clock>, records: Records) -> Desk {
        Desk {
            data: data.to_owned(),
            recognisers: Recognisers::new(&settings.recognisers, &settings.words),
            settings: Arc::new(settings),
            clock,
            records: Arc::new(Mutex::new(records)),
            ingesting: Arc::default(),
            live: None,
        }
    }

    /// The same desk beside a running service.
    pub fn beside(mut self, live: Live) -> Desk {
        self.live = Some(live);
        self
    }

    /// Whether a service runs here.
    pub fn is_live(&self) -> bool {
        self.live.is_some()
    }

    /// A note said on the simulated boat: nobody waits for it to be safe.
    ///
    /// # Errors
    /// [`Error::NotRunning`] without a service.
    pub fn say(&self, text: String) -> Result<()> {
        let live = self.live.as_ref().ok_or_else(|| Error::NotRunning(self.data.clone()))?;
        live.capture.send(Msg::Said(text, None)).map_err(|_| Error::Connection("it is stopping".into()))
    }

    /// The records, held. A panic elsewhere leaves them as the last transaction did: good to use.
    pub fn records(&self) -> MutexGuard<'_, Records> {
        self.records.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// A handle for reading records of any length without holding up the service.
    pub fn store(&self) -> Arc<Store> {
        self.records().store()
    }

    /// Makes the store anew if this one, found damaged, is still the one in use.
    ///
    /// # Errors
    /// When journal or store cannot be used.
    pub fn heal(&self, damaged: &Arc<Store>) -> Result<()> {
        let mut records = self.records();
        if Arc::ptr_eq(&records.store(), damaged) { records.make_anew() } else { Ok(()) }
    }

    /// Brings the records up to date with every journal but the live one.
    ///
    /// # Errors
    /// When journal or store cannot be used.
    pub fn catch_up(&self, progress: &mut dyn FnMut(&str)) -> Result<()> {
        let live = self.live.as_ref().map(|live| live.segment.as_str());
        self.records().catch_up(live, progress)
    }

    /// Makes the store anew from the journals, the live one included, and says how many pulls there are.
    ///
    /// # Errors
    /// When journal or store cannot be used.
    pub fn rebuild(&self, progress: &mut dyn FnMut(&str)) -> Result<u64> {
        self.records().rebuild(progress)
    }

    /// Held while a tape goes into the journal.
    pub fn ingesting(&self) -> MutexGuard<'_, ()> {
        self.ingesting.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Writes down what a person stated, on the disk when this returns, and the records with it.
    ///
    /// # Errors
    /// When the journal cannot be written, or the service does not take it.
    pub fn state(&self, said: Vec<Stated>) -> Result<()> {
        self.state_from(Utc(i64::MIN), said)
    }

    /// As [`Desk::state`], of something that holds after all that is recorded. A computer's clock may be behind the
    /// records' GPS time, and a trap retired now must not come back with a set of yesterday.
    ///
    /// # Errors
    /// As [`Desk::state`].
    pub fn state_last(&self, said: Vec<Stated>) -> Result<()> {
        let newest = self.records().newest()?;
        self.state_from(newest.map_or(Utc(i64::MIN), |newest| newest + 1), said)
    }

    fn state_from(&self, earliest: Utc, mut said: Vec<Stated>) -> Result<()> {
        let text_only = self.text_only(&mut said);
        match &self.live {
            Some(_) => self.tell(|answer| Msg::State(said, earliest, answer))?,
            None => {
                let at = self.clock.system().max(earliest);
                self.append(said.into_iter().map(|said| Statement { at, said }))?;
                self.catch_up(&mut |_| {})?;
            }
        }
        // The journal says that the sound is gone before it is, so that no record names a file that is not there.
        voice::remove(&self.data, &text_only)
    }

    /// Where only text is kept, sound that has been made text goes. The notes whose sound that is.
    fn text_only(&self, said: &mut [Stated]) -> BTreeSet<String> {
        let mut notes = BTreeSet::new();
        for said in said.iter_mut().filter(|_| self.settings.mic.keep == Keep::Text) {
            if let Stated::Heard(heard) = said {
                heard.only_text = true;
                notes.insert(heard.note.clone());
            }
        }
        notes
    }

    /// A typed note, now.
    ///
    /// # Errors
    /// [`Error::NotRunning`] without a service.
    pub fn note(&self, text: String) -> Result<()> {
        if text.len() > NOTE_MAX {
            return Err(Error::Usage(format!(
                "a note has at most {NOTE_MAX} bytes: say less, or say it in parts"
            )));
        }
        match &self.live {
            Some(_) => self.tell(|answer| Msg::Said(text, Some(answer))),
            None => Err(Error::NotRunning(self.data.clone())),
        }
    }

    fn tell(&self, msg: impl FnOnce(SyncSender<Result<()>>) -> Msg) -> Result<()> {
        let Some(live) = &self.live else { return Err(Error::NotRunning(self.data.clone())) };
        let gone = |what: &str| Error::Connection(what.to_owned());
        let (answer, answered) = sync_channel(1);
        live.capture.send(msg(answer)).map_err(|_| gone("it is stopping"))?;
        match answered.recv_timeout(ANSWER) {
            Ok(answer) => answer,
            Err(RecvTimeoutError::Timeout) => Err(Error::NotYetSafe),
            Err(RecvTimeoutError::Disconnected) => Err(gone("it is stopping")),
        }
    }

    fn append(&self, statements: impl Iterator<Item = Statement>) -> Result<()> {
        let inputs = statements.map(|s| Stamped { t: Mono(0), input: Input::Statement(s) });
        let inputs: Vec<Stamped> = inputs.collect();
        inputs.iter().try_for_each(journal::fits)?;
        let mut writer = self.desk_journal()?;
        for stamped in &inputs {
            writer.append(stamped, None)?;
        }
        writer.sync()?;
        Ok(())
    }

    /// One file for all that is said while no service runs. Its lines stand in their order; their `t` says nothing.
    fn desk_journal(&self) -> Result<Writer> {
        let existing = journal::list(&self.data)?.into_iter().find(|s| s.id.starts_with(DESK_FILE));
        if let Some(segment) = existing {
            return Ok(Writer::append_to(&segment.path)?);
        }
        let run = self.run_line(format!("{DESK_FILE}-{}", random_id()?));
        Ok(Writer::create(&self.data, &run, Mono(0))?)
    }

    /// A run line for a new segment, without the system's time.
    pub fn run_line(&self, id: String) -> Run {
        Run {
            id,
            boat: self.settings.boat.clone(),
            timezone: self.settings.timezone.clone(),
            program: PROGRAM.to_owned(),
            schema: JOURNAL_SCHEMA,
            system: None,
            rules: (!self.settings.rules.is_empty()).then(|| Box::new(self.settings.rules.clone())),
            words: self.settings.words.clone(),
            sizes: self.settings.classes(),
        }
    }
}

/// 16 random hex digits.
///
/// # Errors
/// When the system has no randomness to give.
pub fn random_id() -> Result<String> {
    let random = getrandom::u64().map_err(|e| std::io::Error::other(e.to_string()))?;
    Ok(format!("{random:016x}"))
}
