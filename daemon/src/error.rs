//! Everything that can go wrong, each as one line: what happened, and what to do.

use std::path::PathBuf;

use crate::journal::JournalError;
use crate::settings::SettingsError;
use crate::store::StoreError;

/// Short for a result with this crate's error.
pub type Result<T, E = Error> = std::result::Result<T, E>;

/// A failure of a command or of the service.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// The settings cannot be used.
    #[error(transparent)]
    Settings(#[from] SettingsError),
    /// The journal cannot be written or read.
    #[error(transparent)]
    Journal(#[from] JournalError),
    /// The store cannot be used.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// A note's file cannot be written or read.
    #[error(transparent)]
    Sound(#[from] crate::voice::wav::WavError),
    /// The note button cannot be what the settings say.
    #[error(transparent)]
    Button(#[from] crate::device::button::Unusable),
    /// A note cannot be played.
    #[error(transparent)]
    Play(#[from] crate::voice::player::PlayError),
    /// A file cannot be opened, read or written.
    #[error("{what} {path}: {source}: {advice}")]
    File {
        /// What was tried: `cannot read`.
        what: &'static str,
        /// Which file.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
        /// What to do.
        advice: &'static str,
    },
    /// Output could not be written.
    #[error("cannot write the output: {0}: give it somewhere to go, or more room")]
    Output(#[from] std::io::Error),
    /// A table that GPX has no form for.
    #[error("gpx holds the pulls and the track only: export this table as csv, jsonl or parquet")]
    NotInGpx,
    /// Another program holds the data directory.
    #[error("{0} is in use by another gunwale that does not answer: wait for it to end, or stop it")]
    Busy(PathBuf),
    /// Root, on somebody's data directory: what root makes there its owner could not write.
    #[error(
        "{path} belongs to user {owner}, who could not write what root makes there: do it as that user, `sudo -u '#{owner}' gunwale …`"
    )]
    OthersData {
        /// The data directory.
        path: PathBuf,
        /// Whose it is.
        owner: u32,
    },
    /// A second service on one data directory.
    #[error("a gunwale already runs on {0}: stop it first, or give another --data")]
    Running(PathBuf),
    /// A command that only a running service can do.
    #[error("no gunwale runs on {0}: start `gunwale run` first, a note needs a boat to be said on")]
    NotRunning(PathBuf),
    /// A date that is none.
    #[error("{0} is no date: give YYYY-MM-DD, today or yesterday")]
    Date(String),
    /// A pull that is not there.
    #[error("there is no pull {0}: give the `pull` of a record, or DATE#N such as 2027-02-09#3")]
    NoPull(String),
    /// A note that is not there.
    #[error("there is no pull or note {0}: `gunwale export jsonl` shows their ids")]
    NoNote(String),
    /// No records at all.
    #[error("there are no records in {0} yet: run on the boat, ingest a tape, or give the right --data")]
    NoRecords(PathBuf),
    /// Records, none of which has a date.
    #[error("no record has a date yet, for want of one by GPS: `gunwale export jsonl` shows them")]
    OnlyUndated,
    /// Nothing of that day.
    #[error("there are no records of {0}: `gunwale day` without a date shows the last day that has any")]
    NoRecordsOf(String),
    /// No notes there.
    #[error("there are no notes of {0}: `gunwale day` shows what there is, `--all` plays talk too")]
    NoNotes(String),
    /// Notes, but none of them with sound.
    #[error("none of these notes has sound: they were typed, or only their text was kept")]
    NoSound,
    /// A trap file that cannot be imported; nothing of it was.
    #[error("{file}: {problem}: nothing of it was imported, mend it and import again")]
    TrapFile {
        /// Its name as given.
        file: String,
        /// Row and reason.
        problem: String,
    },
    /// A trap that nothing is known of.
    #[error("there is no trap {0}, in the register or hauled: `gunwale traps list` shows the register")]
    NoTrapAnywhere(String),
    /// A trap that is not in the register.
    #[error("there is no trap {0} in the register: `gunwale traps list` shows them")]
    NoTrap(String),
    /// A correction that cannot be taken.
    #[error(transparent)]
    Correct(#[from] gunwale_protocol::correct::CorrectError),
    /// Words that do not fit the command.
    #[error("{0}")]
    Usage(String),
    /// The service went away while a command waited.
    #[error("the running gunwale did not finish the command ({0}): look at its log, then give it again")]
    Connection(String),
    /// What a person said is held, and the disk does not take it yet.
    #[error(
        "taken, but not on the disk yet: look at the service's log and make room, it need not be said again"
    )]
    NotYetSafe,
    /// The demo must not mix with real records.
    #[error("{0} holds real records: give the demo a directory of its own with --data, or none at all")]
    NotForDemo(PathBuf),
    /// No recogniser to hear with.
    #[error("no recogniser is set: the README's \"Words from sound\" says how to get one")]
    NoRecogniser,
    /// A recogniser for another language than the crew's.
    #[error(
        "pocketsphinx listens for English only, not for `{0}`: use a model of the Whisper family that knows it"
    )]
    OnlyEnglish(String),
    /// A recogniser gave no answer.
    #[error("{name} heard nothing of {what}: {trouble}")]
    Unheard {
        /// Its name.
        name: String,
        /// A note or a file.
        what: String,
        /// Why.
        trouble: crate::recognise::helper::Trouble,
    },
    /// Something failed that has already been told on stderr by the service.
    #[error("the command failed: see above")]
    Told,
}

impl Error {
    /// A file error with its circumstances.
    pub fn file(
        what: &'static str,
        path: impl Into<PathBuf>,
        advice: &'static str,
    ) -> impl FnOnce(std::io::Error) -> Error {
        let path = path.into();
        move |source| Error::File { what, path, source, advice }
    }

    /// What went wrong where the output was written, if that says more than that it could not be.
    pub fn bare(self) -> Error {
        match self {
            Error::Output(e) => e.downcast().unwrap_or_else(Error::Output),
            other => other,
        }
    }

    /// Exit status: 2 for wrong usage, 1 for the rest.
    pub fn exit_code(&self) -> u8 {
        if matches!(self, Error::Usage(_) | Error::Date(_) | Error::NotInGpx) { 2 } else { 1 }
    }
}
