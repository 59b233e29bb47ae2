//! The handle: opening, closing, and the guard that turns whatever sled does into a typed error.

use std::collections::HashSet;
use std::ffi::OsString;
use std::fs::{self, File};
use std::io;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, OnceLock, PoisonError};
use std::thread;
use std::time::{Duration, Instant};

use sled::Tree;

use super::codec::{self, Counts};
use super::{StoreError, folder};

/// sled's page cache, bytes; a soft limit.
const CACHE: u64 = 32 * 1024 * 1024;
/// How long to wait for the lock. A store just closed in this process gives it back only when sled's threads have let
/// go of the file, some milliseconds later.
const LOCK_WAIT: Duration = Duration::from_secs(2);
const LOCK_STEP: Duration = Duration::from_millis(5);
/// The one key of the tree `meta`.
pub(super) const COUNTS: &[u8] = b"counts";

/// An open store. Any thread may use it; one that was found damaged answers nothing any more.
pub struct Store {
    open: Option<Open>,
    /// Held while a batch is written, and to look again at what seemed wrong while one was.
    writing: Mutex<()>,
    damage: OnceLock<String>,
}

/// sled and its trees.
pub(super) struct Open {
    pub(super) db: sled::Db,
    /// The file nearly all of it is in, to be synced by ourselves.
    file: File,
    /// The folder of pages too large for that file, each in one of its own.
    blobs: PathBuf,
    /// Those that are on the disk.
    blobs_synced: Mutex<HashSet<OsString>>,
    /// Time and id → document.
    pub(super) docs: Tree,
    /// Id → key in `docs`.
    pub(super) by_id: Tree,
    /// Day and key in `docs` → nothing.
    pub(super) by_day: Tree,
    /// Trap and key in `docs` → nothing.
    pub(super) by_trap: Tree,
    /// Segment → restart.
    pub(super) segments: Tree,
    /// Statement key → statement.
    pub(super) statements: Tree,
    /// `counts` → how many entries each tree has.
    pub(super) meta: Tree,
}

impl Store {
    /// Opens the store of a data directory, and makes it if there is none.
    ///
    /// That it opens proves little; [`Store::verify`] looks at everything.
    ///
    /// # Errors
    /// Any of [`StoreError`].
    pub fn open(dir: &Path) -> Result<Store, StoreError> {
        let begun = Instant::now();
        loop {
            match Store::try_open(dir) {
                Err(StoreError::Locked) if begun.elapsed() < LOCK_WAIT => thread::sleep(LOCK_STEP),
                opened => return opened,
            }
        }
    }

    /// A store that answers nothing: what stands in for one that is being opened again.
    pub fn closed() -> Store {
        Store { open: None, writing: Mutex::new(()), damage: OnceLock::new() }
    }

    fn try_open(dir: &Path) -> Result<Store, StoreError> {
        let open = caught(|| {
            let path = folder(dir);
            let db = sled::Config::new()
                .path(&path)
                .cache_capacity(CACHE)
                .flush_every_ms(None)
                .use_compression(false)
                .open()
                .map_err(sled_error)?;
            let tree = |name: &str| db.open_tree(name).map_err(sled_error);
            let open = Open {
                file: File::open(path.join("db")).map_err(disk_error)?,
                blobs: path.join("blobs"),
                blobs_synced: Mutex::default(),
                docs: tree("docs")?,
                by_id: tree("by_id")?,
                by_day: tree("by_day")?,
                by_trap: tree("by_trap")?,
                segments: tree("segments")?,
                statements: tree("statements")?,
                meta: tree("meta")?,
                db,
            };
            if !open.db.was_recovered() {
                // sled syncs neither its settings nor the folders: without them a power cut leaves no store.
                open.sync()?;
                for made in [&path.join("conf"), &path, dir] {
                    File::open(made).and_then(|made| made.sync_all()).map_err(disk_error)?;
                }
            }
            open.counts()?;
            Ok(open)
        })?;
        Ok(Store { open: Some(open), writing: Mutex::new(()), damage: OnceLock::new() })
    }

