//! What a command reads and writes: its output, and the files it names, wherever they are opened.

use std::collections::VecDeque;
use std::fs::File;
use std::io::{BufRead, BufReader, Write};
use std::path::PathBuf;

use crate::error::{Error, Result};

/// A file's name as given, and its contents.
pub type Named<'a> = (String, Box<dyn BufRead + 'a>);

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
        let file = File::open(&path).map_err(Error::file("cannot read", path, "check the name"))?;
        Ok(Some((name, Box::new(BufReader::with_capacity(1 << 16, file)))))
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
