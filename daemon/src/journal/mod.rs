//! The journal: everything that came in, in order, one file a segment. It is the truth; all else is made from it.
//!
//! A line counts when it ends with LF and its checksum is right. What follows the last such line is a torn tail: it was
//! never acknowledged, readers stop before it and the writer cuts it off. A bad line with good ones behind it is damage
//! that came later: it stays where it is, is skipped and counted.

mod lines;
mod reader;
mod scrub;
mod writer;

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use gunwale_protocol::input::{Input, JOURNAL_SCHEMA, Stamped};
use gunwale_protocol::tape;

pub use reader::{Entry, Reader};
pub use scrub::{Scrubbed, scrub};
pub use writer::{Disk, Writer};

/// The longest journal line, in bytes without its line end. A longer one is not taken, and counts as damaged when found.
pub const LINE_MAX: usize = 64 * 1024;

/// What can go wrong with a journal file, and what to do.
#[derive(Debug, thiserror::Error)]
pub enum JournalError {
    /// The segment has a file with lines in it.
    #[error("{path} exists already: continue it instead of making it anew")]
    Exists {
        /// The file.
        path: PathBuf,
    },
    /// The file holds no whole line, so there is nothing to continue.
    #[error("{path} holds no whole line: make it anew")]
    Empty {
        /// The file.
        path: PathBuf,
    },
    /// Another form than this program knows.
    #[error("{path} has journal schema {schema}, this program reads up to {JOURNAL_SCHEMA}: update gunwale")]
    Newer {
        /// The file.
        path: PathBuf,
        /// Its schema.
        schema: u64,
    },
    /// A reader was to begin where no line begins: the file is not the one the offset came from, or it lost lines.
    #[error("{path} has no line beginning at byte {offset}: rebuild the store from the journal")]
    NoLineThere {
        /// The file.
        path: PathBuf,
        /// The offset asked for.
        offset: u64,
    },
    /// A segment id that cannot be a file's name.
    #[error("segment id {id:?} cannot be a file name: use 1 to 64 letters, digits, - and _")]
    Id {
        /// The id.
        id: String,
    },
    /// An input too long for a line.
    #[error("an input of {bytes} bytes is too long for the journal: keep it under {LINE_MAX}")]
    TooLong {
        /// Its length as a line.
        bytes: usize,
    },
    /// The disk is full.
    #[error("no space left for {path}: make room, nothing already recorded is lost")]
    NoSpace {
        /// The file.
        path: PathBuf,
    },
    /// Any other failure of the disk or the file system.
    #[error("cannot use {path} ({source}): check the disk and who may write there")]
    Io {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
}

impl JournalError {
    fn io(path: &Path, source: io::Error) -> JournalError {
        let path = path.to_path_buf();
        match source.kind() {
            io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => JournalError::NoSpace { path },
            _ => JournalError::Io { path, source },
        }
    }
}

/// One segment's file.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Segment {
    /// The segment's id.
    pub id: String,
    /// Its file.
    pub path: PathBuf,
}

impl Segment {
    /// The file's length, bytes.
    ///
    /// # Errors
    /// When the file is not there any more.
    pub fn length(&self) -> Result<u64, JournalError> {
        Ok(fs::metadata(&self.path).map_err(|e| JournalError::io(&self.path, e))?.len())
    }
}

/// The segments of a data directory, ordered by id: the same order on every machine. None when there is no journal yet.
///
/// # Errors
/// When the folder is there and cannot be read.
pub fn list(dir: &Path) -> Result<Vec<Segment>, JournalError> {
    let folder = folder(dir);
    let found = match fs::read_dir(&folder) {
        Err(e) if e.kind() == io::ErrorKind::NotFound => return Ok(Vec::new()),
        found => found.map_err(|e| JournalError::io(&folder, e))?,
    };
    let mut segments = Vec::new();
    for entry in found {
        let path = entry.map_err(|e| JournalError::io(&folder, e))?.path();
        let id = path.file_name().and_then(|name| name.to_str()?.strip_suffix(".jsonl"));
        if let Some(id) = id.filter(|id| is_id(id)) {
            segments.push(Segment { id: id.to_owned(), path });
        }
    }
    segments.sort();
    Ok(segments)
}

/// Where a segment's file is, or will be.
///
/// # Errors
/// When the id cannot be a file's name.
pub fn file_of(dir: &Path, id: &str) -> Result<PathBuf, JournalError> {
    if is_id(id) {
        Ok(folder(dir).join(format!("{id}.jsonl")))
    } else {
        Err(JournalError::Id { id: id.to_owned() })
    }
}

/// Whether an input can stand in a journal: asked before it counts for anything.
///
/// # Errors
/// [`JournalError::TooLong`].
pub fn fits(stamped: &Stamped) -> Result<(), JournalError> {
    /// No escape is longer than six bytes.
    const SURELY: usize = LINE_MAX / 8;
    match &stamped.input {
        Input::Gps(text) | Input::Scale(text) | Input::Said(text) if text.len() <= SURELY => return Ok(()),
        _ => {}
    }
    let mut line = String::new();
    tape::write(stamped, &mut line);
    tape::seal(&mut line, Some(u64::MAX));
    if line.len() > LINE_MAX { Err(JournalError::TooLong { bytes: line.len() }) } else { Ok(()) }
}

/// Renames a damaged journal out of the way, to its name with `.damaged-1` or the next number that is free. Nothing is
/// ever deleted.
///
/// # Errors
/// When it cannot be renamed.
pub fn set_aside(path: &Path) -> Result<PathBuf, JournalError> {
    let io = |e| JournalError::io(path, e);
    let name = |number: u32| PathBuf::from(format!("{}.damaged-{number}", path.display()));
    let aside = (1..).map(name).find(|aside| !aside.exists()).unwrap_or_else(|| name(0));
    fs::rename(path, &aside).map_err(io)?;
    Ok(aside)
}

fn folder(dir: &Path) -> PathBuf {
    dir.join("journal")
}

fn is_id(id: &str) -> bool {
    (1..=64).contains(&id.len()) && id.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-' || b == b'_')
}

#[cfg(test)]
mod tests;
