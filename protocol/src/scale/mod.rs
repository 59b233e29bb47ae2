//! What a scale says, line by line: a weight in grams or the state it is in, from two families of frames.
//!
//! Frames are split at their separators and trimmed, never cut by column: widths differ between makers. Nothing is
//! guessed: a line that fits no family is a [`Fault`], and an overloaded scale has no weight whatever its digits say.

mod csv_frames;
mod sics;
mod units;

use serde::{Deserialize, Serialize};

pub use units::grams;

/// One reading of the scale.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Reading {
    /// Grams under the scale's own adjustment; `None` when the scale gives no weight.
    pub g: Option<f64>,
    /// What the scale says of itself.
    pub state: State,
    /// Net of a tare (`true`) or gross (`false`); `None` when the frame does not say.
    pub net: Option<bool>,
}

/// What the scale says of itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum State {
    /// At rest, as the scale judges it.
    Steady,
    /// Not at rest.
    Moving,
    /// Loaded beyond its range.
    Over,
    /// Below its range.
    Under,
    /// Cannot weigh now.
    Busy,
    /// Not level.
    Tilted,
}

/// Why a line gave no reading.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Fault {
    /// Nothing but blanks.
    #[error("the scale sent an empty line: nothing to do")]
    Empty,
    /// A byte with its top bit set, or a control character: a wrong baud rate or parity, or noise.
    #[error("the scale's line holds bytes that are no text: check its baud rate and parity")]
    Noise,
    /// The line fits no family of frames.
    #[error("the scale's line \"{line}\" is of no known kind: set it to send ST,GS or SICS frames")]
    Unknown {
        /// The line, shortened.
        line: String,
    },
    /// The weight is no number.
    #[error("the scale's weight \"{value}\" is no number: the line is left out")]
    Value {
        /// What stood in its place, shortened.
        value: String,
    },
    /// The unit is missing or none of mass.
    #[error("the scale's unit \"{unit}\" is none of g, kg, lb, oz: set the scale to one of them")]
    Unit {
        /// The unit as sent, shortened.
        unit: String,
    },
}

/// The longest part of a line that an error repeats, in characters.
const SHOWN: usize = 40;

/// Reads one line from the scale, without or with its line end.
///
/// # Errors
/// [`Fault`] says what is wrong with the line.
pub fn read(line: &str) -> Result<Reading, Fault> {
    // Some scales frame their lines with STX and ETX.
    let line = line.trim_matches(|c: char| c.is_ascii_whitespace() || matches!(c, '\u{2}' | '\u{3}' | '\0'));
    if line.is_empty() {
        return Err(Fault::Empty);
    }
    // A 7-bit line read with 8 bits carries parity in the top bit: refused, never masked by guess.
    if line.chars().any(|c| !c.is_ascii() || (c.is_ascii_control() && c != '\t')) {
        return Err(Fault::Noise);
    }
    csv_frames::read(line)
        .or_else(|| sics::read(line))
        .unwrap_or_else(|| Err(Fault::Unknown { line: shown(line) }))
}

/// A weight in grams from its text: sign, digits, blanks between, and a unit right after or apart.
fn weight(text: &str) -> Result<f64, Fault> {
    let text = text.trim();
    let split = text.find(|c: char| c.is_ascii_alphabetic() || c == '%').unwrap_or(text.len());
    let (value, unit) = text.split_at(split);
    let unit = unit.trim();
    // A comma or blanks may stand before the unit, and blanks between sign and digits; inside the digits neither may.
    let value = value.trim_end_matches(|c: char| c.is_ascii_whitespace() || c == ',');
    let (sign, digits) = match value.strip_prefix('-') {
        Some(digits) => (-1.0, digits),
        None => (1.0, value.strip_prefix('+').unwrap_or(value)),
    };
    let digits = digits.trim_start();
    let plain = digits.bytes().all(|b| b.is_ascii_digit() || b == b'.');
    let number = digits.parse::<f64>().ok().filter(|_| plain).map(|n| sign * n);
    let number = number.ok_or_else(|| Fault::Value { value: shown(text) })?;
    grams(number, unit).ok_or_else(|| Fault::Unit { unit: shown(unit) })
}

