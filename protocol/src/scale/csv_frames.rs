//! The comma-separated family: state, gross or net, weight and unit, as in `ST,GS,+ 12.34kg`.
//!
//! Layout as printed in public scale manuals: `ST` stable, `US` unstable, `QT` stable count, `OL` overload, `UL`
//! underload, `TL` not level; then `GS` or `NT`, left out in the short form. A bus address of digits may come first.

use super::{Fault, Reading, State, weight};

/// The reading, or `None` when the line is not of this family.
pub(super) fn read(line: &str) -> Option<Result<Reading, Fault>> {
    let (head, rest) = line.split_once(',').unwrap_or((line, ""));
    let state = match head.trim().trim_start_matches(|c: char| c.is_ascii_digit()).trim_start() {
        "ST" | "QT" => State::Steady,
        "US" => State::Moving,
        "OL" => State::Over,
        "UL" => State::Under,
        "TL" => State::Tilted,
        _ => return None,
    };
    let (second, after) = rest.split_once(',').unwrap_or((rest, ""));
    let (net, value) = match second.trim() {
        "GS" => (Some(false), after),
        "NT" => (Some(true), after),
        _ => (None, rest),
    };
    let g = match state {
        State::Steady | State::Moving => weight(value).map(Some),
        _ => Ok(None),
    };
    Some(g.map(|g| Reading { g, state, net }))
}
