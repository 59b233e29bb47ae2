//! A scale's dialect described in the settings: a pattern with named parts, or only the unit that its frames leave out.
//!
//! A description must not be needed to read a journal again. So a frame it fits is brought into the plain form of
//! [`super::plain`] before it is written down, and everything after that reads it as any other line.

use regex::bytes::{Captures, Regex, RegexBuilder};
use serde::{Deserialize, Deserializer};

use super::units::Unit;
use super::{Parts, State, number, parts, read};

/// The parts a pattern may name.
const NAMES: [&str; 5] = ["sign", "number", "unit", "stable", "over"];
/// Memory a pattern may take when compiled, bytes.
const SIZE: usize = 1 << 20;

/// What the settings tell of a scale's frames.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Described {
    /// Frames that fit it are read by it, before any other dialect.
    pub pattern: Option<Pattern>,
    /// The unit of frames that name none.
    pub unit: Option<Unit>,
}

/// A regular expression that a whole frame must fit, its parts named: `number` (digits, one decimal point or comma)
/// always; `sign`, `unit` (`g`, `kg`, `lb`, `oz`), `stable` (something stands there when at rest) and `over`
/// (something stands there when overloaded) where the frame has them. ASCII only.
#[derive(Debug, Clone)]
pub struct Pattern(Regex);

/// Why a pattern cannot be used.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PatternFault {
    /// No regular expression.
    #[error("`pattern` is no regular expression ({why})")]
    Wrong {
        /// The reason.
        why: String,
    },
    /// The part that must be there is not.
    #[error("`pattern` names no part (?<number>…)")]
    NoNumber,
    /// A part nobody knows.
    #[error("`pattern` names a part `{name}`, not one of sign, number, unit, stable, over")]
    Part {
        /// Its name.
        name: String,
    },
}

impl Pattern {
    /// Compiles a pattern.
    ///
    /// # Errors
    /// [`PatternFault`].
    pub fn new(text: &str) -> Result<Pattern, PatternFault> {
        // Alone first: what is wrong with it must not be told of the whole.
        let names: Vec<String> = compiled(text)?.capture_names().flatten().map(str::to_owned).collect();
        if let Some(name) = names.iter().find(|name| !NAMES.contains(&name.as_str())) {
            return Err(PatternFault::Part { name: name.clone() });
        }
        if !names.iter().any(|name| name == "number") {
            return Err(PatternFault::NoNumber);
        }
        // A verbose pattern that ends in a comment swallows the end, so the end stands on a line of its own there.
        compiled(&format!("^(?:{text})$")).or_else(|_| compiled(&format!("^(?:{text}\n)$"))).map(Pattern)
    }

    /// Whether it names the unit.
    pub fn has_unit(&self) -> bool {
        self.0.capture_names().flatten().any(|name| name == "unit")
    }
}

impl Described {
    /// Brings a frame into the plain form, if its description fits and the result can be read; `None` when the frame
    /// is to be taken as it is.
    pub fn plain(&self, frame: &str) -> Option<String> {
        let matched = self.pattern.as_ref().and_then(|pattern| self.matched(pattern, frame));
        let text = matched.or_else(|| self.completed(frame))?;
        read(&text).is_ok().then_some(text)
    }

    fn matched(&self, pattern: &Pattern, frame: &str) -> Option<String> {
        let captures = pattern.0.captures(frame.trim().as_bytes())?;
        let (over, stable) = (part(&captures, "over"), part(&captures, "stable"));
        let names_stable = pattern.0.capture_names().flatten().any(|name| name == "stable");
        let state = match (over.is_some(), stable.is_none() && names_stable) {
            (true, _) => State::Over,
            (false, true) => State::Moving,
            (false, false) => State::Steady,
        };
        let sign = if part(&captures, "sign").is_some_and(|sign| sign.contains('-')) { "-" } else { "" };
        let value = format!("{sign}{}", part(&captures, "number").unwrap_or_default());
        let unit = part(&captures, "unit").or(self.unit.map(Unit::symbol)).unwrap_or_default();
        Some(Parts { value: &value, unit, state, net: None }.plain(unit))
    }

    /// A frame of a known dialect with the unit it lacks.
    fn completed(&self, frame: &str) -> Option<String> {
        let unit = self.unit?;
        let (_, parts) = parts(frame).ok()?;
        let lacks = parts.unit.is_empty() && matches!(parts.state, State::Steady | State::Moving);
        (lacks && number::number(parts.value).is_some()).then(|| parts.plain(unit.symbol()))
    }
}

impl Parts<'_> {
    /// The same in the plain form, with this unit.
    fn plain(&self, unit: &str) -> String {
        match self.state {
            State::Over => return "OL".into(),
            State::Under => return "UL".into(),
            State::Tilted => return "TL".into(),
            State::Busy => return "S I".into(),
            State::Steady | State::Moving => {}
        }
        let moving = if self.state == State::Moving { " ?" } else { "" };
        let mode = match self.net {
            Some(true) => " NT",
            Some(false) => " GR",
            None => "",
        };
        format!("{} {unit}{moving}{mode}", self.value)
    }
}

