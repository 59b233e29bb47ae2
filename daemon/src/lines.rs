//! Lines of a file, with a cap: a megabyte without an end is one refused line, never a megabyte of memory.

use std::io::{self, BufRead};

/// Longest line of a tape or log that is read, bytes. Many times what any sentence, frame or note needs.
pub const LINE_MAX: usize = 64 * 1024;

/// A line without its line end.
#[derive(Debug, PartialEq, Eq)]
pub enum Line<'a> {
    /// A whole line; `ended` is false for a last line without a line feed.
    Whole {
        /// Its bytes.
        bytes: &'a [u8],
        /// Whether a line feed followed.
        ended: bool,
    },
    /// Longer than allowed; passed over.
    TooLong {
        /// Its length, bytes.
        length: u64,
        /// Whether a line feed followed.
        ended: bool,
    },
}

/// Reads lines from a file or a stream.
pub struct Lines<R> {
    from: R,
    longest: usize,
    line: Vec<u8>,
}

impl<R: BufRead> Lines<R> {
    /// Lines of `from` of at most `longest` bytes.
    pub fn new(from: R, longest: usize) -> Lines<R> {
        Lines { from, longest, line: Vec::new() }
    }

    /// The next line, or `None` at the end.
    ///
    /// # Errors
    /// What the file or stream says.
    pub fn next_line(&mut self) -> io::Result<Option<Line<'_>>> {
        self.line.clear();
        let (mut any, mut length) = (false, 0);
        loop {
            let buffer = match self.from.fill_buf() {
                Err(e) if e.kind() == io::ErrorKind::Interrupted => continue,
                other => other?,
            };
            if buffer.is_empty() {
                break;
            }
            any = true;
            let end = buffer.iter().position(|byte| *byte == b'\n');
            let piece = buffer.get(..end.unwrap_or(buffer.len())).unwrap_or_default();
            length += piece.len();
            if length <= self.longest {
                self.line.extend_from_slice(piece);
            }
            let used = piece.len() + usize::from(end.is_some());
            self.from.consume(used);
            if end.is_some() {
                return Ok(Some(self.line(length, true)));
            }
        }
        Ok(any.then(|| self.line(length, false)))
    }

    fn line(&self, length: usize, ended: bool) -> Line<'_> {
        if length > self.longest {
            Line::TooLong { length: length as u64, ended }
        } else {
            Line::Whole { bytes: &self.line, ended }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_come_whole_and_a_long_one_is_one_fault() {
        let mut text = b"one\r\n\n".to_vec();
        text.extend(std::iter::repeat_n(b'x', 3 * LINE_MAX));
        text.extend(b"\nlast");
        for size in [1, 7, 8192] {
            let mut lines = Lines::new(io::BufReader::with_capacity(size, text.as_slice()), LINE_MAX);
            assert_eq!(lines.next_line().unwrap(), Some(Line::Whole { bytes: b"one\r", ended: true }));
            assert_eq!(lines.next_line().unwrap(), Some(Line::Whole { bytes: b"", ended: true }));
            assert_eq!(
                lines.next_line().unwrap(),
                Some(Line::TooLong { length: 3 * LINE_MAX as u64, ended: true })
            );
            assert_eq!(lines.next_line().unwrap(), Some(Line::Whole { bytes: b"last", ended: false }));
            assert_eq!(lines.next_line().unwrap(), None);
        }
    }
}
