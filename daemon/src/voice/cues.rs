//! What the crew hears without a screen: a short tone figure for each thing they must know.
//!
//! Figures are made at start as WAV files in a folder of their own and played one at a time by a thread of its own;
//! nothing waits for it. Going up means something begins, going down that it ends; troubles repeat.

mod queue;
mod tones;

use std::fs::DirBuilder;
use std::io;
use std::os::unix::fs::DirBuilderExt;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use self::queue::Queue;
pub use self::tones::{CUE_RATE, Note};
use super::player::{PlayError, Player};
use crate::clock::Stop;

/// A player that has not ended after this long is killed.
const PATIENCE: Duration = Duration::from_secs(3);
/// How long one wait for the next cue or for a player's end lasts: the longest that a stop is not heeded.
const LOOK: Duration = Duration::from_millis(20);

/// How the folders of cues are called: then the process, then chance.
const FOLDER: &str = "gunwale-cues-";

/// What there is to hear.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Cue {
    /// A voice note is being taken.
    NoteOpened,
    /// It has been kept.
    NoteKept,
    /// She lies at a trap: a pull is open.
    PullOpened,
    /// A pull is over, and all that was said is counted.
    PullLeft,
    /// A pull is over, and something waits to be confirmed.
    PullLeftToConfirm,
    /// No position.
    NoFix,
    /// No sound from the microphone.
    NoMicrophone,
    /// There is little room left for notes.
    DiskNearlyFull,
    /// The microphone is not listened to.
    Muted,
    /// It is again.
    Listening,
}

impl Cue {
    /// All of them.
    pub const ALL: [Cue; 10] = [
        Cue::NoteOpened,
        Cue::NoteKept,
        Cue::PullOpened,
        Cue::PullLeft,
        Cue::PullLeftToConfirm,
        Cue::NoFix,
        Cue::NoMicrophone,
        Cue::DiskNearlyFull,
        Cue::Muted,
        Cue::Listening,
    ];

    /// Its file's name without the ending.
    pub fn name(self) -> &'static str {
        match self {
            Cue::NoteOpened => "note-opened",
            Cue::NoteKept => "note-kept",
            Cue::PullOpened => "pull-opened",
            Cue::PullLeft => "pull-left",
            Cue::PullLeftToConfirm => "pull-left-to-confirm",
            Cue::NoFix => "no-fix",
            Cue::NoMicrophone => "no-microphone",
            Cue::DiskNearlyFull => "disk-nearly-full",
            Cue::Muted => "muted",
            Cue::Listening => "listening",
        }
    }

    /// Which stays when there is no room for both: the greater.
    fn weight(self) -> u8 {
        match self {
            Cue::NoteOpened | Cue::NoteKept => 0,
            Cue::PullOpened | Cue::PullLeft => 1,
            Cue::PullLeftToConfirm | Cue::Muted | Cue::Listening => 2,
            Cue::NoFix | Cue::NoMicrophone | Cue::DiskNearlyFull => 3,
        }
    }
}

/// Why there can be no cues.
#[derive(Debug, thiserror::Error)]
pub enum CuesError {
    /// Their folder or files cannot be made.
    #[error(
        "the cues cannot be made in {path}: {error}: check that there is room and that it may be written to"
    )]
    Files {
        /// The folder.
        path: PathBuf,
        /// What failed.
        error: io::Error,
    },
    /// No thread for them.
    #[error("the cues' thread cannot be started: {0}: stop other programs")]
    Thread(io::Error),
}

/// The way to play cues; clones play through the same thread.
#[derive(Debug, Clone)]
pub struct Cues(Option<Arc<Queue>>);

impl Cues {
    /// Cues that are never heard.
    pub fn quiet() -> Cues {
        Cues(None)
    }

