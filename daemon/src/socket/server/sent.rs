//! The files a client sends, one after another; the sound files that a tape names come before their line, and are
//! copied to a folder that goes away with the command.

use std::fs::File;
use std::io::{self, BufReader, Read, Write};
use std::os::unix::net::UnixStream;
use std::path::{Path, PathBuf};
use std::sync::PoisonError;

use super::super::{FRAME_MAX, Kind, receive};
use crate::error::{Error, Result};
use crate::io::{Copies, Files, Named, Sounds};

/// What comes from a client.
pub(super) struct Sent {
    from: BufReader<UnixStream>,
    left: Vec<u8>,
    read: usize,
    ended: bool,
    copies: Copies,
    folder: PathBuf,
}

impl Sent {
    /// Files on this connection; copies of sound go into the data directory for as long as this lives.
    pub(super) fn new(client: UnixStream, data: &Path) -> Sent {
        static COMMANDS: std::sync::atomic::AtomicU64 = std::sync::atomic::AtomicU64::new(0);
        let number = COMMANDS.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
        Sent {
            from: BufReader::new(client),
            left: Vec::new(),
            read: 0,
            ended: true,
            copies: Copies::default(),
            folder: data.join(COPIES).join(number.to_string()),
        }
    }

    /// Copies a sound file that follows now.
    fn copy(&mut self, name: &[u8]) -> io::Result<()> {
        let mut copies = self.copies.lock().unwrap_or_else(PoisonError::into_inner);
        std::fs::create_dir_all(&self.folder)?;
        let path = self.folder.join(format!("{}.wav", copies.len()));
        let mut file = File::create(&path)?;
        loop {
            match receive(&mut self.from)? {
                (Kind::Data, bytes) => file.write_all(&bytes)?,
                (Kind::End, _) => break,
                _ => return Err(io::ErrorKind::InvalidData.into()),
            }
        }
        copies.insert(String::from_utf8_lossy(name).into_owned(), path);
        Ok(())
    }
}

/// The folder of the copies in the data directory.
const COPIES: &str = "incoming";

/// Removes the copies that a service left when it was killed.
pub(super) fn remove_left(data: &Path) {
    // Mostly there are none.
    let _ = std::fs::remove_dir_all(data.join(COPIES));
}

impl Drop for Sent {
    fn drop(&mut self) {
        // Only there when sound came; the next start removes what is left of a service that was killed.
        let _ = std::fs::remove_dir_all(&self.folder);
        let _ = self.folder.parent().map(std::fs::remove_dir);
    }
}

impl Files for Sent {
    fn next_file(&mut self) -> Result<Option<Named<'_>>> {
        let lost = |e: io::Error| Error::Connection(format!("the client went away: {e}"));
        // What the command left unread of the last file is passed over.
        io::copy(self, &mut io::sink()).map_err(lost)?;
        let (Kind::File, name) = receive(&mut self.from).map_err(lost)? else {
            return Err(Error::Connection("the client spoke another language".into()));
        };
        self.ended = false;
        let name = String::from_utf8_lossy(&name).into_owned();
        let sounds = Sounds::Copied(self.copies.clone());
        Ok(Some(Named { name, lines: Box::new(BufReader::with_capacity(FRAME_MAX, self)), sounds }))
    }
}

impl Read for Sent {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        while self.read >= self.left.len() && !self.ended {
            match receive(&mut self.from)? {
                (Kind::Data, bytes) => (self.left, self.read) = (bytes, 0),
                (Kind::Sound, name) => self.copy(&name)?,
                (Kind::End, _) => self.ended = true,
                _ => return Err(io::ErrorKind::InvalidData.into()),
            }
        }
        let left = self.left.get(self.read..).unwrap_or_default();
        let n = left.len().min(into.len());
        if let (Some(into), Some(left)) = (into.get_mut(..n), left.get(..n)) {
            into.copy_from_slice(left);
        }
        self.read += n;
        Ok(n)
    }
}
