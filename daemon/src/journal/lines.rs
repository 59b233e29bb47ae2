//! Whole lines of a journal file, each with the offset after it and its seal tried.

use std::io::{self, BufReader, Read};

use gunwale_protocol::tape::{self, Sealed};

use super::LINE_MAX;
use crate::lines;

/// One line that ends with LF.
#[derive(Debug, PartialEq)]
pub(super) enum Line<'a> {
    /// Its seal is right.
    Good(&'a str, Sealed),
    /// Too long, no UTF-8, or its seal is wrong.
    Bad,
}

/// Reads lines one after the other.
pub(super) struct Lines<R> {
    lines: lines::Lines<BufReader<R>>,
    /// The offset after the last line given.
    pub(super) offset: u64,
}

impl<R: Read> Lines<R> {
    /// `from` stands at `offset`, where a line begins.
    pub(super) fn new(from: R, offset: u64) -> Lines<R> {
        let from = BufReader::with_capacity(64 * 1024, from);
        Lines { lines: lines::Lines::new(from, LINE_MAX), offset }
    }

    /// The next line that ends with LF; `None` when there is no more, whatever bytes may be left.
    pub(super) fn next(&mut self) -> io::Result<Option<Line<'_>>> {
        match self.lines.next_line()? {
            Some(lines::Line::Whole { bytes, ended: true }) => {
                self.offset += bytes.len() as u64 + 1;
                let line = std::str::from_utf8(bytes).ok();
                let good = line.and_then(|line| Some(Line::Good(line, tape::unseal(line)?)));
                Ok(Some(good.unwrap_or(Line::Bad)))
            }
            Some(lines::Line::TooLong { length, ended: true }) => {
                self.offset += length + 1;
                Ok(Some(Line::Bad))
            }
            _ => Ok(None),
        }
    }
}
