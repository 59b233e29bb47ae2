//! A model of the Whisper family, spoken to through a small Python program, for that is where such models run.
//!
//! It listens twice: to the sound as it is, and, told of the trade in other words, with the noise taken out. What it hears
//! alike both times was right more often than what it calls sure.

use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};

use gunwale_protocol::tally::Speech;
use serde::Deserialize;

use super::memory::Memory;
use super::{Heard, grammar};
use crate::error::{Error, Result};

/// The Python program.
const PROGRAM: &str = include_str!("../helpers/whisper.py");

/// A running model.
pub(super) struct Whisper {
    child: Child,
    to: ChildStdin,
    from: BufReader<ChildStdout>,
    clean: Memory,
}

#[derive(Deserialize)]
struct Answer {
    text: String,
    also: String,
    confidence: f64,
}

impl Drop for Whisper {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

impl Whisper {
    /// Starts it.
    ///
    /// # Errors
    /// When there is no such Python.
    pub(super) fn start(python: &Path, model: &Path, speech: &Speech) -> Result<Whisper> {
        let mut command = Command::new(python);
        command.args(["-c", PROGRAM]).arg(model).arg(&speech.language).args(grammar::prompts(speech));
        command.stdin(Stdio::piped()).stdout(Stdio::piped());
        let advice = "give the Python that faster-whisper is installed for";
        let mut child = command.spawn().map_err(Error::file("cannot start", python, advice))?;
        let pipes = child.stdin.take().zip(child.stdout.take());
        let (to, from) = pipes.ok_or_else(|| std::io::Error::other("no pipes"))?;
        Ok(Whisper { child, to, from: BufReader::new(from), clean: Memory::new("note.wav")? })
    }

    /// What it hears in a file.
    ///
    /// # Errors
    /// A file that is no sound; a program that ends, which has said why.
    pub(super) fn hear(&mut self, file: &Path) -> Result<Heard> {
        self.clean.put_clean(file)?;
        let request = serde_json::json!([file, self.clean.path]);
        let mut line = String::new();
        let asked = writeln!(self.to, "{request}");
        if asked.and_then(|()| self.from.read_line(&mut line)).is_ok_and(|read| read > 0) {
            let Answer { text, also, confidence } =
                serde_json::from_str(&line).map_err(std::io::Error::other)?;
            return Ok(Heard { text, also: Some(also), confidence });
        }
        self.child.wait()?;
        // It has said on its standard error, which is ours, what ails it.
        Err(Error::Told)
    }
}
