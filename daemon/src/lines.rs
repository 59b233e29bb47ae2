//! Lines of a file, with a cap: a megabyte without an end is one refused line, never a megabyte of memory.

use std::io::{self, BufRead};

/// Longest line that is read, bytes. Many times what any sentence, frame or note needs, and small enough that a journal
/// line made from it is never too long, however it has to be escaped.
pub const LINE_MAX: usize = 10 * 1024;

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
    /// Longer than [`LINE_MAX`]; passed over.
    TooLong,
}

/// Reads lines from a file or a stream.
pub struct Lines<R> {
    from: R,
    line: Vec<u8>,
}

impl<R: BufRead> Lines<R> {
    /// Lines of `from`.
    pub fn new(from: R) -> Lines<R> {
        Lines { from, line: Vec::new() }
    }

    /// The next line, or `None` at the end.
    ///
    /// # Errors
    /// What the file or stream says.
    pub fn next_line(&mut self) -> io::Result<Option<Line<'_>>> {
        self.line.clear();
        let (mut any, mut too_long) = (false, false);
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
            too_long |= self.line.len() + piece.len() > LINE_MAX;
            if !too_long {
                self.line.extend_from_slice(piece);
            }
            let used = piece.len() + usize::from(end.is_some());
            self.from.consume(used);
            if end.is_some() {
                return Ok(Some(if too_long {
                    Line::TooLong
                } else {
                    Line::Whole { bytes: &self.line, ended: true }
                }));
            }
        }
        Ok(match (any, too_long) {
            (false, _) => None,
            (true, true) => Some(Line::TooLong),
            (true, false) => Some(Line::Whole { bytes: &self.line, ended: false }),
        })
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
            let mut lines = Lines::new(io::BufReader::with_capacity(size, text.as_slice()));
            assert_eq!(lines.next_line().unwrap(), Some(Line::Whole { bytes: b"one\r", ended: true }));
            assert_eq!(lines.next_line().unwrap(), Some(Line::Whole { bytes: b"", ended: true }));
            assert_eq!(lines.next_line().unwrap(), Some(Line::TooLong));
            assert_eq!(lines.next_line().unwrap(), Some(Line::Whole { bytes: b"last", ended: false }));
            assert_eq!(lines.next_line().unwrap(), None);
        }
    }
}
