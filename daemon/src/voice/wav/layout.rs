//! The bytes of a note file before its sound.
//!
//! | at | what |
//! |---|---|
//! | 0 | `RIFF`, size of all that follows, `WAVE` |
//! | 12 | `fmt `, 16: PCM, 1 channel, 16,000 samples and 32,000 bytes a second, 2 bytes a frame, 16 bits |
//! | 36 | `bext`, 640: the fields below (EBU Tech 3285), then the coding history |
//! | 684 | `data`, size of the sound |
//! | 692 | the sound |

use std::fs::File;
use std::io;
use std::iter;
use std::ops::Range;
use std::os::unix::fs::FileExt;
use std::path::Path;

use super::{Result, WavError};

/// Samples a second of every note.
pub const RATE: u32 = 16_000;

/// A note's sound as `hound` names it.
pub const SPEC: hound::WavSpec = hound::WavSpec {
    channels: 1,
    sample_rate: RATE,
    bits_per_sample: 16,
    sample_format: hound::SampleFormat::Int,
};

/// Where the sound begins.
pub(super) const DATA_AT: usize = 692;
/// Where the size of the sound stands, in bytes.
pub(super) const DATA_SIZE_AT: usize = 688;
/// Where the size of the whole, less eight, stands.
pub(super) const RIFF_SIZE_AT: usize = 4;

/// Fields of `bext` by their place in the file. Texts are ASCII, filled with NUL; one of full length has none.
pub(super) mod bext {
    use super::Range;

    pub const DESCRIPTION: Range<usize> = 44..300;
    pub const ORIGINATOR: Range<usize> = 300..332;
    pub const REFERENCE: Range<usize> = 332..364;
    pub const DATE: Range<usize> = 364..374;
    pub const TIME: Range<usize> = 374..382;
    pub const TIME_REFERENCE: Range<usize> = 382..390;
    pub const VERSION: Range<usize> = 390..392;
    // Between: UMID and reserved bytes, all zero.
    pub const CODING_HISTORY: Range<usize> = 646..684;
}

/// From `WAVE` to the size of `bext`: the same in every note file.
const FRONT: &[u8; 36] =
    b"WAVEfmt \x10\0\0\0\x01\0\x01\0\x80\x3e\0\0\x00\x7d\0\0\x02\0\x10\0bext\x80\x02\0\0";
const FRONT_AT: Range<usize> = 8..44;
const DATA_ID_AT: Range<usize> = 684..688;

/// The coding history of what the microphone gives. A closing NUL makes the chunk's length even: `hound`, and not it
/// alone, does not skip the pad byte of a chunk of odd length.
const CODING_HISTORY: &[u8] = b"A=PCM,F=16000,W=16,M=mono,T=gunwale\r\n";

/// The header of a note file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Head([u8; DATA_AT]);

impl Head {
    /// Of a note without sound yet. Version 1: no loudness is measured, no UMID given.
    pub fn new(reference: &str) -> Head {
        let mut head = Head([0; DATA_AT]);
        head.put(0..4, b"RIFF");
        head.put(FRONT_AT, FRONT);
        head.put(bext::ORIGINATOR, b"gunwale");
        head.put(bext::REFERENCE, ascii(reference).as_bytes());
        head.put(bext::VERSION, &1u16.to_le_bytes());
        head.put(bext::CODING_HISTORY, CODING_HISTORY);
        head.put(DATA_ID_AT, b"data");
        head.put_size(RIFF_SIZE_AT, DATA_AT as u32 - 8);
        head
    }

    /// Reads and checks the header of a note file.
    ///
    /// # Errors
    /// [`WavError::Short`], [`WavError::NotOurs`], or what the disk reports.
    pub fn read(file: &File, path: &Path) -> Result<Head> {
        let mut head = Head([0; DATA_AT]);
        file.read_exact_at(&mut head.0, 0).map_err(|e| match e.kind() {
            io::ErrorKind::UnexpectedEof => WavError::Short { path: path.into() },
            _ => WavError::reading(path, e),
        })?;
        let ours =
            head.get(0..4) == b"RIFF" && head.get(FRONT_AT) == FRONT && head.get(DATA_ID_AT) == b"data";
        if ours { Ok(head) } else { Err(WavError::NotOurs { path: path.into() }) }
    }

