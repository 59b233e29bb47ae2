//! Replies of the SICS command set to `S`, `SI` and `SIR`: `S S     100.00 g`, `S D …`, `S I`, `S +`, `S -`.
//!
//! From the set's public reference: second field `S` stable, `D` dynamic, `I` not executable now, `+` overload, `-`
//! underload.

use super::{Fault, Reading, State, weight};

/// The reading, or `None` when the line is not of this family.
pub(super) fn read(line: &str) -> Option<Result<Reading, Fault>> {
    let rest = line.strip_prefix('S')?;
    let value = rest.trim_start();
    if value.len() == rest.len() {
        return None;
    }
    let (state, value) = value.split_at_checked(1)?;
    let state = match state {
        "S" => State::Steady,
        "D" => State::Moving,
        "I" => State::Busy,
        "+" => State::Over,
        "-" => State::Under,
        _ => return None,
    };
    if !value.is_empty() && !value.starts_with(|c: char| c.is_ascii_whitespace()) {
        return None;
    }
    let g = match state {
        State::Steady | State::Moving => weight(value).map(Some),
        _ => Ok(None),
    };
    Some(g.map(|g| Reading { g, state, net: None }))
}