    /// Runs one operation; a panic in it is damage, and damage once found stays.
    pub(super) fn guarded<T>(
        &self,
        act: impl FnOnce(&Open) -> Result<T, StoreError>,
    ) -> Result<T, StoreError> {
        if let Some(what) = self.damage.get() {
            return Err(StoreError::Damaged(what.clone()));
        }
        let result = match &self.open {
            Some(open) => caught(|| act(open)),
            None => Err(StoreError::Disk("closed after the disk failed".into())),
        };
        if let Err(StoreError::Damaged(what)) = &result {
            let _ = self.damage.set(what.clone());
        }
        result
    }

    /// Keeps batches out. What the lock guards is in sled, so a panic under it says nothing about the lock.
    pub(super) fn writing(&self) -> MutexGuard<'_, ()> {
        self.writing.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Drop for Store {
    fn drop(&mut self) {
        let open = self.open.take();
        // sled writes when it closes, and on a damaged file that can panic too.
        let _ = caught(move || {
            drop(open);
            Ok(())
        });
    }
}

impl Open {
    /// Returns when everything written is on the disk.
    pub(super) fn sync(&self) -> Result<(), StoreError> {
        self.db.flush().map_err(sled_error)?;
        self.sync_blobs().map_err(disk_error)?;
        // sled's own sync on Linux starts the writing and waits for it, but does not empty the drive's cache.
        self.file.sync_data().map_err(disk_error)
    }

    /// sled never syncs these. Most stores have none: it takes sixteen neighbours of 8 kB, or one value of 128 kB.
    fn sync_blobs(&self) -> io::Result<()> {
        let mut synced = self.blobs_synced.lock().unwrap_or_else(PoisonError::into_inner);
        let mut present = HashSet::new();
        for blob in fs::read_dir(&self.blobs)? {
            let name = blob?.file_name();
            if !synced.contains(&name) {
                match File::open(self.blobs.join(&name)) {
                    // sled removes what it no longer needs at any time.
                    Err(e) if e.kind() == io::ErrorKind::NotFound => continue,
                    blob => blob?.sync_data()?,
                }
            }
            present.insert(name);
        }
        if !present.is_subset(&synced) {
            File::open(&self.blobs)?.sync_all()?;
        }
        *synced = present;
        Ok(())
    }

    /// How many entries each tree should have.
    pub(super) fn counts(&self) -> Result<Counts, StoreError> {
        match self.meta.get(COUNTS).map_err(sled_error)? {
            Some(value) => codec::decode_counts(COUNTS, &value).map_err(damaged),
            None => Ok(Counts::default()),
        }
    }
}

fn caught<T>(act: impl FnOnce() -> Result<T, StoreError>) -> Result<T, StoreError> {
    catch_unwind(AssertUnwindSafe(act)).unwrap_or_else(|panic| {
        let text = panic.downcast_ref::<&str>().copied();
        let text = text.or_else(|| panic.downcast_ref::<String>().map(String::as_str));
        Err(damaged(text.unwrap_or("panic").lines().next().unwrap_or_default()))
    })
}

pub(super) fn damaged(what: impl Into<String>) -> StoreError {
    StoreError::Damaged(what.into())
}

pub(super) fn disk_error(e: io::Error) -> StoreError {
    use io::ErrorKind::*;
    match e.kind() {
        StorageFull | QuotaExceeded | PermissionDenied | ReadOnlyFilesystem | OutOfMemory => {
            // By kind: sled repeats a failure with other words than the first time.
            StoreError::Disk(e.kind().to_string())
        }
        _ => damaged(e.to_string()),
    }
}

pub(super) fn sled_error(e: sled::Error) -> StoreError {
    match e {
        // sled has no kind of its own for this: it is an I/O error with the lock's own error as its text.
        sled::Error::Io(e)
            if e.to_string().contains("could not acquire lock") && e.to_string().contains("WouldBlock") =>
        {
            StoreError::Locked
        }
        sled::Error::Io(e) => disk_error(e),
        e => damaged(e.to_string()),
    }
}
