//! Replies of the SICS command set, levels 0 and 1: `S S     100.00 g`, `S D …`, `S I`, `S +`, `S -`, and the answers
//! to other commands.
//!
//! From the set's public reference:
//!
//! | reply | to | means |
//! |---|---|---|
//! | `S S value unit` | `S` `SI` `SIR` `SR` | stable weight |
//! | `S D value unit` | `SI` `SIR` `SR` | dynamic weight: not at rest |
//! | `S I` | any of these | not executable now |
//! | `S +`, `S -` | any of these | overload, underload |
//! | `Z A`, `ZI S`, `T S value unit`, `TA A …`, `I4 A "…"` | `Z` `ZI` `T` `TA` `@` | done; what `T` and `TA` tell is the tare, never a load |
//! | `ES`, `ET`, `EL` | any | not understood |

use super::{Fault, Parts, State, number, shown};

/// Commands whose answers hold no load's weight.
const OTHERS: [&str; 18] =
    ["@", "D", "DW", "I0", "I1", "I2", "I3", "I4", "K", "SR", "T", "TA", "TAC", "TI", "Z", "ZI", "SI", "SIR"];

/// The parts, or `None` when the line is not of this family.
pub(super) fn read(line: &str) -> Option<Result<Parts<'_>, Fault>> {
    if matches!(line, "ES" | "ET" | "EL") {
        return Some(Err(Fault::Refused { line: line.into() }));
    }
    let (command, rest) = line.split_once(|c: char| c.is_ascii_whitespace())?;
    let rest = rest.trim_start();
    let (state, value) = rest.split_at_checked(1)?;
    if !value.is_empty() && !value.starts_with(|c: char| c.is_ascii_whitespace()) {
        return None;
    }
    if OTHERS.contains(&command) && matches!(state, "A" | "B" | "S" | "D" | "I" | "L" | "+" | "-") {
        return Some(Err(Fault::NoWeight { line: shown(line) }));
    }
    let state = match state {
        _ if command != "S" => return None,
        "S" => State::Steady,
        "D" => State::Moving,
        "I" => State::Busy,
        "+" => State::Over,
        "-" => State::Under,
        _ => return None,
    };
    let (value, unit) = number::split(value);
    Some(Ok(Parts { value, unit, state, net: None }))
}
