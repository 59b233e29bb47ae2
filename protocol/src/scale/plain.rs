//! A plain line: number and unit, and what stands about them, as in `0.182 kg ?`.
//!
//! Layouts as printed in public scale manuals; every part but the number and the unit may be missing:
//!
//! | part | values |
//! |---|---|
//! | before | `?` not at rest; a line that begins with `^` is an overload, with `_` an underload, whatever follows |
//! | mode | `N` `NT` `NET` net, `G` `GS` `GR` `GROSS` gross, before the number or after the unit |
//! | number | sign, blanks, digits |
//! | unit | any case, with or without a blank before it |
//! | after | `?` or `M` not at rest, `O` overload; `GR` and `NT` also stand right behind the unit |
//!
//! This is also the form into which a dialect described in the settings is brought before it is written down.

use super::units::Unit;
use super::{Fault, Parts, State, number};

/// Words for net (`true`) and gross.
const MODES: [(&str, bool); 7] =
    [("N", true), ("NT", true), ("NET", true), ("G", false), ("GS", false), ("GR", false), ("GROSS", false)];

/// The parts, or `None` when the line is not of this family.
pub(super) fn read(line: &str) -> Option<Result<Parts<'_>, Fault>> {
    let beyond = |state| Some(Ok(Parts { value: "", unit: "", state, net: None }));
    match line.as_bytes().first()? {
        b'^' => return beyond(State::Over),
        b'_' => return beyond(State::Under),
        _ => {}
    }
    let mut parts = Parts { value: "", unit: "", state: State::Steady, net: None };
    let mut rest = line;
    if let Some(inside) = rest.strip_prefix('?').or_else(|| rest.strip_suffix('?')) {
        (rest, parts.state) = (inside.trim(), State::Moving);
    }
    if let Some((word, after)) = rest.split_once(|c: char| c.is_ascii_whitespace())
        && let Some(net) = mode(word)
    {
        (rest, parts.net) = (after, Some(net));
    }
    (parts.value, parts.unit) = number::split(rest);
    if !number::is_value(parts.value) {
        return None;
    }
    while parts.take_mark().is_some() {}
    Some(Ok(parts))
}

impl Parts<'_> {
    /// Takes the last mark behind the unit off it.
    fn take_mark(&mut self) -> Option<()> {
        if let Some(unit) = self.unit.strip_suffix('?') {
            (self.unit, self.state) = (unit.trim_end(), State::Moving);
            return Some(());
        }
        if let Some((unit, word)) = self.unit.rsplit_once(|c: char| c.is_ascii_whitespace()) {
            match word {
                "M" => self.state = State::Moving,
                "O" => self.state = State::Over,
                word => self.net = Some(mode(word)?),
            }
            self.unit = unit.trim_end();
            return Some(());
        }
        let (unit, word) = self.unit.split_at_checked(self.unit.len().checked_sub(2)?)?;
        let net = match word {
            "NT" => true,
            "GR" => false,
            _ => return None,
        };
        Unit::of(unit)?;
        (self.unit, self.net) = (unit, Some(net));
        Some(())
    }
}

fn mode(word: &str) -> Option<bool> {
    MODES.iter().find(|(known, _)| known.eq_ignore_ascii_case(word)).map(|(_, net)| *net)
}
