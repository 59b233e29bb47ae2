//! Whole lines of a file, each with the offset after it, in bounded memory.

use std::io::{self, BufRead, BufReader, Read};

use gunwale_protocol::tape::{self, Sealed};

use super::LINE_MAX;

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
    from: BufReader<R>,
    line: Vec<u8>,
    /// The offset after the last line given.
    pub(super) offset: u64,
}

impl<R: Read> Lines<R> {
    /// `from` stands at `offset`, where a line begins.
    pub(super) fn new(from: R, offset: u64) -> Lines<R> {
        Lines { from: BufReader::with_capacity(64 * 1024, from), line: Vec::new(), offset }
    }

    /// The next line that ends with LF; `None` when there is no more, whatever bytes may be left.
    pub(super) fn next(&mut self) -> io::Result<Option<Line<'_>>> {
        self.line.clear();
        let longest = LINE_MAX as u64 + 1;
        let mut length = self.from.by_ref().take(longest).read_until(b'\n', &mut self.line)? as u64;
        if self.line.last() != Some(&b'\n') {
            if length < longest {
                return Ok(None);
            }
            let Some(rest) = self.skip_line()? else { return Ok(None) };
            length += rest;
            self.offset += length;
            return Ok(Some(Line::Bad));
        }
        self.offset += length;
        self.line.pop();
        let good = std::str::from_utf8(&self.line).ok().and_then(|line| Some((line, tape::unseal(line)?)));
        Ok(Some(good.map_or(Line::Bad, |(line, sealed)| Line::Good(line, sealed))))
    }

    /// Passes over the rest of a line and says how long it was; `None` when it does not end.
    fn skip_line(&mut self) -> io::Result<Option<u64>> {
        let mut passed = 0;
        loop {
            let chunk = self.from.fill_buf()?;
            if chunk.is_empty() {
                return Ok(None);
            }
            let end = chunk.iter().position(|b| *b == b'\n');
            let step = end.map_or(chunk.len(), |at| at + 1);
            self.from.consume(step);
            passed += step as u64;
            if end.is_some() {
                return Ok(Some(passed));
            }
        }
    }
}
