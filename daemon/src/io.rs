//! What a command reads and writes: its output, and the files it names, wherever they are opened.

use std::collections::{BTreeMap, VecDeque};
use std::fs::File;
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

use crate::error::{Error, Result};

/// A file that a command reads.
pub struct Named<'a> {
    /// Its name as given.
    pub name: String,
    /// Its contents.
    pub lines: Box<dyn BufRead + 'a>,
    /// The sound files it names.
    pub sounds: Sounds,
}

/// Where the sound files are that a tape names.
#[derive(Debug, Clone)]
pub enum Sounds {
    /// Beside the tape, in this folder; a journal names them from the folder above its own.
    Beside(PathBuf),
    /// Where a client's copies were put, by the name that the tape gives.
    Copied(Copies),
}

/// A client's sound files, by the name that its tape gives them.
pub type Copies = Arc<Mutex<BTreeMap<String, PathBuf>>>;

impl Sounds {
    /// The file a tape calls by this name, if it is there.
    pub fn find(&self, name: &str) -> Option<PathBuf> {
        match self {
            Sounds::Beside(folder) => beside(folder, name),
            Sounds::Copied(copies) => {
                copies.lock().unwrap_or_else(PoisonError::into_inner).get(name).cloned()
            }
        }
    }
}

/// The file that a tape in this folder calls by this name.
pub fn beside(folder: &Path, name: &str) -> Option<PathBuf> {
    let above = folder.parent().map(|above| above.join(name));
    [Some(folder.join(name)), above].into_iter().flatten().find(|path| path.is_file())
}

/// The folder a tape is in.
pub fn folder_of(tape: &Path) -> PathBuf {
    let folder = tape.parent().unwrap_or(Path::new(""));
    // `parent` of a bare name is empty, and has no folder above it.
    std::path::absolute(folder).unwrap_or_else(|_| folder.to_owned())
}

/// The files a command names, in order.
pub trait Files {
    /// The next one, or `None` after the last.
    ///
    /// # Errors
    /// When it cannot be opened.
    fn next_file(&mut self) -> Result<Option<Named<'_>>>;
}

/// Files opened here.
pub struct Local(VecDeque<PathBuf>);

impl Local {
    /// These paths.
    pub fn new(paths: Vec<PathBuf>) -> Local {
        Local(paths.into())
    }
}

impl Files for Local {
    fn next_file(&mut self) -> Result<Option<Named<'_>>> {
        let Some(path) = self.0.pop_front() else { return Ok(None) };
        let name = path.display().to_string();
        let sounds = Sounds::Beside(folder_of(&path));
        let file = File::open(&path).map_err(Error::file("cannot read", path, "check the name"))?;
        Ok(Some(Named { name, lines: Box::new(BufReader::with_capacity(1 << 16, file)), sounds }))
    }
}

/// What a command reads and writes.
pub struct Io<'a> {
    /// Results.
    pub out: &'a mut dyn Write,
    /// Messages for the person: what a program reading the results must not see.
    pub err: &'a mut dyn Write,
    /// Whether a person watches `err`: long work then shows how far it is.
    pub watched: bool,
    /// The files it names.
    pub files: &'a mut dyn Files,
}
