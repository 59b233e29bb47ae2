//! Bytes in, whole lines out, with a cap.

use std::collections::VecDeque;

/// The longest line kept, in bytes: many times what any sentence or frame needs.
pub const CAP: usize = 1_024;

/// Cuts bytes into lines at CR or LF (some scales send CR alone); empty lines are left out.
#[derive(Debug, Default)]
pub struct Lines {
    whole: VecDeque<Vec<u8>>,
    part: Vec<u8>,
    skipping: bool,
    overlong: u64,
}

impl Lines {
    /// Takes the next bytes.
    pub fn take(&mut self, bytes: &[u8]) {
        for &byte in bytes {
            if byte == b'\n' || byte == b'\r' {
                self.skipping = false;
                if !self.part.is_empty() {
                    self.whole.push_back(std::mem::take(&mut self.part));
                }
            } else if self.part.len() == CAP {
                self.part.clear();
                self.skipping = true;
                self.overlong += 1;
            } else if !self.skipping {
                self.part.push(byte);
            }
        }
    }

    /// The next whole line.
    pub fn next(&mut self) -> Option<Vec<u8>> {
        self.whole.pop_front()
    }

    /// Runs skipped since last asked because they were longer than [`CAP`].
    pub fn overlong(&mut self) -> u64 {
        std::mem::take(&mut self.overlong)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(chunks: &[&[u8]], want: &[&[u8]], overlong: u64) {
        let mut lines = Lines::default();
        chunks.iter().for_each(|chunk| lines.take(chunk));
        let got: Vec<_> = std::iter::from_fn(|| lines.next()).collect();
        assert_eq!(got, want);
        assert_eq!(lines.overlong(), overlong);
    }

    #[test]
    fn lines_are_whole_or_not_at_all() {
        let (long, most) = (vec![b'x'; CAP + 1], vec![b'y'; CAP]);
        check(&[b"a\r\nb\n", b"c"], &[b"a", b"b"], 0);
        check(&[b"sp", b"lit\r", b"\n\n\r"], &[b"split"], 0);
        check(&[b"cr\ralone\r"], &[b"cr", b"alone"], 0);
        check(&[&long, b"tail\nafter\n"], &[b"after"], 1);
        check(&[&most, b"\n"], &[&most], 0);
    }
}
