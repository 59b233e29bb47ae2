//! Where a sentence begins and ends, and whether its checksum is right.
//!
//! A sentence is `$` or `!`, text, `*` and two hex digits: the XOR of the text's bytes. ("NMEA Revealed", the gpsd
//! project, "NMEA 0183 Physical Protocol Layer".) Nothing else is asked: not a talker, a type or a length, for real
//! receivers send sentences of any.

use thiserror::Error;

/// Why a line is not exactly one sentence with a right checksum.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum Fault {
    /// The line does not begin as a sentence does.
    #[error(
        "not a sentence, it does not begin with $ or !: check the baud rate and that the device speaks NMEA 0183"
    )]
    NoStart,
    /// There is no `*` with two hex digits at its end.
    #[error("a sentence without a checksum: switch checksums on in the device, or look for a loose wire")]
    NoChecksum,
    /// The checksum does not fit the text.
    #[error(
        "the checksum says {given:02X} but the sentence gives {computed:02X}: look for a loose wire, a wrong baud rate \
         or two devices on one line"
    )]
    WrongChecksum {
        /// What the line says.
        given: u8,
        /// XOR of the bytes between start and `*`.
        computed: u8,
    },
    /// A whole sentence, and then something else.
    #[error(
        "something follows a whole sentence on its line: see that the device ends each sentence with a line end"
    )]
    MoreFollows,
    /// The line is not text (UTF-8), so it cannot be kept as a sentence.
    #[error("bytes that are not text: check the baud rate")]
    NotText,
}

/// The sentence that a line is, white space trimmed off its ends.
///
/// # Errors
/// A [`Fault`] when the line is anything else than exactly one sentence with a right checksum.
pub fn exactly_one(line: &[u8]) -> Result<&str, Fault> {
    let line = line.trim_ascii();
    let [b'$' | b'!', inside @ ..] = line else { return Err(Fault::NoStart) };
    let Some((text, given)) = last_checksum(inside) else {
        return Err(if begins_whole(inside) { Fault::MoreFollows } else { Fault::NoChecksum });
    };
    // A second `*` is rare: only then can the line hold a whole sentence before the last checksum.
    if text.contains(&b'*') && begins_whole(text) {
        return Err(Fault::MoreFollows);
    }
    let computed = xor(text);
    if computed != given {
        return Err(Fault::WrongChecksum { given, computed });
    }
    std::str::from_utf8(line).map_err(|_| Fault::NotText)
}

/// The sentences with a right checksum inside a line that is not exactly one: after binary packets, glued to another
/// sentence, behind a tag block.
///
/// More is asked than of a whole line, as chance alone makes one checksum in 256 right: printable ASCII only, an
/// address of at least three letters or digits, and no `$`, `!` or `*` within.
pub fn salvage(line: &[u8]) -> impl Iterator<Item = &str> {
    let mut rest = line;
    std::iter::from_fn(move || {
        loop {
            let start = rest.iter().position(|b| matches!(b, b'$' | b'!'))?;
            let from = rest.get(start..)?;
            let inside = from.get(1..)?;
            let length =
                inside.iter().position(|b| matches!(b, b'$' | b'!' | b'*') || !(32..127).contains(b));
            let text = inside.get(..length?)?;
            rest = inside.get(text.len()..)?;
            let Some(given) = checksum_at(rest) else { continue };
            let address = text.iter().take_while(|b| b.is_ascii_alphanumeric()).count();
            if address >= 3 && text.get(address) == Some(&b',') && xor(text) == given {
                rest = rest.get(3..)?;
                return std::str::from_utf8(from.get(..text.len() + 4)?).ok();
            }
        }
    })
}

fn xor(text: &[u8]) -> u8 {
    text.iter().fold(0, |sum, byte| sum ^ byte)
}

/// The text before the checksum that ends these bytes, and that checksum.
fn last_checksum(inside: &[u8]) -> Option<(&[u8], u8)> {
    let (text, end) = inside.split_at_checked(inside.len().checked_sub(3)?)?;
    Some((text, checksum_at(end)?))
}

/// The checksum these bytes begin with.
fn checksum_at(bytes: &[u8]) -> Option<u8> {
    let [b'*', high, low, ..] = bytes else { return None };
    let digit = |b: u8| char::from(b).to_digit(16).and_then(|d| u8::try_from(d).ok());
    Some(digit(*high)? << 4 | digit(*low)?)
}

