//! Frames of fixed places that indicators send without being asked, from STX to ETX or to the line's end.
//!
//! | form | after STX | published in |
//! |---|---|---|
//! | 1 | sign, 7 places of weight, one status letter | Sensors 10 (2010) 9337, table 1, format 1 |
//! | 2 | sign, 7 places, `S1 S2 S3 S4`, 3 places of unit | the same table, format 2 |
//! | 3 | sign, 7 places, unit letter, mode letter, status | public indicator manuals |
//!
//! Status and `S1`: `G` gross, `N` net, `U` underload, `O` overload, `M` motion, `E` error. `S2` is `M` in motion, `S3`
//! `Z` at zero, `S4` `-`, `1` or `2` the range. Form 2 leaves its unit blank in motion, form 1 has none: the settings
//! must say it. Form 3: `L` pounds, `K` kilograms, `G` grams, `T` tonnes; `G` or `N`; blank, `M`, `O`, or `I` invalid.
//!
//! A capital `G` right after the digits is form 1's "gross", not a gram.

use super::{Fault, Parts, State, number};

/// The parts, or `None` when the line is not of this family.
pub(super) fn read(line: &str) -> Option<Result<Parts<'_>, Fault>> {
    let at = line.find(|c: char| c.is_ascii_alphabetic())?;
    let (value, tail) = line.split_at_checked(at)?;
    let (unit, net, state) = match *tail.as_bytes() {
        [status] if !value.ends_with(|c: char| c.is_ascii_whitespace()) => ("", mode(status), one(status)?),
        [first @ (b'L' | b'K' | b'G' | b'T'), second, ref rest @ ..] if mode(second).is_some() => {
            (unit(first), mode(second), last(rest)?)
        }
        [first, ref rest @ (b'O' | b'I' | b'M')] if mode(first).is_some() => {
            ("", mode(first), last(std::slice::from_ref(rest))?)
        }
        [first, motion @ (b'M' | b' '), b'Z' | b' ', b'-' | b'1' | b'2', ..] => {
            let state = one(first).filter(|_| first != b'M')?;
            let moves = motion == b'M' && state == State::Steady;
            (tail.get(4..)?.trim(), mode(first), if moves { State::Moving } else { state })
        }
        _ => return None,
    };
    let value = value.trim();
    // Places without a weight hold blanks, dashes, or any digits.
    let weighs = matches!(state, State::Steady | State::Moving);
    let places = |c: char| c.is_ascii_digit() || " .,+-_".contains(c);
    let fits = if weighs { number::number(value).is_some() } else { value.chars().all(places) };
    fits.then_some(Ok(Parts { value, unit, state, net }))
}

fn unit(letter: u8) -> &'static str {
    match letter {
        b'L' => "lb",
        b'K' => "kg",
        b'G' => "g",
        _ => "t",
    }
}

fn mode(letter: u8) -> Option<bool> {
    match letter {
        b'G' => Some(false),
        b'N' => Some(true),
        _ => None,
    }
}

/// Form 1's status, which is form 2's `S1`.
fn one(letter: u8) -> Option<State> {
    match letter {
        b'G' | b'N' => Some(State::Steady),
        b'M' => Some(State::Moving),
        b'O' => Some(State::Over),
        b'U' => Some(State::Under),
        b'E' => Some(State::Busy),
        _ => None,
    }
}

/// Form 3's status.
fn last(status: &[u8]) -> Option<State> {
    match status {
        b"" | b" " => Some(State::Steady),
        b"M" => Some(State::Moving),
        b"O" => Some(State::Over),
        b"I" => Some(State::Busy),
        _ => None,
    }
}