fn shown(text: &str) -> String {
    text.chars().take(SHOWN).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn check(line: &str, g: Option<f64>, state: State, net: Option<bool>) {
        let reading = read(line).unwrap();
        assert_eq!((reading.state, reading.net), (state, net), "{line}");
        match (reading.g, g) {
            (Some(read), Some(g)) => assert!((read - g).abs() <= 1e-9 * g.abs(), "{line}: {read} is not {g}"),
            (read, g) => assert_eq!(read, g, "{line}"),
        }
    }

    fn refused(line: &str, text: &str) {
        assert_eq!(read(line).unwrap_err().to_string(), text, "{line}");
    }

    #[test]
    fn comma_separated_frames() {
        use State::*;
        // Frames as public scale manuals print them.
        check("ST,GS,+ 12.34kg", Some(12_340.0), Steady, Some(false));
        check("US,NT,-  0.182kg", Some(-182.0), Moving, Some(true));
        check("ST,+00123.45  g", Some(123.45), Steady, None);
        check("OL,+9999999.9  g", None, Over, None);
        check("01ST,GS,     0.0,kg", Some(0.0), Steady, Some(false));
        check("OL,GS,  ------kg", None, Over, Some(false));
        // The same in other widths, units and cases of the same rule.
        check("US,GS,+  0.182kg\r\n", Some(182.0), Moving, Some(false));
        check("ST,GS,   1.0000lb", Some(453.592_37), Steady, Some(false));
        check("ST,NT,+     3 oz", Some(85.048_569_375), Steady, Some(true));
        check("ST , GS , + 5 , g", Some(5.0), Steady, Some(false));
        check("QT,GS,+ 12 g", Some(12.0), Steady, Some(false));
        check("UL,GS,-  0.5kg", None, Under, Some(false));
        check("TL,GS,+  0.5kg", None, Tilted, Some(false));
        check("OL", None, Over, None);
    }

    #[test]
    fn sics_frames() {
        use State::*;
        check("S S     100.00 g", Some(100.0), Steady, None);
        check("S D      -0.182 kg", Some(-182.0), Moving, None);
        check("S S 1 lb", Some(453.592_37), Steady, None);
        check("S I", None, Busy, None);
        check("S +", None, Over, None);
        check("S -", None, Under, None);
    }

    #[test]
    fn refused_lines_say_why() {
        refused("", "the scale sent an empty line: nothing to do");
        refused(" \r\n", "the scale sent an empty line: nothing to do");
        refused(
            "ST,GS,+ 1\u{b2}.34kg",
            "the scale's line holds bytes that are no text: check its baud rate and parity",
        );
        refused(
            "hello",
            "the scale's line \"hello\" is of no known kind: set it to send ST,GS or SICS frames",
        );
        refused(
            "S X 1 g",
            "the scale's line \"S X 1 g\" is of no known kind: set it to send ST,GS or SICS frames",
        );
        refused("ST,GS,+ 1.2.3kg", "the scale's weight \"+ 1.2.3kg\" is no number: the line is left out");
        refused("ST,GS,+ 1,2kg", "the scale's weight \"+ 1,2kg\" is no number: the line is left out");
        refused("ST,GS,+ 1 2kg", "the scale's weight \"+ 1 2kg\" is no number: the line is left out");
        refused("ST,GS,  ------kg", "the scale's weight \"------kg\" is no number: the line is left out");
        refused("ST,GS", "the scale's weight \"\" is no number: the line is left out");
        refused("S S", "the scale's weight \"\" is no number: the line is left out");
        refused(
            "ST,GS,+ 12 PC",
            "the scale's unit \"PC\" is none of g, kg, lb, oz: set the scale to one of them",
        );
        refused("ST,GS,+ 12", "the scale's unit \"\" is none of g, kg, lb, oz: set the scale to one of them");
        refused("ST,GS,nankg", "the scale's weight \"nankg\" is no number: the line is left out");
        refused("ES", "the scale's line \"ES\" is of no known kind: set it to send ST,GS or SICS frames");
    }

    proptest! {
        #[test]
        fn any_text_is_survived(line in any::<String>()) {
            let _ = read(&line);
        }

        #[test]
        fn anything_after_a_known_beginning_is_survived(
            head in proptest::sample::select(vec!["ST,GS,", "US,NT,", "OL,", "S S ", "S D ", "01ST,", "ST,"]),
            tail in "[-+ .,0-9a-zA-Z]{0,30}",
        ) {
            if let Ok(Reading { g: Some(g), .. }) = read(&format!("{head}{tail}")) {
                prop_assert!(g.is_finite());
            }
        }

        #[test]
        fn what_is_sent_is_read(mg in -9_999_999i64..=9_999_999, width in 0usize..14, moving in any::<bool>()) {
            let head = if moving { "US" } else { "ST" };
            let sign = if mg < 0 { '-' } else { '+' };
            let value = mg.unsigned_abs() as f64 / 1000.0;
            let reading = read(&format!("{head},GS,{sign}{value:>width$.3}g")).unwrap();
            prop_assert!((reading.g.unwrap() - mg as f64 / 1000.0).abs() < 1e-9);
            let sics = read(&format!("S S {:>width$.3} g", mg as f64 / 1000.0)).unwrap();
            prop_assert!((sics.g.unwrap() - mg as f64 / 1000.0).abs() < 1e-9);
        }

        #[test]
        fn an_overloaded_scale_has_no_weight(tail in "[ -~]{0,30}") {
            if let Ok(reading) = read(&format!("OL,{tail}")) {
                prop_assert_eq!(reading.g, None);
                prop_assert_eq!(reading.state, State::Over);
            }
        }
    }
}
