//! The comma-separated family: state, gross or net, weight and unit, as in `ST,GS,+ 12.34kg`.
//!
//! Layout as printed in public scale manuals:
//!
//! | field | values |
//! |---|---|
//! | 1 | `ST` stable, `US` unstable, `QT` stable count, `OL` overload, `UL` underload, `TL` not level; a bus address of digits may come first |
//! | 2 | `GS` gross, `NT` net, `TR` tare (no weight of a load); left out in the short form |
//! | 3 | `+`, `-` or blank, then the digits, padded with blanks or noughts |
//! | 4 | unit, with or without a comma or blank before it |
//!
//! Some leave the comma after the second field out.

use super::{Fault, Parts, State, number, shown};

/// The parts, or `None` when the line is not of this family.
pub(super) fn read(line: &str) -> Option<Result<Parts<'_>, Fault>> {
    let (head, rest) = line.split_once(',').unwrap_or((line, ""));
    let state = match head.trim().trim_start_matches(|c: char| c.is_ascii_digit()).trim_start() {
        "ST" | "QT" => State::Steady,
        "US" => State::Moving,
        "OL" => State::Over,
        "UL" => State::Under,
        "TL" => State::Tilted,
        _ => return None,
    };
    let rest = rest.trim();
    let (net, after) = match rest.get(..2) {
        Some("GS") => (Some(false), rest.get(2..)),
        Some("NT") => (Some(true), rest.get(2..)),
        Some("TR") => return Some(Err(Fault::NoWeight { line: shown(line) })),
        _ => (None, Some(rest)),
    };
    let after = after.unwrap_or_default().trim_start();
    let (value, unit) = number::split(after.strip_prefix(',').unwrap_or(after));
    Some(Ok(Parts { value, unit, state, net }))
}