    /// Makes the files and starts the thread; it ends, and removes the files, when `stop` is given.
    ///
    /// # Errors
    /// [`CuesError`].
    pub fn start(player: Player, stop: Stop) -> Result<(Cues, JoinHandle<()>), CuesError> {
        let within = std::env::temp_dir();
        sweep(&within);
        let folder = Folder::make(&within)?;
        let queue = Arc::new(Queue::default());
        let worker = Worker { player, folder, queue: queue.clone(), stop, trouble: None };
        let thread = std::thread::Builder::new().name("cues".into()).spawn(move || worker.run());
        Ok((Cues(Some(queue)), thread.map_err(CuesError::Thread)?))
    }

    /// Plays a cue as soon as those before it are over. At most three wait: then the least important of them, the
    /// oldest of these first, makes room for one that is no less important.
    pub fn play(&self, cue: Cue) {
        if let Some(queue) = &self.0 {
            queue.put(cue);
        }
    }
}

/// The folder with the files, for this user alone; gone when dropped.
struct Folder(PathBuf);

impl Folder {
    fn make(within: &Path) -> Result<Folder, CuesError> {
        let files = |path: &Path, error| CuesError::Files { path: path.to_owned(), error };
        let random = getrandom::u64().map_err(|e| files(within, io::Error::other(e.to_string())))?;
        let path = within.join(format!("{FOLDER}{}-{random:016x}", std::process::id()));
        // It must not exist: nobody else has made it, nor a link in its place.
        DirBuilder::new().mode(0o700).create(&path).map_err(|e| files(&path, e))?;
        let folder = Folder(path);
        for cue in Cue::ALL {
            tones::write(cue, &folder.file(cue)).map_err(|e| files(&folder.0, e))?;
        }
        Ok(folder)
    }

    fn file(&self, cue: Cue) -> PathBuf {
        self.0.join(cue.name()).with_extension("wav")
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        if let Err(error) = std::fs::remove_dir_all(&self.0) {
            tracing::debug!("{} stays behind: {error}", self.0.display());
        }
    }
}

/// Removes the folders of services that were killed: those whose process is gone.
fn sweep(within: &Path) {
    for entry in std::fs::read_dir(within).into_iter().flatten().flatten() {
        let name = entry.file_name();
        let rest = name.to_str().and_then(|name| name.strip_prefix(FOLDER));
        let pid = rest.and_then(|rest| rest.split_once('-')).and_then(|(pid, _)| pid.parse::<u32>().ok());
        if pid.is_some_and(|pid| !Path::new("/proc").join(pid.to_string()).exists()) {
            // Another user's stays.
            let _ = std::fs::remove_dir_all(entry.path());
        }
    }
}

struct Worker {
    player: Player,
    folder: Folder,
    queue: Arc<Queue>,
    stop: Stop,
    /// The trouble last told.
    trouble: Option<String>,
}

impl Worker {
    fn run(mut self) {
        while !self.stop.is_set() {
            let Some(cue) = self.queue.next(LOOK) else { continue };
            let trouble = self.play(cue).err().map(|trouble| trouble.to_string());
            if trouble != self.trouble {
                match &trouble {
                    Some(trouble) => tracing::warn!("cues are not heard: {trouble}"),
                    None => tracing::info!("cues are heard again"),
                }
                self.trouble = trouble;
            }
        }
    }

    fn play(&self, cue: Cue) -> Result<(), PlayError> {
        let mut playing = self.player.start(&self.folder.file(cue))?;
        let began = Instant::now();
        while !playing.wait(LOOK)? {
            if self.stop.is_set() {
                break;
            }
            if began.elapsed() >= PATIENCE {
                return Err(playing.hung(PATIENCE));
            }
        }
        Ok(())
    }
}

/// Writes a cue as a WAV file, for trying the player.
///
/// # Errors
/// When the file cannot be written.
pub fn write(cue: Cue, path: &Path) -> io::Result<()> {
    tones::write(cue, path)
}

#[cfg(test)]
mod tests;