    pub fn bytes(&self) -> &[u8] {
        &self.0
    }

    pub fn get(&self, field: Range<usize>) -> &[u8] {
        self.0.get(field).unwrap_or_default()
    }

    /// A text field, without the NULs after it.
    pub fn text(&self, field: Range<usize>) -> String {
        let text = self.get(field);
        let end = text.iter().position(|byte| *byte == 0).unwrap_or(text.len());
        String::from_utf8_lossy(text.get(..end).unwrap_or_default()).into_owned()
    }

    pub fn size(&self, at: usize) -> u32 {
        self.get(at..at + 4).iter().rev().fold(0, |size, byte| size << 8 | u32::from(*byte))
    }

    /// Fills a field: what is too long is cut, the rest becomes NUL.
    pub fn put(&mut self, field: Range<usize>, value: &[u8]) {
        let slots = self.0.get_mut(field).unwrap_or_default();
        for (slot, byte) in slots.iter_mut().zip(value.iter().chain(iter::repeat(&0))) {
            *slot = *byte;
        }
    }

    pub fn put_size(&mut self, at: usize, size: u32) {
        self.put(at..at + 4, &size.to_le_bytes());
    }
}

/// Text for a field that takes ASCII only: letters lose their accents, marks become plain ones, control characters a
/// space, and what has no likeness a question mark.
pub(super) fn ascii(text: &str) -> String {
    /// U+00C0 to U+00FF.
    const LATIN: &str = "AAAAAAACEEEEIIIIDNOOOOOxOUUUUYTsaaaaaaaceeeeiiiidnooooo/ouuuuyty";
    let mut plain = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            ' '..='~' => plain.push(c),
            '\u{2018}' | '\u{2019}' => plain.push('\''),
            '\u{201c}' | '\u{201d}' => plain.push('"'),
            '\u{2010}'..='\u{2015}' | '\u{2212}' => plain.push('-'),
            '·' | '•' => plain.push('.'),
            '…' => plain.push_str("..."),
            '°' => plain.push_str("deg"),
            '\u{a0}' => plain.push(' '),
            _ if c.is_control() => plain.push(' '),
            'À'..='ÿ' => plain.push(LATIN.chars().nth(c as usize - 0xc0).unwrap_or('?')),
            _ => plain.push('?'),
        }
    }
    plain
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_fields_are_where_the_standard_puts_them() {
        // Offsets within the chunk and sizes: EBU Tech 3285, `bext` version 1; it begins at 44.
        for (field, at, size) in [
            (bext::DESCRIPTION, 0, 256),
            (bext::ORIGINATOR, 256, 32),
            (bext::REFERENCE, 288, 32),
            (bext::DATE, 320, 10),
            (bext::TIME, 330, 8),
            (bext::TIME_REFERENCE, 338, 8),
            (bext::VERSION, 346, 2),
            (bext::CODING_HISTORY, 602, 38),
        ] {
            assert_eq!((field.start - FRONT_AT.end, field.len()), (at, size));
        }
        assert_eq!(CODING_HISTORY.len() + 1, bext::CODING_HISTORY.len());
    }

    #[test]
    fn text_becomes_plain() {
        for (text, plain) in [
            ("trap 14, 7 crabs", "trap 14, 7 crabs"),
            ("Île — 24.8°, “left” claw…", "Ile - 24.8deg, \"left\" claw..."),
            ("Ñandú × ß ÷ þ ÿ À", "Nandu x s / t y A"),
            ("a\r\nb\u{a0}c·d", "a  b c.d"),
            ("蟹 7", "? 7"),
        ] {
            assert_eq!(ascii(text), plain);
        }
    }

    #[test]
    fn a_long_text_is_cut_to_its_field() {
        let head = Head::new(&"x".repeat(40));
        assert_eq!(head.text(bext::REFERENCE), "x".repeat(32));
        assert_eq!(head.get(bext::DATE), [0; 10]);
    }
}
