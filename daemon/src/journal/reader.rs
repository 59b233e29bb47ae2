//! Reads a journal file from its beginning or from an offset kept earlier.

use std::fs::File;
use std::io::{Seek, SeekFrom};
use std::os::unix::fs::FileExt;
use std::path::{Path, PathBuf};
use std::vec;

use gunwale_protocol::input::{Input, JOURNAL_SCHEMA, Run, Stamped};
use gunwale_protocol::tape;

use super::JournalError;
use super::lines::{Line, Lines};

/// One input of a journal.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// The offset after its line: where a reader begins that has taken this input.
    pub after: u64,
    /// The ordinal of the tape's line it came from; `None` in a live run.
    pub n: Option<u64>,
    /// The input.
    pub stamped: Stamped,
}

/// The inputs of one segment, in order. It ends quietly at a torn tail.
pub struct Reader {
    path: PathBuf,
    lines: Lines<File>,
    run: Option<Run>,
    queue: vec::IntoIter<Stamped>,
    n: Option<u64>,
    /// Bad lines since the last good one: damage if a good one follows, a torn tail if not.
    suspect: u64,
    damaged: u64,
    refused: u64,
    failed: bool,
}

impl Reader {
    /// Opens a segment's file, to read from the line that begins at `from`: 0, or an [`Entry::after`] of the same file.
    ///
    /// # Errors
    /// [`JournalError::Newer`] when a newer program wrote it, [`JournalError::NoLineThere`] when no line begins at
    /// `from`, or when the file cannot be read.
    pub fn open(path: &Path, from: u64) -> Result<Reader, JournalError> {
        let io = |e| JournalError::io(path, e);
        let mut file = File::open(path).map_err(io)?;
        let run = first_run(path, &file)?;
        if from > 0 {
            let mut before = [0];
            let there = file.read_at(&mut before, from - 1).map_err(io)?;
            if there != 1 || before != *b"\n" {
                return Err(JournalError::NoLineThere { path: path.to_path_buf(), offset: from });
            }
        }
        file.seek(SeekFrom::Start(from)).map_err(io)?;
        Ok(Reader {
            path: path.to_path_buf(),
            lines: Lines::new(file, from),
            run,
            queue: Vec::new().into_iter(),
            n: None,
            suspect: 0,
            damaged: 0,
            refused: 0,
            failed: false,
        })
    }

    /// What the first line says of the run, wherever reading began; `None` when that line is damaged or not there.
    pub fn run(&self) -> Option<&Run> {
        self.run.as_ref()
    }

    /// Lines skipped so far because they are damaged; a torn tail is not counted.
    pub fn damaged(&self) -> u64 {
        self.damaged
    }

    /// Whole lines skipped so far because this program does not understand them.
    pub fn refused(&self) -> u64 {
        self.refused
    }

    fn entry(&mut self) -> Result<Option<Entry>, JournalError> {
        loop {
            if let Some(stamped) = self.queue.next() {
                return Ok(Some(Entry { after: self.lines.offset, n: self.n, stamped }));
            }
            match self.lines.next().map_err(|e| JournalError::io(&self.path, e))? {
                None => return Ok(None),
                Some(Line::Bad) => self.suspect += 1,
                Some(Line::Good(line, sealed)) => {
                    self.damaged += std::mem::take(&mut self.suspect);
                    match tape::read(line) {
                        Ok(found) => (self.queue, self.n) = (found.into_iter(), sealed.n),
                        Err(_) => self.refused += 1,
                    }
                }
            }
        }
    }
}

impl Iterator for Reader {
    type Item = Result<Entry, JournalError>;

    fn next(&mut self) -> Option<Self::Item> {
        if self.failed {
            return None;
        }
        let next = self.entry();
        self.failed = next.is_err();
        next.transpose()
    }
}

/// The run in the first line of a file that stands at its beginning; an error when its schema is newer than ours.
pub(super) fn first_run(path: &Path, file: &File) -> Result<Option<Run>, JournalError> {
    let mut lines = Lines::new(file, 0);
    let Some(Line::Good(line, _)) = lines.next().map_err(|e| JournalError::io(path, e))? else {
        return Ok(None);
    };
    match tape::schema(line) {
        Some(schema) if schema > u64::from(JOURNAL_SCHEMA) => {
            return Err(JournalError::Newer { path: path.to_path_buf(), schema });
        }
        _ => {}
    }
    Ok(tape::read(line).into_iter().flatten().find_map(|stamped| match stamped.input {
        Input::Run(run) => Some(run),
        _ => None,
    }))
}
