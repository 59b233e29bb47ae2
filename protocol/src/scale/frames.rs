//! Bytes from a scale into frames, wherever the stream is cut: by line ends, or by STX and ETX where there are none.
//!
//! Scales with 7 data bits and parity, read with 8, set the top bit of half their bytes. The bit is taken off where every
//! byte of a frame proves it to be parity (even, odd, or always set); otherwise the frame goes on as it came, to be refused.

use crate::line::{Splitter, TooLong};

const STX: u8 = 0x02;
const ETX: u8 = 0x03;
/// All but the top bit.
const SEVEN: u8 = 0x7f;
/// A frame is longer than a check byte that may follow an ETX.
const SHORTEST: usize = 2;

/// Cuts a stream of bytes into frames. Holds at most `cap` bytes.
#[derive(Debug, Clone)]
pub struct Frames(Splitter);

impl Frames {
    /// For frames of at most `cap` bytes, all bytes before its end counted.
    pub fn new(cap: usize) -> Frames {
        Frames(Splitter::ended_by(cap, |byte| matches!(byte & SEVEN, b'\n' | b'\r' | STX | ETX)))
    }

    /// Takes the next bytes and hands each frame they complete to `frame`, in order: without its ends, without blanks
    /// around it, its parity bits taken off. What lies between frames and is a byte long is dropped.
    ///
    /// A run longer than the cap is handed over once as [`TooLong`].
    pub fn take(&mut self, bytes: &[u8], mut frame: impl FnMut(Result<&[u8], TooLong>)) {
        self.0.take(bytes, |line| match line {
            Ok(line) => {
                let plain = unparity(line);
                let text = plain.as_deref().unwrap_or(line).trim_ascii();
                if text.len() >= SHORTEST {
                    frame(Ok(text));
                }
            }
            Err(long) => frame(Err(long)),
        });
    }
}

/// The bytes without their parity bits; `None` when there are none, or when they do not agree.
fn unparity(line: &[u8]) -> Option<Vec<u8>> {
    let any = line.iter().any(|byte| byte & !SEVEN != 0);
    let even = line.iter().all(|byte| byte.count_ones().is_multiple_of(2));
    let odd = line.iter().all(|byte| byte.count_ones() % 2 == 1);
    let set = line.iter().all(|byte| byte & !SEVEN != 0);
    (any && (even || odd || set)).then(|| line.iter().map(|byte| byte & SEVEN).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn frames(bytes: &[u8]) -> Vec<Vec<u8>> {
        let mut frames = Frames::new(64);
        let mut found = Vec::new();
        bytes.iter().for_each(|byte| frames.take(&[*byte], |frame| found.push(frame.unwrap().to_vec())));
        found
    }

    #[test]
    fn frames_end_with_a_line_or_with_stx_and_etx() {
        for (bytes, expected) in [
            (&b"one\r\ntwo\rthree\nfour"[..], &[&b"one"[..], b"two", b"three"][..]),
            (b"\x02 1.234G\x03\x02 1.236G\x03", &[b"1.234G", b"1.236G"]),
            (b"234G\x03\x02 1.234G\x03*\x02 1.236M\x03", &[b"234G", b"1.234G", b"1.236M"]),
            (b"half a fra\x02 1.234KG \r\n", &[b"half a fra", b"1.234KG"]),
            (b"\n0.40lb\r\n00\r\x03\n0.42lb\r\x03", &[b"0.40lb", b"00", b"0.42lb"]),
            (b"\x02\x02\x03\x03\r\n \r\n", &[]),
        ] {
            assert_eq!(frames(bytes), expected, "{}", bytes.escape_ascii());
        }
    }

    #[test]
    fn parity_is_taken_off_only_where_every_byte_proves_it() {
        let even = |byte: &u8| byte | if byte.count_ones() % 2 == 1 { 0x80 } else { 0 };
        let odd = |byte: &u8| byte | if byte.count_ones().is_multiple_of(2) { 0x80 } else { 0 };
        let line = b"\x02-  0.182KG \r\n";
        for framed in [line.map(|b| even(&b)), line.map(|b| odd(&b)), line.map(|b| b | 0x80)] {
            assert_eq!(frames(&framed), [b"-  0.182KG"], "{}", framed.escape_ascii());
        }
        for noise in [&b"S\xd4,GS,+ 1\xb2.34kg\n"[..], b"\x93\x00\xe4\x7f\n"] {
            assert_eq!(frames(noise), [&noise[..noise.len() - 1]]);
        }
    }

    #[test]
    fn a_run_without_an_end_is_said_once() {
        let mut frames = Frames::new(4);
        let mut found = Vec::new();
        frames.take(b"123456789\x0212 g\x03", |frame| found.push(frame.map(<[u8]>::to_vec)));
        assert_eq!(found, [Err(TooLong { cap: 4 }), Ok(b"12 g".to_vec())]);
    }
}
