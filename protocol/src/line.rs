//! Bytes in, whole lines out: a splitter with a length cap that comes back after noise.

use thiserror::Error;

/// A line was longer than the cap; all of it up to its end was skipped.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
#[error("a line longer than {cap} bytes was skipped: check the baud rate and the wiring")]
pub struct TooLong {
    /// The cap, bytes.
    pub cap: usize,
}

/// Splits a stream of bytes into lines, wherever the stream was cut. Holds at most `cap` bytes.
///
/// LF or CR ends a line. ASCII white space at both ends is trimmed, and blank lines are dropped.
#[derive(Debug, Clone)]
pub struct Splitter {
    cap: usize,
    ends: fn(u8) -> bool,
    begun: Vec<u8>,
    skipping: bool,
}

impl Splitter {
    /// A splitter for lines of at most `cap` bytes, all bytes before its end counted.
    pub fn new(cap: usize) -> Splitter {
        Splitter::ended_by(cap, ends)
    }

    /// As [`Splitter::new`], with other bytes that end a line.
    pub fn ended_by(cap: usize, ends: fn(u8) -> bool) -> Splitter {
        Splitter { cap, ends, begun: Vec::new(), skipping: false }
    }

    /// Takes the next bytes and hands each line they complete to `line`, in order.
    ///
    /// A line longer than the cap is handed over once as [`TooLong`], when it is found to be, and never in part.
    pub fn take(&mut self, bytes: &[u8], mut line: impl FnMut(Result<&[u8], TooLong>)) {
        let ends = self.ends;
        for piece in bytes.split_inclusive(|b| ends(*b)) {
            let (content, ended) = match piece.split_last() {
                Some((end, content)) if ends(*end) => (content, true),
                _ => (piece, false),
            };
            if !self.skipping {
                if self.begun.len() + content.len() > self.cap {
                    self.begun.clear();
                    self.skipping = true;
                    line(Err(TooLong { cap: self.cap }));
                } else if ended && self.begun.is_empty() {
                    hand_over(content, &mut line);
                } else {
                    self.begun.extend_from_slice(content);
                    if ended {
                        hand_over(&self.begun, &mut line);
                    }
                }
            }
            if ended {
                self.begun.clear();
                self.skipping = false;
            }
        }
    }
}

/// Some scales end their lines with CR alone; the blank line between CR and LF is dropped like any other.
fn ends(byte: u8) -> bool {
    matches!(byte, b'\n' | b'\r')
}

fn hand_over(raw: &[u8], line: &mut impl FnMut(Result<&[u8], TooLong>)) {
    let trimmed = raw.trim_ascii();
    if !trimmed.is_empty() {
        line(Ok(trimmed));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    type Lines = Vec<Result<Vec<u8>, TooLong>>;

    fn split(cap: usize, pieces: &[&[u8]]) -> Lines {
        let mut splitter = Splitter::new(cap);
        let mut lines = Vec::new();
        for piece in pieces {
            splitter.take(piece, |line| lines.push(line.map(<[u8]>::to_vec)));
            assert!(splitter.begun.len() <= cap);
        }
        lines
    }

    fn ok(line: &str) -> Result<Vec<u8>, TooLong> {
        Ok(line.as_bytes().to_vec())
    }

    #[test]
    fn lines_are_trimmed_capped_and_never_blank() {
        let long = Err(TooLong { cap: 8 });
        let cases: &[(&str, Lines)] = &[
            ("a\r\nb\n", vec![ok("a"), ok("b")]),
            ("\n\r\n  \n \t a b \r\n", vec![ok("a b")]),
            ("no end", vec![]),
            ("12345678\n", vec![ok("12345678")]),
            ("123456789\nafter\n", vec![long.clone(), ok("after")]),
            ("12345678901234567890123456789", vec![long.clone()]),
            ("123456789\n123456789\n", vec![long.clone(), long.clone()]),
            ("12345678\r\n", vec![ok("12345678")]),
            ("123456789\r\nafter\rend", vec![long, ok("after")]),
        ];
        for (bytes, expected) in cases {
            assert_eq!(split(8, &[bytes.as_bytes()]), *expected, "{bytes:?}");
        }
    }

    #[test]
    fn the_fault_says_what_to_do() {
        assert_eq!(
            TooLong { cap: 1024 }.to_string(),
            "a line longer than 1024 bytes was skipped: check the baud rate and the wiring"
        );
    }

    proptest! {
        #[test]
        fn where_the_stream_is_cut_changes_nothing(
            bytes in prop::collection::vec(prop_oneof![Just(b'\n'), Just(b'\r'), Just(b' '), any::<u8>()], 0..200),
            cuts in prop::collection::vec(any::<prop::sample::Index>(), 0..8),
            cap in 0usize..20,
        ) {
            let mut at: Vec<usize> = cuts.iter().map(|cut| cut.index(bytes.len() + 1)).collect();
            at.extend([0, bytes.len()]);
            at.sort_unstable();
            let pieces: Vec<&[u8]> = at.windows(2).map(|w| &bytes[w[0]..w[1]]).collect();
            prop_assert_eq!(split(cap, &pieces), split(cap, &[&bytes]));
        }
    }
}
