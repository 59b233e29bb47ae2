//! Whether a line can be read at all: what tells the right speed from a wrong one. No meaning is taken here.

use super::Kind;

/// Whether the line is a checksummed sentence (GPS) or a weight (scale).
pub fn right(kind: Kind, line: &[u8]) -> bool {
    match kind {
        Kind::Gps => sentence(line),
        Kind::Scale => weight(line),
    }
}

/// `$` or `!`, a body, `*`, and the XOR of the body as two hex digits.
fn sentence(line: &[u8]) -> bool {
    let [b'$' | b'!', rest @ ..] = line else { return false };
    let Some(at) = rest.iter().position(|&b| b == b'*') else { return false };
    let (body, tail) = rest.split_at(at);
    let Some(sum) = tail.get(1..).and_then(|hex| std::str::from_utf8(hex).ok()) else { return false };
    let hex = sum.len() == 2 && sum.bytes().all(|b| b.is_ascii_hexdigit());
    !body.is_empty() && hex && u8::from_str_radix(sum, 16) == Ok(body.iter().fold(0, |xor, b| xor ^ b))
}

/// Printable, and either a word of overload or a number with a unit at the end.
fn weight(line: &[u8]) -> bool {
    let Ok(text) = std::str::from_utf8(line) else { return false };
    let text = text.trim_matches(|c: char| c.is_whitespace() || c == '\u{2}' || c == '\u{3}');
    if !text.bytes().all(|b| (b' '..=b'~').contains(&b)) {
        return false;
    }
    let overload = ["OL,", "UL,", "S +", "S -", "S I"].iter().any(|word| text.starts_with(word));
    let body = text.trim_end_matches('?').trim_end();
    let number = body.trim_end_matches(|c: char| c.is_ascii_alphabetic() || c == '%');
    let unit = body.get(number.len()..).unwrap_or_default();
    let known = ["kg", "g", "lb", "oz", "ozt", "pc", "%", "tl"].iter().any(|u| u.eq_ignore_ascii_case(unit));
    overload || (known && number.bytes().any(|b| b.is_ascii_digit()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sentences_are_known_by_their_checksum() {
        // Sentences from the gpsd project's "NMEA Revealed".
        for (line, is) in [
            ("$GNRMC,001031.00,A,4404.13993,N,12118.86023,W,0.146,,100117,,,A*7B", true),
            ("$GPGST,182141.000,15.5,15.3,7.2,21.8,0.9,0.5,0.8*54", true),
            ("$GNGSA,A,3,80,71,73,79,69,,,,,,,,1.83,1.09,1.47*17", true),
            ("$GPVTG,220.86,T,,M,2.550,N,4.724,K,A*34", true),
            ("$GPVTG,220.86,T,,M,2.550,N,4.724,K,A*35", false),
            ("$GPVTG,220.86,T,,M,2.550,N,4.724,K,A*+4", false),
            ("$GPVTG,220.86,T,,M,2.550,N,4.724,K,A*34 ", false),
            ("x$GPVTG,220.86,T,,M,2.550,N,4.724,K,A*34", false),
            ("$GPVTG,220.86,T", false),
            ("$*00", false),
            ("$", false),
            ("", false),
        ] {
            assert_eq!(right(Kind::Gps, line.as_bytes()), is, "{line}");
        }
    }

    #[test]
    fn weights_are_known_by_their_unit() {
        // Forms from public scale manuals: the `ST,GS,` family, SICS replies, value-unit-`?`.
        for (line, is) in [
            ("ST,GS,+ 12.34kg", true),
            ("US,NT,-  0.182kg", true),
            ("ST,+00123.45  g", true),
            ("OL,+9999999.9  g", true),
            ("01ST,GS,     0.0,kg", true),
            ("OL,GS,  ------kg", true),
            ("S S     100.00 g", true),
            ("S I", true),
            ("0.182 kg ?", true),
            ("\u{2}  0.182 lb\u{3}", true),
            ("$GPVTG,220.86,T,,M,2.550,N,4.724,K,A*34", false),
            ("kg", false),
            ("12.34", false),
            ("12.34kn", false),
            ("\u{7f}\u{1}12 kg", false),
            ("", false),
        ] {
            assert_eq!(right(Kind::Scale, line.as_bytes()), is, "{line}");
        }
        assert!(!right(Kind::Scale, &[0xd3, 0xd4, b'1', b'k', b'g']));
    }
}
