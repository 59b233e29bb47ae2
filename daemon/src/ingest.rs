//! A tape or a plain NMEA log on its way into the journal: known again by content, continued after a kill.

use std::io::Write;

use gunwale_protocol::input::{self, Input, Stamped};
use gunwale_protocol::log::LogClock;
use gunwale_protocol::time::Mono;
use gunwale_protocol::{nmea, tape};

use crate::desk::Desk;
use crate::error::Result;
use crate::io::{Named, Sounds};
use crate::lines::{LINE_MAX, Line, Lines};

mod play;
mod sound;

use play::Play;

/// What a file came to; the same on every play.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Counts {
    /// Lines, blank and `#` lines excluded.
    pub lines: u64,
    /// Lines of these that were refused.
    pub refused: u64,
    /// Position epochs taken.
    pub fixes: u64,
    /// Pulls recorded.
    pub pulls: u64,
}

impl std::ops::AddAssign for Counts {
    fn add_assign(&mut self, other: Counts) {
        self.lines += other.lines;
        self.refused += other.refused;
        self.fixes += other.fixes;
        self.pulls += other.pulls;
    }
}

/// Plays one file into journal and records, and says `recorded PULL` for each pull whose lines are safe.
///
/// # Errors
/// When the file cannot be read or the journal cannot be written. What was taken until then is kept, and the next play
/// goes on from there.
pub fn ingest(desk: &Desk, file: Named<'_>, out: &mut dyn Write) -> Result<Counts> {
    let _one_at_a_time = desk.ingesting();
    let Named { name, lines: from, sounds } = file;
    let mut lines = Lines::new(from, LINE_MAX);
    let mut counts = Counts::default();
    let mut head: Option<Vec<u8>> = None;
    let mut source: Option<Source<'_>> = None;
    let read = |e| crate::Error::File {
        what: "cannot read",
        path: name.clone().into(),
        source: e,
        advice: "play it again",
    };
    while let Some(line) = lines.next_line().map_err(read)? {
        let bytes = match line {
            Line::TooLong { .. } => {
                counts.lines += 1;
                counts.refused += 1;
                continue;
            }
            Line::Whole { bytes, .. } => bytes.trim_ascii(),
        };
        if bytes.is_empty() {
            continue;
        }
        let head = &*head.get_or_insert_with(|| bytes.to_vec());
        if bytes.starts_with(b"#") {
            continue;
        }
        counts.lines += 1;
        let source = match &mut source {
            Some(source) => source,
            none => none.insert(Source::begin(desk, head, bytes, sounds.clone())?),
        };
        if !source.line(bytes, counts.lines, out)? {
            counts.refused += 1;
            tracing::debug!(file = name, line = counts.lines, "refused");
        }
    }
    if let Some(source) = source {
        (counts.fixes, counts.pulls) = source.play.finish(out)?;
    }
    Ok(counts)
}

/// The lines of a file, understood.
struct Source<'a> {
    /// Plain logs have no stamps of their own.
    log: Option<LogClock>,
    play: Play<'a>,
}

impl<'a> Source<'a> {
    /// `head` is the file's first line that is not blank; `first` the first that is no `#` line either.
    fn begin(desk: &'a Desk, head: &[u8], first: &[u8], sounds: Sounds) -> Result<Source<'a>> {
        let log = (!first.starts_with(b"{")).then(LogClock::default);
        let read = std::str::from_utf8(first).ok().and_then(|text| tape::read(text).ok());
        // A journal played as a tape is the run it was.
        let (run, t) = match read.and_then(|inputs| inputs.into_iter().next()) {
            Some(Stamped { t, input: Input::Run(run) }) if log.is_none() => (run, Some(t)),
            _ => (desk.run_line(input::tape_id(head)), None),
        };
        Ok(Source { log, play: Play::begin(desk, run, t, sounds)? })
    }

    /// Takes a line; false when it was refused, even if a sentence was saved from it.
    fn line(&mut self, bytes: &[u8], n: u64, out: &mut dyn Write) -> Result<bool> {
        if self.log.is_some() {
            return self.sentence(None, bytes, n, out);
        }
        let Some(inputs) = std::str::from_utf8(bytes).ok().and_then(|text| tape::read(text).ok()) else {
            return Ok(false);
        };
        let mut taken = true;
        for stamped in inputs {
            taken &= match &stamped.input {
                // The segment has its own run line.
                Input::Run(_) => n == 1,
                Input::Gps(text) => self.sentence(Some(stamped.t), text.as_bytes(), n, out)?,
                _ => self.play.take(stamped, n, out)?,
            };
        }
        Ok(taken)
    }

    /// Takes a line that should be exactly one sentence; saves what sentences are in it if it is not.
    fn sentence(&mut self, t: Option<Mono>, line: &[u8], n: u64, out: &mut dyn Write) -> Result<bool> {
        let whole = nmea::exactly_one(line).ok();
        let saved = if whole.is_some() { Vec::new() } else { nmea::salvage(line).collect() };
        for text in whole.iter().copied().chain(saved) {
            let t = match (t, &mut self.log) {
                (Some(t), _) => t,
                (None, log) => log.get_or_insert_default().stamp(text),
            };
            let taken = self.play.take(Stamped { t, input: Input::Gps(text.to_owned()) }, n, out)?;
            if !taken {
                return Ok(false);
            }
        }
        Ok(whole.is_some())
    }
}
