//! Appends to a journal file, and keeps what a full or failing disk does not take.
//!
//! All bytes since the last successful sync stay in memory. So a failed sync is mended by writing them again: the
//! system may have dropped them from its cache and would call the next sync a success.

use std::fs::{self, File, OpenOptions};
use std::io;
use std::os::unix::fs::FileExt;
use std::path::{Path, PathBuf};

use gunwale_protocol::input::{Input, Run, Stamped};
use gunwale_protocol::tape;
use gunwale_protocol::time::Mono;

use super::lines::{Line, Lines};
use super::reader::first_run;
use super::{JournalError, LINE_MAX, file_of, folder};

/// Unwritten bytes that are handed to the system without waiting for a sync.
const WRITE_AT: usize = 64 * 1024;
/// Unsynced bytes that are synced without being asked, so that a fast play keeps within memory.
const SYNC_AT: usize = 1024 * 1024;
/// Unsynced bytes kept at most, when the disk takes none: hours of GPS at 1 Hz, some twenty minutes at 10 Hz.
const KEEP_MAX: usize = 4 * 1024 * 1024;

/// What a writer needs of a file. A [`File`] it is; tests put a small or failing disk in its place.
pub trait Disk {
    /// Writes some of the bytes at an offset and says how many.
    ///
    /// # Errors
    /// As the system reports.
    fn write_at(&mut self, bytes: &[u8], offset: u64) -> io::Result<usize>;
    /// Cuts the file to a length.
    ///
    /// # Errors
    /// As the system reports.
    fn set_len(&mut self, length: u64) -> io::Result<()>;
    /// Returns when the bytes and the length are on the disk.
    ///
    /// # Errors
    /// As the system reports.
    fn sync(&mut self) -> io::Result<()>;
}

impl Disk for File {
    fn write_at(&mut self, bytes: &[u8], offset: u64) -> io::Result<usize> {
        FileExt::write_at(self, bytes, offset)
    }

    fn set_len(&mut self, length: u64) -> io::Result<()> {
        File::set_len(self, length)
    }

    fn sync(&mut self) -> io::Result<()> {
        self.sync_data()
    }
}

/// The one writer of a segment's file; that it is the only one is the lock of the data directory's concern.
///
/// Dropping it without [`Writer::sync`] is like a kill: what was appended since the last sync may be lost.
pub struct Writer<D = File> {
    pub(super) disk: D,
    path: PathBuf,
    /// The file's length at the last sync.
    synced: u64,
    /// Whole lines appended since.
    held: Vec<u8>,
    /// How much of them the system has taken.
    written: usize,
    line: String,
}

impl Writer {
    /// Makes the file of a new segment with its `run` line, on the disk when this returns.
    ///
    /// A file that a power cut left without a single whole line is made anew.
    ///
    /// # Errors
    /// [`JournalError::Exists`] when the segment has lines already; [`JournalError::Newer`], [`JournalError::Id`] or
    /// what the disk reports.
    pub fn create(dir: &Path, run: &Run, t: Mono) -> Result<Writer, JournalError> {
        let path = file_of(dir, &run.id)?;
        let io = |e| JournalError::io(&path, e);
        fs::create_dir_all(folder(dir)).map_err(io)?;
        let file = match OpenOptions::new().write(true).create_new(true).open(&path) {
            Err(e) if e.kind() == io::ErrorKind::AlreadyExists => match Writer::append_to(&path) {
                Ok(_) => return Err(JournalError::Exists { path }),
                Err(JournalError::Empty { .. }) => {
                    OpenOptions::new().write(true).truncate(true).open(&path).map_err(io)?
                }
                Err(e) => return Err(e),
            },
            made => made.map_err(io)?,
        };
        let mut writer = Writer::on(file, path.clone(), 0);
        writer.append(&Stamped { t, input: Input::Run(run.clone()) }, None)?;
        writer.sync()?;
        for made in [&folder(dir), dir] {
            File::open(made).and_then(|folder| folder.sync_all()).map_err(io)?;
        }
        Ok(writer)
    }

