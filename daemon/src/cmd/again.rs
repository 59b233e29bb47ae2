//! Output of a command that may have to be done again: what was given the first time is not given twice.

use std::io::{self, Write};

use crc32fast::Hasher;

/// Passes output on, and remembers as much of it as it takes to know it again.
pub struct Again<'a> {
    out: &'a mut dyn Write,
    given: u64,
    sum: Hasher,
    /// Bytes of a second telling still to be passed over, and their checksum so far.
    passing: Option<(u64, Hasher)>,
}

impl<'a> Again<'a> {
    /// Nothing given yet.
    pub fn new(out: &'a mut dyn Write) -> Again<'a> {
        Again { out, given: 0, sum: Hasher::new(), passing: None }
    }

    /// From here on the same is told from its beginning.
    pub fn begin_again(&mut self) {
        self.passing = Some((self.given, Hasher::new())).filter(|(left, _)| *left > 0);
    }
}

impl Write for Again<'_> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let Some((left, sum)) = &mut self.passing else {
            let n = self.out.write(bytes)?;
            self.given += n as u64;
            self.sum.update(bytes.get(..n).unwrap_or_default());
            return Ok(n);
        };
        let n = usize::try_from(*left).unwrap_or(usize::MAX).min(bytes.len());
        sum.update(bytes.get(..n).unwrap_or_default());
        *left -= n as u64;
        if *left == 0 {
            if sum.clone().finalize() != self.sum.clone().finalize() {
                return Err(io::Error::other("the records changed while they were told"));
            }
            self.passing = None;
        }
        Ok(n)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.out.flush()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_given_is_not_given_twice() {
        for (first, second, good) in [
            ("", "one two", true),
            ("one", "one two", true),
            ("one two", "one two", true),
            ("one", "two", false),
        ] {
            let mut out = Vec::new();
            let mut again = Again::new(&mut out);
            again.write_all(first.as_bytes()).unwrap();
            again.begin_again();
            assert_eq!(again.write_all(second.as_bytes()).is_ok(), good, "{first} {second}");
            assert_eq!(String::from_utf8(out).unwrap(), if good { second } else { first });
        }
    }
}
