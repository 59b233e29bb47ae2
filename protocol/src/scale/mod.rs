//! What a scale says, frame by frame: a weight in grams or the state it is in, in one of several dialects.
//!
//! Frames are split at their separators and trimmed, never cut by column: widths differ between makers. Nothing is
//! guessed: a frame that fits no dialect is a [`Fault`], and an overloaded scale has no weight whatever its digits say.
//! Each frame is read for itself: its unit and its dialect may differ from those of the frame before.

mod continuous;
mod csv_frames;
mod described;
mod frames;
mod number;
mod plain;
mod sics;
#[cfg(test)]
mod tests;
mod units;

use std::fmt;

use serde::{Deserialize, Serialize};

pub use described::{Described, Pattern, PatternFault};
pub use frames::Frames;
pub use units::{Unit, grams};

/// One reading of the scale.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Reading {
    /// Grams under the scale's own adjustment, below zero too; `None` when the scale gives no weight.
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

/// How a scale talks.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Dialect {
    /// `ST,GS,+ 12.34kg`
    Commas,
    /// `S S     12.34 kg`
    Sics,
    /// Fixed places from STX on, as `   12.34KGM`
    Continuous,
    /// `12.34 kg ?`
    Plain,
}

impl fmt::Display for Dialect {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Dialect::Commas => "comma-separated (ST,GS)",
            Dialect::Sics => "SICS replies (S S)",
            Dialect::Continuous => "continuous, fixed places (STX)",
            Dialect::Plain => "plain number and unit",
        })
    }
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
    /// The line fits no dialect.
    #[error(
        "the scale's line \"{line}\" is of no known kind: set it to send weight and unit, or describe its lines with pattern in [scale]"
    )]
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
    /// The unit is none of mass.
    #[error("the scale's unit \"{unit}\" is none of g, kg, lb, oz: set the scale to one of them")]
    Unit {
        /// The unit as sent, shortened.
        unit: String,
    },
    /// A weight without a unit.
    #[error(
        "the scale's weight \"{value}\" has no unit: set the scale to send it, or say it with unit in [scale]"
    )]
    NoUnit {
        /// The weight, shortened.
        value: String,
    },
    /// An answer or a tare: understood, and no weight of a load.
    #[error("the scale's line \"{line}\" tells no load: nothing to do")]
    NoWeight {
        /// The line, shortened.
        line: String,
    },
    /// The scale does not know what it was asked.
    #[error("the scale answered {line}, it does not understand what it is asked: correct ask in [scale]")]
    Refused {
        /// Its answer.
        line: String,
    },
}

/// A frame taken apart by its dialect, its weight not yet read.
struct Parts<'a> {
    value: &'a str,
    /// Empty when the frame names none.
    unit: &'a str,
    state: State,
    net: Option<bool>,
}

/// The longest part of a line that an error repeats, in characters.
const SHOWN: usize = 40;

/// Reads one line from the scale, without or with its line end.
///
/// # Errors
/// [`Fault`] says what is wrong with the line.
pub fn read(line: &str) -> Result<Reading, Fault> {
    recognise(line).map(|(_, reading)| reading)
}

/// As [`read`], and says which dialect the line was taken for.
///
/// # Errors
/// As [`read`].
pub fn recognise(line: &str) -> Result<(Dialect, Reading), Fault> {
    let (dialect, parts) = parts(line)?;
    let g = match parts.state {
        State::Steady | State::Moving => Some(number::grams(parts.value, parts.unit)?),
        _ => None,
    };
    Ok((dialect, Reading { g, state: parts.state, net: parts.net }))
}

fn parts(line: &str) -> Result<(Dialect, Parts<'_>), Fault> {
    // Lines of a tape may still stand between STX and ETX.
    let line = line.trim_matches(|c: char| c.is_ascii_whitespace() || matches!(c, '\u{2}' | '\u{3}' | '\0'));
    if line.is_empty() {
        return Err(Fault::Empty);
    }
    if line.chars().any(|c| !c.is_ascii() || (c.is_ascii_control() && c != '\t')) {
        return Err(Fault::Noise);
    }
    let (dialect, parts) = csv_frames::read(line)
        .map(|parts| (Dialect::Commas, parts))
        .or_else(|| Some((Dialect::Sics, sics::read(line)?)))
        .or_else(|| Some((Dialect::Continuous, continuous::read(line)?)))
        .or_else(|| Some((Dialect::Plain, plain::read(line)?)))
        .ok_or_else(|| Fault::Unknown { line: shown(line) })?;
    Ok((dialect, parts?))
}

fn shown(text: &str) -> String {
    text.chars().take(SHOWN).collect()
}
