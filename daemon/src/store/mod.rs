//! The store: documents made from the journal, ordered by time, day and trap, with the offsets to go on from.
//!
//! It is derived and can be made anew at any time, so every doubt about it has one answer: [`StoreError::Damaged`], then
//! [`set_aside`] and a rebuild from the journal. It knows nothing of pulls: a document is bytes with a time, an id, a
//! day and a trap. The reasons for how it writes are in `design/store.md`. Nothing outside this folder names sled.

mod apply;
mod codec;
mod db;
mod read;
mod verify;

use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

pub use db::Store;
pub use read::Docs;

/// The `at` of a document without a date: before all others.
pub const UNDATED: i64 = i64::MIN;

/// One document.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Doc {
    /// Microseconds of UTC since 1970, or [`UNDATED`]: documents come in this order, and by id within the same moment.
    pub at: i64,
    /// Unique in the store; putting it again replaces the document.
    pub id: String,
    /// The segment it was made from.
    pub segment: String,
    /// The local day it belongs to, `YYYY-MM-DD`, so that days sort as text.
    pub day: Option<String>,
    /// The trap it belongs to.
    pub trap: Option<String>,
    /// What it says, in whatever form the caller chose.
    pub body: Vec<u8>,
}

/// Where to go on reading a segment's journal.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Restart {
    /// The offset after the last line folded.
    pub offset: u64,
    /// The state of the fold at that line, in the caller's form.
    pub state: String,
    /// Documents made from what comes after: they go when the segment is folded further.
    pub tail: Vec<String>,
}

/// Changes that happen together or not at all. Removing comes first, so a document in both lists stays.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Batch {
    /// Documents to write; those with an id already there are replaced.
    pub put: Vec<Doc>,
    /// Ids of documents to remove; those not there are passed over.
    pub remove: Vec<String>,
    /// Where to go on, by segment.
    pub restart: Vec<(String, Restart)>,
    /// What persons stated, by a key that sorts as the caller wants.
    pub statements: Vec<(String, Vec<u8>)>,
}

/// What can go wrong with the store, and what to do.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum StoreError {
    /// It cannot be trusted: drop the handle, [`set_aside`], rebuild.
    #[error("the store is damaged ({0}): set it aside and rebuild it from the journal")]
    Damaged(String),
    /// Another process, or another handle in this one, has it open.
    #[error("the store is in use by another gunwale: stop that one, or wait for it")]
    Locked,
    /// The disk is full, may not be written, or the like. The store may be as good as ever; open it again later.
    #[error("the store cannot be used ({0}): make room, or mend who may write there")]
    Disk(String),
}

/// Renames a store out of the way, to `store.damaged-1` or the next number that is free, and says where it is now.
///
/// Nothing is ever deleted: what is there may help to find out what happened.
///
/// # Errors
/// [`StoreError::Disk`] when it cannot be renamed.
pub fn set_aside(dir: &Path) -> Result<PathBuf, StoreError> {
    let disk = |e: io::Error| StoreError::Disk(e.to_string());
    let mut number = 1;
    let aside = loop {
        let aside = dir.join(format!("store.damaged-{number}"));
        match fs::symlink_metadata(&aside) {
            Err(e) if e.kind() == io::ErrorKind::NotFound => break aside,
            found => {
                found.map_err(disk)?;
            }
        }
        number += 1;
    };
    fs::rename(folder(dir), &aside).map_err(disk)?;
    File::open(dir).and_then(|dir| dir.sync_all()).map_err(disk)?;
    Ok(aside)
}

/// Deletes the stores that were set aside: they hold what is to be forgotten.
///
/// # Errors
/// [`StoreError::Disk`] when one cannot be deleted.
pub fn remove_set_aside(dir: &Path) -> Result<(), StoreError> {
    let disk = |e: io::Error| StoreError::Disk(e.to_string());
    for entry in fs::read_dir(dir).map_err(disk)? {
        let entry = entry.map_err(disk)?;
        if entry.file_name().to_string_lossy().starts_with("store.damaged-") {
            fs::remove_dir_all(entry.path()).map_err(disk)?;
        }
    }
    File::open(dir).and_then(|dir| dir.sync_all()).map_err(disk)
}

fn folder(dir: &Path) -> PathBuf {
    dir.join("store")
}

#[cfg(test)]
mod tests;
