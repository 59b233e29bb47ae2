//! The recognisers that come with this program: `gunwale recogniser …`, as the settings name them.
//!
//! They do no listening themselves. One speaks with PocketSphinx, the other with a model of the Whisper family; each tells its own
//! the words of the trade, and takes the noise out of the sound where that helps. Both are run beside the service like any other.

mod grammar;
mod memory;
mod sphinx;
mod whisper;

use std::io::{self, BufRead, Write};
use std::path::Path;

use gunwale_protocol::tally::Speech;
use serde::Serialize;

use crate::args::Ready;
use crate::error::Result;

/// What was heard in a file, as [`super::answer`] reads it.
#[derive(Debug, Clone, PartialEq, Serialize)]
struct Heard {
    text: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    also: Option<String>,
    confidence: f64,
}

#[derive(Serialize)]
struct Line<'a> {
    file: &'a str,
    #[serde(flatten)]
    heard: Heard,
}

/// Answers requests until there are no more.
///
/// # Errors
/// What is not installed, and a sound that cannot be read.
pub fn serve(which: &Ready) -> Result<()> {
    // Run by hand it is told nothing, and listens for plain English.
    let told = std::env::var(super::SPEECH).unwrap_or_default();
    let speech: Speech = serde_json::from_str(&told).unwrap_or_default();
    match which {
        Ready::Pocketsphinx => {
            let mut sphinx = sphinx::Sphinx::start(&speech)?;
            answer(|file| sphinx.hear(file))
        }
        Ready::Whisper { python, model } => {
            let mut whisper = whisper::Whisper::start(python, model, &speech)?;
            answer(|file| whisper.hear(file))
        }
    }
}

fn answer(mut hear: impl FnMut(&Path) -> Result<Heard>) -> Result<()> {
    for file in io::stdin().lock().lines() {
        let file = file?;
        let heard = hear(Path::new(&file))?;
        let mut out = io::stdout().lock();
        serde_json::to_writer(&mut out, &Line { file: &file, heard }).map_err(io::Error::other)?;
        writeln!(out)?;
        out.flush()?;
    }
    Ok(())
}