    /// Opens a segment's file to continue it, and cuts off its torn tail.
    ///
    /// # Errors
    /// [`JournalError::Empty`] when no line of it is whole, [`JournalError::Newer`], or what the disk reports.
    pub fn append_to(path: &Path) -> Result<Writer, JournalError> {
        let io = |e| JournalError::io(path, e);
        let file = OpenOptions::new().read(true).write(true).open(path).map_err(io)?;
        first_run(path, &file)?;
        let mut lines = Lines::new(File::open(path).map_err(io)?, 0);
        let mut whole = 0;
        while let Some(line) = lines.next().map_err(io)? {
            if let Line::Good(..) = line {
                whole = lines.offset;
            }
        }
        if whole == 0 {
            return Err(JournalError::Empty { path: path.to_path_buf() });
        }
        file.set_len(whole).map_err(io)?;
        file.sync_data().map_err(io)?;
        Ok(Writer::on(file, path.to_path_buf(), whole))
    }
}

impl<D: Disk> Writer<D> {
    /// A writer on a disk whose first `length` bytes are whole lines and synced.
    pub fn on(disk: D, path: PathBuf, length: u64) -> Writer<D> {
        Writer { disk, path, synced: length, held: Vec::new(), written: 0, line: String::new() }
    }

    /// Appends one input; `n` is the ordinal of the tape's line it came from.
    ///
    /// It is taken, and on the disk after the next [`Writer::sync`] that succeeds. A disk that fails meanwhile is
    /// tried again; its error comes from `sync`.
    ///
    /// # Errors
    /// The input was not taken: [`JournalError::TooLong`], or the disk has failed for so long that no more can be held.
    pub fn append(&mut self, stamped: &Stamped, n: Option<u64>) -> Result<(), JournalError> {
        self.line.clear();
        tape::write(stamped, &mut self.line);
        tape::seal(&mut self.line, n);
        if self.line.len() > LINE_MAX {
            return Err(JournalError::TooLong { bytes: self.line.len() });
        }
        self.line.push('\n');
        if self.held.len() + self.line.len() > KEEP_MAX {
            self.sync()?;
        }
        self.held.extend_from_slice(self.line.as_bytes());
        // Whatever fails here is kept, and fails again at the next sync, which reports it.
        if self.held.len() >= SYNC_AT {
            let _ = self.sync();
        } else if self.held.len() - self.written >= WRITE_AT {
            let _ = self.write_held();
        }
        Ok(())
    }

    /// Returns when everything appended is on the disk: only then may it be acknowledged.
    ///
    /// # Errors
    /// What the disk reports. Everything appended is still held and will be tried again.
    pub fn sync(&mut self) -> Result<(), JournalError> {
        if self.held.is_empty() {
            return Ok(());
        }
        self.write_held()?;
        if let Err(e) = self.disk.sync() {
            self.written = 0;
            return Err(JournalError::io(&self.path, e));
        }
        self.synced += self.held.len() as u64;
        self.held.clear();
        self.written = 0;
        Ok(())
    }

    /// The offset after the last input appended.
    pub fn offset(&self) -> u64 {
        self.synced + self.held.len() as u64
    }

    /// The segment's file.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Hands the held bytes to the system. When it does not take them all, the file ends with its last whole line.
    fn write_held(&mut self) -> Result<(), JournalError> {
        let begin = self.written;
        let mut at = begin;
        let failure = loop {
            let Some(rest) = self.held.get(at..).filter(|rest| !rest.is_empty()) else { break None };
            match self.disk.write_at(rest, self.synced + at as u64) {
                Ok(0) => break Some(io::Error::from(io::ErrorKind::WriteZero)),
                Ok(taken) => at += taken,
                Err(e) if e.kind() == io::ErrorKind::Interrupted => {}
                Err(e) => break Some(e),
            }
        };
        let taken = self.held.get(begin..at).unwrap_or_default();
        self.written = begin + taken.iter().rposition(|b| *b == b'\n').map_or(0, |last| last + 1);
        match failure {
            None => Ok(()),
            Some(e) => {
                // Should the cut fail too, the next try writes over the torn line, and a reader stops before it.
                let _ = self.disk.set_len(self.synced + self.written as u64);
                Err(JournalError::io(&self.path, e))
            }
        }
    }
}
