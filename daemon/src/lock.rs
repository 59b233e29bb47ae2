//! The lock of a data directory: one program at a time works on it alone.

use std::fs::{File, OpenOptions, TryLockError};
use std::os::unix::fs::MetadataExt;
use std::path::Path;
use std::time::{Duration, Instant};

use crate::error::{Error, Result};

/// Held as long as this lives; the system lets go of it even when the program is killed.
#[derive(Debug)]
pub struct Lock(#[allow(dead_code, reason = "held, not read")] File);

impl Lock {
    /// Takes the lock if it is free.
    ///
    /// # Errors
    /// When the data directory cannot be made or written to, or is not root's and root asks.
    pub fn try_take(data: &Path) -> Result<Option<Lock>> {
        let advice = "check the path and its permissions, or give another --data";
        std::fs::create_dir_all(data).map_err(Error::file("cannot make", data, advice))?;
        let owner = std::fs::metadata(data).map_err(Error::file("cannot read", data, advice))?.uid();
        if rustix::process::geteuid().is_root() && owner != 0 {
            return Err(Error::OthersData { path: data.to_owned(), owner });
        }
        let path = data.join("lock");
        let mut options = OpenOptions::new();
        let file = options.create(true).truncate(false).write(true).open(&path);
        let file = file.map_err(Error::file("cannot write", &path, advice))?;
        match file.try_lock() {
            Ok(()) => Ok(Some(Lock(file))),
            Err(TryLockError::WouldBlock) => Ok(None),
            Err(TryLockError::Error(e)) => Err(Error::file("cannot lock", path, advice)(e)),
        }
    }

    /// Takes the lock, trying for a while; between tries `other` may find another way.
    ///
    /// # Errors
    /// [`Error::Busy`] when the time is up.
    pub fn take<T>(data: &Path, wait: Duration, mut other: impl FnMut() -> Option<T>) -> Result<Taken<T>> {
        let start = Instant::now();
        loop {
            if let Some(found) = other() {
                return Ok(Taken::Other(found));
            }
            if let Some(lock) = Lock::try_take(data)? {
                return Ok(Taken::Lock(lock));
            }
            if start.elapsed() >= wait {
                return Err(Error::Busy(data.to_owned()));
            }
            std::thread::sleep(Duration::from_millis(50));
        }
    }
}

/// The lock, or the other way.
#[derive(Debug)]
pub enum Taken<T> {
    /// The data directory is ours.
    Lock(Lock),
    /// The other way was found.
    Other(T),
}