/// Whether some beginning of these bytes is a sentence's text and its right checksum.
fn begins_whole(inside: &[u8]) -> bool {
    let mut sum = 0;
    for (i, byte) in inside.iter().enumerate() {
        if *byte == b'*' && inside.get(i..).and_then(checksum_at) == Some(sum) {
            return true;
        }
        sum ^= byte;
    }
    false
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    // Checksums computed with pynmea2; the first is from "NMEA Revealed".
    const RMC: &str = "$GNRMC,001031.00,A,4404.13993,N,12118.86023,W,0.146,,100117,,,A*7B";
    const GSA: &str = "$GPGSA,A,3,04,05,,09,12,,,24,,,,,2.5,1.3,2.1*39";

    /// A sentence around this text, checksum computed.
    fn whole(start: char, text: &str) -> Vec<u8> {
        format!("{start}{text}*{:02X}", xor(text.as_bytes())).into_bytes()
    }

    #[test]
    fn a_line_is_exactly_one_sentence_or_says_why_not() {
        let wrong = |given, computed| Err(Fault::WrongChecksum { given, computed });
        let cases: Vec<(Vec<u8>, Result<(), Fault>)> = vec![
            (RMC.into(), Ok(())),
            (format!("  {RMC}\r\n").into(), Ok(())),
            (RMC.replace("*7B", "*7b").into(), Ok(())),
            (whole('!', "AIVDM,1,1,,A,13aEOK?P00PD2wVMdLDRhgvL289?,0"), Ok(())),
            (whole('$', "PMTK001,604,3"), Ok(())),
            (whole('$', "X"), Ok(())),
            (whole('$', &format!("GPTXT,{}", "long ".repeat(200))), Ok(())),
            (whole('$', "GPTXT,01,01,02,*** ready! cost $5 ***"), Ok(())),
            (whole('$', "GPTXT,01,01,02,Île"), Ok(())),
            (RMC.replace("*7B", "*7C").into(), wrong(0x7c, 0x7b)),
            (RMC.replace("A,4404", "V,4404").into(), wrong(0x7b, 0x6c)),
            (RMC.replace("*7B", "").into(), Err(Fault::NoChecksum)),
            (RMC.replace("*7B", "*7").into(), Err(Fault::NoChecksum)),
            (RMC.replace("*7B", "*7G").into(), Err(Fault::NoChecksum)),
            (RMC.replace("*7B", "*+7").into(), Err(Fault::NoChecksum)),
            (RMC.replace('$', "").into(), Err(Fault::NoStart)),
            (format!("\u{0}{RMC}").into(), Err(Fault::NoStart)),
            (b"".to_vec(), Err(Fault::NoStart)),
            (b"$".to_vec(), Err(Fault::NoChecksum)),
            (format!("{RMC}{GSA}").into(), Err(Fault::MoreFollows)),
            (format!("{RMC},").into(), Err(Fault::MoreFollows)),
            (format!("{RMC}*7B").into(), Err(Fault::MoreFollows)),
            // Both checksums are 00, so the whole line's happens to fit as well.
            (b"$aa*00bb$".iter().chain(b"$*00").copied().collect(), Err(Fault::MoreFollows)),
            (b"$GP\xe9*FE".to_vec(), Err(Fault::NotText)),
        ];
        for (line, expected) in cases {
            let shown = String::from_utf8_lossy(&line).into_owned();
            let text = String::from_utf8_lossy(line.trim_ascii()).into_owned();
            assert_eq!(exactly_one(&line), expected.map(|()| text.as_str()), "{shown:?}");
        }
    }

    #[test]
    fn faults_say_what_happened_and_what_to_do() {
        let cases = [
            (
                Fault::NoStart,
                "not a sentence, it does not begin with $ or !: check the baud rate and that the device speaks NMEA 0183",
            ),
            (
                Fault::NoChecksum,
                "a sentence without a checksum: switch checksums on in the device, or look for a loose wire",
            ),
            (
                Fault::WrongChecksum { given: 0x0c, computed: 0xab },
                "the checksum says 0C but the sentence gives AB: look for a loose wire, a wrong baud rate or two devices on one line",
            ),
            (
                Fault::MoreFollows,
                "something follows a whole sentence on its line: see that the device ends each sentence with a line end",
            ),
            (Fault::NotText, "bytes that are not text: check the baud rate"),
        ];
        for (fault, text) in cases {
            assert_eq!(fault.to_string(), text);
        }
    }

    #[test]
    fn sentences_are_found_amid_junk() {
        let cases: Vec<(Vec<u8>, Vec<&str>)> = vec![
            (RMC.into(), vec![RMC]),
            (format!("{RMC}{GSA}").into(), vec![RMC, GSA]),
            (format!("{RMC} {GSA} ").into(), vec![RMC, GSA]),
            ([b"\xb5b\x01$!*\xff".as_slice(), RMC.as_bytes(), b"\x00\x80"].concat(), vec![RMC]),
            (format!("$GPGGA,1728{RMC}").into(), vec![RMC]),
            (format!("$GPGGA,1728*00{RMC}").into(), vec![RMC]),
            (format!("\\s:GPS,c:1560234814*5E\\{GSA}").into(), vec![GSA]),
            (RMC.replace("*7B", "*7C").into(), vec![]),
            (b"junk$*00$AB*03".to_vec(), vec![]),
            (b"$$$$$!!!***".to_vec(), vec![]),
        ];
        for (line, expected) in cases {
            assert_eq!(salvage(&line).collect::<Vec<_>>(), expected, "{:?}", String::from_utf8_lossy(&line));
        }
    }

    proptest! {
        #[test]
        fn a_right_checksum_is_never_refused(text in "[^*\\s]([^*]*[^*\\s])?", start in "[$!]", lower: bool) {
            let mut line = whole(start.chars().next().unwrap(), &text);
            if lower {
                let digits = line.len() - 2;
                line[digits..].make_ascii_lowercase();
            }
            prop_assert!(exactly_one(&line).is_ok());
        }

        #[test]
        fn any_bytes_are_borne(line in prop::collection::vec(prop_oneof![Just(b'$'), Just(b'*'), any::<u8>()], 0..80)) {
            for found in salvage(&line) {
                prop_assert_eq!(exactly_one(found.as_bytes()), Ok(found));
            }
            let _ = exactly_one(&line);
        }

        #[test]
        fn one_wrong_bit_is_noticed(at in 1usize..63, bit in 0u8..8) {
            let mut line = RMC.as_bytes().to_vec();
            line[at] ^= 1 << bit;
            prop_assert!(exactly_one(&line).is_err());
        }
    }
}
