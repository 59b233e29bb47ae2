//! Several files as one stream: an export that writes into folders travels in this form from the desk, which may be the
//! running service, to the command that opens the files.

use std::io::{self, Write};

use serde::{Deserialize, Serialize};

/// What comes next in the stream: a line of JSON each, with as many bytes behind it as it says.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Piece {
    /// So many bytes of what goes to stdout or `--out`.
    Out(usize),
    /// A file in the folder of the tables begins.
    Part(String),
    /// A file in the folder of the notes begins.
    Note(String),
    /// So many bytes of the file that has begun.
    Data(usize),
    /// It is at its end.
    End,
    /// A file in the folder of the tables that holds nothing any more, if it is there.
    Gone(String),
}

/// Writes the stream.
pub struct Bundle<'a>(pub &'a mut dyn Write);

impl Bundle<'_> {
    /// Says what comes next.
    ///
    /// # Errors
    /// When the output cannot be written.
    pub fn say(&mut self, piece: &Piece) -> io::Result<()> {
        serde_json::to_writer(&mut *self.0, piece)?;
        self.0.write_all(b"\n")
    }

    /// A writer of what goes to stdout or `--out`; to be flushed at the end.
    pub fn out(&mut self) -> impl Write {
        io::BufWriter::with_capacity(CHUNK, Bytes(self, Piece::Out))
    }

    /// Sends a file whole, with what `write` writes into it.
    ///
    /// # Errors
    /// What `write` reports, and when the output cannot be written.
    pub fn file<E: From<io::Error>>(
        &mut self,
        piece: &Piece,
        write: impl FnOnce(&mut dyn Write) -> Result<(), E>,
    ) -> Result<(), E> {
        self.say(piece)?;
        let mut bytes = io::BufWriter::with_capacity(CHUNK, Bytes(self, Piece::Data));
        write(&mut bytes)?;
        bytes.flush()?;
        drop(bytes);
        Ok(self.say(&Piece::End)?)
    }
}

/// Bytes under one line.
const CHUNK: usize = 1 << 16;

struct Bytes<'b, 'a>(&'b mut Bundle<'a>, fn(usize) -> Piece);

impl Write for Bytes<'_, '_> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        if !bytes.is_empty() {
            self.0.say(&self.1(bytes.len()))?;
            self.0.0.write_all(bytes)?;
        }
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}