fn compiled(text: &str) -> Result<Regex, PatternFault> {
    RegexBuilder::new(text).unicode(false).size_limit(SIZE).build().map_err(|error| {
        // The reason stands last, below a picture of the place.
        let why = error.to_string();
        let why = why.lines().last().unwrap_or_default();
        PatternFault::Wrong { why: why.strip_prefix("error: ").unwrap_or(why).to_owned() }
    })
}

/// What a named part matched, unless that is nothing or blanks.
fn part<'a>(captures: &Captures<'a>, name: &str) -> Option<&'a str> {
    let text = std::str::from_utf8(captures.name(name)?.as_bytes()).ok()?.trim();
    (!text.is_empty()).then_some(text)
}

impl PartialEq for Pattern {
    fn eq(&self, other: &Pattern) -> bool {
        self.0.as_str() == other.0.as_str()
    }
}

impl Eq for Pattern {}

impl<'de> Deserialize<'de> for Pattern {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Pattern, D::Error> {
        Pattern::new(&String::deserialize(deserializer)?).map_err(serde::de::Error::custom)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn described(pattern: &str, unit: Option<Unit>) -> Described {
        Described { pattern: Some(Pattern::new(pattern).unwrap()), unit }
    }

    #[test]
    fn a_frame_that_fits_becomes_plain() {
        // Made up, as a scale of which nobody knows would send.
        let whole = described(
            r"W(?<over>\^)?(?<stable>=)?#? *(?<sign>[-+ ]) *(?<number>[0-9.,]+) *(?<unit>[A-Za-z]+);",
            None,
        );
        let bare = described(r"(?<number>\d+[.]\d)@", Some(Unit::Oz));
        let verbose = described("(?x) (?<number> \\d+ ) : (?<unit> g ) # to the end", None);
        for (described, frame, plain) in [
            (&whole, "W=+  0.182KG;", Some("0.182 KG")),
            (&whole, "W#-  0,182kg;", Some("-0,182 kg ?")),
            (&whole, "W^=+ 9.999kg;", Some("OL")),
            (&whole, "W=+  0.4lb;", Some("0.4 lb")),
            (&whole, "W=+  0.4st;", None),
            (&whole, "W=+  0.4.4lb;", None),
            (&whole, "xW=+  0.4lb;", None),
            (&whole, "W=+  0.4lb;x", None),
            (&whole, "ST,GS,+ 12.34kg", None),
            (&bare, "6.4@", Some("6.4 oz")),
            (&bare, "6.4", Some("6.4 oz")),
            (&bare, "6.4 g", None),
            (&verbose, "182:g", Some("182 g")),
        ] {
            assert_eq!(described.plain(frame).as_deref(), plain, "{frame}");
        }
    }

    #[test]
    fn a_unit_completes_frames_that_name_none() {
        let kg = Described { pattern: None, unit: Some(Unit::Kg) };
        for (frame, plain, g, state) in [
            ("-  0.182G", "-  0.182 kg GR", Some(-182.0), State::Steady),
            ("0.182N", "0.182 kg NT", Some(182.0), State::Steady),
            ("0.182M", "0.182 kg ?", Some(182.0), State::Moving),
            ("0.182GM -", "0.182 kg ? GR", Some(182.0), State::Moving),
            ("+  0.182", "+  0.182 kg", Some(182.0), State::Steady),
            ("0.182 ?", "0.182 kg ?", Some(182.0), State::Moving),
            ("US,GS,+  0.182", "+  0.182 kg ? GR", Some(182.0), State::Moving),
            ("S D   0.182", "0.182 kg ?", Some(182.0), State::Moving),
        ] {
            assert_eq!(kg.plain(frame).as_deref(), Some(plain), "{frame}");
            let reading = read(plain).unwrap();
            assert_eq!((reading.g, reading.state), (g, state), "{frame}");
            assert!(read(frame).is_err(), "{frame}: nothing without the unit");
        }
        for frame in ["0.182 lb", "ST,GS,+ 1 lb", "9999999O", "OL", "hello", "1.2.3", "S I", "Z A"] {
            assert_eq!(kg.plain(frame), None, "{frame}");
        }
        assert_eq!(Described::default().plain("0.182"), None);
    }

    #[test]
    fn a_bad_pattern_says_why() {
        for (text, why) in [
            ("(?<number>[0-9", "`pattern` is no regular expression (unclosed character class)"),
            ("a)(?<number>b", "`pattern` is no regular expression (unopened group)"),
            (
                "(?<number>(?:[a-z]{99}){999})",
                "`pattern` is no regular expression (Compiled regex exceeds size limit of 1048576 bytes.)",
            ),
            ("[0-9.]+ kg", "`pattern` names no part (?<number>…)"),
            (
                "(?<weight>.*)(?<number>.*)",
                "`pattern` names a part `weight`, not one of sign, number, unit, stable, over",
            ),
        ] {
            assert_eq!(Pattern::new(text).unwrap_err().to_string(), why, "{text}");
        }
    }
}
